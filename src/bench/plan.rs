//! `bench plan`: from wishes to a folder that says everything before the first move.

use super::choose::Choose;
use super::design::{draw_codes, floor_of_design, imbalance, smallest_n_for_holm, williams};
use super::exact::Side;
use super::files::{
    AreaRow, BenchFile, Comparison, KeyRow, Outcome, RoundRow, SpecimenRow, SystemPrior, SystemRow,
    sha256, write_rows,
};
use super::model::{Density, Prior, Reading, Trial};
use super::photos::VIEWS;
use crate::base::random::{Stream, stream};
use crate::base::{Error, Note, Result, Topic};

use rand::seq::SliceRandom;
use serde::{Deserialize, Serialize};
use std::fmt::Write;

/// An area of a finished run, as the bench needs it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(non_snake_case)]
pub struct AreaDose {
    /// Identifier, such as `A1`.
    pub area_id: String,
    /// Where it is, in words.
    pub words: String,
    /// \[J/m2\] per unit of exposure.
    pub dose_J_m2_per_unit: f64,
    /// \[J/m2\] 5 % over seeds.
    pub dose_lo90: f64,
    /// \[J/m2\] 95 % over seeds.
    pub dose_hi90: f64,
    /// \[%\] certainty of its rank against the next area.
    pub rank_certainty_pct: f64,
    /// Size.
    pub area_mm2: f64,
    /// The view that shows it: front, right, back or left. Without one they take turns.
    #[serde(default)]
    pub view: Option<String>,
}

/// What is to be planned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanSettings {
    /// What the bench is about.
    pub title: String,
    /// Seed of everything random.
    #[serde(default = "one")]
    pub seed: u64,
    /// The systems, if they are chosen by hand.
    #[serde(default)]
    pub systems: Vec<SystemRow>,
    /// How systems are chosen where none are named.
    #[serde(default)]
    pub choose: Option<Choose>,
    /// Figures per system, each prepared on its own.
    pub figures_per_system: usize,
    /// The system every bench carries, to link benches; empty for none.
    #[serde(default)]
    pub reference_system: String,
    /// Areas of the finished run; the lowest may be the shadow area with dose 0.
    pub areas: Vec<AreaDose>,
    /// \[ln units\] spread of dose over film inside an area, 0 if unknown.
    #[serde(default)]
    pub spread_inside_ln: f64,
    /// Hash of the run.
    #[serde(default)]
    pub simulator_run: String,
    /// `handle`, `rub` and so on.
    pub exposure_kind: String,
    /// What rubs the figures, a name of the stock such as `greasy skin`.
    #[serde(default)]
    pub counterface: String,
    /// Friction the areas' doses were computed with.
    #[serde(default)]
    pub friction: Option<f64>,
    /// Plural of the unit.
    pub exposure_unit: String,
    /// Inspections, the first 0.
    #[serde(default = "usual_inspections")]
    pub inspections: Vec<f64>,
    /// Shift the inspections by a power of 2 to where the prior expects grades.
    #[serde(default)]
    pub fit_inspections: bool,
    /// Who grades.
    pub graders: Vec<String>,
    /// Level.
    #[serde(default = "usual_alpha")]
    pub alpha: f64,
    /// Declared family.
    #[serde(default)]
    pub family: Vec<Comparison>,
    /// \[mm3/J\] prior wear rate of every system without its own.
    pub k_e_mm3_per_j: f64,
    /// Own priors.
    #[serde(default)]
    pub prior: Vec<SystemPrior>,
    /// \[%\] figures graded twice under two codes.
    #[serde(default = "usual_repeats")]
    pub repeats_pct: f64,
    /// Units of exposure per figure and pass.
    #[serde(default = "usual_pass")]
    pub units_per_pass: u32,
}

fn one() -> u64 {
    1
}
fn usual_alpha() -> f64 {
    0.05
}
fn usual_repeats() -> f64 {
    15.0
}
fn usual_pass() -> u32 {
    25
}
fn usual_inspections() -> Vec<f64> {
    vec![0.0, 125.0, 250.0, 500.0, 1000.0, 2000.0]
}

