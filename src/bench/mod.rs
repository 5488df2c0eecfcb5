//! The bench test: plan, sheets, grades, analysis, calibration.

pub mod exact;
pub mod judge;
pub mod model;
