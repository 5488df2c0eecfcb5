//! `bench record`: grades in, checked, frozen, never overwritten.

use super::files::{Bench, Grade, Outcome, sha256};
use super::photos::{is_photos, record_photos};
use base::{Error, Note, Place, Result, Topic};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::path::PathBuf;

/// What to record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RecordSettings {
    /// The bench folder.
    pub folder: PathBuf,
    /// The filled table of grades.
    pub filled: PathBuf,
    /// Accept grades that fall by 2 or more between inspections.
    pub accept_falling: bool,
}

/// Checks a filled table against plan, key and everything recorded before, and freezes it.
///
/// # Errors
/// As [`Bench::grades`]; a reading recorded before; a grade that falls by 2 or more, until accepted.
pub fn record(settings: &RecordSettings) -> Result<Outcome> {
    let bench = Bench::open(&settings.folder)?;
    if is_photos(&settings.filled) {
        return record_photos(&bench, &settings.filled);
    }
    let bytes =
        std::fs::read(&settings.filled).map_err(|e| Error::system("read", &settings.filled, &e))?;
    let new = bench.grades(&settings.filled)?;
    let before = bench.recorded()?;
    let name = format!("recorded/grades-{}.csv", &sha256(&bytes)[..12]);
    let mut outcome = Outcome::default();
    if bench.folder.join(&name).exists() {
        outcome.text = "This table is recorded already; nothing changed.\n".into();
        return Ok(outcome);
    }
    twice(settings, &new, &before)?;
    let all: Vec<Grade> = before.into_iter().chain(new.iter().cloned()).collect();
    let falls = falling(&bench, &all);
    if let (Some(first), false) = (falls.first(), settings.accept_falling) {
        return Err(Error::input(first.clone())
            .at(Place::file(&settings.filled))
            .hint("paint does not grow back: check label and sheet; if both are right, record again with falling grades accepted"));
    }
    outcome
        .notes
        .extend(falls.into_iter().map(|f| Note::new(Topic::Overruled, f)));
    outcome.text = told(&bench, &new, &all);
    let _ = writeln!(
        outcome.text,
        "Frozen as {name}, SHA-256 {}.",
        sha256(&bytes)
    );
    outcome.add(name, bytes);
    Ok(outcome)
}

fn twice(settings: &RecordSettings, new: &[Grade], before: &[Grade]) -> Result<()> {
    let known: BTreeSet<(&str, usize, usize)> = before
        .iter()
        .map(|g| (g.code.as_str(), g.area, g.grader))
        .collect();
    match new
        .iter()
        .find(|g| known.contains(&(g.code.as_str(), g.area, g.grader)))
    {
        Some(g) => Err(Error::input(format!(
            "a grade of code c-{} by this grader was recorded before",
            g.code
        ))
        .at(Place::file(&settings.filled))
        .hint("record only what is new; frozen grades are never changed")),
        None => Ok(()),
    }
}

/// Mean grades that fall by 2 or more from one inspection to the next.
fn falling(bench: &Bench, grades: &[Grade]) -> Vec<String> {
    let mut by: BTreeMap<(usize, usize, usize), BTreeMap<usize, u8>> = BTreeMap::new();
    for g in grades.iter().filter(|g| g.kind == 'R') {
        if let Some(grade) = g.grade {
            by.entry((g.specimen, g.area, g.grader))
                .or_default()
                .insert(g.inspection, grade);
        }
    }
    let mut falls = Vec::new();
    for ((_, area, grader), series) in &by {
        let steps: Vec<(&usize, &u8)> = series.iter().collect();
        for pair in steps.windows(2) {
            if *pair[0].1 >= *pair[1].1 + 2 {
                // The figure is not named: the key stays closed.
                falls.push(format!(
                    "area {} by {}: grade {} at {} {} falls to {} at {}",
                    bench.areas[*area].area_id,
                    bench.file.graders[*grader],
                    pair[0].1,
                    bench.file.inspections[*pair[0].0],
                    bench.file.exposure_unit,
                    pair[1].1,
                    bench.file.inspections[*pair[1].0]
                ));
            }
        }
    }
    falls
}

fn told(bench: &Bench, new: &[Grade], all: &[Grade]) -> String {
    let mut text = format!("{} readings taken, {} in all.\n", new.len(), all.len());
    let graded: BTreeSet<(&str, usize, usize)> = all
        .iter()
        .filter(|g| g.grade.is_some())
        .map(|g| (g.code.as_str(), g.area, g.grader))
        .collect();
    let seen: BTreeSet<usize> = all.iter().map(|g| g.inspection).collect();
    for inspection in seen {
        let mut missing = Vec::new();
        for (code, (_, at)) in bench.key.iter().filter(|(_, (_, at))| *at == inspection) {
            let _ = at;
            for area in 0..bench.areas.len() {
                for grader in 0..bench.file.graders.len() {
                    if !graded.contains(&(code.as_str(), area, grader)) {
                        missing.push(format!(
                            "c-{code} {} {}",
                            bench.areas[area].area_id, bench.file.graders[grader]
                        ));
                    }
                }
            }
        }
        if !missing.is_empty() {
            let _ = writeln!(
                text,
                "At {} {}: {} cells not graded, the first: {}.",
                bench.file.inspections[inspection],
                bench.file.exposure_unit,
                missing.len(),
                missing[..missing.len().min(3)].join("; ")
            );
        }
    }
    text
}
