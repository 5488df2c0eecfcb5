//! Blocks: one figure of every system per session. Arrangements permute inside blocks only.

use super::tally::{Budget, Tally, next_arrangement};
use super::{Exact, drawn, factorial, filled, finite, integer_ranks};
use base::{Error, Result};
use rand::seq::SliceRandom;
use std::collections::BTreeMap;

/// Integer ranks inside each block, doubled in all blocks as soon as one block has a tie.
fn block_ranks(blocks: &[Vec<f64>]) -> (Vec<Vec<i64>>, i64) {
    let ranked: Vec<(Vec<i64>, i64)> = blocks.iter().map(|b| integer_ranks(b)).collect();
    let scale = ranked.iter().map(|(_, s)| *s).max().unwrap_or(1);
    let whole = |(ranks, own): (Vec<i64>, i64)| -> Vec<i64> {
        ranks.into_iter().map(|r| r * (scale / own)).collect()
    };
    (ranked.into_iter().map(whole).collect(), scale)
}

fn complete(blocks: &[Vec<f64>]) -> Result<usize> {
    filled(blocks, 1)?;
    let k = blocks[0].len();
    if k < 2 || blocks.iter().any(|b| b.len() != k) {
        return Err(
            Error::input("every block needs one value for each of at least two systems")
                .hint("with missing cells use the Skillings-Mack test"),
        );
    }
    Ok(k)
}

fn column_sums(rows: &[Vec<i64>]) -> Vec<i64> {
    let mut sums = vec![0; rows[0].len()];
    for row in rows {
        for (sum, rank) in sums.iter_mut().zip(row) {
            *sum += rank;
        }
    }
    sums
}

fn square_sum(sums: &[i64]) -> i64 {
    sums.iter().map(|s| s * s).sum()
}

/// Friedman test of any difference, one value per system and block, exact given the ties; use
/// `p_high`.
///
/// Q = (k-1)(S R_j^2 - bC)/(A - C), A = S r^2, C = bk(k+1)^2/4. The first block may be held fixed,
/// and rank sums that differ only in order are one state.
///
/// * `blocks`: one row per block, one column per system
///
/// # Errors
/// Rows of unequal length, fewer than two systems, a value that is no number.
///
/// Source: Friedman 1937, J. Am. Stat. Assoc. 32:675; ties: Conover 1999, sec. 5.8.
pub fn friedman(blocks: &[Vec<f64>]) -> Result<Exact> {
    let k = complete(blocks)?;
    let (rows, scale) = block_ranks(blocks);
    let observed = square_sum(&column_sums(&rows));
    let q = friedman_q(observed, &rows, scale);
    let arrangements = factorial(k).powi(blocks.len() as i32);
    if let Some(tally) = square_distribution(&rows) {
        let mut exact = tally.exact(q, observed, 1.0);
        exact.arrangements = arrangements;
        return Ok(exact);
    }
    let mut shuffled = rows.clone();
    let floor = rows.iter().map(|r| ways_to_equal(r)).product::<f64>() / arrangements;
    let floors = (
        0.0,
        floor * factorial(k) / ways_to_equal(&rows[0]),
        arrangements,
    );
    Ok(drawn("friedman", (q, i128::from(observed)), floors, |r| {
        shuffled.iter_mut().for_each(|row| row.shuffle(r));
        i128::from(square_sum(&column_sums(&shuffled)))
    }))
}

/// Arrangements of a row that look the same.
fn ways_to_equal(row: &[i64]) -> f64 {
    let mut sorted = row.to_vec();
    sorted.sort_unstable();
    let runs = sorted.chunk_by(|a, b| a == b);
    runs.map(|run| factorial(run.len())).product()
}

fn friedman_q(square_sum: i64, rows: &[Vec<i64>], scale: i64) -> f64 {
    let (b, k) = (rows.len() as f64, rows[0].len() as f64);
    let unit = (scale * scale) as f64;
    let a = rows.iter().map(|r| self::square_sum(r)).sum::<i64>() as f64 / unit;
    let c = b * k * (k + 1.0).powi(2) / 4.0;
    (k - 1.0) * (square_sum as f64 / unit - b * c) / (a - c)
}

