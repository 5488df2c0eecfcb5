//! Rubbing: film after film, by both laws.

use contact::law::wear::{energy_law, load_law};
use serde::{Deserialize, Serialize};

/// What is held constant when friction changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Law {
    /// Wear per joule of friction work: a slippery film wears less.
    Energy,
    /// Wear per load and path: under a given load friction cancels.
    Load,
}

impl Law {
    /// Both.
    pub const BOTH: [Law; 2] = [Law::Energy, Law::Load];

    /// For people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Law::Energy => "energy law",
            Law::Load => "load law",
        }
    }
}

/// One film on one patch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layer {
    /// [m]
    pub thickness: f64,
    /// [m3/J]
    pub rate: f64,
    /// Friction at which the rate is stated.
    pub reference_friction: f64,
    /// Friction at which the work was done.
    pub friction: f64,
    /// [J/m2] friction work per unit of exposure while this film is outermost.
    pub work: f64,
}

impl Layer {
    /// [m] nominal depth per unit of exposure.
    #[must_use]
    pub fn depth_per_unit(&self, law: Law) -> f64 {
        match law {
            Law::Energy => energy_law(self.rate, self.work),
            Law::Load => load_law(self.rate, self.reference_friction, self.work, self.friction),
        }
    }

    /// Units of exposure until this film alone is through; infinite without dose.
    #[must_use]
    pub fn units(&self, law: Law) -> f64 {
        let depth = self.depth_per_unit(law);
        if depth > 0.0 {
            self.thickness / depth
        } else {
            f64::INFINITY
        }
    }
}

/// What is left after an exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Worn {
    /// [m] nominal depth lost, never more than the stack.
    pub depth: f64,
    /// Films through, counted from outside.
    pub through: usize,
}

/// Depth lost after `units` of exposure.
///
/// * `layers`: outermost first
#[must_use]
pub fn abrade(layers: &[Layer], units: f64, law: Law) -> Worn {
    let mut left = units;
    let mut worn = Worn {
        depth: 0.0,
        through: 0,
    };
    for layer in layers {
        let needed = layer.units(law);
        if left < needed {
            worn.depth += layer.depth_per_unit(law) * left;
            return worn;
        }
        left -= needed;
        worn.depth += layer.thickness;
        worn.through += 1;
    }
    worn
}

/// Units of exposure until the first `coats` films are through.
///
/// * `layers`: outermost first
#[must_use]
pub fn units_through(layers: &[Layer], coats: usize, law: Law) -> f64 {
    layers
        .iter()
        .take(coats)
        .map(|layer| layer.units(law))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn layer(thickness: f64, rate: f64) -> Layer {
        Layer {
            thickness,
            rate,
            reference_friction: 0.7,
            friction: 0.7,
            work: 1e4,
        }
    }

    /// 10 um at 1e-12 m3/J and 1e4 J/m2 per unit goes in 1000 units, the 20 um below at 4e-12 in
    /// 500 more.
    #[test]
    fn film_after_film() {
        let stack = [layer(10e-6, 1e-12), layer(20e-6, 4e-12)];
        assert!((units_through(&stack, 1, Law::Energy) - 1000.0).abs() < 1e-9);
        assert!((units_through(&stack, 2, Law::Energy) - 1500.0).abs() < 1e-9);
        let worn = abrade(&stack, 1250.0, Law::Energy);
        assert_eq!(worn.through, 1);
        assert!((worn.depth - 20e-6).abs() < 1e-15);
        assert_eq!(abrade(&stack, 1e9, Law::Energy).through, 2);
        assert!((abrade(&stack, 1e9, Law::Energy).depth - 30e-6).abs() < 1e-15);
    }

    /// A slippery film at given load and path: work falls with friction. The energy law lives
    /// longer in proportion, the load law as long as before.
    #[test]
    fn the_laws_differ_in_what_slipperiness_buys() {
        let rough = layer(10e-6, 1e-12);
        let slippery = Layer {
            friction: 0.35,
            work: 0.5e4,
            ..rough
        };
        let gain = |law| slippery.units(law) / rough.units(law);
        assert!((gain(Law::Energy) - 2.0).abs() < 1e-12);
        assert!((gain(Law::Load) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn no_dose_no_wear() {
        let idle = Layer {
            work: 0.0,
            ..layer(10e-6, 1e-12)
        };
        assert!(units_through(&[idle], 1, Law::Energy).is_infinite());
        assert_eq!(abrade(&[idle], 1e9, Law::Load).depth, 0.0);
    }

    /// Twice the strokes, twice the depth while the film lasts.
    #[test]
    fn depth_is_linear_in_exposure() {
        let stack = [layer(10e-6, 1e-12)];
        let d = |n| abrade(&stack, n, Law::Energy).depth;
        assert!((d(200.0) / d(100.0) - 2.0).abs() < 1e-12);
    }
}
