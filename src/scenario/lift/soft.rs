//! Pads, fingers and trays.

use super::*;
use contact::law::foam::OPEN_CELL;
use contact::law::schedule;
use contact::pad::measure::from_readings;

impl Lifter<'_> {
    pub(super) fn pad(&mut self, key: &str, raw: &RawPad) -> Result<(String, PadPlan)> {
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
        Ok((face.name, pad))
    }

    pub(super) fn scale_readings(
        &mut self,
        key: &str,
        numbers: &RawPadNumbers,
        pad: &mut PadPlan,
    ) -> Result<()> {
        let (Some(grams), Some(disc), Some(_)) =
            (numbers.scale_g, numbers.disc_mm, numbers.thickness_mm)
        else {
            return Err(self
                .wrong(
                    key,
                    "kitchen-scale readings need scale_g, disc_mm and thickness_mm",
                )
                .hint("`thumbworn stock foam` tells how to take them"));
        };
        let disc = self.number(&format!("{key}.disc_mm"), disc, &Range(5.0, 300.0, "mm"))? * MM;
        let kilograms = grams.map(|g| g * GRAM);
        let found = from_readings(OPEN_CELL, pad.thickness, disc / 2.0, kilograms);
        let found = self.placed(&format!("{key}.scale_g"), found)?;
        pad.cld40 = found.cld40.value;
        self.notes.push(Note::new(
            Topic::Overruled,
            format!(
                "{}: {:.2} kPa at 40 % by your scale readings ({:.2} to {:.2})",
                numbers.like,
                found.cld40.value / KPA,
                found.cld40.low / KPA,
                found.cld40.high / KPA
            ),
        ));
        self.notes.extend(found.notes);
        Ok(())
    }

    pub(super) fn load(&self, key: &str, typed: &str) -> Result<Load> {
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

    pub(super) fn rub(&mut self, key: &str, raw: &RawRub) -> Result<ExposurePlan> {
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
            gritty: raw.gritty,
            warm: false,

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

    pub(super) fn handle(&mut self, key: &str, raw: &RawHandle) -> Result<ExposurePlan> {
        let amount = self.number(
            &format!("{key}.pick_ups"),
            raw.pick_ups,
            &Range(1.0, 1e7, "pick-ups"),
        )?;
        let counterface = self
            .placed(&format!("{key}.skin"), self.stock.counterface(&raw.skin))?
            .name;
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
            gritty: raw.gritty,
            warm: false,

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

    pub(super) fn ride(&mut self, key: &str, raw: &RawRide) -> Result<ExposurePlan> {
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
            gritty: raw.gritty,
            warm: raw.warm,

            deed: Deed::Ride {
                pad,
                interference,
                schedule: self
                    .one_of(&format!("{key}.schedule"), &raw.schedule, &schedule::NAMES)?
                    .to_string(),
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
}
