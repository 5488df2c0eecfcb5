//! Boxes and floors.

use super::*;

impl Lifter<'_> {
    pub(super) fn exposure(&mut self, key: &str, raw: &RawExposure) -> Result<ExposurePlan> {
        match raw {
            RawExposure::Tumble(e) => self.tumble(key, e),
            RawExposure::Drop(e) => self.drop(key, e),
            RawExposure::Rub(e) => self.rub(key, e),
            RawExposure::Handle(e) => self.handle(key, e),
            RawExposure::Ride(e) => self.ride(key, e),
        }
    }

    pub(super) fn hard(&self, key: &str, name: &str) -> Result<String> {
        let face = self.placed(key, self.stock.counterface(name))?;
        match face.restitution_as {
            Some(_) => Ok(face.name),
            None => Err(self
                .wrong(key, format!("\"{}\" is not a hard ground", face.name))
                .hint("for foam and felt use kind = \"rub\", for skin kind = \"handle\"")),
        }
    }

    pub(super) fn restitution(&self, key: &str, value: Option<f64>) -> Result<Option<f64>> {
        self.optional(
            &format!("{key}.restitution"),
            value,
            &Range(0.0, 1.0, "-"),
            1.0,
        )
    }

    pub(super) fn friction(&self, key: &str, value: Option<f64>) -> Result<Option<f64>> {
        self.optional(
            &format!("{key}.friction"),
            value,
            &Range(0.01, 3.0, "-"),
            1.0,
        )
    }

    pub(super) fn tumble(&mut self, key: &str, raw: &RawTumble) -> Result<ExposurePlan> {
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
            gritty: false,
            warm: false,

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

    pub(super) fn motion(&self, key: &str, raw: &RawTumble) -> Result<Motion> {
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

    pub(super) fn drop(&mut self, key: &str, raw: &RawDrop) -> Result<ExposurePlan> {
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
            gritty: false,
            warm: false,

            deed: Deed::Drop {
                height,
                down,
                restitution: self.restitution(key, raw.restitution)?,
            },
        })
    }

    pub(super) fn face(&self, key: &str, typed: &str) -> Result<Face> {
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
}
