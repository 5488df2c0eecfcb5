//! What is done to a specimen: tumble, drop, rub, handle, ride. Knows no films.

pub mod handle;
pub mod ride;
pub mod replicate;
pub mod tumble;

pub use replicate::Precision;
pub use tumble::{Tumble, Tumbled};
pub mod rub;

mod grasp;
mod poses;
mod shaken;
mod soft_notes;
