//! What stands beside a p value: agreement of graders, size of an effect, correction for many
//! looks, and whether the blinding held.

mod agree;
mod blinding;
mod effect;
mod holm;
mod life;
mod life_range;

pub use agree::{
    Alpha, Kappa, Level, Weights, alpha_bootstrap, fleiss_kappa, krippendorff_alpha, weighted_kappa,
};
pub use blinding::{Blinding, blinding, clopper_pearson};
pub use effect::{Shift, Superiority, paired_shift, shift, superiority};
pub use holm::holm;
pub use life::{Known, LifeFit, Scatter, fit_lives};
pub use life_range::{LifeRanges, Range, life_ranges};
