//! Asks, words and draws; never computes.

pub mod anatomy;
pub mod fill;
pub mod folder;
pub mod footprints;
pub mod heat;
pub mod looks;
pub mod picture;
pub mod summary;
pub mod sweep;
pub mod tables;
pub mod words;
pub mod page;
