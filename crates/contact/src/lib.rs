//! Contact between the figure and what touches it. Hard contact ([`rigid`]) and soft contact
//! ([`pad`]) both end in a [`dose::Imprint`]; an [`exposure`] runs one of them to a rate.
//!
//! The order of the `pub mod` lines is the architecture: a room uses only rooms above it.

// Doc lines begin with the unit in brackets, `[m]`, `[J/m2]`: these are not links.
#![allow(rustdoc::broken_intra_doc_links, rustdoc::private_intra_doc_links)]

pub mod law;
pub mod dose;
pub mod touch;
pub mod body;
pub mod rigid;
pub mod pad;
pub mod exposure;

pub use body::Body;
pub use touch::{Restitution, Side, Solidity, Touch};
