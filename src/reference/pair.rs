//! The wear rate of a pair: film level, times counterface factor, times declared modifiers.
//!
//! A wear rate belongs to a pair, not to a film: from like-on-like polymer to abrasive paper it
//! spans five powers of ten (abstract in print). The 90 % range of a prior rate is a tenth to ten
//! times; ratios between films on one counterface, and between counterfaces under one film, are
//! better known, to a factor of three. The spread is therefore split in three parts that are drawn
//! separately and shared by name: one common to everything, one of the film, one of the counterface.

use super::material::{Counterface, FilmMaterial};
use super::stock::Stock;
use base::known::Z95;
use base::{Grade, Known, Result};
use serde::{Deserialize, Serialize};

/// Standard deviation of ln rate that belongs to one film or to one counterface: two of them give
/// ratios a 90 % range of a third to three times.
pub const OWN_SIGMA: f64 = 0.472_29;

/// What the user declares about the contact; never inferred.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Modifiers {
    /// Grease has soaked into the outer film (always true on a greasy counterface).
    pub grease: bool,
    /// Grit in the foam or on the fingers.
    pub grit: bool,
    /// The last coat is younger than 7 days.
    pub young: bool,
    /// A warm car or sun: 30 C and more.
    pub warm: bool,
}

/// Wear rate of one film on one counterface.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PairRate {
    /// [m3/J] median.
    pub rate: f64,
    /// Friction at which it is stated: what the load law holds its constant at.
    pub reference_friction: f64,
    /// Standard deviations of ln rate: common to all pairs, of the film, of the counterface.
    pub sigmas: [f64; 3],
    /// Standard deviation of ln rate from the modifiers declared.
    pub modifier_sigma: f64,
    /// How the weakest of its parts is backed.
    pub grade: Grade,
}

impl PairRate {
    /// [m3/J] the rate at given standard normal draws of the parts.
    ///
    /// * `z`: common, film, counterface, modifiers
    #[must_use]
    pub fn at(&self, z: [f64; 4]) -> f64 {
        let [common, film, face] = self.sigmas;
        let shift = common * z[0] + film * z[1] + face * z[2] + self.modifier_sigma * z[3];
        self.rate * shift.exp()
    }

    /// The whole spread as one value with its range [m3/J].
    #[must_use]
    pub fn known(&self) -> Known {
        let squares = self.sigmas.iter().map(|s| s * s).sum::<f64>();
        let sigma = (squares + self.modifier_sigma.powi(2)).sqrt();
        let reach = (Z95 * sigma).exp();
        Known {
            value: self.rate,
            low: self.rate / reach,
            high: self.rate * reach,
            grade: self.grade,
            source: "film level x counterface factor x modifiers".into(),
        }
    }
}

impl Stock {
    /// The wear rate of a film on a counterface. A rate the user measured for exactly this pair
    /// replaces the product; a level the user gave for the film loses the common part.
    ///
    /// # Errors
    /// When an entry is damaged.
    pub fn pair(
        &self,
        film: &FilmMaterial,
        face: &Counterface,
        modifiers: Modifiers,
    ) -> Result<PairRate> {
        let (mut factor, mut variance) = (1.0, 0.0);
        let mut grade = Grade::A;
        let mut multiply = |known: &Known| {
            factor *= known.value;
            variance += known.sigma_ln().powi(2);
            grade = grade.max(known.grade);
        };
        let own = face.own_rate(&film.name);
        // a rate measured on a greasy counterface has the grease in it already
        let soaked = modifiers.grease || face.greases;
        if soaked && !(own.is_some() && face.greases) {
            multiply(&film.grease);
        }
        for (declared, name) in [
            (modifiers.grit, "grit"),
            (modifiers.young, "film younger than 7 days"),
            (modifiers.warm, "warm"),
        ] {
            if declared {
                multiply(&self.modifier(name)?);
            }
        }
        let (base, sigmas) = match own {
            Some(rate) => (rate.value, [0.0, rate.sigma_ln(), 0.0]),
            None => {
                let on_face = face.factor(film.binder)?;
                (
                    film.wear_level.value * on_face.value,
                    split(&film.wear_level),
                )
            }
        };
        Ok(PairRate {
            rate: base * factor,
            reference_friction: face.friction_of_rate(&film.name),
            sigmas,
            modifier_sigma: variance.sqrt(),
            grade: grade.max(own.map_or(film.wear_level.grade, |k| k.grade)),
        })
    }
}

