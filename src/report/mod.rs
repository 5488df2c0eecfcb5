//! Asks, words and draws; never computes.

pub mod picture;
pub mod page;