/// Distribution of S R_j^2 over permutations inside all blocks but the first.
fn square_distribution(rows: &[Vec<i64>]) -> Option<Tally> {
    let mut budget = Budget::usual();
    let mut first = rows[0].clone();
    first.sort_unstable();
    let mut states = BTreeMap::from([(first, 1_u128)]);
    let last = rows.len().saturating_sub(1).max(1);
    for row in &rows[1..last.max(1)] {
        let mut next: BTreeMap<Vec<i64>, u128> = BTreeMap::new();
        for (sums, count) in &states {
            let mut arranged = row.clone();
            arranged.sort_unstable();
            loop {
                // A tree look-up costs about as much as a hundred additions.
                budget.spend(40 + 10 * sums.len())?;
                let mut moved: Vec<i64> = sums.iter().zip(&arranged).map(|(a, b)| a + b).collect();
                moved.sort_unstable();
                let sum = next.entry(moved).or_insert(0);
                *sum = sum.checked_add(*count)?;
                if !next_arrangement(&mut arranged) {
                    break;
                }
            }
        }
        states = next;
    }
    let mut total = Tally::none();
    for (sums, count) in &states {
        let fixed = square_sum(sums);
        match rows.len() {
            1 => total.add(&Tally::one(fixed), 0, *count, &mut budget)?,
            _ => {
                let row = &rows[rows.len() - 1];
                let inner = products(sums, row, &mut budget)?;
                let fixed = fixed + square_sum(row);
                for (product, ways) in inner.entries() {
                    let ways = ways.checked_mul(*count)?;
                    total.add(&Tally::one(fixed + 2 * product), 0, ways, &mut budget)?;
                }
            }
        }
    }
    Some(total)
}

/// Distribution of S a_j b_p(j) over all permutations p, by subsets of `b` used so far.
pub(super) fn products(a: &[i64], b: &[i64], budget: &mut Budget) -> Option<Tally> {
    let n = a.len();
    if n > 16 {
        return None;
    }
    let mut layer: Vec<Option<Tally>> = vec![None; 1 << n];
    layer[0] = Some(Tally::one(0));
    for used in 0..1_usize << n {
        let Some(tally) = layer[used].take() else {
            continue;
        };
        let place = used.count_ones() as usize;
        if place == n {
            return Some(tally);
        }
        for (j, value) in b.iter().enumerate() {
            if used >> j & 1 == 0 {
                layer[used | 1 << j].get_or_insert_with(Tally::none).add(
                    &tally,
                    a[place] * value,
                    1,
                    budget,
                )?;
            }
        }
    }
    None
}

/// Page's test of the declared order of systems, exact given the ties; `p_high` for "rises from
/// the first column to the last".
///
/// L = S j R_j, the blocks' parts are independent: counted one by one and convolved.
///
/// # Errors
/// As [`friedman`].
///
/// Source: Page 1963, J. Am. Stat. Assoc. 58:216; Hollander & Wolfe 1973, p. 147.
pub fn page(blocks: &[Vec<f64>]) -> Result<Exact> {
    let k = complete(blocks)?;
    let (rows, scale) = block_ranks(blocks);
    let order: Vec<i64> = (1..=k as i64).collect();
    let score = |row: &[i64]| -> i64 { row.iter().zip(&order).map(|(r, j)| r * j).sum() };
    let observed: i64 = rows.iter().map(|r| score(r)).sum();
    let statistic = observed as f64 / scale as f64;
    let arrangements = factorial(k).powi(blocks.len() as i32);
    if let Some(tally) = page_distribution(&rows, &order) {
        let mut exact = tally.exact(statistic, observed, 1.0);
        exact.arrangements = arrangements;
        return Ok(exact);
    }
    let floor = rows.iter().map(|r| ways_to_equal(r)).product::<f64>() / arrangements;
    let mut shuffled = rows.clone();
    let floors = (floor, floor, arrangements);
    Ok(drawn(
        "page",
        (statistic, i128::from(observed)),
        floors,
        |r| {
            shuffled.iter_mut().for_each(|row| row.shuffle(r));
            shuffled.iter().map(|row| i128::from(score(row))).sum()
        },
    ))
}

