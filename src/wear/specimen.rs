//! A figure in one body under one stack of films.

use crate::reference::{BodyMaterial, FilmMaterial, Role, Stock};
use base::note::Topic;
use base::{Error, Grade, Known, Note, Result};
use contact::law::film;
use serde::{Deserialize, Serialize};

/// One coat as it lies on a specimen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Film {
    /// What it is.
    pub material: FilmMaterial,
    /// [m] dry thickness on flats: the stock's for its method, or the user's.
    pub thickness: Known,
}

/// A body under films.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Specimen {
    /// Name in the scenario.
    pub name: String,
    /// What it is made of.
    pub body: BodyMaterial,
    /// [kg] weighed, if the user has a scale.
    pub mass: Option<f64>,
    /// Coats from the body outward.
    pub films: Vec<Film>,
    /// Overrules of thickness and the like.
    pub notes: Vec<Note>,
}

/// How a coat's thickness was found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Gauge {
    /// Gauge on a coupon.
    Dry {
        /// [m]
        thickness: f64,
    },
    /// Comb in the wet film.
    Wet {
        /// [m]
        thickness: f64,
        /// Share of the paint's volume that stays.
        solids: f64,
        /// Volume of thinner per volume of paint.
        thinner: f64,
    },
    /// Weighing before and after the coat.
    Weighing {
        /// [kg] gain.
        gain: f64,
        /// [kg] smallest step of the scale.
        step: f64,
        /// [m2] painted surface.
        area: f64,
    },
}

impl Specimen {
    /// A specimen of stock materials.
    ///
    /// * `coats`: names from the body outward, at least one
    ///
    /// # Errors
    /// When a name is not in the stock or there is no coat.
    pub fn from_stock(stock: &Stock, name: &str, body: &str, coats: &[&str]) -> Result<Specimen> {
        if coats.is_empty() {
            return Err(
                Error::input(format!("specimen \"{name}\" has no coats")).hint(
                    "list them from the body outward: coats = [\"acrylic primer, aerosol\", ...]",
                ),
            );
        }
        let films = coats
            .iter()
            .map(|coat| {
                let material = stock.film(coat)?;
                let thickness = material.thickness.clone();
                Ok(Film {
                    material,
                    thickness,
                })
            })
            .collect::<Result<_>>()?;
        Ok(Specimen {
            name: name.to_owned(),
            body: stock.body(body)?,
            mass: None,
            films,
            notes: Vec::new(),
        })
    }

    /// [m] all coats on flats.
    #[must_use]
    pub fn total_thickness(&self) -> f64 {
        self.films.iter().map(|f| f.thickness.value).sum()
    }

    /// The coat on top.
    #[must_use]
    pub fn outer(&self) -> Option<&Film> {
        self.films.last()
    }

    /// Replaces a coat's prior thickness by the user's own.
    ///
    /// * `film`: number from the body outward
    ///
    /// # Errors
    /// When there is no such coat or a number is not above 0.
    pub fn gauge(&mut self, film: usize, gauge: Gauge) -> Result<()> {
        let name = self.name.clone();
        let target = self.films.get_mut(film).ok_or_else(|| {
            Error::input(format!(
                "specimen \"{name}\" has no coat number {}",
                film + 1
            ))
        })?;
        let known = measured(gauge, &target.material.density)?;
        self.notes.push(Note::new(
            Topic::Overruled,
            format!(
                "{name}: {} is {:.1} um on flats by your own measurement (stock {:.1} um)",
                target.material.name,
                known.value * 1e6,
                target.thickness.value * 1e6
            ),
        ));
        target.thickness = known;
        Ok(())
    }

    /// How many coats, counted from outside, must be through for an end point; `None` when the
    /// specimen has no such end.
    #[must_use]
    pub fn coats_to(&self, end: End) -> Option<usize> {
        let from_outside = || self.films.iter().rev().map(|f| f.material.role);
        match end {
            End::Sheen => Some(0),
            End::Topcoat => match from_outside().take_while(|r| *r == Role::Topcoat).count() {
                0 => None,
                coats => Some(coats),
            },
            End::Colour => {
                let innermost = self
                    .films
                    .iter()
                    .position(|f| f.material.role == Role::Paint);
                Some(self.films.len() - innermost.unwrap_or(0))
            }
            End::Body => Some(self.films.len()),
        }
    }
}

/// When a life ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum End {
    /// Half of the outer film's gloss change is done: the first thing seen.
    Sheen,
    /// The topcoats are through.
    Topcoat,
    /// The paint is through: primer or body shows.
    Colour,
    /// All films are through.
    Body,
}

impl End {
    /// All ends in the order they come.
    pub const ALL: [End; 4] = [End::Sheen, End::Topcoat, End::Colour, End::Body];

    /// For people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            End::Sheen => "sheen changes",
            End::Topcoat => "topcoat through",
            End::Colour => "paint through",
            End::Body => "down to the body",
        }
    }
}

/// [m] thickness from a measurement, with the spread the method has.
fn measured(gauge: Gauge, density: &Known) -> Result<Known> {
    let (value, spread, source) = match gauge {
        Gauge::Dry { thickness } => (thickness, 0.10, "gauged dry"),
        Gauge::Wet {
            thickness,
            solids,
            thinner,
        } => (
            film::dry_from_wet(thickness, solids, thinner),
            0.25,
            "wet film times volume solids",
        ),
        Gauge::Weighing { gain, step, area } => {
            let scale = step / 12f64.sqrt() * 2f64.sqrt() / gain;
            let spread = scale.hypot(density.sigma_ln());
            (
                film::dry_from_weight(gain, density.value, area),
                spread,
                "weighed",
            )
        }
    };
    if !(value.is_finite() && value > 0.0) {
        return Err(Error::input(format!(
            "a measured film of {value} m is not a thickness: all numbers must be above 0"
        )));
    }
    let reach = (base::known::Z95 * spread).exp();
    Ok(Known {
        value,
        low: value / reach,
        high: value * reach,
        grade: Grade::User,
        source: source.to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn specimen() -> Specimen {
        let coats = [
            "acrylic primer, aerosol",
            "acrylic paint, brush",
            "acrylic paint, brush",
            "satin topcoat, aerosol",
        ];
        let stock = Stock::load().unwrap();
        Specimen::from_stock(&stock, "metal, satin", "tin pewter", &coats).unwrap()
    }

    #[test]
    fn ends_count_coats_from_outside() {
        let s = specimen();
        assert_eq!(s.coats_to(End::Topcoat), Some(1));
        assert_eq!(s.coats_to(End::Colour), Some(3));
        assert_eq!(s.coats_to(End::Body), Some(4));
        assert!((s.total_thickness() - 68e-6).abs() < 1e-12);
    }

    #[test]
    fn weighing_replaces_the_prior_and_narrows_it() {
        let mut s = specimen();
        let before = s.films[1].thickness.sigma_ln();
        // 60 mg on 20 cm2 at 1600 kg/m3: 18.75 um; a 1 mg scale adds little to the density's spread
        let gauge = Gauge::Weighing {
            gain: 60e-6,
            step: 1e-6,
            area: 20e-4,
        };
        s.gauge(1, gauge).unwrap();
        assert!((s.films[1].thickness.value - 18.75e-6).abs() < 1e-9);
        assert!(s.films[1].thickness.sigma_ln() < before / 2.0);
        assert_eq!(s.notes.len(), 1);
        assert!(s.gauge(9, gauge).is_err());
        let nothing = Gauge::Weighing {
            gain: 0.0,
            step: 1e-6,
            area: 20e-4,
        };
        assert!(s.gauge(1, nothing).is_err());
    }
}
