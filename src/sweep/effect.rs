//! Main effects and two-way effects: the decomposition of the logarithm over a design, draw by
//! draw (analysis of variance; Box, Hunter & Hunter 1978, "Statistics for Experimenters", ch. 10).
//!
//! ```text
//! y_ij.. = m + a_i + b_j + (ab)_ij + rest,   a_i = m_i - m,   (ab)_ij = m_ij - m_i - m_j + m
//! S_A = sum n_i a_i^2,   S_AB = sum n_ij (ab)_ij^2,   shares of S = sum (y - m)^2
//! ```
//!
//! In a grid the shares add up to 1. In other designs levels are not equally often together, so
//! effects mix a little; the findings say so. Because every draw is decomposed by itself, what
//! all parts share (a wear rate known to a factor of ten) cancels.

use super::tally::{Cell, Tally};
use crate::study::Interval;
use base::sum::sum;
use serde::Serialize;

/// A two-way effect is shown from this share of the variation on.
const SHOWN_SHARE: f64 = 0.01;
/// A cell is sure when it stands this many standard deviations from nothing.
const SURE: f64 = 3.0;

/// What one factor does.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Effect {
    /// Name of the factor.
    pub factor: String,
    /// Share of the variation of the logarithm, 0 to 1.
    pub share: Interval,
    /// Level by level.
    pub levels: Vec<LevelEffect>,
}

/// What one level does.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LevelEffect {
    /// Words of the level.
    pub level: String,
    /// Parts at this level.
    pub parts: u64,
    /// Factor on the geometric mean of all parts; `None` without parts.
    pub times: Option<Interval>,
}

/// What two factors do together beyond what each does alone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TwoWay {
    /// Name of a factor.
    pub first: String,
    /// Name of another.
    pub second: String,
    /// Share of the variation of the logarithm, 0 to 1.
    pub share: Interval,
    /// It is large and sure enough to be told.
    pub matters: bool,
    /// Cell by cell, the first factor outermost.
    pub cells: Vec<TwoWayCell>,
}

/// One combination of two levels.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TwoWayCell {
    /// Level of the first factor.
    pub first: String,
    /// Level of the second.
    pub second: String,
    /// Geometric mean of the quantity here.
    pub value: Interval,
    /// Factor beyond what the two levels do alone.
    pub beyond: Interval,
    /// It is clearly not 1.
    pub sure: bool,
}

/// Effects of every factor.
#[must_use]
pub fn effects(tally: &Tally) -> Vec<Effect> {
    (0..tally.factors.len())
        .filter_map(|f| effect(tally, f))
        .collect()
}

fn effect(tally: &Tally, f: usize) -> Option<Effect> {
    let factor = &tally.factors[f];
    let cells: Vec<&Cell> = (0..factor.levels.len())
        .map(|l| tally.level(f, l))
        .collect();
    let shares = (0..tally.draws()).map(|d| {
        let mean = tally.all.mean(d).unwrap_or(0.0);
        let part = sum(cells
            .iter()
            .filter_map(|cell| Some(cell.count as f64 * (cell.mean(d)? - mean).powi(2))));
        share(part, tally.spread(d))
    });
    let levels = factor
        .levels
        .iter()
        .zip(&cells)
        .map(|(words, cell)| LevelEffect {
            level: words.clone(),
            parts: cell.count,
            times: Interval::of(ratios(&cell.means(), &tally.all.means())),
        })
        .collect();
    Some(Effect {
        factor: factor.name.clone(),
        share: Interval::of(shares.collect())?,
        levels,
    })
}

fn share(part: f64, whole: f64) -> f64 {
    if whole > 0.0 { part / whole } else { 0.0 }
}

fn ratios(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| (a - b).exp()).collect()
}

/// Two-way effects of every pair of factors that is kept, those that matter first, then by share.
#[must_use]
pub fn two_ways(tally: &Tally) -> Vec<TwoWay> {
    let mut found: Vec<TwoWay> = tally
        .kept_pairs()
        .filter_map(|pair| two_way(tally, pair))
        .collect();
    found.sort_by(|x, y| {
        y.matters
            .cmp(&x.matters)
            .then(y.share.median.total_cmp(&x.share.median))
    });
    found
}

fn two_way(tally: &Tally, (a, b): (usize, usize)) -> Option<TwoWay> {
    let (first, second) = (&tally.factors[a], &tally.factors[b]);
    let draws = tally.draws();
    let mut sums = vec![0.0; draws];
    let mut cells = Vec::new();
    for (i, x) in first.levels.iter().enumerate() {
        for (j, y) in second.levels.iter().enumerate() {
            let cell = tally.both((a, i), (b, j))?;
            if cell.count == 0 {
                continue;
            }
            let beyond = beyond(tally, (a, i), (b, j), cell);
            for (total, g) in sums.iter_mut().zip(&beyond) {
                *total += cell.count as f64 * g * g;
            }
            cells.push(TwoWayCell {
                first: x.clone(),
                second: y.clone(),
                value: Interval::of(cell.means().iter().map(|m| m.exp()).collect())?,
                sure: is_sure(&beyond),
                beyond: Interval::of(beyond.iter().map(|g| g.exp()).collect())?,
            });
        }
    }
    let shares = (0..draws).map(|d| share(sums[d], tally.spread(d)));
    let share = Interval::of(shares.collect())?;
    Some(TwoWay {
        first: first.name.clone(),
        second: second.name.clone(),
        share,
        matters: share.median >= SHOWN_SHARE && cells.iter().any(|c| c.sure),
        cells,
    })
}

