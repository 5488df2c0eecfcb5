//! Prior of the grade model. All widths are engineering guesses (grade D): the first real benches
//! should re-estimate them.

use statrs::distribution::{ContinuousCDF, Normal};

/// Share of the named area that shows the layer below at the lower limit of grades 1 to 5.
pub const GRADE_SHARES: [f64; 5] = [0.003, 0.01, 0.03, 0.10, 0.30];

/// Median of a scatter; its logarithm has the prior's common width.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// \[ln units\] system's own rest, beyond its factors.
    pub system: f64,
    /// \[ln units\] simulator's error on an area, shared by all specimens.
    pub area: f64,
    /// \[ln units\] specimen scatter.
    pub specimen: f64,
    /// \[ln units\] cell scatter (area on a specimen).
    pub cell: f64,
    /// \[ln units\] scale of a reading.
    pub reading: f64,
}

impl Spread {
    /// In the order of the parameters.
    #[must_use]
    pub fn list(&self) -> [f64; 5] {
        [
            self.system,
            self.area,
            self.specimen,
            self.cell,
            self.reading,
        ]
    }
}

/// Prior of every parameter but the systems' centres, which come with the trial.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// Standard deviation of the common level iota.
    pub level_sd: f64,
    /// Standard deviation of a factor effect theta.
    pub factor_sd: f64,
    /// Medians of the scatters.
    pub spread: Spread,
    /// Width of the logarithm of every scatter.
    pub spread_width: f64,
    /// Centre of the first threshold.
    pub first_threshold: f64,
    /// Standard deviation of the first threshold.
    pub first_threshold_sd: f64,
    /// Medians of the gaps between thresholds.
    pub gaps: [f64; 4],
    /// Width of the logarithm of a gap.
    pub gap_width: f64,
    /// Standard deviation of a grader's offset.
    pub grader_sd: f64,
    /// Standard deviation of the dose exponent gamma about 1; 0 holds it at 1.
    pub exponent_sd: f64,
    /// \[exposure units\] where the exponent turns.
    pub pivot: f64,
}

impl Default for Prior {
    fn default() -> Prior {
        Prior {
            level_sd: 1.0,
            factor_sd: 0.7,
            spread: Spread {
                system: 0.30,
                area: 0.40,
                specimen: 0.25,
                cell: 0.35,
                reading: 0.12,
            },
            spread_width: 0.5,
            first_threshold: -2.0,
            first_threshold_sd: 0.4,
            gaps: [0.42, 0.52, 0.58, 0.54],
            gap_width: 0.35,
            grader_sd: 0.3,
            exponent_sd: 0.15,
            pivot: 500.0,
        }
    }
}

impl Prior {
    /// Thresholds from the words of the grades and the simulator's spread of ln(dose / film)
    /// inside an area: a share `phi` is through where x = s_in Phi^-1(phi).
    ///
    /// * `spread_inside`: \[ln units\] positive
    #[must_use]
    pub fn with_spread_inside(mut self, spread_inside: f64) -> Prior {
        let at = GRADE_SHARES.map(|phi| spread_inside * Normal::standard().inverse_cdf(phi));
        self.first_threshold = at[0];
        for (gap, pair) in self.gaps.iter_mut().zip(at.windows(2)) {
            *gap = pair[1] - pair[0];
        }
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Normal quantiles of 0.3, 1, 3, 10, 30 % times 0.95 (tables: -2.7478 -2.3263 -1.8808
    /// -1.2816 -0.5244).
    #[test]
    fn thresholds_follow_from_the_words() {
        let p = Prior::default().with_spread_inside(0.95);
        assert!((p.first_threshold + 2.6104).abs() < 1e-3);
        for (gap, expected) in p.gaps.iter().zip([0.4004, 0.4233, 0.5693, 0.7193]) {
            assert!((gap - expected).abs() < 1e-3, "{gap}");
        }
    }
}
