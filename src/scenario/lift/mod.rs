//! From what was typed to SI. The only place that validates: every message names the key, the
//! value, its unit, the allowed range and a hint.

use super::plan::{
    ComparePlan, Deed, EngineChoice, ExposurePlan, Face, FigureSource, Load, Motion, PadPlan,
    Scenario, SpecimenPlan, WhatIfPlan,
};
use super::raw::{
    RawBody, RawBodyNumbers, RawCompare, RawDrop, RawExposure, RawFigure, RawGauge, RawHandle,
    RawPad, RawPadNumbers, RawPressure, RawRide, RawRub, RawScenario, RawSpecimen, RawTumble,
    RawWhatIf,
};
use super::source::Source;
use crate::reference::{Calibration, Kind, Overrule, Stock, SystemRate};
use crate::study::Coupon;
use crate::wear::{Gauge, PressureSensitivity, Specimen};
use base::error::nearest;
use base::note::Topic;
use base::{Error, Known, Note, Place, Result};
use contact::dose::Unit;
use mesh::figure::{Axis, Settings};
use std::time::Duration;

const MM: f64 = 1e-3;
const GRAM: f64 = 1e-3;
const KPA: f64 = 1e3;
/// [m] thickness of a foam whose thickness nobody gave: common tray foam, no source.
const USUAL_FOAM: f64 = 0.020;

/// Lifts a parsed scenario.
///
/// # Errors
/// The first value that is out of range, unknown or contradictory, with its place.
pub fn lift(source: &Source, raw: &RawScenario) -> Result<Scenario> {
    let mut lifter = Lifter {
        source,
        stock: Stock::load()?,
        notes: Vec::new(),
    };
    lifter.scenario(raw)
}

mod hard;
mod question;
mod soft;
mod specimen;

struct Lifter<'a> {
    source: &'a Source,
    stock: Stock,
    notes: Vec<Note>,
}

