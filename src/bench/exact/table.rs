//! Tables of counts: "through or not through at 1000", and larger ones.

use super::tally::choose;
use super::{Exact, How, Side};
use base::{Error, Result};
use std::collections::BTreeMap;

/// Fisher's exact test of a 2 x 2 table `[[a, b], [c, d]]`; the statistic is `a`.
///
/// [`Fisher::p`] for [`Side::Two`] adds all tables at most as likely as the observed one, as is
/// customary for this test (not twice the smaller tail).
///
/// # Errors
/// An empty row or column, more than 128 figures.
///
/// Source: Fisher 1935; Agresti 1990, sec. 3.5.
pub fn fisher_2x2(table: [[usize; 2]; 2]) -> Result<Fisher> {
    let [[a, b], [c, d]] = table;
    let (row, column, all) = (a + b, a + c, a + b + c + d);
    if row == 0 || row == all || column == 0 || column == all {
        return Err(
            Error::input("Fisher: a row or column of the table is empty")
                .hint("with all figures through, or none, there is nothing to compare"),
        );
    }
    let far = || Error::refused("Fisher: more than 128 figures are beyond exact counting here");
    let least = (row + column).saturating_sub(all);
    let most = row.min(column);
    let mut weights = Vec::new();
    for x in least..=most {
        let ways = choose(row, x).zip(choose(all - row, column - x));
        weights.push(ways.and_then(|(p, q)| p.checked_mul(q)).ok_or_else(far)?);
    }
    let total = weights
        .iter()
        .try_fold(0_u128, |sum, w| sum.checked_add(*w))
        .ok_or_else(far)?;
    let share = |count: u128| count as f64 / total as f64;
    let here = weights[a - least];
    let two = weights.iter().filter(|w| **w <= here).sum();
    let rarest = weights.iter().copied().min().unwrap_or(0);
    let two_floor = weights.iter().filter(|w| **w <= rarest).sum();
    Ok(Fisher {
        exact: Exact {
            statistic: a as f64,
            p_low: share(weights[..=a - least].iter().sum()),
            p_high: share(weights[a - least..].iter().sum()),
            floor_low: share(weights[0]),
            floor_high: share(weights[weights.len() - 1]),
            arrangements: total as f64,
            how: How::Counted,
        },
        p_two: share(two),
        floor_two: share(two_floor),
    })
}

/// Fisher's test of a 2 x 2 table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fisher {
    /// One-sided shares of the count in the first cell.
    pub exact: Exact,
    /// All tables at most as likely as the observed one.
    pub p_two: f64,
    /// Smallest two-sided p these margins allow.
    pub floor_two: f64,
}

impl Fisher {
    /// The p value on the declared side.
    #[must_use]
    pub fn p(&self, side: Side) -> f64 {
        match side {
            Side::Two => self.p_two,
            one => self.exact.p(one),
        }
    }

    /// The smallest p these margins allow on that side.
    #[must_use]
    pub fn floor(&self, side: Side) -> f64 {
        match side {
            Side::Two => self.floor_two,
            one => self.exact.floor(one),
        }
    }
}

/// Most partial tables kept at once.
const PARTIAL: usize = 4_000_000;
/// Probabilities closer than this (relative) are one probability, as in the common statistics
/// packages.
const SAME: f64 = 1e-7;

