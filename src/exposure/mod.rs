//! What is done to a specimen: tumble, drop, rub, handle, ride. Knows no films.

pub mod rub;

mod poses;
mod soft_notes;
