//! `bench` and `advise`: the bench test from plan to wear rates, and what to measure first.

use super::args::{AdviseArgs, BenchCommand};
use super::results::Job;
use super::talk::Talk;
use crate::bench::analyse::{AnalyseSettings, analyse};
use crate::bench::calibrate::{CalibrateSettings, calibrate};
use crate::bench::files::Outcome;
use crate::bench::model::FitSettings;
use crate::bench::photos::VIEWS;
use crate::bench::plan::{AreaDose, PlanSettings, plan};
use crate::bench::record::{RecordSettings, record};
use crate::bench::rehearse::{RehearseSettings, rehearse};
use crate::bench::sheet::{PICTURE, SheetSettings, sheet};
use crate::report::looks::{Marked, seen_by_patch, where_to_look};
use crate::study::{Spot, SpotSettings, spots};
use crate::trial::Trial;
use base::known::{Z95, Z975};
use base::stats::quantile;
use base::{Error, Place, Result};
use std::path::Path;

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
            let mut picture = None;
            if let Some(results) = from {
                let names = (exposure.as_deref(), specimen.as_deref());
                picture = Some(from_results(&mut settings, results, names, talk)?);
            }
            let mut planned = plan(&settings)?;
            if let Some(png) = picture {
                planned.add(PICTURE, png);
            }
            (planned, output)
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

/// \[ln units\] scatter of film thickness inside a square millimetre (engineering guess): grades
/// see it together with the dose's own spread.
const FILM_SPREAD: f64 = 0.35;

/// Places to look at, exposure, unit and run hash from a finished run; the picture of the places.
fn from_results(
    settings: &mut PlanSettings,
    results: &Path,
    (exposure, specimen): (Option<&str>, Option<&str>),
    talk: &Talk,
) -> Result<Vec<u8>> {
    let trial = Job::again(results, &super::ask::as_made())?.carry_out(talk)?;
    let part = part_of(&trial, exposure, specimen)?;
    let done = &trial.done[part];
    let unit = trial.scenario.exposures[done.id.exposure].unit;
    let rate = &done.outcome.rate;
    talk.say("choosing places to look at");
    let seen = seen_by_patch(&trial.figure)?;
    let found = spots(&trial.figure, rate, &seen, &SpotSettings::default());
    if found.iter().all(|p| p.shadow) {
        return Err(Error::input(format!(
            "no place of {} that gets dose is large enough to be seen in one of the four views",
            trial.name(done.id)
        ))
        .hint("choose another --exposure, or name [[areas]] by hand"));
    }
    settings.areas = found.iter().enumerate().map(dose_at).collect();
    if settings.spread_inside_ln <= 0.0 {
        let mut spreads: Vec<f64> = found
            .iter()
            .filter(|p| !p.shadow)
            .map(|p| p.spread)
            .collect();
        spreads.sort_by(f64::total_cmp);
        settings.spread_inside_ln = quantile(&spreads, 0.5).hypot(FILM_SPREAD);
    }
    settings.exposure_unit = unit.plural().into();
    settings.exposure_kind = trial.scenario.exposures[done.id.exposure]
        .deed
        .kind()
        .into();
    if settings.k_e_mm3_per_j.is_none() {
        // The outermost film as the stock has it, in mm3/J.
        settings.k_e_mm3_per_j = done
            .treatment
            .films
            .last()
            .map(|f| digits4(f.rate.rate * 1e9));
    }
    settings.counterface = done.treatment.counterface.clone();
    settings.friction = done.treatment.outer_friction().map(|f| f.value);
    settings.simulator_run = trial.figure.hash[..8]
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect();
    let marked: Vec<Marked> = found
        .into_iter()
        .zip(&settings.areas)
        .map(|(place, area)| Marked {
            label: area.area_id.clone(),
            untouched: place.shadow,
            patches: place.patches,
        })
        .collect();
    let subtitle = format!(
        "{}: doses simulated for {}",
        trial.figure.name,
        trial.name(done.id)
    );
    where_to_look(&trial.figure, subtitle, &marked)
}

/// Four significant digits: more would pretend.
fn digits4(value: f64) -> f64 {
    format!("{value:.3e}").parse().unwrap_or(value)
}

/// A place as the plan takes it, with its 90 % interval on the logarithmic scale.
fn dose_at((number, place): (usize, &Spot)) -> AreaDose {
    let rate = &place.rate;
    let relative = if rate.mean > 0.0 && rate.half_width.is_finite() {
        rate.half_width / rate.mean
    } else {
        0.0
    };
    let factor = (relative * Z95 / Z975).exp();
    AreaDose {
        area_id: format!("A{}", number + 1),
        words: place.words.clone(),
        dose_J_m2_per_unit: digits4(rate.mean),
        dose_lo90: digits4(rate.mean / factor),
        dose_hi90: digits4(rate.mean * factor),
        rank_certainty_pct: digits4(place.certainty.unwrap_or(1.0) * 100.0),
        area_mm2: digits4(place.surface * 1e6),
        view: Some(VIEWS[place.view].into()),
    }
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
