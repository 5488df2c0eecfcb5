//! What is done to a specimen: tumble, drop, rub, handle, ride. Knows no films.

pub mod drop;
pub mod handle;
pub mod ride;
pub mod replicate;
pub mod rub;
pub mod tumble;

mod grasp;
mod poses;
mod shaken;
mod soft_notes;

pub use drop::{Drop, Dropped};
pub use replicate::Precision;
pub use tumble::{Names, Tumble, Tumbled};
