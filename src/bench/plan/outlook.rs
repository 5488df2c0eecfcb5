//! Before anyone paints: what each declared question could show with how many figures, and what
//! that costs in hours.

use super::grid::as_planned;
use super::{PlanSettings, told};
use crate::bench::design::{ChanceSettings, Test, chance, floor_of_design};
use crate::bench::exact::Side;
use crate::bench::files::Comparison;
use crate::bench::model::{Density, Prior, Reading};
use base::Result;
use base::random::Stream;
use base::sum::sum;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// How much faster the next system, or the odd one, wears in the benches that are simulated.
pub(super) const FACTORS: [f64; 2] = [1.5, 2.5];
/// Simulated benches: a chance near one half is known to 7 points (two standard errors).
pub(super) const RUNS: usize = 200;
/// Figures per system looked at, at least.
const MOST: usize = 4;

/// One line of `outlook.csv`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct OutlookRow {
    /// The declared question.
    pub question: String,
    /// Figures per system.
    pub figures_per_system: usize,
    /// The smallest p the design could give.
    pub smallest_p: f64,
    /// Level it has to reach, corrected for the family.
    pub level: f64,
    /// Life ratio between neighbours in the declared order, or of the odd system to the rest.
    pub wear_ratio: f64,
    /// \[%\] of simulated benches in which it is shown.
    pub chance_pct: f64,
    /// \[h\] handling, grading and photographs of the whole bench.
    pub hours: f64,
}

/// Smallest p and chance of every declared question, for a few sizes of the bench.
///
/// # Errors
/// As the tests.
pub(super) fn outlook(settings: &PlanSettings, grid: &[f64]) -> Result<Vec<OutlookRow>> {
    let mut rows = Vec::new();
    let most = MOST.max(settings.figures_per_system);
    for c in &settings.family {
        let level = settings.alpha / settings.family.len() as f64;
        for n in 1..=most {
            let two_sided = c.side == Side::Two;
            let floor = floor_of_design(c.test, c.systems.len(), n, two_sided)?;
            for ratio in FACTORS {
                let shown = if floor > level {
                    0.0
                } else {
                    shown(settings, grid, (c, n), (ratio, level))?
                };
                rows.push(OutlookRow {
                    question: c.name.clone(),
                    figures_per_system: n,
                    smallest_p: floor,
                    level,
                    wear_ratio: ratio,
                    chance_pct: (100.0 * shown).round(),
                    hours: (10.0 * told::hours(settings, grid, n).iter().sum::<f64>()).round()
                        / 10.0,
                });
            }
        }
    }
    Ok(rows)
}

/// ln of each system's wear over the middle of the compared ones.
fn pattern(test: Test, systems: usize, ratio: f64) -> Vec<f64> {
    let step = ratio.ln();
    let middle = 0.5 * (systems as f64 - 1.0);
    (0..systems)
        .map(|i| {
            if test.of_any() {
                step * f64::from(u8::from(i + 1 == systems))
            } else {
                step * (i as f64 - middle)
            }
        })
        .collect()
}

/// Share of benches simulated from the model of grades that show it: levels as planned, scatter,
/// thresholds, graders and the simulator's error drawn from the priors.
fn shown(
    settings: &PlanSettings,
    grid: &[f64],
    (c, figures): (&Comparison, usize),
    (ratio, level): (f64, f64),
) -> Result<f64> {
    let number = |id: &String| settings.systems.iter().position(|s| s.system_id == *id);
    let systems: Vec<usize> = c.systems.iter().filter_map(number).collect();
    let graders = settings.graders.len();
    let trial = as_planned(settings, grid, (&systems, figures, graders));
    let mean = sum(trial.centre.iter().copied()) / trial.centre.len() as f64;
    let beta: Vec<f64> = pattern(c.test, systems.len(), ratio)
        .iter()
        .map(|b| mean + b)
        .collect();
    let mut prior = Prior::default();
    if settings.spread_inside_ln > 0.0 {
        prior = prior.with_spread_inside(settings.spread_inside_ln);
    }
    let density = Density::new(trial, prior)?;
    let through = match c.test {
        Test::WornThrough => Some(c.through(grid.len() - 1)?),
        _ => None,
    };
    let bench = |random: &mut Stream| -> Vec<Vec<f64>> {
        let mut world = density.prior_world(random);
        world.beta.clone_from(&beta);
        let readings = density.simulate(&world, random);
        let mut scores = vec![vec![0.0; figures]; systems.len()];
        if let Some(asked) = through {
            for specimen in got_there(&readings, graders, asked) {
                scores[specimen / figures][specimen % figures] = 1.0;
            }
            return scores;
        }
        for reading in readings {
            let (system, figure) = (reading.specimen / figures, reading.specimen % figures);
            scores[system][figure] += f64::from(reading.grade) / graders as f64;
        }
        scores
    };
    let asked = ChanceSettings {
        test: c.test,
        level,
        two_sided: c.side == Side::Two,
        runs: RUNS,
        seed: settings.seed,
    };
    chance(&asked, bench)
}

/// Specimens with an area whose mean grade has reached the declared one by the declared look.
fn got_there(readings: &[Reading], graders: usize, (grade, look): (u8, usize)) -> BTreeSet<usize> {
    let mut cells: BTreeMap<(usize, usize, usize), usize> = BTreeMap::new();
    for r in readings.iter().filter(|r| r.inspection < look) {
        *cells.entry((r.specimen, r.area, r.inspection)).or_insert(0) += usize::from(r.grade);
    }
    let enough = usize::from(grade) * graders;
    let reached = cells.iter().filter(|(_, sum)| **sum >= enough);
    reached.map(|((specimen, _, _), _)| *specimen).collect()
}
