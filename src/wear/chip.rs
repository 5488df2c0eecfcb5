//! Chips on a specimen: index and class per patch, and why thick stacks chip sooner.

use super::specimen::Specimen;
use contact::law::chip::{ChipClass, delamination_drive, dent_radius, dent_strain};
use mesh::figure::Patch;
use serde::{Deserialize, Serialize};

/// A film stretches this much less at impact speed than in a slow test (prior 2 to 5).
pub const IMPACT_EMBRITTLEMENT: f64 = 3.0;

/// Largest tip radius [m] a dent is computed for: a flatter patch meets the wall's own roughness
/// and corners first.
const FLATTEST: f64 = 10e-3;

/// Demand over resistance, both ways of failing.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Chip {
    /// Dent strain over the least elongation in the stack at impact speed.
    pub dent: f64,
    /// Largest energy released over bond toughness, over all interfaces.
    pub delamination: f64,
    /// Class of the larger of both.
    pub class: ChipClass,
}

impl Chip {
    /// The larger of the two.
    #[must_use]
    pub fn index(&self) -> f64 {
        self.dent.max(self.delamination)
    }
}

/// One hit on a patch: the mean of those it got.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hit {
    /// [J] dent energy.
    pub energy: f64,
    /// [Pa] highest pressure.
    pub peak: f64,
}

/// Chip index of a mean hit on a patch.
///
/// The body dents at three times its yield stress (Tabor 1951); the film must follow the dent's
/// strain. A film strained to the dent's strain, at most to its own yield (hardness over three),
/// releases its energy when it lets go.
///
/// * `thickness`: [m] of each film on this patch, body outward
#[must_use]
pub fn chip(specimen: &Specimen, patch: &Patch, hit: Hit, thickness: &[f64]) -> Chip {
    let radius = patch.radius.min(FLATTEST);
    let strain = if hit.energy > 0.0 {
        let a = dent_radius(hit.energy, radius, 3.0 * specimen.body.yield_stress.value);
        dent_strain(a.min(radius), radius)
    } else {
        0.0
    };
    let least = specimen
        .films
        .iter()
        .map(|f| f.material.elongation.value / IMPACT_EMBRITTLEMENT)
        .fold(f64::INFINITY, f64::min);
    let dent = if least.is_finite() {
        strain / least
    } else {
        0.0
    };
    let delamination = delamination(specimen, strain, hit.peak, thickness);
    Chip {
        dent,
        delamination,
        class: ChipClass::of(dent.max(delamination)),
    }
}

/// Largest of drive over toughness over all interfaces, counted from the body outward.
fn delamination(specimen: &Specimen, strain: f64, peak: f64, thickness: &[f64]) -> f64 {
    let mut worst: f64 = 0.0;
    for from in 0..specimen.films.len() {
        let mut drive = 0.0;
        for (film, h) in specimen.films[from..].iter().zip(&thickness[from..]) {
            let (e, yielding) = (
                film.material.youngs.value,
                film.material.hardness.value / 3.0,
            );
            let stress = (e * strain).min(yielding).min(peak);
            drive += delamination_drive(stress, *h, e);
        }
        worst = worst.max(drive / specimen.films[from].material.toughness.value);
    }
    worst
}

#[cfg(test)]
mod tests {
    use super::super::thickness::tests::patch;
    use super::*;
    use crate::reference::Stock;
    use mesh::figure::Shape;

    fn specimen(body: &str, topcoats: usize) -> Specimen {
        let stock = Stock::load().unwrap();
        let mut coats = vec!["acrylic primer, aerosol", "acrylic paint, brush"];
        coats.extend(vec!["gloss topcoat, aerosol"; topcoats]);
        Specimen::from_stock(&stock, "s", body, &coats).unwrap()
    }

    fn index(s: &Specimen, energy: f64) -> Chip {
        let h: Vec<f64> = s.films.iter().map(|f| f.thickness.value).collect();
        let hit = Hit {
            energy,
            peak: 120e6,
        };
        chip(s, &patch(Shape::Tip, 1e-3), hit, &h)
    }

    #[test]
    fn metal_dents_more_than_plastic_of_the_same_hit() {
        // soft lead-tin against zinc alloy: the softer body dents deeper
        let (soft, hard) = (
            specimen("lead-tin casting alloy", 1),
            specimen("zinc alloy", 1),
        );
        assert!(index(&soft, 1e-4).dent > index(&hard, 1e-4).dent);
    }

    /// Thick stacks resist rubbing and let go sooner.
    #[test]
    fn more_topcoat_raises_delamination_and_not_the_dent() {
        let (one, three) = (specimen("tin pewter", 1), specimen("tin pewter", 3));
        let (a, b) = (index(&one, 1e-4), index(&three, 1e-4));
        assert!(b.delamination > a.delamination * 1.5, "{a:?} {b:?}");
        assert_eq!(a.dent, b.dent);
    }

    #[test]
    fn no_dent_no_chip() {
        let c = index(&specimen("ABS", 1), 0.0);
        assert_eq!(c.index(), 0.0);
        assert_eq!(c.class, ChipClass::None);
    }
}
