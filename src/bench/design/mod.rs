//! The design of a bench: which systems, in which order, under which names, and what it could
//! possibly show.

mod chance;
mod codes;
mod exchange;
mod power;
mod rotation;
mod systems;

pub use chance::{ChanceSettings, chance};
pub use codes::{ALPHABET, check_symbol, correct, draw_codes, nearest_valid, valid};
pub use exchange::{Exchange, alias_matrix, exchange};
pub use power::{PowerSettings, Test, floor_of_design, power, rising, smallest_n_for_holm};
pub use rotation::{imbalance, lattice, williams};
pub use systems::{Factor, Rule, candidates, columns, contrast_variance};