fn page_distribution(rows: &[Vec<i64>], order: &[i64]) -> Option<Tally> {
    let mut budget = Budget::usual();
    let mut total = Tally::one(0);
    let mut known: BTreeMap<Vec<i64>, Tally> = BTreeMap::new();
    for row in rows {
        let mut key = row.clone();
        key.sort_unstable();
        if !known.contains_key(&key) {
            // Shares, not counts, matter: one block's counts are made small by its ties.
            let part = thinned(&key, order, &mut budget)?;
            known.insert(key.clone(), part);
        }
        total = total.convolve(&known[&key], &mut budget)?;
    }
    Some(total)
}

/// One block's distribution with equal arrangements counted once.
fn thinned(row: &[i64], order: &[i64], budget: &mut Budget) -> Option<Tally> {
    let whole = products(order, row, budget)?;
    let same = ways_to_equal(row) as u128;
    let mut part = Tally::none();
    for (value, count) in whole.entries() {
        part.add(&Tally::one(value), 0, count / same, budget)?;
    }
    Some(part)
}

/// Skillings-Mack test of any difference with missing cells, exact inside blocks given the ties;
/// use `p_high`.
///
/// A_j = S_i sqrt(12/(k_i+1)) (r_ij - (k_i+1)/2), SM = A' V^- A, with v_ij = -(blocks that hold
/// both) and rows that sum to 0. The null variance is the untied one, as published; the exact p
/// does not depend on it where nothing is missing.
///
/// * `blocks`: one row per block; `None` where a figure is missing
///
/// # Errors
/// No block with two values, rows of unequal length, a value that is no number.
///
/// Source: Skillings & Mack 1981, Technometrics 23:171.
pub fn skillings_mack(blocks: &[Vec<Option<f64>>]) -> Result<Exact> {
    let k = blocks.first().map_or(0, Vec::len);
    if k < 2 || blocks.iter().any(|b| b.len() != k) {
        return Err(Error::input(
            "every block needs a cell, empty or not, for each of at least two systems",
        ));
    }
    finite(blocks.iter().flatten().flatten().copied())?;
    let design = Incomplete::new(blocks, k)?;
    let observed = design.statistic(&design.sums(&design.rows));
    let (p_high, floor, how) = match design.distribution() {
        Some(entries) => {
            let total: u128 = entries.iter().map(|(_, c)| c).sum();
            let reach = |limit: f64| -> f64 {
                let near = limit - 1e-9 * limit.abs().max(1.0);
                let high = entries.iter().filter(|(s, _)| *s >= near);
                high.map(|(_, c)| c).sum::<u128>() as f64 / total as f64
            };
            let most = entries.iter().map(|(s, _)| *s).fold(0.0, f64::max);
            (reach(observed), reach(most), super::How::Counted)
        }
        None => {
            let draws = design.draws(observed);
            (
                draws,
                1.0 / (super::DRAWN + 1) as f64,
                super::How::Drawn(super::DRAWN),
            )
        }
    };
    let sizes = design.rows.iter().map(|r| factorial(r.ranks.len()));
    Ok(Exact {
        statistic: observed,
        p_low: 1.0,
        p_high,
        floor_low: 1.0,
        floor_high: floor,
        arrangements: sizes.product(),
        how,
    })
}

/// A block of an incomplete design: which systems it holds, their centred ranks (x 2), and which
/// weight belongs to its size.
struct Row {
    systems: Vec<usize>,
    ranks: Vec<i64>,
    size_class: usize,
}

struct Incomplete {
    systems: usize,
    rows: Vec<Row>,
    weights: Vec<f64>,
    inverse: nalgebra::DMatrix<f64>,
}

