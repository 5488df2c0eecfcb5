//! The simulator beside the grades: where its areas are wrong, and the fitted model's own check.

use crate::base::Result;
use crate::bench::exact::{self, Side};
use crate::bench::files::Bench;
use crate::bench::model::{Density, Fit, Prior, Quantity, Reading, Trial};
use crate::bench::scores::{Means, factor_levels};
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt::Write;

/// One line of `fit.csv`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct FitRow {
    quantity: String,
    unit: String,
    median: f64,
    lo90: f64,
    hi90: f64,
    ess: f64,
    rhat: f64,
}

/// Where the simulator seems wrong.
pub(super) fn told(
    bench: &Bench,
    means: &Means,
    (fitted, areas): (&Fit, &[usize]),
    text: &mut String,
) -> Result<()> {
    let _ = writeln!(
        text,
        "THE SIMULATOR'S AREAS (seen dose over predicted dose)"
    );
    for (i, &a) in areas.iter().enumerate() {
        let ratio = fitted.of(|w| w.area[i].exp());
        let off = if ratio.lo90 > 1.0 || ratio.hi90 < 1.0 {
            ": does not fit"
        } else {
            ""
        };
        let _ = writeln!(
            text,
            "{} {}: {:.2} (90 %: {:.2} to {:.2}){off}",
            bench.areas[a].area_id, bench.areas[a].words, ratio.median, ratio.lo90, ratio.hi90
        );
    }
    order(bench, means, areas, text)
}

/// Were the areas worn in the order the simulator gave them? Spearman's rho between dose and mean
/// grade over all exposed figures.
fn order(bench: &Bench, means: &Means, areas: &[usize], text: &mut String) -> Result<()> {
    let mean = |area: usize| {
        let own = means.iter().filter(|((s, a, i), _)| {
            *a == area && *i > 0 && bench.specimens[*s].row.role != "blank"
        });
        let values: Vec<f64> = own.map(|(_, v)| *v).collect();
        crate::base::sum::sum(values.iter().copied()) / values.len().max(1) as f64
    };
    let dose: Vec<f64> = areas
        .iter()
        .map(|a| bench.areas[*a].dose_j_m2_per_unit)
        .collect();
    let grade: Vec<f64> = areas.iter().map(|a| mean(*a)).collect();
    if areas.len() < 3 || grade.iter().all(|g| *g == grade[0]) {
        return Ok(());
    }
    let exact = exact::spearman(&dose, &grade)?;
    let _ = writeln!(
        text,
        "Order of {} areas, dose against mean grade: rank correlation {:.2}, exact one-sided p = {:.4} (the smallest possible {:.4}). Areas of one figure shape are repeats: this is about this figure, not about figures.",
        areas.len(),
        exact.statistic,
        exact.p(Side::Higher),
        exact.floor(Side::Higher)
    );
    Ok(())
}

pub(super) fn fit_rows(bench: &Bench, fitted: &Fit, areas: &[usize]) -> Vec<FitRow> {
    let levels = factor_levels(bench);
    let named = |q: &Quantity| -> String {
        let last = q
            .name
            .rsplit(' ')
            .next()
            .and_then(|n| n.parse::<usize>().ok());
        match (q.name.split(' ').next(), last) {
            (Some("beta"), Some(n)) => {
                format!("ln k_E over film, {}", bench.systems[n - 1].system_id)
            }
            (Some("area"), Some(n)) => format!(
                "ln seen over predicted dose, {}",
                bench.areas[areas[n - 1]].area_id
            ),
            (Some("factor"), Some(n)) => {
                let (from, to) = &levels[n - 1];
                format!("ln wear, {to} against {from}")
            }
            _ => q.name.clone(),
        }
    };
    let row = |q: &Quantity| FitRow {
        quantity: named(q),
        unit: q.unit.into(),
        median: q.summary.median,
        lo90: q.summary.lo90,
        hi90: q.summary.hi90,
        ess: q.summary.ess.round(),
        rhat: q.summary.rhat,
    };
    fitted.quantities.iter().map(row).collect()
}

/// One line of the table of expected beside observed mean grades.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct ExpectedRow {
    pub system_id: String,
    pub area_id: String,
    pub inspection_units: f64,
    pub observed: f64,
    pub expected: f64,
    pub lo90: f64,
    pub hi90: f64,
}

/// Mean grade per system, area and inspection, as graded and as 200 fitted worlds grade anew.
pub(super) fn predictive(
    bench: &Bench,
    (trial, prior): (&Trial, &Prior),
    fitted: &Fit,
    areas: &[usize],
) -> Result<Vec<ExpectedRow>> {
    let density = Density::new(trial.clone(), *prior)?;
    let mut random = crate::base::random::stream(bench.file.seed, &["bench", "expected"], 0);
    type Cell = (usize, usize, usize);
    let mean = |readings: &[Reading]| -> BTreeMap<Cell, f64> {
        let mut sums: BTreeMap<Cell, (f64, f64)> = BTreeMap::new();
        for r in readings {
            let cell = (trial.system_of[r.specimen], r.area, r.inspection);
            let sum = sums.entry(cell).or_default();
            sum.0 += f64::from(r.grade);
            sum.1 += 1.0;
        }
        sums.into_iter().map(|(c, (s, n))| (c, s / n)).collect()
    };
    let every = (fitted.worlds.len() / 200).max(1);
    let mut drawn: BTreeMap<Cell, Vec<f64>> = BTreeMap::new();
    for world in fitted.worlds.iter().step_by(every) {
        for (cell, value) in mean(&density.simulate(world, &mut random)) {
            drawn.entry(cell).or_default().push(value);
        }
    }
    let row = |(cell, observed): (Cell, f64)| {
        let mut values = drawn.remove(&cell).unwrap_or_else(|| vec![f64::NAN]);
        values.sort_by(f64::total_cmp);
        let at = |p: f64| crate::base::stats::quantile(&values, p);
        ExpectedRow {
            system_id: bench.systems[cell.0].system_id.clone(),
            area_id: bench.areas[areas[cell.1]].area_id.clone(),
            inspection_units: trial.exposure[cell.2],
            observed,
            expected: at(0.5),
            lo90: at(0.05),
            hi90: at(0.95),
        }
    };
    Ok(mean(&trial.readings).into_iter().map(row).collect())
}
