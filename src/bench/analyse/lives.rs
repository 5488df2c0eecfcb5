//! Lives without the model of grades: between which two looks a figure first read the grade that
//! counts as worn.

use crate::base::known::Z95;
use crate::bench::files::Bench;
use crate::bench::judge::{Known, LifeFit, Scatter, fit_lives};
use crate::bench::scores::{Means, score_areas};
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt::Write;

/// The grade that counts as worn: 1 to 3 % of a place through.
pub(super) const WORN: f64 = 3.0;
/// Scatter of lives between figures as the priors of the model have it (engineering guess): 0.43 ln
/// units in all, over the 1.28 that a smallest extreme value has per unit of scale.
const SCATTER: Scatter = Scatter {
    ln_middle: -1.09,
    sd: 0.5,
};
/// Below this many preparations an interval from curvature is a first look.
const FEW: usize = 6;

/// One line of `lives-*.csv`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct LifeRow {
    /// System.
    pub system_id: String,
    /// Preparation.
    pub batch: String,
    /// Session.
    pub block: u32,
    /// Grade that ends a life.
    pub grade: f64,
    /// Not yet reached at this exposure.
    pub over_units: f64,
    /// Reached at this exposure; empty if never.
    pub up_to_units: Option<f64>,
}

/// Life of every exposed preparation, in the order of the specimens.
pub(super) fn rows(bench: &Bench, means: &Means, grade: f64) -> Vec<LifeRow> {
    let areas = score_areas(bench);
    let mut groups: BTreeMap<(usize, &str), Vec<usize>> = BTreeMap::new();
    for (number, s) in bench.specimens.iter().enumerate() {
        if s.row.role != "blank" {
            let key = (s.system, s.row.batch.as_str());
            groups.entry(key).or_default().push(number);
        }
    }
    let row = |((system, batch), figures): ((usize, &str), Vec<usize>)| {
        let looks =
            (1..bench.file.inspections.len()).map(|i| worst((means, grade), &figures, &areas, i));
        let (over, up_to) = bounds(&bench.file.inspections, &looks.collect::<Vec<_>>());
        LifeRow {
            system_id: bench.systems[system].system_id.clone(),
            batch: batch.to_owned(),
            block: bench.specimens[figures[0]].row.block,
            grade,
            over_units: over,
            up_to_units: up_to,
        }
    };
    groups.into_iter().map(row).collect()
}

/// Has the grade been reached at an inspection? `None` where a missing grade leaves it open.
fn worst(
    (means, grade): (&Means, f64),
    figures: &[usize],
    areas: &[usize],
    inspection: usize,
) -> Option<bool> {
    let mut open = false;
    for area in areas {
        let graded: Vec<f64> = figures
            .iter()
            .filter_map(|f| means.get(&(*f, *area, inspection)).copied())
            .collect();
        if graded.is_empty() {
            open = true;
            continue;
        }
        let mean = crate::base::sum::sum(graded.iter().copied()) / graded.len() as f64;
        if mean >= grade {
            return Some(true);
        }
    }
    (!open).then_some(false)
}

/// The last look without and the first look with the grade; a look that is open widens the gap.
fn bounds(inspections: &[f64], looks: &[Option<bool>]) -> (f64, Option<f64>) {
    let first = looks.iter().position(|l| *l == Some(true));
    let before = &looks[..first.unwrap_or(looks.len())];
    let over = before.iter().rposition(|l| *l == Some(false));
    (
        over.map_or(0.0, |i| inspections[i + 1]),
        first.map(|i| inspections[i + 1]),
    )
}

/// Lives in words.
pub(super) fn told(bench: &Bench, rows: &[LifeRow], text: &mut String) {
    let unit = &bench.file.exposure_unit;
    let _ = writeln!(
        text,
        "LIVES TO GRADE {WORN} (worst scored area, counted from inspections, without the model of grades; {unit})"
    );
    let mut groups: Vec<(String, Vec<Known>)> = Vec::new();
    for system in &bench.systems {
        let own: Vec<&LifeRow> = rows
            .iter()
            .filter(|r| r.system_id == system.system_id)
            .collect();
        let words: Vec<String> = own.iter().map(|r| words(r)).collect();
        let _ = writeln!(text, "{}: {}.", system.system_id, words.join("; "));
        let known: Vec<Known> = own.iter().filter_map(|r| known(r)).collect();
        let two_sided = known.iter().any(|k| matches!(k, Known::Between(..)))
            && known.iter().any(|k| {
                matches!(k, Known::Beyond(_)) || matches!(k, Known::Between(a, _) if *a > 0.0)
            });
        if two_sided {
            groups.push((system.system_id.clone(), known));
        }
    }
    if groups.is_empty() {
        let _ = writeln!(
            text,
            "No life is bounded from both sides: nothing to fit.\n"
        );
        return;
    }
    let lives: Vec<Vec<Known>> = groups.iter().map(|g| g.1.clone()).collect();
    match fit_lives(&lives, Some(SCATTER)) {
        Ok(fit) => medians(&groups, &fit, &bench.file, text),
        Err(e) => {
            let _ = writeln!(text, "No common curve can be fitted: {}.", e.what());
        }
    }
    text.push('\n');
}

