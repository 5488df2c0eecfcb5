//! What one exposure does to one patch, at the medians of all values: the row of `patches.csv`.

use super::abrade::{Law, Layer, abrade};
use super::chip::{Chip, Hit, chip};
use super::regime::Regime;
use super::specimen::Specimen;
use super::thickness::Laid;
use super::treatment::Treatment;
use contact::dose::Amounts;
use contact::law::gloss::burnished;
use mesh::figure::Patch;
use serde::{Deserialize, Serialize};

/// Wear of one patch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PatchWear {
    /// Kind of contact.
    pub regime: Regime,
    /// [m] nominal depth, wear per joule held; `None` above film hardness.
    pub depth_energy: Option<f64>,
    /// [m] nominal depth, wear per load and path held; `None` above film hardness.
    pub depth_load: Option<f64>,
    /// Films through, counted from outside (energy law).
    pub through: usize,
    /// Share of the stack's volume on the patch that is gone (energy law): the measure of hard
    /// contact, where a depth would mislead.
    pub scuffed_share: f64,
    /// [gloss units at 60 degrees] change of the outer film: up for matt, down for gloss.
    pub gloss_change: f64,
    /// Chips.
    pub chip: Chip,
}

/// Wear of a patch after some exposure.
///
/// * `amounts`: dose of the patch per unit of exposure, energies in joules
/// * `units`: of exposure
#[must_use]
pub fn assess(
    specimen: &Specimen,
    treatment: &Treatment,
    patch: &Patch,
    (amounts, units): (&Amounts, f64),
) -> PatchWear {
    let thickness: Vec<f64> = specimen
        .films
        .iter()
        .map(|f| Laid::median(f).on(patch))
        .collect();
    let layers = layers(specimen, treatment, patch, amounts);
    let outer = specimen.outer();
    let hardness = outer.map_or(f64::INFINITY, |f| f.material.hardness.value);
    let regime = Regime::of(amounts.peak, hardness);
    let [energy, load] = Law::BOTH.map(|law| abrade(&layers, units, law));
    let depth = |d: f64| regime.has_depth().then_some(d);
    let stack: f64 = thickness.iter().sum();
    let gloss_change = outer.map_or(0.0, |f| {
        let m = &f.material;
        burnished(
            m.gloss.value,
            m.gloss_end.value,
            energy.depth,
            m.burnish_depth.value,
        ) - m.gloss.value
    });
    let hit = Hit {
        energy: if amounts.touches > 0.0 {
            amounts.dent / amounts.touches
        } else {
            0.0
        },
        peak: amounts.peak,
    };
    PatchWear {
        regime,
        depth_energy: depth(energy.depth),
        depth_load: depth(load.depth),
        through: energy.through,
        scuffed_share: if stack > 0.0 {
            energy.depth / stack
        } else {
            0.0
        },
        gloss_change,
        chip: chip(specimen, patch, hit, &thickness),
    }
}

/// The stack on a patch at the medians, outermost first.
#[must_use]
pub fn layers(
    specimen: &Specimen,
    treatment: &Treatment,
    patch: &Patch,
    amounts: &Amounts,
) -> Vec<Layer> {
    let work = if patch.area > 0.0 {
        amounts.friction / patch.area
    } else {
        0.0
    };
    let share = treatment.ploughed_share.value;
    specimen
        .films
        .iter()
        .zip(&treatment.films)
        .rev()
        .map(|(film, contact)| {
            let hardness = film.material.hardness.value;
            let here = (amounts.peak, hardness);
            Layer {
                thickness: Laid::median(film).on(patch),
                rate: treatment.rate_on(contact.rate.rate, share, here),
                reference_friction: contact.rate.reference_friction,
                friction: contact.friction.value,
                work,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::thickness::tests::patch;
    use super::*;
    use crate::reference::{Modifiers, Stock};
    use mesh::figure::Shape;

    fn setting(coats: &[&str], face: &str) -> (Specimen, Treatment) {
        let stock = Stock::load().unwrap();
        let s = Specimen::from_stock(&stock, "s", "tin pewter", coats).unwrap();
        let t = Treatment::new(&stock, &s, face, Modifiers::default()).unwrap();
        (s, t)
    }

    /// Amounts of one metre of slide under a pressure, on one patch.
    fn slide(friction: f64, pressure: f64, peak: f64, area: f64) -> Amounts {
        Amounts {
            friction: friction * pressure * area,
            peak,
            slip: 1.0,
            touches: 1.0,
            ..Amounts::default()
        }
    }

    /// One slide booked as a pad's and as a hard contact's: same microns by both laws.
    #[test]
    fn the_same_slide_hard_and_soft_gives_the_same_microns() {
        let (s, t) = setting(&["acrylic paint, brush"], "soft foam");
        let flat = patch(Shape::Face, f64::INFINITY);
        let pad = assess(&s, &t, &flat, (&slide(0.75, 50e3, 50e3, flat.area), 10.0));
        let hard = assess(&s, &t, &flat, (&slide(0.75, 50e3, 5e6, flat.area), 10.0));
        assert_eq!(pad.regime, Regime::Polish);
        assert_eq!(hard.regime, Regime::Scuff);
        assert_eq!(
            (pad.depth_energy, pad.depth_load),
            (hard.depth_energy, hard.depth_load)
        );
        assert!(pad.depth_energy.unwrap() > 0.0);
    }

    #[test]
    fn above_film_hardness_there_are_no_microns() {
        let (s, t) = setting(&["acrylic paint, brush"], "polypropylene");
        let tip = patch(Shape::Tip, 1e-3);
        let worn = assess(&s, &t, &tip, (&slide(0.3, 50e3, 150e6, tip.area), 10.0));
        assert_eq!(worn.regime, Regime::Dent);
        assert!(worn.depth_energy.is_none() && worn.depth_load.is_none());
        assert!(worn.scuffed_share > 0.0);
    }

    /// Matt films gloss up long before they wear through, gloss films dull.
    #[test]
    fn burnish_comes_first_and_has_a_sign() {
        let (s, t) = setting(&["matt topcoat, aerosol"], "soft foam");
        let flat = patch(Shape::Face, f64::INFINITY);
        let amounts = slide(0.75, 50e3, 50e3, flat.area);
        // enough for one hundredth of the film
        let depth = assess(&s, &t, &flat, (&amounts, 1.0)).depth_energy.unwrap();
        let units = 0.02 * 13e-6 / depth;
        let worn = assess(&s, &t, &flat, (&amounts, units));
        assert!(worn.gloss_change > 10.0 && worn.through == 0, "{worn:?}");
        let (s, t) = setting(&["gloss topcoat, aerosol"], "soft foam");
        assert!(assess(&s, &t, &flat, (&amounts, units)).gloss_change < -10.0);
    }
}