/// (ab)_ij in every draw.
fn beyond(tally: &Tally, (a, i): (usize, usize), (b, j): (usize, usize), cell: &Cell) -> Vec<f64> {
    let (row, column) = (tally.level(a, i), tally.level(b, j));
    (0..tally.draws())
        .map(|d| {
            let mean = |c: &Cell| c.mean(d).unwrap_or(0.0);
            mean(cell) - mean(row) - mean(column) + mean(&tally.all)
        })
        .collect()
}

fn is_sure(values: &[f64]) -> bool {
    let n = values.len() as f64;
    let mean = sum(values.iter().copied()) / n;
    let variance = sum(values.iter().map(|v| (v - mean).powi(2))) / (n - 1.0).max(1.0);
    // Rounding alone leaves about 1e-7 in a single-precision logarithm.
    mean.abs() > SURE * variance.sqrt() && mean.abs() > 1e-4
}

#[cfg(test)]
mod tests {
    use super::super::tally::Factor;
    use super::*;

    fn factor(name: &str, levels: &[&str]) -> Factor {
        Factor {
            name: name.into(),
            levels: levels.iter().map(|l| (*l).to_string()).collect(),
            is_figure: false,
        }
    }

    fn tallied(levels: [usize; 2], y: impl Fn(usize, usize) -> Vec<Vec<f64>>) -> Tally {
        let names = ["1", "2", "3", "4"];
        let mut tally = Tally::new(vec![
            factor("a", &names[..levels[0]]),
            factor("b", &names[..levels[1]]),
        ]);
        for i in 0..levels[0] {
            for j in 0..levels[1] {
                for draws in y(i, j) {
                    tally.add(&[i, j], &draws);
                }
            }
        }
        tally
    }

    /// Box, Hunter & Hunter 1978, sec. 7.7: survival times of 48 animals, 3 poisons x 4 treatments
    /// x 4 animals (unit 10 h). Data and sums of squares from memory, as statistics programs print them for
    /// this classic: poisons 1.0330, treatments 0.9212, interaction 0.2501, within 0.8007.
    #[test]
    fn sums_of_squares_of_the_poisons() {
        let times: [[[f64; 4]; 4]; 3] = [
            [
                [0.31, 0.45, 0.46, 0.43],
                [0.82, 1.10, 0.88, 0.72],
                [0.43, 0.45, 0.63, 0.76],
                [0.45, 0.71, 0.66, 0.62],
            ],
            [
                [0.36, 0.29, 0.40, 0.23],
                [0.92, 0.61, 0.49, 1.24],
                [0.44, 0.35, 0.31, 0.40],
                [0.56, 1.02, 0.71, 0.38],
            ],
            [
                [0.22, 0.21, 0.18, 0.23],
                [0.30, 0.37, 0.38, 0.29],
                [0.23, 0.25, 0.24, 0.22],
                [0.30, 0.36, 0.31, 0.33],
            ],
        ];
        let tally = tallied([3, 4], |i, j| {
            times[i][j].iter().map(|t| vec![*t; 20]).collect()
        });
        let total = tally.spread(0);
        assert!((total - 3.005).abs() < 1e-4, "{total}");
        let effects = effects(&tally);
        for (effect, printed) in effects.iter().zip([1.0330, 0.9212]) {
            assert!(
                (effect.share.median * total - printed).abs() < 6e-5,
                "{effect:?}"
            );
        }
        let both = &two_ways(&tally)[0];
        assert!(
            (both.share.median * total - 0.2501).abs() < 6e-5,
            "{both:?}"
        );
        assert!(tally.is_balanced());
    }

    /// What all parts share cancels: a common factor with a huge spread leaves the ratios exact.
    #[test]
    fn what_all_parts_share_cancels() {
        let tally = tallied([2, 2], |i, j| {
            let y = i as f64 * 2f64.ln() + j as f64 * 3f64.ln();
            vec![(0..50).map(|d| y + f64::from(d) - 25.0).collect()]
        });
        let effects = effects(&tally);
        let times = effects[0].levels[1].times.expect("interval");
        assert!((times.median - 2f64.sqrt()).abs() < 1e-9);
        assert!(times.high / times.low < 1.0 + 1e-9);
        let both = &two_ways(&tally)[0];
        assert!(!both.matters && both.share.high < 1e-9, "{both:?}");
    }
}