/// Plans a bench.
///
/// # Errors
/// No system or area, a declared comparison with unknown systems, too many codes.
pub fn plan(settings: &PlanSettings) -> Result<Outcome> {
    let mut settings = settings.clone();
    let mut chosen = String::new();
    if let Some(choose) = settings.choose.take() {
        if !settings.systems.is_empty() {
            return Err(Error::input("systems are both named and to be chosen")
                .hint("delete [choose], or name no [[systems]]"));
        }
        (settings.systems, chosen) = choose.systems(settings.seed)?;
    }
    let settings = &settings;
    check(settings)?;
    let mut random = stream(settings.seed, &["bench", "plan"], 0);
    let mut outcome = Outcome::default();
    let specimens = allocate(settings, &mut random);
    let inspections = inspections(settings, &mut outcome)?;
    let key = keys(settings, &specimens, inspections.len(), &mut random)?;
    let key_text = write_rows(&key)?;
    let rounds = rounds(settings, &specimens, &inspections, &key);
    let file = declaration(settings, &inspections, &key_text);
    outcome.text = chosen + &said(settings, &file, &specimens, &rounds)?;
    let toml = toml::to_string(&file)
        .map_err(|e| Error::refused(format!("cannot write bench.toml: {e}")))?;
    outcome.add("bench.toml", toml);
    outcome.add("systems.csv", write_rows(&settings.systems)?);
    outcome.add("specimens.csv", write_rows(&specimens)?);
    outcome.add("areas.csv", write_rows(&area_rows(settings))?);
    outcome.add("key.csv", key_text);
    outcome.add("rounds.csv", write_rows(&rounds)?);
    outcome.notes.extend(super::sheet::cautions());
    Ok(outcome)
}

fn check(settings: &PlanSettings) -> Result<()> {
    let names: Vec<&str> = settings
        .systems
        .iter()
        .map(|s| s.system_id.as_str())
        .collect();
    let mut unique = names.clone();
    unique.sort_unstable();
    unique.dedup();
    if names.len() < 2 || unique.len() != names.len() {
        return Err(Error::input(
            "a bench compares at least two systems, each with its own system_id",
        ));
    }
    if settings.figures_per_system == 0 || settings.graders.is_empty() || settings.areas.is_empty()
    {
        return Err(Error::input(
            "a bench needs at least one figure per system, one grader and one area",
        ));
    }
    if settings
        .systems
        .iter()
        .any(|s| !(s.film_um_median > 0.0 && s.film_um_median < 2000.0))
    {
        return Err(Error::input(
            "film_um_median must be above 0 and below 2000 um for every system",
        ));
    }
    for area in &settings.areas {
        if let Some(view) = area.view.as_deref().filter(|v| !VIEWS.contains(v)) {
            return Err(Error::input(format!(
                "area {} is said to be seen from \"{view}\"",
                area.area_id
            ))
            .hint("view is one of front, right, back, left"));
        }
    }
    let rising = settings.inspections.windows(2).all(|w| w[0] < w[1]);
    if settings.inspections.first() != Some(&0.0) || !rising || settings.inspections.len() < 2 {
        return Err(Error::input("inspections start at 0 and rise")
            .hint("inspections = [0, 125, 250, 500, 1000, 2000]"));
    }
    for c in &settings.family {
        if let Some(unknown) = c.systems.iter().find(|s| !names.contains(&s.as_str())) {
            return Err(Error::input(format!(
                "comparison \"{}\" names the unknown system {unknown}",
                c.name
            ))
            .hint(format!("systems are {}", names.join(", "))));
        }
        if c.systems.len() < 2 || c.side == Side::Lower {
            return Err(Error::input(format!(
                "comparison \"{}\" needs two or more systems from least to most wear, and side higher or two",
                c.name
            )));
        }
    }
    Ok(())
}

/// One figure of every system in each block, in random order, and one blank per body material.
fn allocate(settings: &PlanSettings, random: &mut Stream) -> Vec<SpecimenRow> {
    let mut rows = Vec::new();
    let blank_row = |system: &SystemRow, block: u32, role: &str, batch: String| SpecimenRow {
        specimen_id: String::new(),
        system_id: system.system_id.clone(),
        batch,
        block,
        role: role.into(),
        mass_g: None,
        cure_days: None,
        sprayed_on: String::new(),
    };
    for block in 1..=settings.figures_per_system as u32 {
        let mut order: Vec<&SystemRow> = settings.systems.iter().collect();
        order.shuffle(random);
        for system in order {
            let role = if system.system_id == settings.reference_system {
                "reference"
            } else {
                "test"
            };
            rows.push(blank_row(
                system,
                block,
                role,
                format!("{}-{block}", system.system_id),
            ));
        }
    }
    let mut bodies: Vec<&str> = Vec::new();
    for system in &settings.systems {
        if !bodies.contains(&system.body.as_str()) {
            bodies.push(&system.body);
            rows.push(blank_row(
                system,
                1,
                "blank",
                format!("{}-blank", system.system_id),
            ));
        }
    }
    for (i, row) in rows.iter_mut().enumerate() {
        row.specimen_id = format!("F{:02}", i + 1);
    }
    rows
}

