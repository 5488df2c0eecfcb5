//! Rank correlation of two lists, exact given the ties: does the simulator's order of areas hold?

use super::blocks::products;
use super::groups::{balance, balance_distribution, multinomial};
use super::tally::Budget;
use super::{Exact, classes, drawn, factorial, finite, integer_ranks};
use base::{Error, Result};
use rand::seq::SliceRandom;

fn paired(x: &[f64], y: &[f64]) -> Result<()> {
    if x.len() != y.len() || x.len() < 2 {
        return Err(Error::input(format!(
            "correlation needs two lists of the same length, at least 2; got {} and {}",
            x.len(),
            y.len()
        )));
    }
    finite(x.iter().chain(y).copied())
}

/// Spearman's rho with its exact permutation p given the ties (up to 16 pairs; more are drawn).
///
/// # Errors
/// Lists of unequal length or shorter than 2, a value that is no number.
///
/// Source: Hollander & Wolfe 1999, sec. 8.5.
pub fn spearman(x: &[f64], y: &[f64]) -> Result<Exact> {
    paired(x, y)?;
    let (a, _) = integer_ranks(x);
    let (b, _) = integer_ranks(y);
    let observed: i64 = a.iter().zip(&b).map(|(p, q)| p * q).sum();
    let rho = base::stats::spearman(x, y);
    if let Some(tally) = products(&a, &b, &mut Budget::usual()) {
        return Ok(tally.exact(rho, observed, 1.0));
    }
    let mut shuffled = b.clone();
    let floors = (0.0, 0.0, factorial(x.len()));
    Ok(drawn(
        "spearman",
        (rho, i128::from(observed)),
        floors,
        |r| {
            shuffled.shuffle(r);
            let products = a.iter().zip(&shuffled);
            products.map(|(p, q)| i128::from(p * q)).sum()
        },
    ))
}

/// Kendall's tau-b with its exact permutation p given the ties.
///
/// Concordant less discordant pairs are the Jonckheere count with the classes of `x` as groups.
///
/// # Errors
/// As [`spearman`].
///
/// Source: Kendall 1945, Biometrika 33:239.
pub fn kendall(x: &[f64], y: &[f64]) -> Result<Exact> {
    paired(x, y)?;
    let mut order: Vec<usize> = (0..x.len()).collect();
    order.sort_by(|&i, &j| x[i].total_cmp(&x[j]));
    let groups = classes(x);
    let labels: Vec<usize> = groups
        .iter()
        .enumerate()
        .flat_map(|(g, n)| std::iter::repeat_n(g, *n))
        .collect();
    let along: Vec<f64> = order.iter().map(|&i| y[i]).collect();
    let (ranks, _) = integer_ranks(&along);
    let observed = balance(&labels, &ranks);
    let pairs = |sizes: &[usize]| {
        let n: usize = sizes.iter().sum();
        let within: usize = sizes.iter().map(|s| s * s).sum();
        ((n * n - within) / 2) as f64
    };
    let tau = observed as f64 / (pairs(&groups) * pairs(&classes(y))).sqrt();
    if let Some(tally) = balance_distribution(&groups, &classes(y)) {
        let mut exact = tally.exact(tau, observed, 1.0);
        exact.arrangements = factorial(x.len());
        return Ok(exact);
    }
    let mut shuffled = ranks.clone();
    let floors = (0.0, 0.0, multinomial(&groups));
    Ok(drawn("kendall", (tau, i128::from(observed)), floors, |r| {
        shuffled.shuffle(r);
        i128::from(balance(&labels, &shuffled))
    }))
}
