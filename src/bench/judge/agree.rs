//! Agreement of graders.

use base::sum::sum;
use base::{Error, Result};
use rand::RngExt;

/// How strongly a disagreement of several grades counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weights {
    /// Any disagreement counts the same.
    Nominal,
    /// In proportion to its size.
    Linear,
    /// In proportion to its square.
    Quadratic,
}

/// Cohen's kappa of two graders.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kappa {
    /// Agreement beyond chance, 1 for perfect.
    pub kappa: f64,
    /// Asymptotic standard error (for an interval).
    pub ase: f64,
    /// Standard error if the true kappa were 0 (for a test).
    pub se_null: f64,
}

/// Weighted kappa of a square table of counts: rows first grader, columns second.
///
/// # Errors
/// A table that is not square, empty, or with one grade only (kappa is then undefined).
///
/// Source: Fleiss, Cohen & Everitt 1969, Psychol. Bull. 72:323.
pub fn weighted_kappa(table: &[Vec<f64>], weights: Weights) -> Result<Kappa> {
    let k = table.len();
    let n = sum(table.iter().flatten().copied());
    if k < 2 || table.iter().any(|row| row.len() != k) || n <= 0.0 {
        return Err(Error::input(
            "kappa needs a square table of counts of at least two grades",
        ));
    }
    let weight = |i: usize, j: usize| {
        let apart = i.abs_diff(j) as f64 / (k - 1) as f64;
        match weights {
            Weights::Nominal => f64::from(u8::from(i == j)),
            Weights::Linear => 1.0 - apart,
            Weights::Quadratic => 1.0 - apart * apart,
        }
    };
    let cell = |i: usize, j: usize| table[i][j] / n;
    let over = |f: &dyn Fn(usize, usize) -> f64| sum((0..k * k).map(|c| f(c / k, c % k)));
    let row: Vec<f64> = (0..k).map(|i| sum((0..k).map(|j| cell(i, j)))).collect();
    let column: Vec<f64> = (0..k).map(|j| sum((0..k).map(|i| cell(i, j)))).collect();
    let row_mean: Vec<f64> = (0..k)
        .map(|i| sum((0..k).map(|j| weight(i, j) * column[j])))
        .collect();
    let column_mean: Vec<f64> = (0..k)
        .map(|j| sum((0..k).map(|i| weight(i, j) * row[i])))
        .collect();
    let seen = over(&|i, j| weight(i, j) * cell(i, j));
    let chance = over(&|i, j| weight(i, j) * row[i] * column[j]);
    if 1.0 - chance < 1e-12 {
        return Err(Error::refused(
            "kappa is undefined: both graders gave one and the same grade to everything",
        ));
    }
    let kappa = (seen - chance) / (1.0 - chance);
    let spread = over(&|i, j| {
        let off = weight(i, j) - (row_mean[i] + column_mean[j]) * (1.0 - kappa);
        cell(i, j) * off * off
    });
    let spread_null = over(&|i, j| {
        let off = weight(i, j) - (row_mean[i] + column_mean[j]);
        row[i] * column[j] * off * off
    });
    let scale = n * (1.0 - chance).powi(2);
    Ok(Kappa {
        kappa,
        ase: ((spread - (kappa - chance * (1.0 - kappa)).powi(2)).max(0.0) / scale).sqrt(),
        se_null: ((spread_null - chance * chance).max(0.0) / scale).sqrt(),
    })
}

/// Fleiss' kappa of many graders.
///
/// * `counts`: per specimen, how many graders gave each grade; the same number of graders each
///
/// # Errors
/// Unequal numbers of graders, fewer than two, or one grade only.
///
/// Source: Fleiss 1971, Psychol. Bull. 76:378.
pub fn fleiss_kappa(counts: &[Vec<f64>]) -> Result<f64> {
    let graders: Vec<f64> = counts.iter().map(|row| sum(row.iter().copied())).collect();
    let m = graders.first().copied().unwrap_or(0.0);
    if m < 2.0 || graders.iter().any(|g| *g != m) {
        return Err(Error::input(
            "Fleiss' kappa needs the same number of graders, at least two, for every specimen",
        ));
    }
    let n = counts.len() as f64;
    let grades = counts[0].len();
    let within = |row: &Vec<f64>| (sum(row.iter().map(|c| c * c)) - m) / (m * (m - 1.0));
    let seen = sum(counts.iter().map(within)) / n;
    let share = |j: usize| sum(counts.iter().map(|row| row[j])) / (n * m);
    let chance = sum((0..grades).map(|j| share(j).powi(2)));
    if 1.0 - chance < 1e-12 {
        return Err(Error::refused(
            "Fleiss' kappa is undefined: only one grade was given",
        ));
    }
    Ok((seen - chance) / (1.0 - chance))
}

