//! Ground floor: errors and notes, random streams, fixed-order sums, statistics, plain geometry.
//! Nothing of figures or paint lives here, and nothing here depends on another room.

pub mod error;
pub mod geometry;
pub mod known;
pub mod note;
pub mod random;
pub mod stats;
pub mod sum;
pub mod watch;

pub use error::{Error, Kind, Place, Result};
pub use geometry::{Mat3, Quat, Vec3};
pub use known::{Grade, Known};
pub use note::{Note, Topic};
pub use watch::{Unwatched, Watch};
