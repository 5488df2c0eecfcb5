//! Writes a results folder: tables, summary, heat meshes, pictures; each file whole or not at all.

use super::footprints;
use super::heat::{Drawn, common_scale, is_per_unit, maps};
use super::tables;
use crate::trial::{Answers, Trial};
use base::{Error, Result};
use base::{atomic, slug};
use mesh::figure::Display;
use mesh::format::{glb, ply};
use std::path::Path;

/// The channel that colours heat meshes and pictures.
const SHOWN: &str = "friction_J_m2";

/// Writes the tables.
///
/// # Errors
/// A folder that cannot be written.
pub fn write_tables(folder: &Path, trial: &Trial, answers: &Answers) -> Result<()> {
    make(folder)?;
    atomic::write(folder.join("areas.csv"), &tables::areas(trial, answers)?)?;
    atomic::write(
        folder.join("patches.csv"),
        &tables::patches(trial, answers)?,
    )?;
    atomic::write(folder.join("ledger.csv"), &tables::ledger(trial)?)?;
    atomic::write(
        folder.join("compare.csv"),
        &tables::compares(&answers.compares)?,
    )?;
    atomic::write(
        folder.join("whatif.csv"),
        &tables::whatifs(&answers.whatifs)?,
    )
}

/// Makes a folder and what is missing above it.
///
/// # Errors
/// A folder that cannot be made.
pub fn make(folder: &Path) -> Result<()> {
    std::fs::create_dir_all(folder)
        .map_err(|cause| Error::system("make the folder", folder, &cause))
}

/// File name of a part without ending.
#[must_use]
pub fn part_name(trial: &Trial, part: usize) -> String {
    let id = trial.done[part].id;
    format!(
        "{}--{}",
        slug(&trial.scenario.exposures[id.exposure].name),
        slug(&trial.scenario.specimens[id.specimen].specimen.name)
    )
}

/// Writes heat meshes and pictures of every part.
///
/// # Errors
/// A folder that cannot be written.
pub fn write_heat(
    folder: &Path,
    trial: &Trial,
    answers: &Answers,
    display: &Display,
) -> Result<()> {
    let (heat, pictures) = (folder.join("heat"), folder.join("pictures"));
    make(&heat)?;
    make(&pictures)?;
    for part in 0..trial.done.len() {
        if let Some(png) = footprints::sheet(trial, part, footprints::LARGE)? {
            let name = format!("{}--footprint.png", part_name(trial, part));
            atomic::write(pictures.join(name), &png)?;
        }
    }
    let vertices_mm = display.vertices_mm();
    for exposure in 0..trial.scenario.exposures.len() {
        let parts: Vec<usize> = (0..trial.done.len())
            .filter(|p| trial.done[*p].id.exposure == exposure)
            .collect();
        let drawn: Vec<Drawn<'_>> = parts
            .iter()
            .map(|p| Drawn::new(display, &vertices_mm, &maps(trial, answers, *p)))
            .collect();
        let unit = trial.scenario.exposures[exposure].unit;
        let shown: Vec<&[f32]> = drawn.iter().filter_map(|d| d.channel(SHOWN)).collect();
        let per = if is_per_unit(SHOWN) {
            unit.singular()
        } else {
            ""
        };
        let Some(scale) = common_scale(SHOWN, per, &shown) else {
            continue;
        };
        for (part, drawn) in parts.iter().zip(&drawn) {
            let name = part_name(trial, *part);
            let title = trial.name(trial.done[*part].id);
            let comment = format!("thumbworn {}: {title}", env!("CARGO_PKG_VERSION"));
            let colour = (SHOWN, &scale);
            atomic::write(
                heat.join(format!("{name}.ply")),
                &drawn.mesh(&comment, colour, ply)?,
            )?;
            atomic::write(
                heat.join(format!("{name}.glb")),
                &drawn.mesh(&comment, colour, glb)?,
            )?;
            let picture = drawn.picture(&title, &trial.scenario.title, colour)?;
            atomic::write(pictures.join(format!("{name}.png")), &picture)?;
            let turn = drawn.turn(&title, &trial.scenario.title, colour)?;
            atomic::write(pictures.join(format!("{name}--turn.png")), &turn)?;
        }
    }
    Ok(())
}
