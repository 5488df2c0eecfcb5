//! How the films of a specimen meet one counterface: rates and frictions, film by film.

use super::regime::Regime;
use super::specimen::{End, Specimen};
use crate::reference::{Counterface, Modifiers, PairRate, Softness, Stock, SystemRate};
use base::note::Topic;
use base::{Known, Note, Result};
use serde::{Deserialize, Serialize};

/// One film on the counterface.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FilmContact {
    /// Wear rate of the pair.
    pub rate: PairRate,
    /// Friction the exposure is computed with while this film is outermost.
    pub friction: Known,
}

/// A declared dependence of the wear rate on pressure, for sensitivity runs on pads:
/// `k (p / 100 kPa)^n` above a threshold, nothing below it.
///
/// Priors: n 0 (-0.2 to 0.5), threshold 0 (0 to 20 kPa). Wear by fine cracks stops below a
/// roughness threshold (Xu & Persson 2024, abstract); the size for paint on pads is not known.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct PressureSensitivity {
    /// n.
    pub exponent: f64,
    /// [Pa]
    pub threshold: f64,
}

impl PressureSensitivity {
    /// Factor on the rate at a peak pressure [Pa].
    #[must_use]
    pub fn factor(&self, peak: f64) -> f64 {
        if peak < self.threshold {
            0.0
        } else {
            (peak / 100e3).powf(self.exponent)
        }
    }
}

/// A specimen's films on one counterface, with what was declared.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Treatment {
    /// Name of the counterface.
    pub counterface: String,
    /// Soft or hard.
    pub softness: Softness,
    /// What the user declared.
    pub modifiers: Modifiers,
    /// Films from the body outward, as in the specimen.
    pub films: Vec<FilmContact>,
    /// Share of the ploughed volume that leaves the film, above film hardness.
    pub ploughed_share: Known,
    /// d ln(friction work) / d ln(friction) of the exposure: 1 where load and path are set (pads),
    /// 0 where it is not known, and for grips that rise as friction falls (set it so); only spreads
    /// friction's own uncertainty, never the dose's mean.
    pub work_follows_friction: f64,
    /// Multiplier of the rate beside bare spots, if declared.
    pub undermining: Option<Known>,
    /// How the rate depends on pressure: off unless declared.
    pub pressure: PressureSensitivity,
    /// The user's own bench, if it gave the rates.
    pub measured: Option<MeasuredBy>,
    /// Priors used.
    pub notes: Vec<Note>,
}

/// Which bench gave the rates: what their uncertainty is drawn by.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MeasuredBy {
    /// Hash of the bench.
    pub bench: String,
    /// System of the bench.
    pub system: String,
}

impl Treatment {
    /// Looks up every film of a specimen on a counterface.
    ///
    /// # Errors
    /// When a name is not in the stock.
    pub fn new(
        stock: &Stock,
        specimen: &Specimen,
        counterface: &str,
        modifiers: Modifiers,
    ) -> Result<Treatment> {
        let face = stock.counterface(counterface)?;
        let films = specimen
            .films
            .iter()
            .map(|film| {
                Ok(FilmContact {
                    rate: stock.pair(&film.material, &face, modifiers)?,
                    friction: face.friction(&film.material)?.clone(),
                })
            })
            .collect::<Result<_>>()?;
        Ok(Treatment {
            counterface: face.name.clone(),
            softness: face.kind,
            modifiers,
            films,
            ploughed_share: stock.modifier("ploughed share")?,
            work_follows_friction: follows(&face),
            undermining: None,
            pressure: PressureSensitivity::default(),
            measured: None,
            notes: notes(stock, &face),
        })
    }

    /// [m3/J] the rate on one patch: the pair's, changed by pressure if declared, or the ploughed
    /// volume above film hardness.
    ///
    /// * `rate`: [m3/J] of the pair; `ploughed_share`: value or draw
    /// * `peak`, `hardness`: [Pa] of the patch and of the film
    #[must_use]
    pub fn rate_on(&self, rate: f64, ploughed_share: f64, (peak, hardness): (f64, f64)) -> f64 {
        match Regime::of(peak, hardness) {
            Regime::Polish => rate * self.pressure.factor(peak),
            regime => regime.rate(rate, ploughed_share, hardness),
        }
    }

    /// Friction of the film on top.
    #[must_use]
    pub fn outer_friction(&self) -> Option<&Known> {
        self.films.last().map(|f| &f.friction)
    }

