//! The bench test: plan, sheets, grades, analysis, calibration.

pub mod design;
pub mod exact;
pub mod judge;
pub mod model;
pub mod choose;
pub mod photos;
pub mod plan;
pub mod files;
pub mod record;
pub mod rehearse;
pub mod sheet;
pub mod analyse;
pub mod calibrate;
mod scores;
mod witness;
#[cfg(test)]
mod story;
#[cfg(test)]
mod story_declared;
