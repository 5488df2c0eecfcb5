//! Mean dose per unit of exposure with its interval over independent replicates.

use super::{Amounts, Channel, Dose};
use base::Note;
use base::stats::{Estimate, estimate};
use serde::{Deserialize, Serialize};

/// What one unit of an exposure is; lives are told in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// A minute of tumbling.
    Minute,
    /// One drop.
    Drop,
    /// One stroke over the pad.
    Stroke,
    /// One pick-up with its put-down.
    PickUp,
    /// One kilometre in the tray.
    Kilometre,
}

impl Unit {
    /// Singular, for "per".
    #[must_use]
    pub fn singular(self) -> &'static str {
        match self {
            Unit::Minute => "minute",
            Unit::Drop => "drop",
            Unit::Stroke => "stroke",
            Unit::PickUp => "pick-up",
            Unit::Kilometre => "km",
        }
    }

    /// Plural for people and for the `life_unit` column.
    #[must_use]
    pub fn plural(self) -> &'static str {
        match self {
            Unit::Minute => "minutes",
            Unit::Drop => "drops",
            Unit::Stroke => "strokes",
            Unit::PickUp => "pick-ups",
            Unit::Kilometre => "km",
        }
    }
}

/// Dose per unit of one exposure of one specimen: mean over replicates, and the replicates
/// themselves so that every later interval and rank certainty comes from the same draws.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DoseRate {
    /// What one unit is.
    pub unit: Unit,
    /// Mean dose per unit.
    pub mean: Dose,
    /// Dose per unit of each independent replicate, in replicate order.
    pub replicates: Vec<Dose>,
    /// Limits met, guesses made.
    pub notes: Vec<Note>,
}

impl DoseRate {
    /// The mean over replicates, each already per unit.
    ///
    /// * `replicates`: at least one, all of the same figure
    #[must_use]
    pub fn from_replicates(unit: Unit, replicates: Vec<Dose>, notes: Vec<Note>) -> DoseRate {
        let patches = replicates.first().map_or(0, |d| d.totals().len());
        let mut mean = Dose::none(patches);
        for dose in &replicates {
            mean.add_dose(dose, 1.0 / replicates.len() as f64);
        }
        DoseRate {
            unit,
            mean,
            replicates,
            notes,
        }
    }

    /// The same dose with the friction work of every mark multiplied; nothing else changes.
    #[must_use]
    pub fn with_friction_work(mut self, times: f64) -> DoseRate {
        for dose in std::iter::once(&mut self.mean).chain(&mut self.replicates) {
            dose.scale_friction(times);
        }
        self
    }

    /// Total of one channel over the figure, with its 95 % interval over replicates.
    #[must_use]
    pub fn total(&self, channel: Channel) -> Estimate {
        self.over_replicates(|dose| dose.total(channel))
    }

    /// Mean and 95 % interval of any function of a replicate.
    pub fn over_replicates(&self, f: impl Fn(&Dose) -> f64) -> Estimate {
        let values: Vec<f64> = self.replicates.iter().map(f).collect();
        estimate(&values)
    }

    /// Mean and 95 % interval of one channel over a set of patches, per area of the set for
    /// the channels that are per area.
    ///
    /// * `patches`: indices
    /// * `areas`: [m2] of all patches
    #[must_use]
    pub fn over_patches(&self, channel: Channel, patches: &[usize], areas: &[f64]) -> Estimate {
        let area = base::sum::sum(patches.iter().map(|&p| areas[p]));
        let pick = |totals: &[Amounts]| {
            let values = patches.iter().map(|&p| totals[p].get(channel));
            match channel {
                Channel::Peak => values.fold(0.0, f64::max),
                _ if channel.is_per_area() => base::sum::sum(values) / area,
                _ => base::sum::sum(values),
            }
        };
        self.over_replicates(|dose| pick(dose.totals()))
    }
}
