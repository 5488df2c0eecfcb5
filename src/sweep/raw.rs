//! SWEEP.toml as a person types it. Serde knows the shape; see [`super::plan`] for the rest.

use serde::{Deserialize, Serialize};
use toml::Value;

/// Where every key of the file is explained.
pub const HELP: &str = "scenarios/sweeps/ holds an example with every key";

/// A sweep: one scenario, what is varied in it, and what is read off each case.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawSweep {
    /// Heading of the page.
    pub title: String,
    /// Scenario that is varied, relative to this file.
    pub scenario: String,
    /// Seed of every part and of the spread design; the scenario's own without it.
    pub seed: Option<u64>,
    /// "grid" (default): every value with every other; "list": the first values together, then the
    /// second, and so on; "spread": `points` points that fill the ranges evenly.
    #[serde(default = "grid")]
    pub design: String,
    /// Number of points of a spread design.
    pub points: Option<u64>,
    /// What is read off each case.
    #[serde(default)]
    pub reading: RawReading,
    /// What is varied.
    pub axis: Vec<RawAxis>,
}

fn grid() -> String {
    "grid".into()
}

/// What is read off each case.
#[derive(Debug, Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields, default)]
pub struct RawReading {
    /// "sheen changes", "topcoat through", "paint through" (default), "down to the body": a life;
    /// or "friction work": the dose alone, which needs no wear rates.
    pub what: String,
    /// "worst area" (default) or "whole figure".
    pub place: String,
    /// Only these exposures of the scenario; all without it.
    pub exposures: Vec<String>,
    /// Only these specimens of the scenario; all without it.
    pub specimens: Vec<String>,
    /// Draws from the priors behind every interval.
    pub draws: u32,
}

impl Default for RawReading {
    fn default() -> RawReading {
        RawReading {
            what: "paint through".into(),
            place: "worst area".into(),
            exposures: Vec::new(),
            specimens: Vec::new(),
            draws: 200,
        }
    }
}

/// One thing that is varied.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawAxis {
    /// Name for tables and the page, such as "coat"; the key without it.
    pub name: Option<String>,
    /// Key of the scenario, or several that are set to the same value.
    pub key: Option<RawKeys>,
    /// Values one by one: numbers, names, or whole lists and tables.
    #[serde(default)]
    pub values: Vec<Value>,
    /// Words for the values; needed for lists and tables.
    #[serde(default)]
    pub labels: Vec<String>,
    /// Figures instead of a key: mesh files relative to this file, "ferry porter", or tables as
    /// `[figure]` of a scenario.
    #[serde(default)]
    pub figures: Vec<Value>,
    /// Lower end of a range of numbers.
    pub from: Option<f64>,
    /// Upper end of a range of numbers.
    pub to: Option<f64>,
    /// Number of values in the range, ends included; not for a spread design.
    pub steps: Option<u32>,
    /// Equal ratios instead of equal steps.
    #[serde(default)]
    pub ratio: bool,
}

/// One key or several.
#[derive(Debug, Clone, Deserialize)]
#[serde(untagged)]
pub enum RawKeys {
    /// One.
    One(String),
    /// Several that move together.
    Several(Vec<String>),
}
