//! What is done to a specimen: tumble, drop, rub, handle, ride. Knows no films.

pub mod replicate;
pub mod tumble;

pub use replicate::Precision;
pub use tumble::{Tumble, Tumbled};
pub mod rub;

mod poses;
mod soft_notes;
