//! Independent replicates until the interval is narrow enough or the budget ends.

use crate::base::stats::{Estimate, estimate};
use crate::base::{Error, Note, Result, Topic, Watch};
use crate::dose::{Dose, DoseRate};
use crate::figure::Figure;
use rayon::prelude::*;

/// Replicates run at once. Fixed, so that the number of threads never decides where a run ends.
pub const BATCH: u64 = 8;
/// [m] patches this near to the worst patch make one area with it.
pub const AREA: f64 = 1e-3;
/// Areas watched.
pub const AREAS: usize = 5;
/// Replicates before an interval is believed: Student's t needs some, and the doses of single
/// replicates are skewed.
const LEAST: usize = 16;

/// When to stop.
#[derive(Debug, Clone, PartialEq)]
pub struct Precision {
    /// Half-width of the 95 % interval over the mean, wanted for every watched area.
    pub relative: f64,
    /// Most replicates.
    pub budget: u64,
    /// Watched sets of patches; empty: the areas with most energy per area so far.
    pub groups: Vec<Vec<usize>>,
}

/// What came of it.
#[derive(Debug, Clone)]
pub struct Grown<L> {
    /// Dose of each replicate, in order.
    pub doses: Vec<Dose>,
    /// What else each replicate told, in order.
    pub sides: Vec<L>,
    /// How narrow the intervals are and why it ended.
    pub notes: Vec<Note>,
    /// Worst relative half-width over the watched areas.
    pub reached: f64,
}

/// Runs replicates 0, 1, 2 ... in batches of fixed size.
///
/// * `one`: dose per unit of one replicate, and what else it tells
///
/// # Errors
/// Interrupted when the watcher says so; the first error of a replicate, by number.
pub fn grow<L: Send>(
    figure: &Figure,
    precision: &Precision,
    one: impl Fn(u64) -> Result<(Dose, L)> + Sync,
    watch: &dyn Watch,
) -> Result<Grown<L>> {
    let (mut doses, mut sides) = (Vec::new(), Vec::new());
    loop {
        let first = doses.len() as u64;
        let last = (first + BATCH).min(precision.budget.max(2));
        let batch: Vec<Result<(Dose, L)>> = (first..last)
            .into_par_iter()
            .map(|number| {
                if watch.stopped() {
                    return Err(Error::interrupted("stopped while replicates were running"));
                }
                one(number)
            })
            .collect();
        for replicate in batch {
            let (dose, side) = replicate?;
            doses.push(dose);
            sides.push(side);
        }
        let groups = match precision.groups.is_empty() {
            true => top_areas(figure, &doses, AREAS),
            false => precision.groups.clone(),
        };
        let (reached, words) = worst(&groups, &doses);
        let enough = doses.len() >= LEAST && reached <= precision.relative;
        let spent =
            doses.len() as u64 >= precision.budget.max(2) || (watch.enough() && doses.len() >= 2);
        watch.progress(fraction(precision, doses.len(), reached), &words);
        if enough || spent {
            return Ok(Grown {
                notes: vec![ending(precision, doses.len(), reached, enough)],
                doses,
                sides,
                reached,
            });
        }
    }
}

fn fraction(precision: &Precision, done: usize, reached: f64) -> f64 {
    let needed = done as f64 * (reached / precision.relative).powi(2);
    let goal = needed.max(LEAST as f64).min(precision.budget as f64);
    (done as f64 / goal).clamp(0.0, 1.0)
}

fn ending(precision: &Precision, done: usize, reached: f64, enough: bool) -> Note {
    let asked = 100.0 * precision.relative;
    let told = format!(
        "{done} independent replicates; 95 % intervals of the {} hardest-hit areas are within {:.1} %",
        if precision.groups.is_empty() {
            AREAS
        } else {
            precision.groups.len()
        },
        100.0 * reached
    );
    if enough {
        Note::new(Topic::Limit, format!("{told} (asked: {asked:.0} %)"))
    } else {
        let more = done as f64 * (reached / precision.relative).powi(2);
        Note::new(
            Topic::Limit,
            format!(
                "{told}, wider than the {asked:.0} % asked, because the budget ended; about {more:.0} \
                 replicates would do"
            ),
        )
    }
}

/// [J] friction work and impact loss on a set of patches.
#[must_use]
pub fn energy(dose: &Dose, patches: &[usize]) -> f64 {
    let totals = dose.totals();
    let each = patches
        .iter()
        .map(|&p| totals[p].friction + totals[p].impact);
    crate::base::sum::sum(each)
}

/// Relative half-width of the worst area, and the running estimate in words.
fn worst(groups: &[Vec<usize>], doses: &[Dose]) -> (f64, String) {
    let mut worst = (0.0_f64, String::from("nothing has touched yet"));
    for (rank, group) in groups.iter().enumerate() {
        let values: Vec<f64> = doses.iter().map(|d| energy(d, group)).collect();
        let Estimate { mean, half_width } = estimate(&values);
        let relative = if mean > 0.0 {
            half_width / mean
        } else {
            f64::INFINITY
        };
        if rank == 0 {
            worst.1 = format!(
                "hardest-hit area {:.3} mJ per unit +- {:.0} %",
                1e3 * mean,
                100.0 * relative
            );
        }
        worst.0 = worst.0.max(relative);
    }
    (worst.0, worst.1)
}

/// The areas with most energy per surface: each the worst patch not yet taken, with every patch
/// within [`AREA`] of it.
#[must_use]
pub fn top_areas(figure: &Figure, doses: &[Dose], count: usize) -> Vec<Vec<usize>> {
    let patches = &figure.patches;
    let mean =
        DoseRate::from_replicates(crate::dose::Unit::Minute, doses.to_vec(), Vec::new()).mean;
    let mut order: Vec<(f64, usize)> = mean
        .totals()
        .iter()
        .enumerate()
        .filter(|(p, a)| patches[*p].area > 0.0 && a.friction + a.impact > 0.0)
        .map(|(p, a)| ((a.friction + a.impact) / patches[p].area, p))
        .collect();
    order.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut taken = vec![false; patches.len()];
    let mut areas = Vec::new();
    for &(_, worst) in &order {
        if areas.len() == count {
            break;
        }
        if taken[worst] {
            continue;
        }
        let near = |p: usize| (patches[p].centroid - patches[worst].centroid).norm() <= AREA;
        let area: Vec<usize> = (0..patches.len())
            .filter(|&p| !taken[p] && near(p))
            .collect();
        area.iter().for_each(|&p| taken[p] = true);
        areas.push(area);
    }
    areas
}