    /// Takes the wear rate of the whole stack from the user's bench. The films keep their ratios to
    /// each other; one factor brings thickness over rate, summed over the films down to the end of
    /// the paint, to what the bench saw. Declared modifiers are in the grades already.
    pub fn measured(&mut self, specimen: &Specimen, bench: &SystemRate) {
        let coats = specimen.coats_to(End::Colour).unwrap_or(0).max(1);
        let stack = specimen.films.iter().zip(&self.films).rev().take(coats);
        let (mut thickness, mut resistance) = (0.0, 0.0);
        for (film, contact) in stack {
            thickness += film.material.thickness.value;
            resistance += film.material.thickness.value / contact.rate.rate;
        }
        let factor = bench.rate.value * resistance / thickness;
        for contact in &mut self.films {
            contact.rate.rate *= factor;
            contact.rate.sigmas = [bench.shared_sigma, 0.0, bench.own_sigma];
            contact.rate.modifier_sigma = 0.0;
            contact.rate.grade = bench.rate.grade;
            // doses of the bench were computed at this friction: the load law's constant belongs to it
            if let Some(friction) = bench.friction {
                contact.rate.reference_friction = friction;
            }
        }
        self.measured = Some(MeasuredBy {
            bench: bench.bench_hash.clone(),
            system: bench.system_id.clone(),
        });
        self.notes.push(Note::new(
            Topic::Overruled,
            format!(
                "{}: wear rate of the stack {:.2e} mm3/J (90 % {:.2e} to {:.2e}) from {}, system {}, instead of the stock's",
                self.counterface,
                bench.rate.value * 1e9,
                bench.rate.low * 1e9,
                bench.rate.high * 1e9,
                bench.rate.source,
                bench.system_id
            ),
        ));
    }

    /// Declares that film peels from the rim of bare spots (prior 3, 2 to 5).
    ///
    /// # Errors
    /// When the stock is damaged.
    pub fn undermine(&mut self, stock: &Stock) -> Result<()> {
        self.undermining = Some(stock.modifier("undermining")?);
        self.notes.push(Note::new(
            Topic::Limit,
            "undermining acts on whole patches beside bare ones, while peeling reaches only a few \
             film thicknesses: lives with it are on the short side",
        ));
        Ok(())
    }
}

/// On pads load and path are set, so the work is friction times them; in a box they are not.
fn follows(face: &Counterface) -> f64 {
    match face.kind {
        Softness::Foam | Softness::Skin | Softness::Textile => 1.0,
        Softness::Hard => 0.0,
    }
}

fn notes(stock: &Stock, face: &Counterface) -> Vec<Note> {
    stock
        .entry(crate::reference::Kind::Counterface, &face.name)
        .ok()
        .and_then(Stock::prior_note)
        .into_iter()
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use base::Known;

    /// By hand: films of thickness h with rates k in series last as long as one film of the whole
    /// thickness with the bench's rate.
    #[test]
    fn a_measured_stack_lasts_as_the_bench_saw() {
        let stock = Stock::load().unwrap();
        let coats = [
            "acrylic primer, aerosol",
            "acrylic paint, brush",
            "satin topcoat, aerosol",
        ];
        let s = Specimen::from_stock(&stock, "a", "tin pewter", &coats).unwrap();
        let grease = Modifiers {
            grease: true,
            ..Modifiers::default()
        };
        let mut t = Treatment::new(&stock, &s, "greasy skin", grease).unwrap();
        let before: Vec<f64> = t.films.iter().map(|f| f.rate.rate).collect();
        let bench = SystemRate {
            rate: Known::exact(7e-12, "bench"),
            shared_sigma: 0.3,
            own_sigma: 0.4,
            bench_hash: "b".into(),
            system_id: "S1".into(),
            friction: Some(0.4),
        };
        t.measured(&s, &bench);
        let stack = s.coats_to(End::Colour).unwrap();
        assert_eq!(stack, 2, "paint and topcoat");
        let life: f64 = (1..3)
            .map(|f| s.films[f].material.thickness.value / t.films[f].rate.rate)
            .sum();
        let whole: f64 = (1..3).map(|f| s.films[f].material.thickness.value).sum();
        assert!((life / (whole / 7e-12) - 1.0).abs() < 1e-12);
        let factor = t.films[2].rate.rate / before[2];
        assert!((t.films[0].rate.rate / before[0] / factor - 1.0).abs() < 1e-12);
        assert_eq!(t.films[0].rate.sigmas, [0.3, 0.0, 0.4]);
        assert_eq!(t.films[0].rate.modifier_sigma, 0.0);
        assert_eq!(t.films[1].rate.grade, bench.rate.grade);
        assert_eq!(t.films[1].rate.reference_friction, 0.4);
        assert!(t.notes.last().unwrap().text.contains("system S1"));
    }

    #[test]
    fn every_film_gets_its_own_rate_and_friction() {
        let stock = Stock::load().unwrap();
        let coats = ["acrylic paint, brush", "PU topcoat satin, airbrush"];
        let s = Specimen::from_stock(&stock, "a", "ABS", &coats).unwrap();
        let t = Treatment::new(&stock, &s, "greasy skin", Modifiers::default()).unwrap();
        assert!((t.films[0].rate.rate * 1e9 - 0.04).abs() < 5e-4);
        assert!((t.films[1].rate.rate * 1e9 - 0.0022).abs() < 5e-5);
        assert_eq!(t.outer_friction().unwrap().value, 0.45);
        assert_eq!(t.work_follows_friction, 1.0);
    }

    #[test]
    fn pressure_matters_only_when_declared() {
        let off = PressureSensitivity::default();
        assert_eq!((off.factor(1e3), off.factor(3e5)), (1.0, 1.0));
        let on = PressureSensitivity {
            exponent: 0.5,
            threshold: 20e3,
        };
        assert_eq!(on.factor(19e3), 0.0);
        assert!((on.factor(400e3) - 2.0).abs() < 1e-12);
    }
}
