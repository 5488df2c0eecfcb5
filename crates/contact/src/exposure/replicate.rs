//! Independent replicates until the interval is narrow enough or the budget ends.

use crate::dose::{Dose, DoseRate};
use base::stats::{Estimate, estimate};
use base::{Error, Note, Result, Topic, Watch};
use mesh::figure::Figure;
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
    base::sum::sum(each)
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

/// Rank correlation that two independent runs of this many replicates would show with each other:
/// no comparison of two maps can be asked to score above it.
///
/// Even against odd replicates, carried from half to whole by the Spearman-Brown formula
/// 2r/(1 + r) (Spearman 1910, Brown 1910, Brit. J. Psychol. 3).
///
/// * `maps`: one map per replicate, at least 4, all over the same patches
///
/// Returns NaN with fewer replicates or where a half is the same everywhere.
#[must_use]
pub fn seed_noise_ceiling(maps: &[Vec<f64>]) -> f64 {
    let patches = maps.first().map_or(0, Vec::len);
    if maps.len() < 4 {
        return f64::NAN;
    }
    let half = |first: usize| -> Vec<f64> {
        let some: Vec<&Vec<f64>> = maps.iter().skip(first).step_by(2).collect();
        (0..patches)
            .map(|p| base::sum::sum(some.iter().map(|m| m[p])))
            .collect()
    };
    let r = base::stats::spearman(&half(0), &half(1));
    2.0 * r / (1.0 + r)
}

/// How certain it is that one area outranks another, from paired replicates: 0.5 is a coin flip.
///
/// Student's t on the differences, one-sided.
///
/// * `first`, `second`: one value per replicate, equally many, at least 2
#[must_use]
pub fn rank_certainty(first: &[f64], second: &[f64]) -> f64 {
    use statrs::distribution::{ContinuousCDF, StudentsT};
    let differences: Vec<f64> = first.iter().zip(second).map(|(a, b)| a - b).collect();
    let degrees = differences.len().saturating_sub(1);
    let Estimate { mean, half_width } = estimate(&differences);
    if degrees == 0 || !half_width.is_finite() {
        return 0.5;
    }
    let error = half_width / base::stats::student95(degrees);
    if error == 0.0 {
        return 0.5 + 0.5 * mean.signum() * f64::from(u8::from(mean != 0.0));
    }
    StudentsT::new(0.0, 1.0, degrees as f64).map_or(0.5, |t| t.cdf(mean / error))
}

#[cfg(test)]
mod tests {
    use super::*;
    use base::random::stream;
    use rand::RngExt;

    /// The ceiling is what two whole runs show: 30 patches, uniform noise, several runs.
    #[test]
    fn the_ceiling_is_what_two_runs_show() {
        let mut random = stream(4, &["ceiling"], 0);
        let mut run = || -> Vec<Vec<f64>> {
            (0..40)
                .map(|_| {
                    (0..30)
                        .map(|p| f64::from(p) * 0.02 + 3.0 * random.random::<f64>())
                        .collect()
                })
                .collect()
        };
        let total = |maps: &[Vec<f64>]| -> Vec<f64> {
            (0..30).map(|p| maps.iter().map(|m| m[p]).sum()).collect()
        };
        let (mut told, mut seen) = (0.0, 0.0);
        for _ in 0..40 {
            let (a, b) = (run(), run());
            told += 0.5 * (seed_noise_ceiling(&a) + seed_noise_ceiling(&b)) / 40.0;
            seen += base::stats::spearman(&total(&a), &total(&b)) / 40.0;
        }
        assert!((told - seen).abs() < 0.04, "{told} {seen}");
    }

    /// Student 1908, sleep data: mean difference 1.58 h, t = 4.06 on 9 degrees; one-sided P about
    /// 0.9985 (his paper says odds of 666 to 1).
    #[test]
    fn certainty_of_the_sleep_data() {
        let first = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0];
        let second = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4];
        let certain = rank_certainty(&second, &first);
        assert!((certain - 0.9986).abs() < 2e-4, "{certain}");
        assert!((rank_certainty(&first, &second) + certain - 1.0).abs() < 1e-12);
        assert_eq!(rank_certainty(&first, &first), 0.5);
    }
}
