//! Pure formulas, one per function: value in, value out, source and published check beside each.

pub mod chip;
pub mod coulomb;
pub mod dent;
pub mod film;
pub mod gloss;
pub mod hertz;
pub mod impact;
pub mod skin_wear;
pub mod wear;
pub mod foam;
mod foam_table;
pub mod layer;
pub mod punch;
