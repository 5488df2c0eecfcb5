//! Mesh files in and out, and the figure they become: welded, weighed, cut into patches, its places
//! named.

// Doc lines begin with the unit in brackets, `[m]`, `[J/m2]`: these are not links.
#![allow(rustdoc::broken_intra_doc_links, rustdoc::private_intra_doc_links)]

pub mod format;
pub mod figure;
