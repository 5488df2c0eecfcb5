//! Pure formulas, one per function: value in, value out, source and published check beside each.

pub mod foam;
mod foam_table;
pub mod layer;
pub mod punch;
