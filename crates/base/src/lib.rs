//! Ground floor: errors and notes, random streams, fixed-order sums, statistics, plain geometry.
//! Nothing of figures or paint lives here, and nothing here depends on another room.

// Doc lines begin with the unit in brackets, `[m]`, `[J/m2]`: these are not links.
#![allow(rustdoc::broken_intra_doc_links, rustdoc::private_intra_doc_links)]

pub mod atomic;
pub mod error;
pub mod geometry;
pub mod known;
pub mod note;
pub mod random;
mod slug;
pub mod stats;
pub mod sum;
pub mod table;
pub mod watch;

pub use error::{Error, Kind, Place, Result};
pub use geometry::{Mat3, Quat, Vec3};
pub use known::{Grade, Known};
pub use note::{Note, Topic};
pub use slug::slug;
pub use table::Table;
pub use watch::{Unwatched, Watch};
