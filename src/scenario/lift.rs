//! From what was typed to SI. The only place that validates: every message names the key, the
//! value, its unit, the allowed range and a hint.

use super::plan::{
    ComparePlan, Deed, EngineChoice, ExposurePlan, Face, FigureSource, Load, Motion, PadPlan,
    Scenario, SpecimenPlan, WhatIfPlan,
};
use super::raw::{
    RawBody, RawCompare, RawDrop, RawExposure, RawFigure, RawHandle, RawPad, RawPadNumbers,
    RawRide, RawRub, RawScenario, RawSpecimen, RawTumble, RawWhatIf,
};
use super::source::Source;
use crate::base::error::nearest;
use crate::base::note::Topic;
use crate::base::{Error, Known, Note, Result};
use crate::dose::Unit;
use crate::reference::{Counterface, Kind, Overrule, Stock};
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
            figure,
            height: self.optional(
                "figure.height_mm",
                raw.figure.height_mm,
                &Range(1.0, 2000.0, "mm"),
                MM,
            )?,
            scale: self.optional(
                "figure.scale",
                raw.figure.scale,
                &Range(1e-4, 1e4, "-"),
                1.0,
            )?,
            up: self.up(&raw.figure)?,
            patch: self.number(
                "figure.patch_mm",
                raw.figure.patch_mm,
                &Range(0.2, 5.0, "mm"),
            )? * MM,
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
            let slug = crate::format::slug(name);
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

    fn overrules(&mut self, raw: &RawScenario) -> Result<()> {
        for (i, row) in raw.stock.iter().enumerate() {
            let key = format!("stock[{i}]");
            let kind = Kind::ALL
                .into_iter()
                .find(|kind| self.stock.entry(*kind, &row.row).is_ok());
            let Some(kind) = kind else {
                return self.placed(
                    &format!("{key}.row"),
                    self.stock.entry(Kind::Film, &row.row).map(|_| ()),
                );
            };
            let with = Overrule {
                kind,
                name: row.row.clone(),
                property: row.value.clone(),
                value: row.set,
                range: Some((row.low.unwrap_or(row.set), row.high.unwrap_or(row.set))),
                source: format!("{}, [[stock]]", self.source.name),
            };
            let done = self.stock.overrule(&with);
            self.placed(&format!("{key}.value"), done)?;
        }
        Ok(())
    }

    fn figure(&self, raw: &RawFigure) -> Result<FigureSource> {
        match (&raw.file, &raw.sculpt) {
            (Some(_), Some(_)) => Err(self
                .wrong("figure.sculpt", "give either a file or a sculpt, not both")
                .hint("delete one of the two lines")),
            (None, None) => Err(self
                .wrong("figure", "no figure is named")
                .hint("add file = \"my_figure.stl\", or sculpt = \"ferry porter\"")),
            (Some(file), None) => Ok(FigureSource::File(self.source.folder.join(file))),
            (None, Some(sculpt)) => {
                self.one_of("figure.sculpt", sculpt, &["ferry porter"])?;
                Ok(FigureSource::FerryPorter)
            }
        }
    }

    fn up(&self, raw: &RawFigure) -> Result<Option<usize>> {
        let Some(up) = &raw.up else { return Ok(None) };
        let axis = self.one_of("figure.up", up, &["x", "y", "z"])?;
        Ok(["x", "y", "z"].iter().position(|a| *a == axis))
    }

    fn specimen(&mut self, i: usize, raw: &RawSpecimen) -> Result<SpecimenPlan> {
        let key = format!("specimen[{i}]");
        let body = match &raw.body {
            RawBody::Named(name) => self.placed(&format!("{key}.body"), self.stock.body(name))?,
            RawBody::Given(numbers) => {
                let mut body =
                    self.placed(&format!("{key}.body.like"), self.stock.body(&numbers.like))?;
                let given = |name: &str,
                             value: Option<f64>,
                             range: Range,
                             si: f64|
                 -> Result<Option<Known>> {
                    let value = self.optional(&format!("{key}.body.{name}"), value, &range, si)?;
                    Ok(value.map(|v| Known::exact(v, "the scenario")))
                };
                if let Some(v) = given(
                    "density_g_cm3",
                    numbers.density_g_cm3,
                    Range(0.2, 20.0, "g/cm3"),
                    1e3,
                )? {
                    body.density = v;
                }
                if let Some(v) = given(
                    "youngs_gpa",
                    numbers.youngs_gpa,
                    Range(0.001, 1000.0, "GPa"),
                    1e9,
                )? {
                    body.youngs = v;
                }
                if let Some(v) = given(
                    "yield_mpa",
                    numbers.yield_mpa,
                    Range(0.1, 5000.0, "MPa"),
                    1e6,
                )? {
                    body.yield_stress = v;
                }
                body.name = format!("{}, own numbers", body.name);
                body
            }
        };
        let films = (0..)
            .zip(&raw.coats)
            .map(|(j, coat)| self.placed(&format!("{key}.coats[{j}]"), self.stock.film(coat)))
            .collect::<Result<Vec<_>>>()?;
        if films.is_empty() {
            return Err(self
                .wrong(
                    &format!("{key}.coats"),
                    "a specimen needs at least one coat",
                )
                .hint("name them from the body outward; `thumbworn stock film` lists them"));
        }
        let mut friction = Vec::new();
        for (name, value) in &raw.friction {
            let place = format!("{key}.friction");
            let face = self.placed(&place, self.stock.counterface(name))?;
            let value = self.number(
                &format!("{key}.friction.{name}"),
                *value,
                &Range(0.01, 3.0, "-"),
            )?;
            self.notes.push(Note::new(
                Topic::Overruled,
                format!("{}: friction on {} is {value}", raw.name, face.name),
            ));
            friction.push((face.name.to_lowercase(), value));
        }
        let mass = self.optional(
            &format!("{key}.mass_g"),
            raw.mass_g,
            &Range(0.1, 5000.0, "g"),
            GRAM,
        )?;
        Ok(SpecimenPlan {
            name: raw.name.clone(),
            body,
            mass,
            films,
            friction,
        })
    }

    fn exposure(&mut self, key: &str, raw: &RawExposure) -> Result<ExposurePlan> {
        match raw {
            RawExposure::Tumble(e) => self.tumble(key, e),
            RawExposure::Drop(e) => self.drop(key, e),
            RawExposure::Rub(e) => self.rub(key, e),
            RawExposure::Handle(e) => self.handle(key, e),
            RawExposure::Ride(e) => self.ride(key, e),
        }
    }

    fn hard(&self, key: &str, name: &str) -> Result<Counterface> {
        let face = self.placed(key, self.stock.counterface(name))?;
        match face.restitution_as {
            Some(_) => Ok(face),
            None => Err(self
                .wrong(key, format!("\"{}\" is not a hard ground", face.name))
                .hint("for foam and felt use kind = \"rub\", for skin kind = \"handle\"")),
        }
    }

    fn restitution(&self, key: &str, value: Option<f64>) -> Result<Option<f64>> {
        self.optional(
            &format!("{key}.restitution"),
            value,
            &Range(0.0, 1.0, "-"),
            1.0,
        )
    }

    fn friction(&self, key: &str, value: Option<f64>) -> Result<Option<f64>> {
        self.optional(
            &format!("{key}.friction"),
            value,
            &Range(0.01, 3.0, "-"),
            1.0,
        )
    }

    fn tumble(&mut self, key: &str, raw: &RawTumble) -> Result<ExposurePlan> {
        let amount = self.number(
            &format!("{key}.minutes"),
            raw.minutes,
            &Range(0.01, 1e5, "min"),
        )?;
        let mut size = [0.0; 3];
        for (i, mm) in raw.box_mm.iter().enumerate() {
            size[i] = self.number(
                &format!("{key}.box_mm[{i}]"),
                *mm,
                &Range(5.0, 2000.0, "mm"),
            )? * MM;
        }
        let motion = self.motion(key, raw)?;
        let engine = self.one_of(&format!("{key}.engine"), &raw.engine, &["exact", "rapier"])?;
        let figures = self.number(
            &format!("{key}.figures"),
            f64::from(raw.figures),
            &Range(1.0, 30.0, "figures"),
        )?;
        Ok(ExposurePlan {
            name: raw.name.clone(),
            counterface: self.hard(&format!("{key}.wall"), &raw.wall)?,
            amount,
            unit: Unit::Minute,
            friction: self.friction(key, raw.friction)?,
            deed: Deed::Tumble {
                size,
                motion,
                figures: figures as u32,
                engine: match engine {
                    "exact" => EngineChoice::Exact,
                    _ => EngineChoice::Rapier,
                },
                restitution: self.restitution(key, raw.restitution)?,
            },
        })
    }

    fn motion(&self, key: &str, raw: &RawTumble) -> Result<Motion> {
        match (&raw.shake, &raw.roll, &raw.path) {
            (Some(shake), None, None) => {
                let mut amplitude = [0.0; 3];
                let mut frequency = [0.0; 3];
                for i in 0..3 {
                    let at = |name: &str| format!("{key}.shake.{name}[{i}]");
                    amplitude[i] = self.number(&at("amplitude_mm"), shake.amplitude_mm[i], &Range(0.0, 1000.0, "mm"))? * MM;
                    frequency[i] = self.number(&at("frequency_hz"), shake.frequency_hz[i], &Range(0.0, 60.0, "Hz"))?;
                }
                Ok(Motion::Shake { amplitude, frequency })
            }
            (None, Some(roll), None) => {
                let turns = self.number(&format!("{key}.roll.turns_per_minute"), roll.turns_per_minute, &Range(0.1, 600.0, "1/min"))?;
                let axis = self.one_of(&format!("{key}.roll.axis"), &roll.axis, &["x", "y", "z"])?;
                Ok(Motion::Roll {
                    rate: turns * std::f64::consts::TAU / 60.0,
                    axis: ["x", "y", "z"].iter().position(|a| *a == axis).unwrap_or(0),
                })
            }
            (None, None, Some(path)) => Ok(Motion::Recorded {
                file: self.source.folder.join(path),
            }),
            (None, None, None) => Err(self
                .wrong(key, "the box does not move")
                .hint("add shake = { amplitude_mm = [30, 25, 20], frequency_hz = [3.0, 3.71, 4.43] }, a roll or a path")),
            _ => Err(self
                .wrong(key, "the box can follow only one of shake, roll and path")
                .hint("delete the others")),
        }
    }

    fn drop(&mut self, key: &str, raw: &RawDrop) -> Result<ExposurePlan> {
        let amount = self.number(
            &format!("{key}.drops"),
            raw.drops,
            &Range(1.0, 1e6, "drops"),
        )?;
        let height = self.number(
            &format!("{key}.height_mm"),
            raw.height_mm,
            &Range(1.0, 1e4, "mm"),
        )? * MM;
        let down = match raw.attitude.trim() {
            "random" => None,
            face => Some(self.face(&format!("{key}.attitude"), face)?),
        };
        Ok(ExposurePlan {
            name: raw.name.clone(),
            counterface: self.hard(&format!("{key}.floor"), &raw.floor)?,
            amount,
            unit: Unit::Drop,
            friction: self.friction(key, raw.friction)?,
            deed: Deed::Drop {
                height,
                down,
                restitution: self.restitution(key, raw.restitution)?,
            },
        })
    }

    fn face(&self, key: &str, typed: &str) -> Result<Face> {
        let known = ["top", "base", "front", "back", "left", "right"];
        Ok(match self.one_of(key, typed, &known)? {
            "top" => Face::Top,
            "base" => Face::Base,
            "front" => Face::Front,
            "back" => Face::Back,
            "left" => Face::Left,
            _ => Face::Right,
        })
    }

    fn pad(&mut self, key: &str, raw: &RawPad) -> Result<(Counterface, PadPlan)> {
        let like = match raw {
            RawPad::Named(name) => name,
            RawPad::Given(numbers) => &numbers.like,
        };
        let face = self.placed(key, self.stock.counterface(like))?;
        let Ok(stock) = face.cld40() else {
            return Err(self
                .wrong(key, format!("\"{}\" is not a pad of foam", face.name))
                .hint("`thumbworn stock counterface` tells which are"));
        };
        let mut pad = PadPlan {
            thickness: USUAL_FOAM,
            cld40: stock.value,
        };
        let numbers = match raw {
            RawPad::Named(_) => RawPadNumbers {
                like: like.clone(),
                thickness_mm: None,
                cld40_kpa: None,
                scale_g: None,
                disc_mm: None,
            },
            RawPad::Given(numbers) => numbers.clone(),
        };
        match self.optional(
            &format!("{key}.thickness_mm"),
            numbers.thickness_mm,
            &Range(2.0, 200.0, "mm"),
            MM,
        )? {
            Some(thickness) => pad.thickness = thickness,
            None => self.notes.push(Note::new(
                Topic::Guess,
                format!(
                    "{like}: {:.0} mm thick, since no thickness was given",
                    USUAL_FOAM / MM
                ),
            )),
        }
        if let Some(cld40) = self.optional(
            &format!("{key}.cld40_kpa"),
            numbers.cld40_kpa,
            &Range(0.3, 500.0, "kPa"),
            KPA,
        )? {
            pad.cld40 = cld40;
        }
        if numbers.scale_g.is_some() || numbers.disc_mm.is_some() {
            self.scale_readings(key, &numbers, &mut pad)?;
        }
        Ok((face, pad))
    }

    fn scale_readings(&self, key: &str, numbers: &RawPadNumbers, _pad: &mut PadPlan) -> Result<()> {
        let (Some(_), Some(_), Some(_)) = (numbers.scale_g, numbers.disc_mm, numbers.thickness_mm)
        else {
            return Err(self
                .wrong(
                    key,
                    "kitchen-scale readings need scale_g, disc_mm and thickness_mm",
                )
                .hint("`thumbworn stock foam` tells how to take them"));
        };
        Ok(())
    }

    fn load(&self, key: &str, typed: &str) -> Result<Load> {
        let text = typed.trim().to_lowercase();
        let measured = |prefix: &str, unit: &str| -> Option<f64> {
            text.strip_prefix(prefix)?
                .trim()
                .strip_suffix(unit)?
                .trim()
                .parse()
                .ok()
        };
        if text == "own weight" {
            return Ok(Load::OwnWeight);
        }
        if let Some(newton) = measured("hand", "n") {
            return Ok(Load::Hand(self.number(
                key,
                newton,
                &Range(0.005, 100.0, "N"),
            )?));
        }
        if let Some(mm) = measured("interference", "mm") {
            return Ok(Load::Interference(
                self.number(key, mm, &Range(0.0, 50.0, "mm"))? * MM,
            ));
        }
        Err(self
            .wrong(key, format!("\"{typed}\" is not a load"))
            .hint("write \"hand 1 N\", \"own weight\" or \"interference 1.5 mm\""))
    }

    fn rub(&mut self, key: &str, raw: &RawRub) -> Result<ExposurePlan> {
        let amount = self.number(
            &format!("{key}.strokes"),
            raw.strokes,
            &Range(1.0, 1e7, "strokes"),
        )?;
        let stroke = self.number(
            &format!("{key}.stroke_mm"),
            raw.stroke_mm,
            &Range(0.1, 5000.0, "mm"),
        )? * MM;
        let (counterface, pad) = self.pad(&format!("{key}.pad"), &raw.pad)?;
        if raw.faces.is_empty() {
            return Err(self
                .wrong(&format!("{key}.faces"), "no side faces the pad")
                .hint("for instance faces = [\"top\", \"front\", \"back\", \"left\", \"right\"]"));
        }
        let faces = (0..)
            .zip(&raw.faces)
            .map(|(i, f)| self.face(&format!("{key}.faces[{i}]"), f))
            .collect::<Result<Vec<_>>>()?;
        let tilt = self.number(
            &format!("{key}.tilt_deg"),
            raw.tilt_deg,
            &Range(0.0, 60.0, "degrees"),
        )?;
        Ok(ExposurePlan {
            name: raw.name.clone(),
            counterface,
            amount,
            unit: Unit::Stroke,
            friction: self.friction(key, raw.friction)?,
            deed: Deed::Rub {
                pad,
                load: self.load(&format!("{key}.load"), &raw.load)?,
                stroke,
                pad_length: self.optional(
                    &format!("{key}.pad_length_mm"),
                    raw.pad_length_mm,
                    &Range(1.0, 5000.0, "mm"),
                    MM,
                )?,
                faces,
                tilt: tilt.to_radians(),
            },
        })
    }

    fn handle(&mut self, key: &str, raw: &RawHandle) -> Result<ExposurePlan> {
        let amount = self.number(
            &format!("{key}.pick_ups"),
            raw.pick_ups,
            &Range(1.0, 1e7, "pick-ups"),
        )?;
        let counterface = self.placed(&format!("{key}.skin"), self.stock.counterface(&raw.skin))?;
        let mut holds = [raw.holds.base, raw.holds.body, raw.holds.top];
        for (name, share) in ["base", "body", "top"].iter().zip(holds) {
            self.number(&format!("{key}.holds.{name}"), share, &Range(0.0, 1e6, "-"))?;
        }
        let total: f64 = holds.iter().sum();
        if total <= 0.0 {
            return Err(self
                .wrong(&format!("{key}.holds"), "all shares are zero")
                .hint("for instance { base = 0.3, body = 0.5, top = 0.2 }"));
        }
        holds.iter_mut().for_each(|share| *share /= total);
        let fingers = self.number(
            &format!("{key}.fingers"),
            f64::from(raw.fingers),
            &Range(2.0, 3.0, "fingers"),
        )?;
        let optional = |name: &str, value, range, si| {
            self.optional(&format!("{key}.{name}"), value, &range, si)
        };
        Ok(ExposurePlan {
            name: raw.name.clone(),
            counterface,
            amount,
            unit: Unit::PickUp,
            friction: self.friction(key, raw.friction)?,
            deed: Deed::Handle {
                fingers: fingers as u32,
                holds,
                acceleration: optional(
                    "acceleration_m_s2",
                    raw.acceleration_m_s2,
                    Range(0.0, 100.0, "m/s2"),
                    1.0,
                )?,
                slip: optional("slip_mm", raw.slip_mm, Range(0.01, 100.0, "mm"), MM)?,
                floor: optional("floor_n", raw.floor_n, Range(0.01, 20.0, "N"), 1.0)?,
                margin: optional("margin", raw.margin, Range(1.0, 10.0, "-"), 1.0)?,
            },
        })
    }

    fn ride(&mut self, key: &str, raw: &RawRide) -> Result<ExposurePlan> {
        let amount = self.number(&format!("{key}.km"), raw.km, &Range(0.01, 1e6, "km"))?;
        let (counterface, pad) = self.pad(&format!("{key}.pad"), &raw.pad)?;
        let interference = self.number(
            &format!("{key}.interference_mm"),
            raw.interference_mm,
            &Range(-10.0, 10.0, "mm"),
        )? * MM;
        Ok(ExposurePlan {
            name: raw.name.clone(),
            counterface,
            amount,
            unit: Unit::Kilometre,
            friction: self.friction(key, raw.friction)?,
            deed: Deed::Ride {
                pad,
                interference,
                schedule: raw.schedule.clone(),
                speed: self.optional(
                    &format!("{key}.speed_km_h"),
                    raw.speed_km_h,
                    &Range(1.0, 300.0, "km/h"),
                    1.0 / 3.6,
                )?,
                insertions: self.optional(
                    &format!("{key}.insertions_per_km"),
                    raw.insertions_per_km,
                    &Range(0.0, 1000.0, "1/km"),
                    1e-3,
                )?,
            },
        })
    }

    fn index_of<'n>(
        &self,
        key: &str,
        typed: &str,
        names: impl Iterator<Item = &'n str>,
    ) -> Result<usize> {
        let names: Vec<&str> = names.collect();
        names.iter().position(|n| *n == typed).ok_or_else(|| {
            let error = self.wrong(key, format!("nothing is named \"{typed}\""));
            match nearest(typed, names.iter().copied()) {
                Some(near) => error.hint(format!("did you mean \"{near}\"?")),
                None => error.hint(format!("there is: {}", names.join("; "))),
            }
        })
    }

    fn specimen_index(&self, key: &str, typed: &str, raw: &RawScenario) -> Result<usize> {
        self.index_of(key, typed, raw.specimen.iter().map(|s| s.name.as_str()))
    }

    fn exposure_index(
        &self,
        key: &str,
        typed: Option<&String>,
        raw: &RawScenario,
    ) -> Result<Option<usize>> {
        typed
            .map(|t| {
                self.index_of(
                    &format!("{key}.exposure"),
                    t,
                    raw.exposure.iter().map(RawExposure::name),
                )
            })
            .transpose()
    }

    fn compare(&self, key: &str, compare: &RawCompare, raw: &RawScenario) -> Result<ComparePlan> {
        let left = self.specimen_index(&format!("{key}.left"), &compare.left, raw)?;
        let right = self.specimen_index(&format!("{key}.right"), &compare.right, raw)?;
        if left == right {
            return Err(self.wrong(
                &format!("{key}.right"),
                "a specimen cannot be compared with itself",
            ));
        }
        Ok(ComparePlan {
            left,
            right,
            exposure: self.exposure_index(key, compare.exposure.as_ref(), raw)?,
        })
    }

    fn whatif(&self, key: &str, whatif: &RawWhatIf, raw: &RawScenario) -> Result<WhatIfPlan> {
        let [from, to] = whatif.over;
        if !(from.is_finite() && to.is_finite() && from < to) {
            return Err(self
                .wrong(
                    &format!("{key}.over"),
                    format!("{from} to {to} is not a range"),
                )
                .hint("write the smaller value first: over = [0.3, 0.6]"));
        }
        let steps = self.number(
            &format!("{key}.steps"),
            f64::from(whatif.steps),
            &Range(2.0, 50.0, "values"),
        )?;
        let specimen = match &whatif.specimen {
            Some(name) => self.specimen_index(&format!("{key}.specimen"), name, raw)?,
            None => 0,
        };
        let values = (0..whatif.steps)
            .map(|i| from + (to - from) * f64::from(i) / (steps - 1.0))
            .collect();
        Ok(WhatIfPlan {
            vary: whatif.vary.clone(),
            values,
            specimen,
            exposure: self.exposure_index(key, whatif.exposure.as_ref(), raw)?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DEMO: &str = include_str!("../../scenarios/ferry_porter.toml");

    fn lifted(text: &str) -> Result<Scenario> {
        let source = Source::embedded("demo.toml", text);
        lift(&source, &source.parse()?)
    }

    #[test]
    fn the_demo_scenario_lifts_to_si() {
        let scenario = lifted(DEMO).expect("lifts");
        assert_eq!(scenario.specimens.len(), 2);
        assert!((scenario.patch - 0.0005).abs() < 1e-12);
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
