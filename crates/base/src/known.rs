//! A value that knows how well it is known.

use rand::Rng;
use serde::{Deserialize, Serialize};

/// How a value is backed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Grade {
    /// Confirmed in print, or recomputed independently.
    A,
    /// Published, but quoted from memory.
    B,
    /// Common practice, no source.
    C,
    /// Engineering prior.
    D,
    /// Given by the user.
    User,
}

/// A number with its 5-95 % range, grade and source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Known {
    /// Central value (median).
    pub value: f64,
    /// 5 % quantile.
    pub low: f64,
    /// 95 % quantile.
    pub high: f64,
    /// How it is backed.
    pub grade: Grade,
    /// Where it is from.
    pub source: String,
}

/// Standard normal 95 % quantile: half of a central 90 % interval in standard deviations.
pub const Z95: f64 = 1.644_853_626_951_472_7;

/// Standard normal 97.5 % quantile: half a 95 % interval in standard deviations.
pub const Z975: f64 = 1.959_963_984_540_054;

impl Known {
    /// A value taken as exact: range of zero width.
    pub fn exact(value: f64, source: impl Into<String>) -> Known {
        Known {
            value,
            low: value,
            high: value,
            grade: Grade::User,
            source: source.into(),
        }
    }

    /// Standard deviation of the logarithm when the range is read as lognormal; 0 if the range
    /// is a point or touches zero.
    #[must_use]
    pub fn sigma_ln(&self) -> f64 {
        if self.low > 0.0 && self.high > self.low {
            (self.high / self.low).ln() / (2.0 * Z95)
        } else {
            0.0
        }
    }

    /// The value at `z` standard deviations: lognormal about the median when the whole range is
    /// positive, otherwise straight lines through low, value and high.
    #[must_use]
    pub fn at(&self, z: f64) -> f64 {
        if self.low > 0.0 && self.value > 0.0 {
            return self.value * (self.sigma_ln() * z).exp();
        }
        let side = if z < 0.0 {
            self.value - self.low
        } else {
            self.high - self.value
        };
        self.value + side * z / Z95
    }

    /// One draw.
    pub fn sample(&self, random: &mut impl Rng) -> f64 {
        use rand_distr::Distribution;
        let z: f64 = rand_distr::StandardNormal.sample(random);
        self.at(z)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_of_a_lognormal_known_are_its_range() {
        let k = Known {
            value: 0.004,
            low: 0.0004,
            high: 0.04,
            grade: Grade::D,
            source: String::new(),
        };
        assert!((k.at(-Z95) - 0.0004).abs() < 1e-12 && (k.at(Z95) - 0.04).abs() < 1e-12);
        assert!(
            (k.sigma_ln() - 1.400).abs() < 1e-3,
            "/10..x10 is sigma 1.40"
        );
    }
}
