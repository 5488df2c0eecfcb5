//! When to look: inspections moved to where the priors expect grades.

use super::{AreaDose, PlanSettings, wear_rate};
use crate::bench::files::Outcome;
use crate::bench::model::{Density, Prior, Reading, Trial};
use base::random::stream;
use base::{Note, Result, Topic};

/// Inspections, shifted so that weak systems show early and strong ones show at all, and units per
/// pass, which grow with them.
pub(super) fn inspections(
    settings: &PlanSettings,
    outcome: &mut Outcome,
) -> Result<(Vec<f64>, u32)> {
    if !settings.fit_inspections {
        return Ok((settings.inspections.clone(), settings.units_per_pass));
    }
    // Nobody makes a quarter of a stroke.
    let scaled = |factor: f64| -> Vec<f64> {
        let looks = settings.inspections.iter();
        let mut grid: Vec<f64> = looks.map(|n| (n * factor).round()).collect();
        grid.dedup();
        grid
    };
    let mut best = (f64::NEG_INFINITY, 1.0, [0.0; 3]);
    for factor in [1.0, 0.5, 2.0, 0.25, 4.0] {
        let grid = scaled(factor);
        if grid.len() < settings.inspections.len() {
            continue; // two looks at once
        }
        let chances = expected(settings, &grid)?;
        let worth: f64 = chances.iter().map(|c| c.min(0.8)).sum();
        if worth > best.0 + 1e-9 {
            best = (worth, factor, chances);
        }
    }
    let (_, factor, [weak, strong, fresh]) = best;
    let moved = match factor {
        1.0 => "inspections stay as they are".to_owned(),
        f if f > 1.0 => format!("inspections moved {f} times as late"),
        f => format!("inspections moved {} times as early", 1.0 / f),
    };
    outcome.notes.push(Note::new(
        Topic::Guess,
        format!(
            "{moved}: by the priors the weakest system reaches grade 3 before the third look with a chance of {:.0} %, the strongest shows grade 1 at the end with {:.0} %, and some system still reads 1 or less at the first look with {:.0} %",
            100.0 * weak,
            100.0 * strong,
            100.0 * fresh
        ),
    ));
    let pass = f64::from(settings.units_per_pass) * factor.max(1.0);
    Ok((scaled(factor), pass.round() as u32))
}

/// Prior chances that the weakest system reads 3 by the third look, that the strongest reads 1 at
/// the end, and that some system is not past grade 1 at the first look.
fn expected(settings: &PlanSettings, grid: &[f64]) -> Result<[f64; 3]> {
    let systems = settings.systems.len();
    let all: Vec<usize> = (0..systems).collect();
    let trial = as_planned(settings, grid, (&all, 1, 1));
    let density = Density::new(trial, Prior::default())?;
    let mut random = stream(settings.seed, &["bench", "grid"], 0);
    let (mut weak, mut strong, mut fresh, runs) = (0_u32, 0_u32, 0_u32, 300);
    let third = 2.min(grid.len() - 2);
    for _ in 0..runs {
        let world = density.prior_world(&mut random);
        let grades = density.simulate(&world, &mut random);
        let reached = |system: usize, by: usize| {
            let seen = grades
                .iter()
                .filter(|r| r.specimen == system && r.inspection <= by);
            seen.map(|r| r.grade).max().unwrap_or(0)
        };
        let last = grid.len() - 2;
        weak += u32::from((0..systems).any(|s| reached(s, third) >= 3));
        strong += u32::from((0..systems).all(|s| reached(s, last) >= 1));
        fresh += u32::from((0..systems).any(|s| reached(s, 0) <= 1));
    }
    Ok([weak, strong, fresh].map(|n| f64::from(n) / f64::from(runs)))
}

/// Every reading of a bench that is still to come, grades 0.
///
/// * `systems`: which ones; `figures`: of each; `graders`
pub(super) fn as_planned(
    settings: &PlanSettings,
    grid: &[f64],
    (systems, figures, graders): (&[usize], usize, usize),
) -> Trial {
    let touched = |a: &&AreaDose| a.dose_J_m2_per_unit > 0.0;
    let areas: Vec<&AreaDose> = settings.areas.iter().filter(touched).collect();
    let readings = Reading::all(
        systems.len() * figures,
        areas.len(),
        grid.len() - 1,
        graders,
    );
    let centre = |s: &usize| {
        let system = &settings.systems[*s];
        let rate = wear_rate(settings, &system.system_id).unwrap_or(f64::NAN);
        (rate * 1e-9 / (system.film_um_median * 1e-6)).ln()
    };
    Trial {
        centre: systems.iter().map(centre).collect(),
        factors: vec![Vec::new(); systems.len()],
        system_of: (0..systems.len() * figures).map(|i| i / figures).collect(),
        ln_dose: areas.iter().map(|a| a.dose_J_m2_per_unit.ln()).collect(),
        ln_dose_sd: vec![0.0; areas.len()],
        exposure: grid[1..].to_vec(),
        graders,
        readings,
    }
}
