//! Lives without the model of grades: between which two looks a figure first read the grade that
//! counts as worn.

use super::reached::{Preparation, preparations};
use crate::bench::files::{Bench, Grade};
use crate::bench::judge::{Known, LifeRanges, Range, Scatter, life_ranges};
use base::{Note, Topic};
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
/// Below this many preparations the guess of the scatter carries much of an interval.
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
    match life_ranges(&lives, SCATTER) {
        Ok(ranges) => medians(bench, &groups, &ranges, text),
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

/// The system others are held against: the reference if its lives are bounded, else the first.
fn reference(bench: &Bench, groups: &[(String, Vec<Known>)]) -> usize {
    let mut figures = bench.specimens.iter();
    let named = figures.find(|s| s.row.role == "reference");
    let found = named.and_then(|s| groups.iter().position(|g| g.0 == s.row.system_id));
    found.unwrap_or(0)
}

fn medians(bench: &Bench, groups: &[(String, Vec<Known>)], ranges: &LifeRanges, text: &mut String) {
    let span = |r: Range, words: &dyn Fn(f64) -> String| {
        format!(
            "{} (90 %: {} to {})",
            words(r.median),
            words(r.low90),
            words(r.high90)
        )
    };
    let _ = writeln!(
        text,
        "Weibull lives, one shape for all: {}.",
        span(ranges.shape(), &|v| format!("{v:.1}"))
    );
    let base = reference(bench, groups);
    for (i, (name, lives)) in groups.iter().enumerate() {
        let _ = write!(
            text,
            "{name}: median {}",
            span(ranges.median(i), &two_digits)
        );
        if i != base {
            let _ = write!(
                text,
                ", lives {} times as long as {}",
                span(ranges.ratio(i, base), &|v| format!("{v:.2}")),
                groups[base].0
            );
        }
        let _ = match lives.len() {
            FEW.. => writeln!(text, "."),
            1 => writeln!(text, "; a first look from 1 preparation."),
            n => writeln!(text, "; a first look from {n} preparations."),
        };
    }
    let left_out = bench.systems.len() - groups.len();
    let _ = writeln!(
        text,
        "One preparation counts once. Lives are known only between looks; their scatter is partly an engineering guess, averaged over: with fewer than {FEW} preparations the intervals lean on it.{}",
        match left_out {
            0 => String::new(),
            1 => " 1 system is bounded on one side only: see above.".into(),
            n => format!(" {n} systems are bounded on one side only: see above."),
        }
    );
}

fn two_digits(v: f64) -> String {
    let rounded: f64 = format!("{v:.1e}").parse().unwrap_or(v);
    format!("{rounded}")
}
