//! The simulator beside the grades: where its areas are wrong, and the fitted model's own check.

use super::words::p_words;
use crate::bench::exact::{self, Side};
use crate::bench::files::Bench;
use crate::bench::model::{Density, Fit, Prior, Quantity, Reading, Trial};
use crate::bench::scores::{Means, factor_levels};
use base::Result;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
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

/// Are the areas worn in the order the simulator gave them?
///
/// Over looks at which every area of a figure was graded, so that no area is judged by other
/// figures or later looks than its neighbour. The area that should get nothing is the control and
/// stays out.
fn order(bench: &Bench, means: &Means, areas: &[usize], text: &mut String) -> Result<()> {
    let exposed = |s: usize| bench.specimens[s].row.role != "blank";
    let looks: BTreeSet<(usize, usize)> = means
        .keys()
        .filter(|(s, _, look)| *look > 0 && exposed(*s))
        .map(|(s, _, look)| (*s, *look))
        .collect();
    let whole = |(s, look): &(usize, usize)| -> Option<Vec<f64>> {
        let cell = |a: &usize| means.get(&(*s, *a, *look)).copied();
        areas.iter().map(cell).collect()
    };
    let rows: Vec<Vec<f64>> = looks.iter().filter_map(whole).collect();
    let dose = |a: &usize| bench.areas[*a].dose_j_m2_per_unit;
    let doses: Vec<f64> = areas.iter().map(dose).collect();
    let _ = writeln!(text, "{}", order_words(&doses, &rows, bench.file.alpha)?);
    Ok(())
}

/// * `doses` by area; `rows`: mean grade by area, one row per figure and look
fn order_words(doses: &[f64], rows: &[Vec<f64>], alpha: f64) -> Result<String> {
    let n = doses.len();
    if n < 2 || rows.is_empty() {
        return Ok("Order of the areas: no look at which two or more areas of a figure were all graded, nothing to compare.".into());
    }
    let column = |i: usize| base::sum::sum(rows.iter().map(|r| r[i])) / rows.len() as f64;
    // Sums of thirds: what only rounding tells apart is one grade.
    let grades: Vec<f64> = (0..n).map(|i| (column(i) * 1e9).round() / 1e9).collect();
    let flat = |list: &[f64]| list.iter().all(|v| *v == list[0]);
    if flat(&grades) || flat(doses) {
        return Ok("Order of the areas: all read alike so far (or were given one dose), there is no order to look at.".into());
    }
    let exact = exact::spearman(doses, &grades)?;
    let (p, floor) = (exact.p(Side::Higher), exact.floor(Side::Higher));
    let verdict = match (floor > alpha, p > alpha) {
        (true, _) => format!("So few areas could not have gone below {alpha}, whatever they read."),
        (_, true) => "Not shown to follow the simulator's order.".into(),
        _ => "The order taken as a whole follows the simulator's; single neighbours are not shown by this.".into(),
    };
    Ok(format!(
        "Order of {n} areas, predicted dose against mean grade over all exposed figures: rank correlation {:.3}, exact one-sided p = {} (the smallest possible with so many areas is {}). {verdict} Areas of one figure shape are repeats: this is about this figure, not about figures, and stands outside the declared family.",
        exact.statistic,
        p_words(p),
        p_words(floor)
    ))
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
    let mut random = base::random::stream(bench.file.seed, &["bench", "expected"], 0);
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
        let at = |p: f64| base::stats::quantile(&values, p);
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

#[cfg(test)]
mod tests {
    use super::super::words::tests::claims_no_more;
    use super::order_words;

    /// Exact one-sided p of a perfect order of n is 1/n!; critical rho at n = 5 is 0.9, p = 5/120.
    #[test]
    fn the_order_of_areas_is_tested_exactly() {
        let doses = [60.0, 40.0, 24.0, 12.0, 6.0];
        let said = |n: usize, grades: &[f64]| {
            let text = order_words(&doses[..n], &[grades.to_vec()], 0.05).unwrap();
            claims_no_more(&text);
            text
        };
        let perfect = said(5, &[5.0, 4.0, 3.0, 2.0, 1.0]);
        assert!(
            perfect.contains("correlation 1.000") && perfect.contains("p = 0.0083"),
            "{perfect}"
        );
        assert!(perfect.contains("follows the simulator's"), "{perfect}");
        let one_swap = said(5, &[4.0, 5.0, 3.0, 2.0, 1.0]);
        assert!(
            one_swap.contains("correlation 0.900") && one_swap.contains("p = 0.0417"),
            "{one_swap}"
        );
        let two_swaps = said(5, &[4.0, 5.0, 2.0, 3.0, 1.0]);
        assert!(two_swaps.contains("Not shown to follow"), "{two_swaps}");
        let three = said(3, &[5.0, 4.0, 3.0]);
        assert!(three.contains("could not have gone below 0.05"), "{three}");
        assert!(said(3, &[0.0, 0.0, 0.0]).contains("all read alike"));
        assert!(said(1, &[1.0]).contains("nothing to compare"));
        assert!(perfect.contains("not about figures"));
    }
}
