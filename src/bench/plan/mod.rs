//! `bench plan`: from wishes to a folder that says everything before the first move.

mod grid;
mod order;
mod outlook;
mod told;

use super::choose::Choose;
use super::files::{
    AreaRow, BenchFile, Comparison, Outcome, SystemPrior, SystemRow, sha256, write_rows,
};
use super::photos::VIEWS;
use base::random::stream;
use base::{Error, Result};
pub(super) use order::shuffled;
use serde::{Deserialize, Serialize};

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
    /// Places to look at, if no run gives them; the lowest may be the shadow area with dose 0.
    #[serde(default)]
    pub areas: Vec<AreaDose>,
    /// \[ln units\] spread of dose over film inside an area, 0 if unknown.
    #[serde(default)]
    pub spread_inside_ln: f64,
    /// Hash of the run.
    #[serde(default)]
    pub simulator_run: String,
    /// `handle`, `rub` and so on; a run knows it.
    #[serde(default)]
    pub exposure_kind: String,
    /// What rubs the figures, a name of the stock such as `greasy skin`.
    #[serde(default)]
    pub counterface: String,
    /// Friction the areas' doses were computed with.
    #[serde(default)]
    pub friction: Option<f64>,
    /// Plural of the unit; a run knows it.
    #[serde(default)]
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
    /// \[mm3/J\] prior wear rate of every system without its own; a run gives one if nobody does.
    #[serde(default)]
    pub k_e_mm3_per_j: Option<f64>,
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
/// No system or area, a declared comparison with unknown systems or without what its test needs
/// ([`Comparison::check`]), too many codes.
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
    let specimens = order::allocate(settings, &mut random);
    let (inspections, units_per_pass) = grid::inspections(settings, &mut outcome)?;
    let key = order::keys(settings, &specimens, inspections.len(), &mut random)?;
    let key_text = write_rows(&key)?;
    let steps = (inspections.as_slice(), units_per_pass);
    let rounds = order::rounds(settings, &specimens, steps, &key);
    let file = declaration(settings, steps, &key_text);
    let outlook = outlook::outlook(settings, &inspections)?;
    outcome.text = chosen + &told::said(settings, &file, &specimens, &rounds, &outlook);
    let toml = toml::to_string(&file)
        .map_err(|e| Error::refused(format!("cannot write bench.toml: {e}")))?;
    outcome.add("bench.toml", toml);
    outcome.add("systems.csv", write_rows(&settings.systems)?);
    outcome.add("specimens.csv", write_rows(&specimens)?);
    outcome.add("areas.csv", write_rows(&area_rows(settings))?);
    outcome.add("key.csv", key_text);
    outcome.add("rounds.csv", write_rows(&rounds)?);
    if !outlook.is_empty() {
        outcome.add("outlook.csv", write_rows(&outlook)?);
    }
    outcome.notes.extend(super::sheet::cautions());
    Ok(outcome)
}

/// \[mm3/J\] prior wear rate of a system: its own, else the common one.
fn wear_rate(settings: &PlanSettings, id: &str) -> Option<f64> {
    let own = settings.prior.iter().find(|p| p.system_id == id);
    own.map(|p| p.k_e_mm3_per_j).or(settings.k_e_mm3_per_j)
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
    for s in &settings.systems {
        let rate = wear_rate(settings, &s.system_id);
        if !rate.is_some_and(|k| k > 0.0 && k.is_finite()) {
            return Err(Error::input(format!(
                "system {} needs a prior wear rate above 0",
                s.system_id
            ))
            .hint("k_e_mm3_per_j = 0.001 for all, [[prior]] for one system, or --from a run that used the same coat (thumbworn stock shows what is known)"));
        }
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
    if settings.exposure_kind.is_empty() || settings.exposure_unit.is_empty() {
        return Err(Error::input(
            "a bench needs exposure_kind and exposure_unit",
        )
        .hint("exposure_kind = \"rub\", exposure_unit = \"strokes\"; or --from a run, which knows both"));
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
        c.check(settings.inspections.len() - 1)?;
    }
    Ok(())
}

fn declaration(
    settings: &PlanSettings,
    (inspections, units_per_pass): (&[f64], u32),
    key_text: &str,
) -> BenchFile {
    let own = |s: &SystemRow| {
        settings
            .prior
            .iter()
            .find(|p| p.system_id == s.system_id)
            .cloned()
    };
    let common = |s: &SystemRow| SystemPrior {
        system_id: s.system_id.clone(),
        k_e_mm3_per_j: settings.k_e_mm3_per_j.unwrap_or(f64::NAN),
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
        units_per_pass,
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