/// Fisher-Freeman-Halton test of an r x c table: share of all tables with these margins that are
/// at most as likely as the observed one.
///
/// The columns are cut in two halves; for every way the row totals can be split between them the
/// halves' probabilities are listed, sorted and matched, so a 4 x 4 table of 104 takes
/// milliseconds instead of minutes of enumeration. Probabilities are floats here, in fixed order.
///
/// # Errors
/// Fewer than two non-empty rows or columns, ragged rows, too many partial tables.
///
/// Source: Freeman & Halton 1951, Biometrika 38:141.
pub fn fisher_table(table: &[Vec<usize>]) -> Result<f64> {
    let width = table.first().map_or(0, Vec::len);
    if table.iter().any(|row| row.len() != width) {
        return Err(Error::input(
            "Fisher: the rows of the table have different lengths",
        ));
    }
    let rows: Vec<usize> = table
        .iter()
        .map(|r| r.iter().sum())
        .filter(|n| *n > 0)
        .collect();
    let columns: Vec<usize> = (0..width)
        .map(|j| table.iter().map(|r| r[j]).sum())
        .filter(|n| *n > 0)
        .collect();
    if rows.len() < 2 || columns.len() < 2 {
        return Err(Error::input(
            "Fisher: fewer than two rows or columns have any count",
        ));
    }
    let logs = log_factorials(rows.iter().sum());
    let observed: f64 = table.iter().flatten().map(|n| -logs[*n]).sum();
    let half = columns.len() / 2;
    let left = halves(&rows, &columns[..half], &logs)?;
    let right = halves(&rows, &columns[half..], &logs)?;
    let margins = |list: &[usize]| list.iter().map(|n| logs[*n]).sum::<f64>();
    let base = margins(&rows) + margins(&columns) - logs[rows.iter().sum::<usize>()];
    let mut shares = Vec::new();
    for (split, weights) in &left {
        let rest: Vec<usize> = rows.iter().zip(split).map(|(n, s)| n - s).collect();
        let Some(others) = right.get(&rest) else {
            continue;
        };
        shares.push(matched(weights, others, observed, base));
    }
    let p = base::sum::sum(shares);
    Ok(p.min(1.0))
}

fn log_factorials(n: usize) -> Vec<f64> {
    let mut logs = vec![0.0];
    for i in 1..=n {
        logs.push(logs[i - 1] + (i as f64).ln());
    }
    logs
}

/// For each vector of row totals used by these columns: the log weights of the ways to get there.
fn halves(
    rows: &[usize],
    columns: &[usize],
    logs: &[f64],
) -> Result<BTreeMap<Vec<usize>, Vec<f64>>> {
    let mut states = BTreeMap::from([(vec![0; rows.len()], vec![0.0])]);
    for &column in columns {
        let mut next: BTreeMap<Vec<usize>, Vec<f64>> = BTreeMap::new();
        let mut kept = 0;
        for (used, weights) in &states {
            let mut filling = vec![0; rows.len()];
            let mut place = |filling: &[usize]| -> Result<()> {
                kept += weights.len();
                if kept > PARTIAL {
                    return Err(
                        Error::refused("Fisher: the table is too large to count exactly")
                            .hint("join rarely used grades, or compare two systems at a time"),
                    );
                }
                let weight: f64 = filling.iter().map(|n| -logs[*n]).sum();
                let key: Vec<usize> = used.iter().zip(filling).map(|(u, f)| u + f).collect();
                next.entry(key)
                    .or_default()
                    .extend(weights.iter().map(|w| w + weight));
                Ok(())
            };
            fill(rows, used, 0, column, &mut filling, &mut place)?;
        }
        states = next;
    }
    Ok(states)
}

fn fill(
    rows: &[usize],
    used: &[usize],
    row: usize,
    left: usize,
    filling: &mut Vec<usize>,
    found: &mut impl FnMut(&[usize]) -> Result<()>,
) -> Result<()> {
    let room = rows[row] - used[row];
    if row + 1 == rows.len() {
        if left > room {
            return Ok(());
        }
        filling[row] = left;
        return found(filling);
    }
    for count in 0..=left.min(room) {
        filling[row] = count;
        fill(rows, used, row + 1, left - count, filling, found)?;
    }
    Ok(())
}

/// Probability of all pairs of halves whose joint log weight is at most the observed one.
fn matched(left: &[f64], right: &[f64], observed: f64, base: f64) -> f64 {
    let mut sorted = right.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mut cumulative = Vec::with_capacity(sorted.len());
    let mut total = 0.0;
    for weight in &sorted {
        total += weight.exp();
        cumulative.push(total);
    }
    let shares = left.iter().map(|weight| {
        let below = sorted.partition_point(|w| w + weight <= observed + SAME);
        match below {
            0 => 0.0,
            n => (weight + base).exp() * cumulative[n - 1],
        }
    });
    base::sum::sum(shares)
}
