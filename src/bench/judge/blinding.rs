//! Did the graders know which system they held?

use base::{Error, Result};
use statrs::distribution::{Beta, ContinuousCDF};

/// Right guesses against chance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blinding {
    /// Figures whose group was guessed right.
    pub right: usize,
    /// Guesses made.
    pub guesses: usize,
    /// Share expected by chance.
    pub chance: f64,
    /// Chance of at least this many right guesses without knowledge (exact binomial).
    pub p_high: f64,
    /// 5 % end of the exact 90 % interval of the true share.
    pub low90: f64,
    /// 95 % end of the exact 90 % interval of the true share.
    pub high90: f64,
    /// 0 for chance, 1 for all right, below 0 for fewer than chance.
    pub index: f64,
}

/// Exact binomial look at the guesses written down at the end of a bench.
///
/// * `right`, `guesses`: counts, at least one guess
/// * `groups`: how many groups could be guessed, at least 2, equally often present
///
/// # Errors
/// No guess, more right than made, fewer than two groups.
pub fn blinding(right: usize, guesses: usize, groups: usize) -> Result<Blinding> {
    if guesses == 0 || right > guesses || groups < 2 {
        return Err(Error::input(format!(
            "blinding: {right} right of {guesses} guesses among {groups} groups makes no sense"
        )));
    }
    let chance = 1.0 / groups as f64;
    let (low90, high90) = clopper_pearson(right, guesses, 0.90);
    let tail = (right..=guesses).map(|k| binomial(k, guesses, chance));
    let share = right as f64 / guesses as f64;
    Ok(Blinding {
        right,
        guesses,
        chance,
        p_high: base::sum::sum(tail).min(1.0),
        low90,
        high90,
        index: (share - chance) / (1.0 - chance),
    })
}

fn binomial(k: usize, n: usize, p: f64) -> f64 {
    let mut ways = 1.0;
    for i in 1..=k {
        ways *= (n - k + i) as f64 / i as f64;
    }
    ways * p.powi(k as i32) * (1.0 - p).powi((n - k) as i32)
}

/// Exact interval of a share (Clopper & Pearson 1934, Biometrika 26:404).
#[must_use]
pub fn clopper_pearson(hits: usize, trials: usize, level: f64) -> (f64, f64) {
    let tail = (1.0 - level) / 2.0;
    let (k, n) = (hits as f64, trials as f64);
    let quantile = |a: f64, b: f64, p: f64| Beta::new(a, b).map_or(f64::NAN, |d| d.inverse_cdf(p));
    let low = match hits {
        0 => 0.0,
        _ => quantile(k, n - k + 1.0, tail),
    };
    let high = match hits == trials {
        true => 1.0,
        false => quantile(k + 1.0, n - k, 1.0 - tail),
    };
    (low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The lady tasting tea as a binomial: 8 of 8 with two groups is 1/256 by chance.
    #[test]
    fn all_right_is_a_power_of_chance() {
        let b = blinding(8, 8, 2).unwrap();
        assert!((b.p_high - 1.0 / 256.0).abs() < 1e-15 && (b.index - 1.0).abs() < 1e-15);
        assert!(blinding(3, 2, 2).is_err());
    }

    /// Clopper & Pearson 95 %: 0 of 10 gives 0.3085 (= 1 - 0.025^(1/10)); 5 of 10 gives
    /// 0.1871 to 0.8129 (tables of exact binomial limits, from memory).
    #[test]
    fn exact_limits_match_the_tables() {
        let (low, high) = clopper_pearson(0, 10, 0.95);
        assert!(low == 0.0 && (high - (1.0 - 0.025_f64.powf(0.1))).abs() < 1e-9);
        let (low, high) = clopper_pearson(5, 10, 0.95);
        assert!(
            (low - 0.1871).abs() < 5e-5 && (high - 0.8129).abs() < 5e-5,
            "{low} {high}"
        );
    }
}
