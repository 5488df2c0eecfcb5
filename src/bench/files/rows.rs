//! The columns of each file. A heading carries its unit; an empty cell is missing, never 0.

use super::declared::Comparison;
use serde::{Deserialize, Serialize};

/// `bench.toml`: what was declared before the first move.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BenchFile {
    /// What the bench is about.
    pub title: String,
    /// Seed of allocation, order and codes.
    pub seed: u64,
    /// Level of the tests.
    pub alpha: f64,
    /// Areas whose grades make the score of a figure.
    pub score_areas: Vec<String>,
    /// \[units of exposure\] inspections, ascending, the first 0.
    pub inspections: Vec<f64>,
    /// `handle`, `rub` and so on.
    pub exposure_kind: String,
    /// What rubs the figures, a name of the stock such as `greasy skin`; empty if nobody said.
    #[serde(default)]
    pub counterface: String,
    /// Friction the areas' doses were computed with.
    #[serde(default)]
    pub friction: Option<f64>,
    /// What one unit is, in the plural, such as `pick-ups`.
    pub exposure_unit: String,
    /// Who grades.
    pub graders: Vec<String>,
    /// Units of exposure per figure and pass.
    pub units_per_pass: u32,
    /// \[mg\] weighed smear.
    pub grease_mg: f64,
    /// Units between two smears.
    pub grease_every_units: u32,
    /// Room temperature.
    pub room_t_c: f64,
    /// Relative humidity.
    pub room_rh_pct: f64,
    /// Rules for stopping, fixed before.
    pub stop_rules: Vec<String>,
    /// SHA-256 of `key.csv`.
    pub key_sha256: String,
    /// Hash of the simulator run the areas come from; empty if none.
    pub simulator_run: String,
    /// \[ln units\] spread of dose over film inside an area; 0 if unknown.
    pub spread_inside_ln: f64,
    /// Every comparison of the declared family.
    #[serde(default)]
    pub family: Vec<Comparison>,
    /// Prior wear rates.
    pub prior: Vec<SystemPrior>,
}

/// Prior of a system's wear rate on this bench's counterface.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SystemPrior {
    /// System.
    pub system_id: String,
    /// \[mm3/J\] central value.
    pub k_e_mm3_per_j: f64,
    /// Where it is from.
    pub source: String,
}

/// `systems.csv`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SystemRow {
    /// Identifier, such as `S1`.
    pub system_id: String,
    /// Body material.
    pub body: String,
    /// Primer, or `none`.
    pub primer_kind: String,
    /// How it was put on.
    pub primer_method: String,
    /// How the paint was put on.
    pub paint_method: String,
    /// Topcoat, or `none`.
    pub topcoat_kind: String,
    /// Number of topcoats.
    pub topcoat_coats: u32,
    /// \[um\] film down to the interface the grade words name.
    pub film_um_median: f64,
    /// `gauge`, or how the thickness was guessed.
    pub film_um_source: String,
    /// Free.
    #[serde(default)]
    pub note: String,
}

/// `specimens.csv`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SpecimenRow {
    /// Identifier of one figure.
    pub specimen_id: String,
    /// Its system.
    pub system_id: String,
    /// Preparation: figures mixed and sprayed together share it, and count once.
    pub batch: String,
    /// Session.
    pub block: u32,
    /// `test`, `reference` or `blank`.
    pub role: String,
    /// \[g\] kitchen scale.
    pub mass_g: Option<f64>,
    /// \[d\] rest after the last coat.
    pub cure_days: Option<f64>,
    /// Date, year first.
    #[serde(default)]
    pub sprayed_on: String,
}

/// `key.csv`, sealed until the grades are frozen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeyRow {
    /// Code with the prefix `c-`.
    pub code: String,
    /// The figure.
    pub specimen_id: String,
    /// Number of the inspection, from 0.
    pub inspection: usize,
}

/// `rounds.csv`: planned order, filled in while working.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RoundRow {
    /// Session.
    pub block: u32,
    /// Pass, from 1.
    pub pass: u32,
    /// Place in the order, from 1.
    pub position: u32,
    /// Code worn until the next inspection.
    pub code: String,
    /// Kind of exposure.
    pub exposure_kind: String,
    /// Units of exposure in this pass.
    pub units: u32,
    /// When started.
    #[serde(default)]
    pub started: String,
    /// \[min\] time taken.
    pub minutes: Option<f64>,
    /// Who.
    #[serde(default)]
    pub operator: String,
    /// \[%\] marker lost by the drift witness.
    pub witness_loss_pct: Option<f64>,
    /// Free.
    #[serde(default)]
    pub remark: String,
}

/// `areas.csv`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AreaRow {
    /// Identifier, such as `A1`.
    pub area_id: String,
    /// Where it is, in words.
    pub words: String,
    /// \[J/m2\] per unit of exposure.
    #[serde(rename = "dose_J_m2_per_unit")]
    pub dose_j_m2_per_unit: f64,
    /// \[J/m2\] 5 %.
    pub dose_lo90: f64,
    /// \[J/m2\] 95 %.
    pub dose_hi90: f64,
    /// \[%\] certainty of its rank against the next area.
    pub rank_certainty_pct: f64,
    /// Photo view that shows it.
    pub view: u32,
    /// Size.
    pub area_mm2: f64,
    /// 1 for the area that should get nothing.
    pub shadow: u8,
}

/// `grades.csv`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GradeRow {
    /// Code on the figure at that inspection.
    pub code: String,
    /// Exposure so far.
    pub inspection_units: f64,
    /// Area.
    pub area_id: String,
    /// Who graded.
    pub grader: String,
    /// 0 to 5; empty is not graded, never 0.
    pub grade: Option<u8>,
    /// R rubbed, C chipped, L lifted, S sticky; empty is R.
    #[serde(default)]
    pub kind: String,
    /// Free; `regrade` marks a second look after a difference of more than one grade.
    #[serde(default)]
    pub note: String,
}

/// `guesses.csv`, optional: which system a grader thought a figure had.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct GuessRow {
    /// Code.
    pub code: String,
    /// Who guessed.
    pub grader: String,
    /// Guess.
    pub system_id: String,
}
