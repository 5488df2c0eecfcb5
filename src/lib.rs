//! Predicts where the paint of a small figure wears, how fast, and what would change it.
//!
//! The order of the `pub mod` lines is the architecture: a room uses only rooms above it.

// Doc lines begin with the unit in brackets, `[m]`, `[J/m2]`: these are not links.
#![allow(rustdoc::broken_intra_doc_links, rustdoc::private_intra_doc_links)]

pub mod base;
pub mod law;
pub mod reference;
pub mod format;
pub mod figure;
pub mod dose;
pub mod contact;
pub mod exposure;
pub mod wear;
pub mod study;
pub mod scenario;
pub mod trial;
pub mod bench;
pub mod sweep;
pub mod report;
pub mod cli;
