//! `bench` and `advise`: the bench test from plan to wear rates, and what to measure first.

use super::args::{AdviseArgs, BenchCommand};
use super::results::Job;
use super::talk::Talk;
use crate::base::{Error, Place, Result};
use crate::bench::analyse::{AnalyseSettings, analyse};
use crate::bench::calibrate::{CalibrateSettings, calibrate};
use crate::bench::files::Outcome;
use crate::bench::model::FitSettings;
use crate::bench::plan::{AreaDose, PlanSettings, plan};
use crate::bench::record::{RecordSettings, record};
use crate::bench::rehearse::{RehearseSettings, rehearse};
use crate::bench::sheet::{SheetSettings, sheet};
use crate::trial::Trial;
use std::path::Path;

/// Areas of a run that a bench looks at.
const AREAS: usize = 5;

/// `thumbworn bench ...`.
///
/// # Errors
/// Bad input, with its place; nothing that exists is overwritten.
pub fn bench(command: &BenchCommand, talk: &Talk) -> Result<()> {
    let fit = FitSettings::default();
    let (outcome, folder) = match command {
        BenchCommand::Plan {
            settings,
            output,
            from,
            exposure,
            specimen,
        } => {
            let mut settings = read(settings)?;
            if let Some(results) = from {
                let names = (exposure.as_deref(), specimen.as_deref());
                from_results(&mut settings, results, names, talk)?;
            }
            (plan(&settings)?, output)
        }
        BenchCommand::Sheet { folder } => {
            let settings = SheetSettings {
                folder: folder.clone(),
            };
            (sheet(&settings)?, folder)
        }
        BenchCommand::Rehearse { folder, truth } => {
            let settings = RehearseSettings {
                folder: folder.clone(),
                truth: truth.clone(),
            };
            (rehearse(&settings)?, folder)
        }
        BenchCommand::Record {
            folder,
            filled,
            accept_falling,
        } => {
            let settings = RecordSettings {
                folder: folder.clone(),
                filled: filled.clone(),
                accept_falling: *accept_falling,
            };
            (record(&settings)?, folder)
        }
        BenchCommand::Analyse { folder } => {
            let settings = AnalyseSettings {
                folder: folder.clone(),
                fit,
            };
            (analyse(&settings, &talk.part("analyse"))?, folder)
        }
        BenchCommand::Calibrate { folder } => {
            let settings = CalibrateSettings {
                folder: folder.clone(),
                fit,
            };
            (calibrate(&settings, &talk.part("calibrate"))?, folder)
        }
    };
    finish(&outcome, folder, talk)
}

fn finish(outcome: &Outcome, folder: &Path, talk: &Talk) -> Result<()> {
    outcome.write_into(folder)?;
    talk.result(outcome.text.trim_end());
    for note in &outcome.notes {
        talk.say(&format!("note: {}", note.text));
    }
    let files: Vec<String> = outcome
        .files
        .iter()
        .map(|f| folder.join(&f.name).display().to_string())
        .collect();
    for file in &files {
        talk.result(&format!("file: {file}"));
    }
    talk.object(&serde_json::json!({ "text": outcome.text, "files": files }));
    Ok(())
}

fn read(path: &Path) -> Result<PlanSettings> {
    let text = std::fs::read_to_string(path)
        .map_err(|cause| Error::system("read the bench settings", path, &cause))?;
    toml::from_str(&text).map_err(|cause| {
        Error::input(cause.message().to_string())
            .at(Place {
                span: cause.span(),
                text: Some(text.clone()),
                ..Place::file(path)
            })
            .hint("scenarios/bench/ holds an example with every key")
    })
}

/// Areas, exposure, unit and run hash from a finished run.
fn from_results(
    settings: &mut PlanSettings,
    results: &Path,
    (exposure, specimen): (Option<&str>, Option<&str>),
    talk: &Talk,
) -> Result<()> {
    let trial = Job::again(results, &super::ask::as_made())?.carry_out(talk)?;
    let answers = trial.answers_without_whatifs(talk)?;
    let part = part_of(&trial, exposure, specimen)?;
    let unit = trial.scenario.exposures[trial.done[part].id.exposure].unit;
    let areas = answers.parts[part].areas.iter().take(AREAS);
    settings.areas = areas
        .map(|answer| {
            let area = &answer.area;
            AreaDose {
                area_id: format!("A{}", area.rank),
                words: area.words.clone(),
                dose_J_m2_per_unit: area.friction,
                dose_lo90: (area.rate.mean - area.rate.half_width).max(0.0),
                dose_hi90: area.rate.mean + area.rate.half_width,
                rank_certainty_pct: area.certainty.unwrap_or(1.0) * 100.0,
                area_mm2: area.surface * 1e6,
            }
        })
        .collect();
    settings.exposure_unit = unit.plural().into();
    let treatment = &trial.done[part].treatment;
    settings.counterface = treatment.counterface.clone();
    settings.friction = treatment.outer_friction().map(|f| f.value);
    settings.simulator_run = trial.figure.hash[..8]
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect();
    Ok(())
}

fn part_of(trial: &Trial, exposure: Option<&str>, specimen: Option<&str>) -> Result<usize> {
    let scenario = &trial.scenario;
    let fits = |asked: Option<&str>, name: &str| asked.is_none_or(|a| a == name);
    let found = trial.done.iter().position(|d| {
        fits(exposure, &scenario.exposures[d.id.exposure].name)
            && fits(specimen, &scenario.specimens[d.id.specimen].specimen.name)
    });
    found.ok_or_else(|| {
        let parts: Vec<String> = trial.done.iter().map(|d| trial.name(d.id)).collect();
        Error::input("the run has no such exposure and specimen")
            .hint(format!("there is: {}", parts.join("; ")))
    })
}

/// `thumbworn advise`.
///
/// # Errors
/// A folder without a run, or names that are not in it.
pub fn advise(args: &AdviseArgs, talk: &Talk) -> Result<()> {
    let trial = Job::again(&args.results, &super::ask::as_made())?.carry_out(talk)?;
    let part = part_of(&trial, args.exposure.as_deref(), args.specimen.as_deref())?;
    let (words, advice) = trial.advice(part)?;
    talk.result(&format!(
        "{}, {words}: what would narrow the life of its paint",
        trial.name(trial.done[part].id)
    ));
    for a in &advice {
        talk.result(&format!("- {} {}", a.sentence(), a.how));
    }
    talk.object(&serde_json::json!({ "advice": advice }));
    Ok(())
}
