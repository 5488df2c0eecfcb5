//! Exact conditional permutation tests with ties: every p is a count of arrangements of the
//! observed, tied values, never a normal or chi-square approximation.
//!
//! What is guaranteed: ranks are integers (doubled midranks), counts are 128-bit integers, so a p
//! does not depend on order, thread or rounding. What is not: where counting would take more than
//! about half a second or overflow 128 bits, the p comes from 99 999 random arrangements of a
//! fixed stream, `(b + 1) / (m + 1)`, and [`How::Drawn`] says so.

mod blocks;
mod correlation;
mod groups;
mod table;
mod tally;
mod through;
mod two;

pub use blocks::{friedman, page, skillings_mack};
pub use correlation::{kendall, spearman};
pub use groups::{Moments, jonckheere, jonckheere_moments, kruskal_wallis};
pub use table::{fisher_2x2, fisher_table};
pub use through::through;
pub use two::{paired, rank_sum, rank_sum_shares, signed_rank, signed_rank_shares};

use base::{Error, Result};

/// How the arrangements were gone through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// All of them, counted.
    Counted,
    /// This many drawn at random from a fixed stream.
    Drawn(u64),
}

/// Which outcomes count as at least as extreme; declared before the first move.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Small values of the statistic.
    Lower,
    /// Large values of the statistic.
    Higher,
    /// Either: `min(1, 2 min(p_low, p_high))`.
    Two,
}

/// The exact null distribution seen from the observed statistic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exact {
    /// The statistic in its usual scale (U, V, H, J, Q, L, rho ...).
    pub statistic: f64,
    /// Share of arrangements with a statistic at most the observed one.
    pub p_low: f64,
    /// Share of arrangements with a statistic at least the observed one.
    pub p_high: f64,
    /// Smallest `p_low` any arrangement of these very values could have given.
    pub floor_low: f64,
    /// Smallest `p_high` any arrangement of these very values could have given.
    pub floor_high: f64,
    /// Number of arrangements (a float: 10 groups of 4 have 1.3e34 of them).
    pub arrangements: f64,
    /// Counted or drawn.
    pub how: How,
}

impl Exact {
    /// The p value on the declared side.
    #[must_use]
    pub fn p(&self, side: Side) -> f64 {
        match side {
            Side::Lower => self.p_low,
            Side::Higher => self.p_high,
            Side::Two => (2.0 * self.p_low.min(self.p_high)).min(1.0),
        }
    }

    /// The one arrangement there is: p and floor are 1, nothing can be told.
    pub(in crate::bench) fn single(statistic: f64) -> Exact {
        Exact {
            statistic,
            p_low: 1.0,
            p_high: 1.0,
            floor_low: 1.0,
            floor_high: 1.0,
            arrangements: 1.0,
            how: How::Counted,
        }
    }

    /// The smallest p these data could possibly have given on that side. Above alpha the word
    /// "significant" is refused in either direction.
    #[must_use]
    pub fn floor(&self, side: Side) -> f64 {
        match side {
            Side::Lower => self.floor_low,
            Side::Higher => self.floor_high,
            Side::Two => (2.0 * self.floor_low.min(self.floor_high)).min(1.0),
        }
    }
}

/// Random arrangements drawn where counting is out of reach.
pub const DRAWN: u64 = 99_999;

/// Integer ranks: midranks, doubled when any tie makes a half; and the factor (1 or 2).
fn integer_ranks(values: &[f64]) -> (Vec<i64>, i64) {
    let ranks = base::stats::midranks(values);
    let scale = if ranks.iter().all(|r| r.fract() == 0.0) {
        1
    } else {
        2
    };
    let whole = ranks.iter().map(|r| (r * scale as f64).round() as i64);
    (whole.collect(), scale)
}

/// Sizes of the classes of equal values, ascending by value.
fn classes(values: &[f64]) -> Vec<usize> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.chunk_by(|a, b| a == b).map(<[f64]>::len).collect()
}

/// Refuses values that are no numbers.
fn finite(values: impl IntoIterator<Item = f64>) -> Result<()> {
    if values.into_iter().all(f64::is_finite) {
        return Ok(());
    }
    Err(
        Error::input("a test needs finite numbers; found an empty or infinite value")
            .hint("leave figures without a score out, or use the test for missing cells"),
    )
}

/// Refuses fewer than `least` groups or an empty group.
fn filled(groups: &[Vec<f64>], least: usize) -> Result<()> {
    if groups.len() < least || groups.iter().any(Vec::is_empty) {
        return Err(Error::input(format!(
            "needs at least {least} groups with at least one value each, got sizes {:?}",
            groups.iter().map(Vec::len).collect::<Vec<_>>()
        )));
    }
    finite(groups.iter().flatten().copied())
}

/// p values from random arrangements.
///
/// * `name`: names the stream, so that the same data always give the same p
/// * `floor`: smallest p on each side known by other means
/// * `draw`: the statistic of one random arrangement in integers
fn drawn(
    name: &str,
    observed: (f64, i128),
    floor: (f64, f64, f64),
    mut draw: impl FnMut(&mut base::random::Stream) -> i128,
) -> Exact {
    let mut random = base::random::stream(0, &["bench exact test", name], 0);
    let (mut low, mut high) = (1_u64, 1_u64);
    for _ in 0..DRAWN {
        let value = draw(&mut random);
        low += u64::from(value <= observed.1);
        high += u64::from(value >= observed.1);
    }
    let total = (DRAWN + 1) as f64;
    Exact {
        statistic: observed.0,
        p_low: low as f64 / total,
        p_high: high as f64 / total,
        floor_low: floor.0.max(1.0 / total),
        floor_high: floor.1.max(1.0 / total),
        arrangements: floor.2,
        how: How::Drawn(DRAWN),
    }
}

/// Factorial as a float.
fn factorial(n: usize) -> f64 {
    (2..=n).map(|i| i as f64).product()
}

#[cfg(test)]
mod worked;