/// Distance between grades in Krippendorff's alpha.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Level {
    /// Equal or not.
    Nominal,
    /// By rank: how many readings lie between.
    Ordinal,
    /// Squared difference of the grades.
    Interval,
}

/// Krippendorff's alpha; missing readings are `None`.
///
/// * `units`: one row per thing graded, one cell per grader
///
/// # Errors
/// No unit with two readings, or only one value given at all.
///
/// Source: Krippendorff 2011, Computing Krippendorff's Alpha-Reliability, Univ. of Pennsylvania.
pub fn krippendorff_alpha(units: &[Vec<Option<f64>>], level: Level) -> Result<f64> {
    let pairable: Vec<Vec<f64>> = units
        .iter()
        .map(|unit| unit.iter().flatten().copied().collect::<Vec<f64>>())
        .filter(|unit| unit.len() >= 2)
        .collect();
    let mut values: Vec<f64> = pairable.iter().flatten().copied().collect();
    values.sort_by(f64::total_cmp);
    values.dedup();
    if values.len() < 2 {
        return Err(Error::refused(
            "alpha is undefined: fewer than two different grades among things graded twice",
        )
        .hint("it needs specimens that differ: grade after some wear"));
    }
    let k = values.len();
    let place = |v: f64| values.iter().position(|w| *w == v).unwrap_or(0);
    let mut seen = vec![vec![0.0; k]; k];
    for unit in &pairable {
        let share = 1.0 / (unit.len() - 1) as f64;
        for (i, a) in unit.iter().enumerate() {
            for (j, b) in unit.iter().enumerate() {
                if i != j {
                    seen[place(*a)][place(*b)] += share;
                }
            }
        }
    }
    let totals: Vec<f64> = seen.iter().map(|row| sum(row.iter().copied())).collect();
    let all = sum(totals.iter().copied());
    let distance = |c: usize, d: usize| match level {
        Level::Nominal => f64::from(u8::from(c != d)),
        Level::Interval => (values[c] - values[d]).powi(2),
        Level::Ordinal => {
            let between = sum(totals[c.min(d)..=c.max(d)].iter().copied());
            (between - (totals[c] + totals[d]) / 2.0).powi(2)
        }
    };
    let over = |f: &dyn Fn(usize, usize) -> f64| sum((0..k * k).map(|i| f(i / k, i % k)));
    let observed = over(&|c, d| seen[c][d] * distance(c, d));
    let expected = over(&|c, d| totals[c] * totals[d] * distance(c, d));
    Ok(1.0 - (all - 1.0) * observed / expected)
}

/// Alpha with its bootstrap interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alpha {
    /// Estimate from all readings.
    pub alpha: f64,
    /// 5 % end.
    pub low90: f64,
    /// 95 % end.
    pub high90: f64,
    /// Resamples in which alpha was defined.
    pub resamples: usize,
}

/// Alpha with a bootstrap over specimens: readings of one figure stay together, since areas and
/// inspections of a figure are repeats, not new evidence.
///
/// * `specimens`: per specimen its units, as in [`krippendorff_alpha`]
/// * `resamples`: such as 2000
///
/// # Errors
/// As [`krippendorff_alpha`].
pub fn alpha_bootstrap(
    specimens: &[Vec<Vec<Option<f64>>>],
    level: Level,
    resamples: usize,
    seed: u64,
) -> Result<Alpha> {
    let all: Vec<Vec<Option<f64>>> = specimens.iter().flatten().cloned().collect();
    let alpha = krippendorff_alpha(&all, level)?;
    let mut random = base::random::stream(seed, &["bench", "alpha"], 0);
    let mut values = Vec::with_capacity(resamples);
    for _ in 0..resamples {
        let drawn = (0..specimens.len()).map(|_| random.random_range(0..specimens.len()));
        let units: Vec<Vec<Option<f64>>> = drawn.flat_map(|s| specimens[s].clone()).collect();
        values.extend(krippendorff_alpha(&units, level).ok());
    }
    values.sort_by(f64::total_cmp);
    let quantile = |p| match values.is_empty() {
        true => f64::NAN,
        false => base::stats::quantile(&values, p),
    };
    Ok(Alpha {
        alpha,
        low90: quantile(0.05),
        high90: quantile(0.95),
        resamples: values.len(),
    })
}
