//! `compare`, `whatif`, `export`: questions to a scenario or to finished results.

use super::args::{CompareArgs, Effort, ExportArgs, ExportFormat, WhatifArgs};
use super::results::Job;
use super::run::{results_of, use_threads};
use super::talk::Talk;
use crate::report::folder::{make, part_name};
use crate::report::heat::{Drawn, common_scale, is_per_unit, maps};
use crate::report::{tables, words};
use crate::scenario::raw::{RawCompare, RawWhatIf};
use crate::scenario::{Source, lift};
use base::atomic;
use base::error::nearest;
use base::{Error, Result};
use mesh::figure::Display;
use mesh::format::{glb, obj, ply, threemf, vtu};

/// No overruling: finished results are taken as they were made.
pub(super) fn as_made() -> Effort {
    Effort {
        precision: None,
        budget: None,
        seed: None,
        threads: None,
        fresh: false,
    }
}

/// `thumbworn compare`.
///
/// # Errors
/// A folder without a run, or names that are not in it.
pub fn compare(args: &CompareArgs, talk: &Talk) -> Result<()> {
    let mut job = Job::again(&args.results, &as_made())?;
    job.raw.compare = vec![RawCompare {
        left: args.left.clone(),
        right: args.right.clone(),
        exposure: args.exposure.clone(),
    }];
    job.scenario = lift(&job.source, &job.raw)?;
    let trial = job.carry_out(talk)?;
    let mut found = Vec::new();
    for plan in &job.scenario.compares {
        for c in trial.compare(plan)? {
            let exposure = trial
                .scenario
                .exposures
                .iter()
                .position(|e| e.name == c.exposure);
            let why = exposure
                .and_then(|e| words::why(&trial, plan.left, plan.right, e))
                .unwrap_or_default();
            talk.result(&format!("- {} {why}", c.sentence));
            found.push(c);
        }
    }
    let file = args.results.join("compare.csv");
    atomic::write(&file, &tables::compares(&found)?)?;
    talk.result(&format!("\ntable: {}", file.display()));
    talk.object(&serde_json::json!({ "compares": found }));
    Ok(())
}

/// `0.1..0.6`.
fn range(typed: &str) -> Result<[f64; 2]> {
    let parsed = typed
        .split_once("..")
        .and_then(|(a, b)| Some([a.trim().parse().ok()?, b.trim().parse().ok()?]));
    parsed.ok_or_else(|| {
        Error::input(format!("--over {typed} is not a range"))
            .hint("write the smaller value, two dots, the larger one: --over 0.3..0.6")
    })
}

/// `thumbworn whatif`.
///
/// # Errors
/// Bad input, or whatever a part refuses.
pub fn whatif(args: &WhatifArgs, talk: &Talk) -> Result<()> {
    use_threads(&args.effort);
    let over = range(&args.over)?;
    let source = Source::read(&args.scenario)?;
    let folder = args
        .output
        .clone()
        .unwrap_or_else(|| results_of(&args.scenario));
    let mut job = Job::open(source, &folder, &args.effort)?;
    job.raw.whatif = vec![RawWhatIf {
        vary: args.vary.clone(),
        over,
        steps: args.steps,
        specimen: args.specimen.clone(),
        exposure: args.exposure.clone(),
    }];
    job.scenario = lift(&job.source, &job.raw)?;
    let talk = talk.with_budget(job.scenario.budget);
    let trial = job.carry_out(&talk)?;
    let mut found = Vec::new();
    for plan in &job.scenario.whatifs {
        found.extend(trial.whatif(plan, (&job.raw, &job.source), (&job.store, &talk))?);
    }
    for w in &found {
        talk.result(&format!("- {}", w.sentence));
    }
    let file = folder.join("whatif.csv");
    atomic::write(&file, &tables::whatifs(&found)?)?;
    talk.result(&format!("\ntable: {}", file.display()));
    talk.object(&serde_json::json!({ "whatifs": found }));
    Ok(())
}

/// A writer of heat meshes.
type Write = fn(&mesh::format::HeatMesh<'_>) -> Result<Vec<u8>>;

/// The scalar of a channel's short name.
fn scalar(typed: &str) -> Result<&'static str> {
    let known = [
        ("friction", "friction_J_m2"),
        ("impact", "impact_J_m2"),
        ("dent", "dent_J_m2"),
        ("peak", "peak_MPa"),
        ("slip", "slip_mm"),
        ("touches", "touches"),
        ("depth", "depth_um_energy_law"),
        ("film", "film_lost_pct"),
    ];
    let found = known
        .iter()
        .find(|(short, long)| typed == *short || typed == *long);
    found.map(|(_, long)| *long).ok_or_else(|| {
        let error = Error::input(format!("there is no channel \"{typed}\""));
        match nearest(typed, known.iter().map(|(short, _)| *short)) {
            Some(near) => error.hint(format!("did you mean {near}?")),
            None => error.hint("known: friction, impact, dent, peak, slip, touches, depth, film"),
        }
    })
}

/// `thumbworn export`.
///
/// # Errors
/// A folder without a run, an unknown channel, a folder that cannot be written.
pub fn export(args: &ExportArgs, talk: &Talk) -> Result<()> {
    let name = scalar(&args.channel)?;
    let job = Job::again(&args.results, &as_made())?;
    let trial = job.carry_out(talk)?;
    let folder = args
        .output
        .clone()
        .unwrap_or_else(|| args.results.join("heat"));
    let answers = trial.answers_without_whatifs(talk)?;
    make(&folder)?;
    if args.format == ExportFormat::Csv {
        let file = folder.join("patches.csv");
        atomic::write(&file, &tables::patches(&trial, &answers)?)?;
        talk.result(&file.display().to_string());
        return Ok(());
    }
    let display = Display::of(&trial.figure);
    let vertices_mm = display.vertices_mm();
    let mut written = Vec::new();
    for (e, exposure) in trial.scenario.exposures.iter().enumerate() {
        let parts: Vec<usize> = (0..trial.done.len())
            .filter(|p| trial.done[*p].id.exposure == e)
            .collect();
        let drawn: Vec<Drawn<'_>> = parts
            .iter()
            .map(|p| Drawn::new(&display, &vertices_mm, &maps(&trial, &answers, *p)))
            .collect();
        let shown: Vec<&[f32]> = drawn.iter().filter_map(|d| d.channel(name)).collect();
        let per = if is_per_unit(name) {
            exposure.unit.singular()
        } else {
            ""
        };
        let Some(scale) = common_scale(name, per, &shown) else {
            talk.say(&format!(
                "{}: nothing in channel {}",
                exposure.name, args.channel
            ));
            continue;
        };
        for (p, drawn) in parts.iter().zip(&drawn) {
            let (ending, write): (_, Write) = match args.format {
                ExportFormat::Glb => ("glb", glb),
                ExportFormat::Obj => ("obj", obj),
                ExportFormat::Vtu => ("vtu", vtu),
                ExportFormat::ThreeMf => ("3mf", threemf),
                ExportFormat::Ply | ExportFormat::Csv => ("ply", ply),
            };
            let comment = format!(
                "thumbworn {}: {}",
                env!("CARGO_PKG_VERSION"),
                trial.name(trial.done[*p].id)
            );
            let file = folder.join(format!("{}.{ending}", part_name(&trial, *p)));
            atomic::write(&file, &drawn.mesh(&comment, (name, &scale), write)?)?;
            talk.result(&file.display().to_string());
            written.push(file.display().to_string());
        }
    }
    talk.object(&serde_json::json!({ "files": written }));
    Ok(())
}
