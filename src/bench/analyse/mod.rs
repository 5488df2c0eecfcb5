//! `bench analyse`: what was declared and what came out, in words that claim no more than that.

mod ask;
mod graders;
mod lives;
mod page;
mod reached;
mod simulator;
mod systems;
mod verdicts;
mod words;

use super::files::{Bench, Grade, Outcome, write_rows};
use super::model::{FitSettings, fit};
use super::scores::{Score, means, scores, trial};
use base::{Error, Note, Result, Topic, Watch};
use std::fmt::Write;
use std::path::PathBuf;
pub use verdicts::TestRow;
#[cfg(test)]
pub(super) use words::tests::claims_no_more;

/// What to analyse.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalyseSettings {
    /// The bench folder.
    pub folder: PathBuf,
    /// How to sample.
    pub fit: FitSettings,
}

/// Analyses a bench: tests, agreement, blinding, fit, words.
///
/// # Errors
/// As [`Bench::open`]; no recorded grade; interrupted.
pub fn analyse(settings: &AnalyseSettings, watch: &dyn Watch) -> Result<Outcome> {
    let bench = Bench::open(&settings.folder)?;
    let grades = bench.recorded()?;
    if grades.is_empty() {
        return Err(Error::input("no grade is recorded")
            .hint("thumbworn bench record takes a filled table in"));
    }
    let mut outcome = Outcome::default();
    let scores = scores(&bench, &grades, &mut outcome.notes)?;
    let mut text = format!("{}\n\n", bench.file.title);
    let rehearsed = grades.iter().any(|g| g.rehearsed);
    if rehearsed {
        text.push_str(
            "REHEARSAL: grades were made up from a stated truth. Nothing here is about any paint.\n\n",
        );
    }
    let (trial, prior, areas) = trial(&bench, &grades, &mut outcome.notes)?;
    let fitted = fit(&trial, &prior, &settings.fit, watch)?;
    outcome.notes.extend(fitted.notes.clone());
    let means = means(&grades);
    let mut rows = verdicts::declared(&bench, (&grades, &scores), &mut text)?;
    rows.extend(verdicts::afterwards(&bench, &scores, &mut text)?);
    systems::told(&bench, (&scores, &grades), &fitted, &mut text);
    systems::factors(&bench, &fitted, &mut text);
    let lives = lives::rows(&bench, &grades, &mut outcome.notes);
    lives::told(&bench, &lives, &mut text);
    graders::agreement(&bench, &grades, &mut text)?;
    graders::controls(&bench, &means, &mut text);
    super::witness::told(&bench, &mut text)?;
    simulator::told(&bench, &means, (&fitted, &areas), &mut text)?;
    let predicted = simulator::predictive(&bench, (&trial, &prior), &fitted, &areas)?;
    let inside = predicted
        .iter()
        .filter(|r| r.lo90 <= r.observed && r.observed <= r.hi90);
    let share = 100.0 * inside.count() as f64 / predicted.len().max(1) as f64;
    let _ = writeln!(
        text,
        "\nTHE MODEL'S OWN CHECK\n{share:.0} % of {} mean grades lie inside the 90 % range the fitted model expects (90 or more are wanted).",
        predicted.len()
    );
    let name = short(&bench, &grades);
    outcome.add(
        format!("analysis/expected-{name}.csv"),
        write_rows(&predicted)?,
    );
    outcome.add(format!("analysis/tests-{name}.csv"), write_rows(&rows)?);
    outcome.add(
        format!("analysis/fit-{name}.csv"),
        write_rows(&simulator::fit_rows(&bench, &fitted, &areas))?,
    );
    outcome.add(format!("analysis/lives-{name}.csv"), write_rows(&lives)?);
    outcome.add(
        format!("analysis/report-{name}.html"),
        page::page(&bench, (&text, rehearsed), &predicted, (&fitted, &areas))?,
    );
    outcome.add(format!("analysis/report-{name}.txt"), text.clone());
    outcome.text = text;
    Ok(outcome)
}

/// Part of a hash over plan and grades, so that a later analysis gets its own files.
pub(super) fn short(bench: &Bench, grades: &[Grade]) -> String {
    let all = format!("{} {grades:?}", bench.hash());
    super::files::sha256(all.as_bytes())[..8].to_owned()
}

/// Scores of one system in block order.
fn of_system(scores: &[Score], system: usize) -> Vec<f64> {
    let mut own: Vec<&Score> = scores.iter().filter(|s| s.system == system).collect();
    own.sort_by_key(|s| s.block);
    own.iter().map(|s| s.value).collect()
}

/// A note for readers of a calibration.
pub(super) fn calibration_note() -> Note {
    Note::new(
        Topic::Limit,
        "a bench moves the ratio of systems far more than their level; pixel counts of grades, a coupon worn to a measured depth or a film gauge move the level",
    )
}
