//! `bench rehearse`: filled grade tables from a stated truth, to try a plan out before anyone
//! paints. They are marked in every row, and whatever is made of them says so.

use super::files::{Bench, GradeRow, Outcome, write_rows};
use base::random::stream;
use base::{Error, Note, Place, Result, Topic};
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// The word in the note of every rehearsed grade.
pub const MARK: &str = "rehearsal";

/// Standard normal quantiles of 0.3, 1, 3, 10 and 30 % (any table of the normal distribution): the
/// worn share of an area at which each grade begins.
const THRESHOLDS: [f64; 5] = [-2.747_781, -2.326_348, -1.880_794, -1.281_552, -0.524_401];
/// [ln units] spread of dose over film inside an area where the plan knows none.
const USUAL_SPREAD: f64 = 0.95;

/// What is true in a rehearsal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Truth {
    /// Seed of figures, cells and readings.
    #[serde(default = "one")]
    pub seed: u64,
    /// \[ln units\] scatter between figures of one system.
    #[serde(default = "figures")]
    pub figure_sd: f64,
    /// \[ln units\] scatter between areas of one figure.
    #[serde(default = "cells")]
    pub cell_sd: f64,
    /// \[ln units\] scale of the reading noise (logistic).
    #[serde(default = "readings")]
    pub reading_scale: f64,
    /// \[ln units\] how much harsher each grader is, in the plan's order; 0 for those left out.
    #[serde(default)]
    pub grader_offset: Vec<f64>,
    /// The true wear rates.
    pub system: Vec<TrueRate>,
}

/// The true wear rate of one system.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TrueRate {
    /// System of the plan.
    pub system_id: String,
    /// \[mm3/J\]
    pub k_e_mm3_per_j: f64,
}

fn one() -> u64 {
    1
}
fn figures() -> f64 {
    0.25
}
fn cells() -> f64 {
    0.35
}
fn readings() -> f64 {
    0.12
}

/// What to rehearse.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RehearseSettings {
    /// The bench folder.
    pub folder: PathBuf,
    /// File with the truth.
    pub truth: PathBuf,
}

impl Truth {
    /// Reads the file with the truth.
    ///
    /// # Errors
    /// Anything that is not one, with its place.
    pub fn read(path: &Path) -> Result<Truth> {
        let text = std::fs::read_to_string(path).map_err(|e| Error::system("read", path, &e))?;
        toml::from_str(&text).map_err(|e| {
            Error::input(e.message().to_owned())
                .at(Place {
                    span: e.span(),
                    text: Some(text.clone()),
                    ..Place::file(path)
                })
                .hint("scenarios/bench/truth_of_five_coats.toml is an example")
        })
    }

    /// \[mm3/J\] of every system of a bench, in its order.
    fn rates(&self, bench: &Bench) -> Result<Vec<f64>> {
        let rate = |id: &str| {
            let found = self.system.iter().find(|s| s.system_id == id);
            let sound = found.filter(|s| s.k_e_mm3_per_j > 0.0 && s.k_e_mm3_per_j.is_finite());
            sound.map(|s| s.k_e_mm3_per_j).ok_or_else(|| {
                Error::input(format!(
                    "the truth gives no wear rate above 0 for system {id}"
                ))
                .hint("add [[system]] with system_id and k_e_mm3_per_j")
            })
        };
        bench.systems.iter().map(|s| rate(&s.system_id)).collect()
    }
}

/// One filled table per inspection.
///
/// # Errors
/// As [`Bench::open`] and [`Truth::read`]; a system without a true rate; grades recorded already.
pub fn rehearse(settings: &RehearseSettings) -> Result<Outcome> {
    let bench = Bench::open(&settings.folder)?;
    let truth = Truth::read(&settings.truth)?;
    if !bench.recorded()?.is_empty() {
        return Err(Error::refused("grades are recorded in this bench already")
            .at(Place::file(&settings.folder))
            .hint("rehearse in a copy of the planned folder, so that made-up grades never meet real ones"));
    }
    let rates = truth
        .rates(&bench)
        .map_err(|e| e.at(Place::file(&settings.truth)))?;
    let mut outcome = Outcome::default();
    for (inspection, units) in bench.file.inspections.iter().enumerate() {
        let rows = table(&bench, &truth, (&rates, inspection));
        outcome.add(format!("{MARK}/grades-{units}.csv"), write_rows(&rows)?);
    }
    outcome.text = format!(
        "{} filled tables of made-up grades in {MARK}/: take them in with `bench record`, then analyse and calibrate.\n",
        bench.file.inspections.len()
    );
    outcome.notes.push(Note::new(
        Topic::Caution,
        "these grades were made up from a stated truth: they show what the plan could find, nothing about any paint",
    ));
    Ok(outcome)
}

fn table(bench: &Bench, truth: &Truth, (rates, inspection): (&[f64], usize)) -> Vec<GradeRow> {
    let units = bench.file.inspections[inspection];
    let spread = match bench.file.spread_inside_ln {
        s if s > 0.0 => s,
        _ => USUAL_SPREAD,
    };
    let normal = |kind: &str, name: &str| -> f64 {
        StandardNormal.sample(&mut stream(truth.seed, &[MARK, kind, name], 0))
    };
    let mut rows = Vec::new();
    for (code, (specimen, _)) in bench.key.iter().filter(|(_, (_, at))| *at == inspection) {
        let of = &bench.specimens[*specimen];
        let id = &of.row.specimen_id;
        let film = bench.systems[of.system].film_um_median * 1e-6;
        for area in &bench.areas {
            let worn = units * area.dose_j_m2_per_unit * rates[of.system] * 1e-9 / film;
            let x = worn.ln()
                + truth.figure_sd * normal("figure", id)
                + truth.cell_sd * normal("cell", &format!("{id} {}", area.area_id));
            for (g, grader) in bench.file.graders.iter().enumerate() {
                let mut random = stream(truth.seed, &[MARK, code, grader, &area.area_id], 0);
                let u: f64 = random.random::<f64>().clamp(1e-9, 1.0 - 1e-9);
                let harsh = truth.grader_offset.get(g).copied().unwrap_or(0.0);
                let seen = x + harsh + truth.reading_scale * (u / (1.0 - u)).ln();
                let grade = THRESHOLDS.iter().filter(|t| seen > spread * **t).count() as u8;
                rows.push(GradeRow {
                    code: format!("c-{code}"),
                    inspection_units: units,
                    area_id: area.area_id.clone(),
                    grader: grader.clone(),
                    grade: Some(if of.row.role == "blank" { 0 } else { grade }),
                    kind: "R".into(),
                    note: MARK.into(),
                });
            }
        }
    }
    rows
}