/// A new code for every figure at every inspection, and second codes for the repeats.
fn keys(
    settings: &PlanSettings,
    specimens: &[SpecimenRow],
    inspections: usize,
    random: &mut Stream,
) -> Result<Vec<KeyRow>> {
    let repeats = (specimens.len() as f64 * settings.repeats_pct / 100.0).ceil() as usize;
    let codes = draw_codes((specimens.len() + repeats) * inspections, random)?;
    let mut codes = codes.into_iter();
    let mut key = Vec::new();
    for inspection in 0..inspections {
        let mut again: Vec<usize> = (0..specimens.len()).collect();
        again.shuffle(random);
        let twice = again.into_iter().take(repeats);
        for specimen in (0..specimens.len()).chain(twice) {
            key.push(KeyRow {
                code: format!("c-{}", codes.next().unwrap_or_default()),
                specimen_id: specimens[specimen].specimen_id.clone(),
                inspection,
            });
        }
    }
    Ok(key)
}

/// Passes in Williams order, each interval starting at the next row of the design.
fn rounds(
    settings: &PlanSettings,
    specimens: &[SpecimenRow],
    inspections: &[f64],
    key: &[KeyRow],
) -> Vec<RoundRow> {
    let mut rounds = Vec::new();
    for block in 1..=settings.figures_per_system as u32 {
        let of_block = |s: &&SpecimenRow| s.block == block && s.role != "blank";
        let members: Vec<&SpecimenRow> = specimens.iter().filter(of_block).collect();
        let design = williams(members.len());
        let mut pass = 0;
        for (i, step) in inspections.windows(2).enumerate() {
            let units = (step[1] - step[0]).round() as u32;
            let passes = units.div_ceil(settings.units_per_pass);
            for p in 0..passes {
                let done = p * settings.units_per_pass;
                let row = &design[pass as usize % design.len()];
                pass += 1;
                for (position, &member) in row.iter().enumerate() {
                    let id = &members[member].specimen_id;
                    let worn = key
                        .iter()
                        .find(|k| k.inspection == i + 1 && k.specimen_id == *id);
                    rounds.push(RoundRow {
                        block,
                        pass,
                        position: position as u32 + 1,
                        code: worn.map_or(String::new(), |k| k.code.clone()),
                        exposure_kind: settings.exposure_kind.clone(),
                        units: settings.units_per_pass.min(units - done),
                        started: String::new(),
                        minutes: None,
                        operator: String::new(),
                        witness_loss_pct: None,
                        remark: String::new(),
                    });
                }
            }
        }
    }
    rounds
}

fn declaration(settings: &PlanSettings, inspections: &[f64], key_text: &str) -> BenchFile {
    let own = |s: &SystemRow| {
        settings
            .prior
            .iter()
            .find(|p| p.system_id == s.system_id)
            .cloned()
    };
    let common = |s: &SystemRow| SystemPrior {
        system_id: s.system_id.clone(),
        k_e_mm3_per_j: settings.k_e_mm3_per_j,
        source: "prior of the bench".into(),
    };
    BenchFile {
        title: settings.title.clone(),
        seed: settings.seed,
        alpha: settings.alpha,
        score_areas: settings
            .areas
            .iter()
            .filter(|a| a.dose_J_m2_per_unit > 0.0)
            .map(|a| a.area_id.clone())
            .collect(),
        inspections: inspections.to_vec(),
        counterface: settings.counterface.clone(),
        friction: settings.friction,
        exposure_kind: settings.exposure_kind.clone(),
        exposure_unit: settings.exposure_unit.clone(),
        graders: settings.graders.clone(),
        units_per_pass: settings.units_per_pass,
        grease_mg: 5.0,
        grease_every_units: 25,
        room_t_c: 23.0,
        room_rh_pct: 50.0,
        stop_rules: [
            "retire a figure when bare metal that may hold lead shows, or when half of its areas or more read 5 by all graders",
            "end when every figure is retired or at the last inspection",
            "extend once, twofold, if fewer than half of the figures have any grade of 2 or more at the last inspection",
            "no stop because it looks clear",
        ]
        .map(str::to_owned)
        .to_vec(),
        key_sha256: sha256(key_text.as_bytes()),
        simulator_run: settings.simulator_run.clone(),
        spread_inside_ln: settings.spread_inside_ln,
        family: settings.family.clone(),
        prior: settings.systems.iter().map(|s| own(s).unwrap_or_else(|| common(s))).collect(),
    }
}

