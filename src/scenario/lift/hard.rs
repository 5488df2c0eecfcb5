//! Boxes and floors.

use super::*;
use crate::reference::{Fall, falls};

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
        let (size, round) = self.inside(key, raw)?;
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
                round,
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

    /// [m] inner size, and whether it is a round tin.
    fn inside(&self, key: &str, raw: &RawTumble) -> Result<([f64; 3], bool)> {
        let edge = |name: &str, i: usize, mm: f64| -> Result<f64> {
            let range = Range(5.0, 2000.0, "mm");
            Ok(self.number(&format!("{key}.{name}[{i}]"), mm, &range)? * MM)
        };
        match (raw.box_mm, raw.tin_mm) {
            (Some([x, y, z]), None) => {
                let size = [
                    edge("box_mm", 0, x)?,
                    edge("box_mm", 1, y)?,
                    edge("box_mm", 2, z)?,
                ];
                Ok((size, false))
            }
            (None, Some([across, tall])) => {
                let across = edge("tin_mm", 0, across)?;
                Ok(([across, across, edge("tin_mm", 1, tall)?], true))
            }
            (None, None) => Err(self
                .wrong(key, "the box has no size")
                .hint("add box_mm = [180, 120, 70], or tin_mm = [90, 60] for a round tin")),
            _ => Err(self
                .wrong(key, "it can be a box or a tin, not both")
                .hint("delete box_mm or tin_mm")),
        }
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
        let fall = match &raw.schedule {
            Some(typed) => Some(self.fall(&format!("{key}.schedule"), typed)?),
            None => None,
        };
        let drops = raw
            .drops
            .or(fall.as_ref().and_then(|f| f.drops).map(f64::from));
        let drops = drops.ok_or_else(|| {
            self.wrong(key, "how many drops is not said")
                .hint("add drops = 5")
        })?;
        let amount = self.number(&format!("{key}.drops"), drops, &Range(1.0, 1e6, "drops"))?;
        let height = match (raw.height_mm, &fall) {
            (Some(mm), None) => {
                self.number(&format!("{key}.height_mm"), mm, &Range(1.0, 1e4, "mm"))? * MM
            }
            (None, Some(fall)) => fall.height.value,
            (None, None) => {
                return Err(self
                    .wrong(key, "the drop has no height")
                    .hint("add height_mm = 760, or schedule = \"EN 71-1\""));
            }
            (Some(_), Some(_)) => {
                return Err(self
                    .wrong(key, "the height is said twice")
                    .hint("delete height_mm or schedule"));
            }
        };
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
                schedule: fall.map(|f| f.name.to_owned()),
                down,
                restitution: self.restitution(key, raw.restitution)?,
            },
        })
    }

    /// A published fall by name, with a note that says what it was written for.
    fn fall(&mut self, key: &str, typed: &str) -> Result<Fall> {
        let names: Vec<&str> = falls::names().collect();
        let name = self.one_of(key, typed, &names)?;
        let fall = falls::fall(name)?
            .ok_or_else(|| self.wrong(key, format!("there is no fall \"{typed}\"")))?;
        self.notes.push(Note::new(
            Topic::Prior,
            format!(
                "schedule \"{typed}\": {:.0} mm, written for {}; source: {}",
                1e3 * fall.height.value,
                fall.meant_for,
                fall.height.source
            ),
        ));
        Ok(fall)
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