/// Splits the spread of a film's level on foam into common, film and counterface parts.
fn split(level: &Known) -> [f64; 3] {
    let total = level.sigma_ln();
    if level.grade == Grade::User {
        return [0.0, total, OWN_SIGMA];
    }
    let own = OWN_SIGMA.min(total / 3.0_f64.sqrt());
    [(total * total - 2.0 * own * own).sqrt(), own, own]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::{Overrule, stock::Kind, table};

    /// Film names of the prior rows and their counterparts in the stock.
    const FILMS: [(&str, &str); 9] = [
        (
            "waterborne acrylic, brush, no topcoat",
            "acrylic paint, brush",
        ),
        (
            "waterborne acrylic, airbrush, no topcoat",
            "acrylic paint, airbrush",
        ),
        ("solvent acrylic or alkyd primer", "acrylic primer, aerosol"),
        (
            "solvent acrylic topcoat, satin/gloss",
            "satin topcoat, aerosol",
        ),
        ("solvent acrylic topcoat, matt", "matt topcoat, aerosol"),
        (
            "waterborne PU / acrylic-PU topcoat, satin/gloss",
            "PU topcoat satin, airbrush",
        ),
        (
            "waterborne PU / acrylic-PU topcoat, matt",
            "PU topcoat matt, airbrush",
        ),
        ("2K or crosslinked topcoat", "two-component topcoat"),
        (
            "waterborne PU / acrylic-PU topcoat, satin/gloss",
            "PU topcoat, brush",
        ),
    ];

    fn face(condition: &str) -> (&'static str, Modifiers) {
        let plain = Modifiers::default();
        let grit = Modifiers {
            grit: true,
            ..plain
        };
        let name = condition.trim_start_matches("counterface ");
        match name.split(';').next().unwrap() {
            "skin, clean dry" => ("clean skin", plain),
            "skin, greasy (soaked film)" => ("greasy skin", plain),
            "PU foam, clean" => ("soft foam", plain),
            "PU foam, gritty" => ("soft foam", grit),
            "felt or cloth" => ("felt", plain),
            "cardboard" => ("cardboard", plain),
            "wood / MDF" => ("wood", plain),
            "hard plastic or painted plastic" => ("painted plastic", plain),
            "metal" => ("steel", plain),
            other => panic!("{other}"),
        }
    }

    /// Every prior row of the wear table against the product, within the row's rounding: its two
    /// digits come from k (two digits) over friction. A consistency check, not an outside one.
    #[test]
    fn the_product_gives_every_prior_row() {
        let stock = Stock::load().unwrap();
        let mut checked = 0;
        for row in table("wear").unwrap().rows {
            let Some(name) = row.name.strip_prefix("prior: ") else {
                continue;
            };
            for (_, stock_name) in FILMS.iter().filter(|(n, _)| *n == name) {
                let (face, modifiers) = face(&row.condition);
                let film = stock.film(stock_name).unwrap();
                let face = stock.counterface(face).unwrap();
                let pair = stock.pair(&film, &face, modifiers).unwrap();
                let printed = row.known().unwrap();
                let unit = 10f64.powf(printed.value.log10().floor() - 1.0);
                let gap = (pair.rate - printed.value).abs();
                assert!(
                    gap <= 0.5001 * unit,
                    "{name}, {}: {} {}",
                    row.condition,
                    pair.rate,
                    printed.value
                );
                let stated = format!("mu {}", pair.reference_friction);
                assert!(
                    row.condition.contains(&stated),
                    "{}: {stated}",
                    row.condition
                );
                checked += 1;
            }
        }
        assert_eq!(
            checked,
            29 + 5,
            "29 rows, five of them also for the brushed topcoat"
        );
    }

    /// A tenth to ten times for a pair, a third to three times for ratios.
    #[test]
    fn the_spread_is_split_as_declared() {
        let stock = Stock::load().unwrap();
        let film = stock.film("acrylic paint, brush").unwrap();
        let face = stock.counterface("soft foam").unwrap();
        let pair = stock.pair(&film, &face, Modifiers::default()).unwrap();
        let known = pair.known();
        assert!((known.high / known.value - 10.0).abs() < 0.01, "{known:?}");
        let ratio = (Z95 * 2f64.sqrt() * OWN_SIGMA).exp();
        assert!((ratio - 3.0).abs() < 1e-3);
    }

    #[test]
    fn a_measured_pair_replaces_the_product() {
        let mut stock = Stock::load().unwrap();
        let with = Overrule {
            kind: Kind::Counterface,
            name: "greasy skin".into(),
            property: "rate on acrylic paint, brush".into(),
            value: 2e-11,
            range: Some((1e-11, 4e-11)),
            source: "two coupons".into(),
        };
        stock.overrule(&with).unwrap();
        let film = stock.film("acrylic paint, brush").unwrap();
        let face = stock.counterface("greasy skin").unwrap();
        let known = stock
            .pair(&film, &face, Modifiers::default())
            .unwrap()
            .known();
        assert!((known.value - 2e-11).abs() < 1e-20);
        assert!((known.high - 4e-11).abs() < 1e-14);
        assert_eq!(known.grade, Grade::User);
    }

    /// The priors lie inside the published brackets: below every abrasive test of the same kind of
    /// film (floor urethane sheet in print: 10 mg in 500 turns of the rotary abrader; hard ball on
    /// paint 0.77-5e-3 mm3/(N m), in print; wet scrub class 1 ends at 0.37 mm3/(N m)), above
    /// like-on-like polymer, 1e5 below abrasive paper (abstract in print; 0.05 from memory).
    #[test]
    fn clean_foam_wears_less_than_any_abrasive_test() {
        use contact::law::wear::{Abrader, scrub_rate};
        let stock = Stock::load().unwrap();
        let k = |film: &str, face: &str| {
            let (film, face) = (stock.film(film).unwrap(), stock.counterface(face).unwrap());
            let pair = stock.pair(&film, &face, Modifiers::default()).unwrap();
            pair.rate * pair.reference_friction
        };
        let abraded = Abrader::STANDARD.specific_rate(10e-6, 1100.0, 1.0, 500.0);
        assert!((abraded * 1e9 - 7.6e-3).abs() < 1e-4);
        assert!(k("PU topcoat satin, airbrush", "soft foam") < abraded);
        assert!(k("acrylic paint, brush", "soft foam") < scrub_rate(5e-6, 200.0));
        assert!(k("acrylic paint, brush", "soft foam") > 0.05e-9 / 1e5);
        // a steel ball in print, a steel plate here: the prior's range covers the ball's
        let steel = k("gloss topcoat, aerosol", "steel") * 1e9;
        assert!(steel / 10.0 < 0.77e-3 && 5e-3 < steel * 10.0, "{steel}");
    }
}