fn area_rows(settings: &PlanSettings) -> Vec<AreaRow> {
    let row = |(i, a): (usize, &AreaDose)| AreaRow {
        area_id: a.area_id.clone(),
        words: a.words.clone(),
        dose_j_m2_per_unit: a.dose_J_m2_per_unit,
        dose_lo90: a.dose_lo90,
        dose_hi90: a.dose_hi90,
        rank_certainty_pct: a.rank_certainty_pct,
        view: view_number(i, a),
        area_mm2: a.area_mm2,
        shadow: u8::from(a.dose_J_m2_per_unit <= 0.0),
    };
    settings.areas.iter().enumerate().map(row).collect()
}

/// Number of the view that shows an area, from 1.
fn view_number(index: usize, area: &AreaDose) -> u32 {
    let named = area.view.as_deref();
    let found = named.and_then(|name| VIEWS.iter().position(|v| *v == name));
    found.unwrap_or(index % VIEWS.len()) as u32 + 1
}

/// Shifts the inspections so that weak systems show early and strong ones show at all.
fn inspections(settings: &PlanSettings, outcome: &mut Outcome) -> Result<Vec<f64>> {
    if !settings.fit_inspections {
        return Ok(settings.inspections.clone());
    }
    let mut best = (f64::NEG_INFINITY, 1.0, [0.0; 3]);
    for factor in [1.0, 0.5, 2.0, 0.25, 4.0] {
        let grid: Vec<f64> = settings.inspections.iter().map(|n| n * factor).collect();
        let chances = expected(settings, &grid)?;
        let worth: f64 = chances.iter().map(|c| c.min(0.8)).sum();
        if worth > best.0 + 1e-9 {
            best = (worth, factor, chances);
        }
    }
    let (_, factor, [weak, strong, fresh]) = best;
    outcome.notes.push(Note::new(
        Topic::Guess,
        format!(
            "inspections multiplied by {factor}: by the priors the weakest system reaches grade 3 before the third look with a chance of {:.0} %, the strongest shows grade 1 at the end with {:.0} %, and some system still reads 1 or less at the first look with {:.0} %",
            100.0 * weak,
            100.0 * strong,
            100.0 * fresh
        ),
    ));
    Ok(settings.inspections.iter().map(|n| n * factor).collect())
}

/// Prior chances that the weakest system reads 3 by the third look, that the strongest reads 1 at
/// the end, and that some system is not past grade 1 at the first look.
fn expected(settings: &PlanSettings, grid: &[f64]) -> Result<[f64; 3]> {
    let areas: Vec<&AreaDose> = settings
        .areas
        .iter()
        .filter(|a| a.dose_J_m2_per_unit > 0.0)
        .collect();
    let systems = settings.systems.len();
    let mut readings = Vec::new();
    for specimen in 0..systems {
        for area in 0..areas.len() {
            for inspection in 0..grid.len() - 1 {
                readings.push(Reading {
                    specimen,
                    area,
                    inspection,
                    grader: 0,
                    grade: 0,
                });
            }
        }
    }
    let file = declaration(settings, grid, "");
    let trial = Trial {
        centre: file
            .prior
            .iter()
            .zip(&settings.systems)
            .map(|(p, s)| (p.k_e_mm3_per_j * 1e-9 / (s.film_um_median * 1e-6)).ln())
            .collect(),
        factors: vec![Vec::new(); systems],
        system_of: (0..systems).collect(),
        ln_dose: areas.iter().map(|a| a.dose_J_m2_per_unit.ln()).collect(),
        ln_dose_sd: vec![0.0; areas.len()],
        exposure: grid[1..].to_vec(),
        graders: 1,
        readings,
    };
    let density = Density::new(trial, Prior::default())?;
    let mut random = stream(settings.seed, &["bench", "grid"], 0);
    let (mut weak, mut strong, mut fresh, runs) = (0_u32, 0_u32, 0_u32, 300);
    let third = 2.min(grid.len() - 2);
    for _ in 0..runs {
        let world = density.prior_world(&mut random);
        let grades = density.simulate(&world, &mut random);
        let reached = |system: usize, by: usize| {
            let seen = grades
                .iter()
                .filter(|r| r.specimen == system && r.inspection <= by);
            seen.map(|r| r.grade).max().unwrap_or(0)
        };
        let last = grid.len() - 2;
        weak += u32::from((0..systems).any(|s| reached(s, third) >= 3));
        strong += u32::from((0..systems).all(|s| reached(s, last) >= 1));
        fresh += u32::from((0..systems).any(|s| reached(s, 0) <= 1));
    }
    Ok([weak, strong, fresh].map(|n| f64::from(n) / f64::from(runs)))
}

