//! One draw from the priors. Every random number is named after the thing it belongs to, so a
//! film's level is the same in all exposures, on all patches and under all specimens of a draw.

use crate::wear::{Film, FilmContact, Laid, Specimen, Treatment};
use base::random::stream;
use rand_distr::{Distribution, StandardNormal};
use serde::{Deserialize, Serialize};

/// What an interval is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// Level of all prior wear rates together.
    Level,
    /// Wear rate of one film against others.
    Film,
    /// Wear rate on one counterface against others.
    Counterface,
    /// Declared grease, grit, age, warmth.
    Modifiers,
    /// Friction of film on counterface.
    Friction,
    /// Thickness of the coats on flats.
    Thickness,
    /// How much thinner edges are.
    Edges,
    /// Share of ploughed film that leaves, and film hardness.
    Ploughing,
    /// Depth at which the sheen turns.
    Burnish,
    /// Thickness from place to place and dose from run to run: what is left over.
    Rest,
}

impl Part {
    /// For people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Part::Level => "level of all wear rates",
            Part::Film => "wear rate of your films against others",
            Part::Counterface => "wear rate on this counterface against others",
            Part::Modifiers => "grease, grit, age, warmth",
            Part::Friction => "friction",
            Part::Thickness => "film thickness on flats",
            Part::Edges => "thinning over edges",
            Part::Ploughing => "ploughing in hard contact",
            Part::Burnish => "depth at which the sheen turns",
            Part::Rest => "thickness from place to place, dose from run to run",
        }
    }
}

/// Standard normal numbers of one named thing in one draw.
pub(super) fn normals<const N: usize>(seed: u64, names: &[&str], draw: u64) -> [f64; N] {
    let mut random = stream(seed, names, draw);
    std::array::from_fn(|_| StandardNormal.sample(&mut random))
}

/// One film in one draw.
#[derive(Debug, Clone)]
pub(super) struct FilmDraw {
    pub laid: Laid,
    /// Relative standard deviation from place to place.
    pub cv: f64,
    /// [m3/J] below film hardness.
    pub rate: f64,
    pub reference_friction: f64,
    /// Friction over the friction the dose was computed with.
    pub friction_factor: f64,
    pub friction: f64,
    /// [Pa]
    pub hardness: f64,
}

/// The parts a film's own numbers belong to: rate, flat, edge, hollow, hardness; and friction. (The
/// hollow's does not matter for lives worth asking about.)
fn named([rate, flat, edge, _, hard]: [f64; 5], rubbing: f64) -> [(Part, f64); 5] {
    [
        (Part::Film, rate),
        (Part::Thickness, flat),
        (Part::Edges, edge),
        (Part::Ploughing, hard),
        (Part::Friction, rubbing),
    ]
}

impl FilmDraw {
    fn new(
        (film, contact): (&Film, &FilmContact),
        shared: [f64; 4],
        [_, flat, edge, hollow, hard]: [f64; 5],
        rubbing: f64,
    ) -> FilmDraw {
        let friction = contact.friction.at(rubbing);
        FilmDraw {
            laid: Laid::at(film, [flat, edge, hollow]),
            cv: film.material.cv.value,
            rate: contact.rate.at(shared),
            reference_friction: contact.rate.reference_friction,
            friction_factor: friction / contact.friction.value,
            friction,
            hardness: film.material.hardness.at(hard),
        }
    }
}

/// All films of a specimen in one draw, body outward, and the numbers behind them by part.
#[derive(Debug, Clone)]
pub(super) struct StackDraw {
    pub films: Vec<FilmDraw>,
    pub ploughed_share: f64,
    pub undermining: f64,
    /// [m] depth that makes half of the outer film's gloss change.
    pub sheen_depth: f64,
    pub numbers: Vec<(Part, f64)>,
}

impl StackDraw {
    pub(super) fn new(specimen: &Specimen, treatment: &Treatment, seed: u64, draw: u64) -> Self {
        let z = |names: &[&str]| normals::<1>(seed, names, draw)[0];
        let face = treatment.counterface.as_str();
        let (common, on_face) = match &treatment.measured {
            None => (z(&["rate level"]), z(&["rate on", face])),
            Some(by) => (
                z(&["bench", &by.bench]),
                z(&["bench", &by.bench, &by.system]),
            ),
        };
        let [plough, burnish, rim] = normals::<3>(seed, &["ploughing"], draw);
        let declared = format!("{:?}", treatment.modifiers);
        let modifiers = z(&["modifiers", face, &declared]);
        let mut numbers = vec![
            (Part::Level, common),
            (Part::Counterface, on_face),
            (Part::Modifiers, modifiers),
            (Part::Ploughing, plough),
            (Part::Burnish, burnish),
        ];
        let mut seen: Vec<&str> = Vec::new();
        let mut films = Vec::with_capacity(specimen.films.len());
        for (film, contact) in specimen.films.iter().zip(&treatment.films) {
            let name = film.material.name.as_str();
            let own = normals::<5>(seed, &["film", name], draw);
            let rubbing = z(&["friction", name, face]);
            if !seen.contains(&name) {
                seen.push(name);
                numbers.extend(named(own, rubbing));
            }
            let shared = [common, own[0], on_face, modifiers];
            films.push(FilmDraw::new((film, contact), shared, own, rubbing));
        }
        let sheen = specimen
            .outer()
            .map_or(0.0, |f| f.material.burnish_depth.at(burnish));
        StackDraw {
            films,
            ploughed_share: treatment.ploughed_share.at(plough),
            undermining: treatment.undermining.as_ref().map_or(1.0, |k| k.at(rim)),
            sheen_depth: contact::law::gloss::depth_for_share(0.5, sheen),
            numbers,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::{Modifiers, Stock};

    #[test]
    fn a_films_level_is_shared_across_counterfaces_and_specimens() {
        let stock = Stock::load().unwrap();
        let coats = ["acrylic primer, aerosol", "acrylic paint, brush"];
        let metal = Specimen::from_stock(&stock, "m", "tin pewter", &coats).unwrap();
        let plastic = Specimen::from_stock(&stock, "p", "ABS", &coats).unwrap();
        let on = |s: &Specimen, face: &str| {
            let t = Treatment::new(&stock, s, face, Modifiers::default()).unwrap();
            StackDraw::new(s, &t, 5, 17).films[1].clone()
        };
        let (a, b) = (on(&metal, "soft foam"), on(&plastic, "soft foam"));
        assert_eq!((a.rate, a.laid), (b.rate, b.laid));
        // on two counterfaces the ratio varies by their own parts only
        let ratios: Vec<f64> = (0..400)
            .map(|draw| {
                let rate = |face: &str| {
                    let t = Treatment::new(&stock, &metal, face, Modifiers::default()).unwrap();
                    StackDraw::new(&metal, &t, 5, draw).films[1].rate
                };
                (rate("felt") / rate("soft foam") / 2.0).ln()
            })
            .collect();
        let mean = ratios.iter().sum::<f64>() / 400.0;
        let sd = (ratios.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / 399.0).sqrt();
        assert!(mean.abs() < 0.12, "{mean}");
        assert!((sd - 0.668).abs() < 0.08, "a third to three times: {sd}");
    }
}
