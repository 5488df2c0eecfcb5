//! The one model of grades: proportional odds in ln(dose) with persistent cells, which is the
//! same as an interval-censored accelerated life with one location per grade.
//!
//! ```text
//! x = gamma (ln N - ln N0) + ln N0 + ln D_a + beta_s + v_a + b_i + c_ia
//! P(grade >= j) = logistic((x + u_g - tau_j) / r)
//! beta_s = ln(k_E / h) = centre_s + iota + X_s theta + delta_s
//! ```
//! s system, i specimen, a area, g grader, N exposure. Sampled with an own NUTS: same seed, same
//! bytes, any number of threads.

mod chains;
mod data;
mod density;
mod fit;
mod nuts;
mod ordinal;
mod prior;
mod whiten;

pub use chains::{Summary, summary};
pub use data::{Reading, Trial};
pub use density::{Density, World};
pub use fit::{Fit, FitSettings, Quantity, fit};
pub use nuts::{Chain, NutsSettings, Target, sample};
pub use ordinal::{Reach, log_probability};
pub use prior::{GRADE_SHARES, Prior, Spread};

#[cfg(test)]
mod against;
#[cfg(test)]
mod tests;