/// A number's allowed range, both ends included, and its unit for messages.
struct Range(f64, f64, &'static str);

impl Lifter<'_> {
    fn scenario(&mut self, raw: &RawScenario) -> Result<Scenario> {
        self.overrules(raw)?;
        self.coupons(raw)?;
        let precision = self.number("precision_pct", raw.precision_pct, &Range(0.5, 100.0, "%"))?;
        let budget = match raw.budget_min {
            Some(minutes) => {
                let minutes = self.number("budget_min", minutes, &Range(0.01, 1e5, "min"))?;
                Some(Duration::from_secs_f64(minutes * 60.0))
            }
            None => None,
        };
        let figure = self.figure(&raw.figure)?;
        self.some("specimen", raw.specimen.len())?;
        self.some("exposure", raw.exposure.len())?;
        self.distinct("specimen", raw.specimen.iter().map(|s| s.name.as_str()))?;
        self.distinct("exposure", raw.exposure.iter().map(RawExposure::name))?;
        let specimens = (0..)
            .zip(&raw.specimen)
            .map(|(i, s)| self.specimen(i, s))
            .collect::<Result<Vec<_>>>()?;
        let exposures = (0..)
            .zip(&raw.exposure)
            .map(|(i, e)| self.exposure(&format!("exposure[{i}]"), e))
            .collect::<Result<Vec<_>>>()?;
        let compares = (0..)
            .zip(&raw.compare)
            .map(|(i, c)| self.compare(&format!("compare[{i}]"), c, raw))
            .collect::<Result<Vec<_>>>()?;
        let whatifs = (0..)
            .zip(&raw.whatif)
            .map(|(i, w)| self.whatif(&format!("whatif[{i}]"), w, raw))
            .collect::<Result<Vec<_>>>()?;
        let mut notes = std::mem::take(&mut self.notes);
        notes.extend(self.stock.notes.iter().cloned());
        Ok(Scenario {
            title: raw.title.clone(),
            seed: raw.seed,
            precision: precision / 100.0,
            budget,
            pressure: self.pressure(raw.pressure.as_ref())?,
            figure,
            settings: self.settings(&raw.figure)?,
            specimens,
            exposures,
            compares,
            whatifs,
            notes,
        })
    }

    fn wrong(&self, key: &str, what: impl Into<String>) -> Error {
        Error::input(what).at(self.source.place(key))
    }

    fn number(&self, key: &str, value: f64, range: &Range) -> Result<f64> {
        let Range(low, high, unit) = range;
        if value.is_finite() && (*low..=*high).contains(&value) {
            return Ok(value);
        }
        let name = key.rsplit('.').next().unwrap_or(key);
        Err(self
            .wrong(
                key,
                format!("{value} {unit} is outside {low} to {high} {unit}"),
            )
            .hint(if value < 0.0 && *low >= 0.0 {
                format!("{name} cannot be negative")
            } else {
                format!("check the unit: {name} is in {unit}")
            }))
    }

    fn optional(
        &self,
        key: &str,
        value: Option<f64>,
        range: &Range,
        si: f64,
    ) -> Result<Option<f64>> {
        value
            .map(|v| self.number(key, v, range).map(|v| v * si))
            .transpose()
    }

    fn some(&self, key: &str, count: usize) -> Result<()> {
        match count {
            0 => Err(self
                .wrong(key, format!("there is no [[{key}]]"))
                .hint("a scenario needs at least one specimen and one exposure")),
            _ => Ok(()),
        }
    }

    fn distinct<'n>(&self, key: &str, names: impl Iterator<Item = &'n str>) -> Result<()> {
        let mut seen: Vec<(String, String)> = Vec::new();
        for (i, name) in names.enumerate() {
            let place = format!("{key}[{i}].name");
            if name.trim().is_empty() {
                return Err(self.wrong(&place, "the name is empty"));
            }
            let slug = base::slug(name);
            if let Some((_, other)) = seen.iter().find(|(s, _)| *s == slug) {
                return Err(self
                    .wrong(
                        &place,
                        format!("\"{name}\" would share its files with \"{other}\""),
                    )
                    .hint("names must differ in more than case and punctuation"));
            }
            seen.push((slug, name.to_string()));
        }
        Ok(())
    }

    /// Puts the place of `key` on an error that has none.
    fn placed<T>(&self, key: &str, result: Result<T>) -> Result<T> {
        result.map_err(|e| e.at(self.source.place(key)))
    }

    fn one_of<'n>(&self, key: &str, typed: &str, known: &[&'n str]) -> Result<&'n str> {
        let wanted = typed.trim().to_lowercase();
        known.iter().copied().find(|k| *k == wanted).ok_or_else(|| {
            let error = self.wrong(key, format!("unknown value \"{typed}\""));
            match nearest(&wanted, known.iter().copied()) {
                Some(near) => error.hint(format!("did you mean \"{near}\"?")),
                None => error.hint(format!("known here: {}", known.join(", "))),
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DEMO: &str = include_str!("../../../scenarios/ferry_porter.toml");

    fn lifted(text: &str) -> Result<Scenario> {
        let source = Source::embedded("demo.toml", text);
        lift(&source, &source.parse()?)
    }

    #[test]
    fn the_demo_scenario_lifts_to_si() {
        let scenario = lifted(DEMO).expect("lifts");
        assert_eq!(scenario.specimens.len(), 2);
        assert!((scenario.settings.patch - 0.0005).abs() < 1e-12);
        let Deed::Tumble { size, .. } = &scenario.exposures[0].deed else {
            panic!("tumble first")
        };
        assert_eq!(*size, [0.18, 0.12, 0.07]);
        assert!((scenario.whatifs[0].values[1] - 0.45).abs() < 1e-12);
    }

    /// (what is replaced, by what, what the message must say)
    const WRONG: &[(&str, &str, &[&str])] = &[
        (
            "minutes = 3",
            "minutes = -3",
            &["-3 min is outside", "cannot be negative", "minutes"],
        ),
        (
            "tin pewter",
            "tin pewtr",
            &["no body", "did you mean \"tin pewter\""],
        ),
        (
            "satin topcoat, aerosol",
            "satin topcoat, airosol",
            &["did you mean \"satin topcoat, aerosol\""],
        ),
        ("polypropylene", "soft foam", &["not a hard ground", "rub"]),
        (
            "pad = \"soft foam\"",
            "pad = \"steel\"",
            &["not a pad of foam"],
        ),
        (
            "\"hand 1 N\"",
            "\"hand one N\"",
            &["not a load", "own weight"],
        ),
        (
            "box_mm = [180, 120, 70]",
            "box_mm = [180, 120, 70000]",
            &["70000 mm is outside 5 to 2000 mm", "check the unit"],
        ),
        (
            "left = \"metal, satin\"",
            "left = \"metal, stain\"",
            &["did you mean \"metal, satin\""],
        ),
        ("over = [0.3, 0.6]", "over = [0.6, 0.3]", &["not a range"]),
        (
            "name = \"plastic, satin\"",
            "name = \"Metal  satin\"",
            &["would share its files"],
        ),
        (
            "sculpt = \"ferry porter\"",
            "sculpt = \"fery porter\"",
            &["did you mean \"ferry porter\""],
        ),
    ];

    #[test]
    fn a_drop_can_name_a_published_fall() {
        const TABLE: &str = include_str!("../../../scenarios/off_the_table.toml");
        let with = |height: &str| lifted(&TABLE.replace("drops = 5\nheight_mm = 760", height));
        let scenario = with("schedule = \"EN 71-1\"").expect("lifts");
        let drop = &scenario.exposures[0];
        assert!(matches!(drop.deed, Deed::Drop { height, .. } if (height - 0.85).abs() < 1e-12));
        assert_eq!(drop.amount, 5.0);
        assert!(scenario.notes.iter().any(|n| n.text.contains("850 mm")));
        let wrong = [
            ("drops = 5", "add height_mm"),
            (
                "drops = 5\nheight_mm = 5\nschedule = \"EN 71-1\"",
                "said twice",
            ),
            ("schedule = \"EN 71-11\"", "did you mean \"en 71-1\""),
            ("schedule = \"table to floor\"", "how many drops"),
        ];
        for (typed, words) in wrong {
            let shown = with(typed).expect_err(typed).to_string();
            assert!(shown.contains(words), "{shown}");
        }
    }

    #[test]
    fn a_tin_stands_in_for_a_box() {
        let with = |text: &str| lifted(&DEMO.replace("box_mm = [180, 120, 70]", text));
        let scenario = with("tin_mm = [90, 60]").expect("lifts");
        let Deed::Tumble { size, round, .. } = &scenario.exposures[0].deed else {
            panic!("tumble first")
        };
        assert_eq!((*size, *round), ([0.09, 0.09, 0.06], true));
        for (typed, words) in [
            ("", "no size"),
            ("box_mm = [9, 9, 9]\ntin_mm = [90, 60]", "not both"),
            ("tin_mm = [90000, 60]", "outside 5 to 2000 mm"),
        ] {
            let shown = with(typed).expect_err(typed).to_string();
            assert!(shown.contains(words), "{shown}");
        }
    }

    #[test]
    fn wrong_values_are_told_with_place_range_and_hint() {
        for (from, to, expected) in WRONG {
            assert!(DEMO.contains(from), "{from}");
            let shown = lifted(&DEMO.replacen(from, to, 1))
                .expect_err(to)
                .to_string();
            assert!(shown.starts_with("demo.toml:"), "{shown}");
            for words in *expected {
                assert!(shown.contains(words), "{to}: {shown}");
            }
        }
    }
}
