//! Lives without the model of grades: between which two looks a figure first read the grade that
//! counts as worn.

use super::reached::{Preparation, preparations};
use crate::base::known::Z95;
use crate::base::{Note, Topic};
use crate::bench::files::{Bench, Grade};
use crate::bench::judge::{Known, LifeFit, Scatter, fit_lives};
use serde::Serialize;
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

/// Life of every exposed preparation, by system.
pub(super) fn rows(bench: &Bench, grades: &[Grade], notes: &mut Vec<Note>) -> Vec<LifeRow> {
    let all = preparations(bench, grades, WORN);
    let spoilt = all.iter().filter(|p| p.life.is_none()).count();
    if spoilt > 0 {
        notes.push(Note::new(
            Topic::Limit,
            format!("{spoilt} of the preparations read grade {WORN} before the first move and have no life"),
        ));
    }
    let row = |p: &Preparation| {
        p.life.map(|life| LifeRow {
            system_id: bench.systems[p.system].system_id.clone(),
            batch: p.batch.clone(),
            block: p.block,
            grade: WORN,
            over_units: life.over,
            up_to_units: life.up_to,
        })
    };
    all.iter().filter_map(row).collect()
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
