//! What the films lose: thickness, rubbing, burnish, chips. Knows no engines.
//!
//! Reading order: [`specimen`], [`treatment`] (its films on one counterface), [`thickness`],
//! [`abrade`], [`regime`] (when microns are not allowed), [`chip`], [`mod@assess`] (one patch).

pub mod abrade;
pub mod assess;
pub mod chip;
pub mod regime;
pub mod specimen;
pub mod thickness;
pub mod treatment;

pub use abrade::{Law, Layer, Worn, units_through};
pub use assess::{PatchWear, assess, layers};
pub use chip::{Chip, Hit};
pub use regime::Regime;
pub use specimen::{End, Film, Gauge, Specimen};
pub use thickness::Laid;
pub use treatment::{FilmContact, PressureSensitivity, Treatment};
