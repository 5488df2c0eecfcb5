//! Pure formulas, one per function: value in, value out, source and published check beside each.

pub mod chip;
pub mod coulomb;
pub mod dent;
pub mod film;
pub mod foam;
mod foam_table;
pub mod gloss;
pub mod grip;
pub mod hertz;
pub mod impact;
pub mod layer;
pub mod punch;
pub mod schedule;
pub mod skin;
pub mod stickslip;
pub mod vibration;
pub mod wear;