impl Incomplete {
    fn new(blocks: &[Vec<Option<f64>>], k: usize) -> Result<Incomplete> {
        let mut rows = Vec::new();
        let mut sizes: Vec<usize> = Vec::new();
        let mut variance = nalgebra::DMatrix::<f64>::zeros(k, k);
        for block in blocks {
            let systems: Vec<usize> = (0..k).filter(|j| block[*j].is_some()).collect();
            let values: Vec<f64> = block.iter().flatten().copied().collect();
            let n = values.len();
            if n < 2 {
                continue;
            }
            let size_class = sizes.iter().position(|s| *s == n).unwrap_or_else(|| {
                sizes.push(n);
                sizes.len() - 1
            });
            let centred = base::stats::midranks(&values);
            let ranks = centred
                .iter()
                .map(|r| (2.0 * r).round() as i64 - (n as i64 + 1));
            for &i in &systems {
                for &j in systems.iter().filter(|j| **j != i) {
                    variance[(i, j)] -= 1.0;
                    variance[(i, i)] += 1.0;
                }
            }
            rows.push(Row {
                systems,
                ranks: ranks.collect(),
                size_class,
            });
        }
        if rows.is_empty() {
            return Err(Error::input("Skillings-Mack: no block holds two figures"));
        }
        let inverse = variance
            .pseudo_inverse(1e-9)
            .map_err(|e| Error::refused(format!("Skillings-Mack: {e}")))?;
        Ok(Incomplete {
            systems: k,
            rows,
            weights: sizes
                .iter()
                .map(|n| (12.0 / (*n as f64 + 1.0)).sqrt() / 2.0)
                .collect(),
            inverse,
        })
    }

    /// Rank sums per size of block and system, in one row.
    fn sums(&self, rows: &[Row]) -> Vec<i64> {
        let mut sums = vec![0; self.weights.len() * self.systems];
        for row in rows {
            for (system, rank) in row.systems.iter().zip(&row.ranks) {
                sums[row.size_class * self.systems + system] += rank;
            }
        }
        sums
    }

    fn statistic(&self, sums: &[i64]) -> f64 {
        let adjusted = nalgebra::DVector::from_fn(self.systems, |j, _| {
            let parts = self.weights.iter().enumerate();
            parts
                .map(|(c, w)| w * sums[c * self.systems + j] as f64)
                .sum()
        });
        (adjusted.transpose() * &self.inverse * &adjusted)[(0, 0)]
    }

    fn distribution(&self) -> Option<Vec<(f64, u128)>> {
        let mut budget = Budget::usual();
        let mut states = BTreeMap::from([(vec![0; self.weights.len() * self.systems], 1_u128)]);
        for row in &self.rows {
            let mut next: BTreeMap<Vec<i64>, u128> = BTreeMap::new();
            for (sums, count) in &states {
                let mut arranged = row.ranks.clone();
                arranged.sort_unstable();
                loop {
                    budget.spend(40 + 10 * sums.len())?;
                    let mut moved = sums.clone();
                    for (system, rank) in row.systems.iter().zip(&arranged) {
                        moved[row.size_class * self.systems + system] += rank;
                    }
                    let sum = next.entry(moved).or_insert(0);
                    *sum = sum.checked_add(*count)?;
                    if !next_arrangement(&mut arranged) {
                        break;
                    }
                }
            }
            states = next;
        }
        let entries = states.iter();
        Some(entries.map(|(s, c)| (self.statistic(s), *c)).collect())
    }

    fn draws(&self, observed: f64) -> f64 {
        let mut random = base::random::stream(0, &["bench exact test", "skillings mack"], 0);
        let near = observed - 1e-9 * observed.abs().max(1.0);
        let mut rows: Vec<Row> = Vec::new();
        for row in &self.rows {
            rows.push(Row {
                systems: row.systems.clone(),
                ranks: row.ranks.clone(),
                size_class: row.size_class,
            });
        }
        let mut reached = 1_u64;
        for _ in 0..super::DRAWN {
            rows.iter_mut()
                .for_each(|row| row.ranks.shuffle(&mut random));
            reached += u64::from(self.statistic(&self.sums(&rows)) >= near);
        }
        reached as f64 / (super::DRAWN + 1) as f64
    }
}
