//! Two groups, or pairs: rank sum and signed rank.

use super::tally::{Budget, Tally};
use super::{Exact, finite, integer_ranks};
use base::{Error, Result};

fn too_many(figures: usize) -> Error {
    Error::refused(format!("{figures} values are too many to count exactly"))
        .hint("one score per figure: areas, inspections and graders are repeats, not figures")
}

/// Wilcoxon-Mann-Whitney rank sum of `x` against `y`, exact given the ties.
///
/// Statistic U = rank sum of `x` less n(n+1)/2; low means `x` wears less. Counted by adding one
/// rank after the other to "how many of x, which sum".
///
/// # Errors
/// An empty group, a value that is no number, more than 128 bits of arrangements.
///
/// Source: Hollander & Wolfe, Nonparametric Statistical Methods, 1973, ch. 4.
pub fn rank_sum(x: &[f64], y: &[f64]) -> Result<Exact> {
    if x.is_empty() || y.is_empty() {
        return Err(Error::input("rank sum: each group needs a value"));
    }
    let all: Vec<f64> = x.iter().chain(y).copied().collect();
    finite(all.iter().copied())?;
    let (ranks, scale) = integer_ranks(&all);
    let n = x.len();
    let sums = subset_sums(&ranks, n).ok_or_else(|| too_many(all.len()))?;
    let observed: i64 = ranks[..n].iter().sum();
    let least = (n * (n + 1)) as f64 / 2.0;
    let u = observed as f64 / scale as f64 - least;
    Ok(sums.exact(u, observed, 1.0))
}

/// Distribution of the sum of `n` of the ranks.
fn subset_sums(ranks: &[i64], n: usize) -> Option<Tally> {
    let mut sums = vec![Tally::none(); n + 1];
    sums[0] = Tally::one(0);
    let mut budget = Budget::usual();
    for &rank in ranks {
        for chosen in (0..n).rev() {
            let (lower, upper) = sums.split_at_mut(chosen + 1);
            upper[0].add(&lower[chosen], rank, 1, &mut budget)?;
        }
    }
    sums.pop()
}

/// Shares of U = 0, 1, ..., n m without ties.
///
/// # Errors
/// More than 128 bits of arrangements.
pub fn rank_sum_shares(n: usize, m: usize) -> Result<Vec<f64>> {
    let ranks: Vec<i64> = (1..=(n + m) as i64).collect();
    let sums = subset_sums(&ranks, n).ok_or_else(|| too_many(n + m))?;
    let total: u128 = sums.entries().map(|(_, c)| c).sum();
    Ok(sums
        .entries()
        .map(|(_, c)| c as f64 / total as f64)
        .collect())
}

/// Wilcoxon signed rank of paired differences, exact given the ties; zero differences drop out.
///
/// Statistic V = sum of the ranks of the positive differences.
///
/// # Errors
/// No difference other than zero, a value that is no number.
///
/// Source: Hollander & Wolfe 1973, ch. 3.
pub fn signed_rank(differences: &[f64]) -> Result<Exact> {
    finite(differences.iter().copied())?;
    let kept: Vec<f64> = differences.iter().copied().filter(|d| *d != 0.0).collect();
    if kept.is_empty() {
        return Err(Error::input("signed rank: all differences are zero"));
    }
    let sizes: Vec<f64> = kept.iter().map(|d| d.abs()).collect();
    let (ranks, scale) = integer_ranks(&sizes);
    let sums = signs(ranks.iter().copied()).ok_or_else(|| too_many(kept.len()))?;
    let positive = ranks.iter().zip(&kept).filter(|(_, d)| **d > 0.0);
    let observed: i64 = positive.map(|(r, _)| r).sum();
    Ok(sums.exact(observed as f64 / scale as f64, observed, 1.0))
}

/// Distribution of the sum of ranks, each taken or not.
fn signs(ranks: impl IntoIterator<Item = i64>) -> Option<Tally> {
    let mut sums = Tally::one(0);
    let mut budget = Budget::usual();
    for rank in ranks {
        let before = sums.clone();
        sums.add(&before, rank, 1, &mut budget)?;
    }
    Some(sums)
}

/// Signed rank of the pairs' differences `y - x`, exact given the ties; `p_high` for "the second
/// wears more". Where no pair differs, one arrangement is left and p = 1.
///
/// # Errors
/// Lists of unequal length or empty, a value that is no number.
pub fn paired(x: &[f64], y: &[f64]) -> Result<Exact> {
    if x.len() != y.len() || x.is_empty() {
        return Err(Error::input(format!(
            "pairs need as many values on both sides, got {} and {}",
            x.len(),
            y.len()
        )));
    }
    let differences: Vec<f64> = x.iter().zip(y).map(|(a, b)| b - a).collect();
    match differences.iter().all(|d| *d == 0.0) {
        true => Ok(Exact::single(0.0)),
        false => signed_rank(&differences),
    }
}

/// Shares of V = 0, 1, ..., n(n+1)/2 of the signed rank without ties or zeros.
///
/// # Errors
/// More than 128 bits of arrangements.
pub fn signed_rank_shares(n: usize) -> Result<Vec<f64>> {
    let sums = signs(1..=n as i64).ok_or_else(|| too_many(n))?;
    let total: u128 = sums.entries().map(|(_, c)| c).sum();
    let shares = sums.entries().map(|(_, c)| c as f64 / total as f64);
    Ok(shares.collect())
}