/// What the plan tells before anyone paints.
fn said(
    settings: &PlanSettings,
    file: &BenchFile,
    specimens: &[SpecimenRow],
    rounds: &[RoundRow],
) -> Result<String> {
    let mut text = String::new();
    let blanks = specimens.iter().filter(|s| s.role == "blank").count();
    let last = file.inspections[file.inspections.len() - 1];
    let _ = writeln!(text, "{}", settings.title);
    let _ = writeln!(
        text,
        "{} systems x {} figures and {blanks} blanks; looks at {:?} {}.",
        settings.systems.len(),
        settings.figures_per_system,
        file.inspections,
        settings.exposure_unit
    );
    let exposed = (specimens.len() - blanks) as f64;
    let hours = exposed * last / 1.3 / 3600.0;
    let looks = file.inspections.len() as f64 * specimens.len() as f64;
    let grading = looks * settings.graders.len() as f64 / 60.0;
    let _ = writeln!(
        text,
        "Time: about {hours:.1} h of handling at 1.3 moves a second, {grading:.1} h of grading at a minute a sheet, {:.1} h of photographs.",
        looks / 60.0
    );
    let passes = rounds.iter().map(|r| r.pass).max().unwrap_or(0) as usize;
    let uneven = imbalance(settings.systems.len(), 0, passes);
    let _ = writeln!(
        text,
        "{passes} passes per block; positions uneven by {uneven} at most."
    );
    for c in &settings.family {
        let two = c.side == Side::Two;
        let floor = floor_of_design(c.test, c.systems.len(), settings.figures_per_system, two)?;
        let corrected = floor * settings.family.len() as f64;
        let _ = writeln!(
            text,
            "{}: the smallest p this design can give is {floor:.3e}; in a family of {} it must be at most {:.4}.",
            c.name,
            settings.family.len(),
            settings.alpha / settings.family.len() as f64
        );
        if corrected > settings.alpha {
            let n = smallest_n_for_holm(settings.family.len(), settings.alpha, two);
            let _ = writeln!(
                text,
                "  It cannot be shown at {} with {} figures each. A pair of systems would need {n} each; one declared order of 4 or more systems needs 1.",
                settings.alpha, settings.figures_per_system
            );
        }
    }
    if settings.family.is_empty() {
        let _ = writeln!(
            text,
            "No comparison is declared: everything will be labelled as looked at afterwards."
        );
    }
    let _ = writeln!(
        text,
        "Key: SHA-256 {}. Keep key.csv closed until the grades are frozen.",
        file.key_sha256
    );
    spread_of_areas(settings, &mut text);
    Ok(text)
}

fn spread_of_areas(settings: &PlanSettings, text: &mut String) {
    let doses: Vec<f64> = settings
        .areas
        .iter()
        .map(|a| a.dose_J_m2_per_unit)
        .filter(|d| *d > 0.0)
        .collect();
    let (low, high) = doses
        .iter()
        .fold((f64::INFINITY, 0.0_f64), |(l, h), d| (l.min(*d), h.max(*d)));
    let span = (high / low).ln();
    if span < 1.5 {
        let _ = writeln!(
            text,
            "The areas' doses span a factor of {:.1} only; 4.5 or more tells dose from luck.",
            span.exp()
        );
    }
    if doses.len() == settings.areas.len() {
        let _ = writeln!(
            text,
            "There is no area that should get nothing: add one (dose 0) as a check of light, graders and simulator."
        );
    }
    for a in settings
        .areas
        .iter()
        .filter(|a| a.area_mm2 < 1.0 || a.rank_certainty_pct < 80.0)
    {
        let _ = writeln!(
            text,
            "Area {} ({}): {:.1} mm2, rank certain to {:.0} %: 1 mm2 and 80 % are asked for.",
            a.area_id, a.words, a.area_mm2, a.rank_certainty_pct
        );
    }
}

/// A random order of `count` things.
pub(super) fn shuffled(count: usize, random: &mut Stream) -> Vec<usize> {
    let mut order: Vec<usize> = (0..count).collect();
    order.shuffle(random);

    order
}
