//! Contact between the figure and what touches it. Hard contact ([`rigid`]) and soft contact
//! ([`pad`]) both end in an [`crate::dose::Imprint`].

pub mod body;
pub mod pad;
pub mod rigid;
pub mod touch;

pub use body::Body;
pub use touch::{Restitution, Side, Solidity, Touch};