fn words(row: &LifeRow) -> String {
    match row.up_to_units {
        Some(up_to) if row.over_units > 0.0 => format!("between {} and {up_to}", row.over_units),
        Some(up_to) => format!("by {up_to}"),
        None if row.over_units > 0.0 => format!("more than {}", row.over_units),
        None => "not known".into(),
    }
}

fn known(row: &LifeRow) -> Option<Known> {
    match row.up_to_units {
        Some(up_to) => Some(Known::Between(row.over_units, up_to)),
        None => (row.over_units > 0.0).then_some(Known::Beyond(row.over_units)),
    }
}

fn medians(
    groups: &[(String, Vec<Known>)],
    fit: &LifeFit,
    file: &crate::bench::files::BenchFile,
    text: &mut String,
) {
    let _ = writeln!(
        text,
        "Weibull lives with one shape ({:.1}) for all:",
        1.0 / fit.scale
    );
    for (i, (name, lives)) in groups.iter().enumerate() {
        let (median, factor) = (fit.median(i), (Z95 * fit.median_error(i)).exp());
        let _ = write!(
            text,
            "{name}: median {} (90 %: {} to {})",
            two_digits(median),
            two_digits(median / factor),
            two_digits(median * factor)
        );
        if i > 0 {
            let ratio = (fit.location[i] - fit.location[0]).exp();
            let factor = (Z95 * fit.ratio_error(i, 0)).exp();
            let _ = write!(
                text,
                ", {:.2} times that of {} (90 %: {:.2} to {:.2})",
                ratio,
                groups[0].0,
                ratio / factor,
                ratio * factor
            );
        }
        let _ = writeln!(
            text,
            "{}.",
            if lives.len() < FEW {
                format!(
                    ", a first look from {} preparation{}",
                    lives.len(),
                    if lives.len() == 1 { "" } else { "s" }
                )
            } else {
                String::new()
            }
        );
    }
    let left_out = file.prior.len() - groups.len();
    let _ = writeln!(
        text,
        "One preparation counts once. The scatter between lives is partly an engineering guess; intervals are from the curvature of the likelihood.{}",
        match left_out {
            0 => String::new(),
            n => format!(
                " {n} system{} bounded on one side only: see above.",
                if n == 1 { " is" } else { "s are" }
            ),
        }
    );
}

fn two_digits(v: f64) -> String {
    let rounded: f64 = format!("{v:.1e}").parse().unwrap_or(v);
    format!("{rounded}")
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOOKS: [f64; 6] = [0.0, 125.0, 250.0, 500.0, 1000.0, 2000.0];

    #[test]
    fn a_life_lies_between_two_looks() {
        let (no, yes) = (Some(false), Some(true));
        let of = |looks: [Option<bool>; 5]| bounds(&LOOKS, &looks);
        assert_eq!(of([no, no, yes, yes, yes]), (250.0, Some(500.0)));
        assert_eq!(of([yes, yes, yes, yes, yes]), (0.0, Some(125.0)));
        assert_eq!(of([no, no, no, no, no]), (2000.0, None));
        // A look that nobody graded widens the gap, from either side.
        assert_eq!(of([no, None, yes, yes, yes]), (125.0, Some(500.0)));
        assert_eq!(of([no, no, no, None, None]), (500.0, None));
        assert_eq!(of([None, None, None, None, None]), (0.0, None));
        // Paint does not grow back: the first time counts.
        assert_eq!(of([no, yes, no, yes, yes]), (125.0, Some(250.0)));
    }

    #[test]
    fn the_worst_area_decides_and_a_hole_leaves_it_open() {
        let grade = |v: [f64; 2]| -> Means { [((0, 0, 1), v[0]), ((0, 1, 1), v[1])].into() };
        assert_eq!(
            worst((&grade([1.0, 3.5]), 3.0), &[0], &[0, 1], 1),
            Some(true)
        );
        assert_eq!(
            worst((&grade([1.0, 2.5]), 3.0), &[0], &[0, 1], 1),
            Some(false)
        );
        assert_eq!(worst((&grade([1.0, 2.5]), 3.0), &[0], &[0, 1, 2], 1), None);
        assert_eq!(
            worst((&grade([1.0, 3.0]), 3.0), &[0], &[0, 1, 2], 1),
            Some(true)
        );
    }
}
