//! The channels of a dose and how each one adds up.

use serde::{Deserialize, Serialize};

/// One kind of dose.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Channel {
    /// [J/m2] friction work per area: drives rubbing wear and burnish.
    Friction,
    /// [J/m2] impact loss per area.
    Impact,
    /// [J/m2] part of the impact loss above the yield speed of the softer side: denting, chipping.
    Dent,
    /// [Pa] highest contact pressure seen.
    Peak,
    /// [m] sliding distance, weighted by the share of the contact that fell on the patch.
    Slip,
    /// Number of touches, weighted in the same way.
    Touches,
}

impl Channel {
    /// All channels in the order of the result files.
    pub const ALL: [Channel; 6] = [
        Channel::Friction,
        Channel::Impact,
        Channel::Dent,
        Channel::Peak,
        Channel::Slip,
        Channel::Touches,
    ];

    /// True for what is divided by the patch's area when it is shown as a map.
    #[must_use]
    pub fn is_per_area(self) -> bool {
        matches!(self, Channel::Friction | Channel::Impact | Channel::Dent)
    }
}

/// Amounts of every channel on one patch; energies in joules, not yet per area.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Amounts {
    /// [J] friction work at the interface, all of it (no split between the two sides).
    pub friction: f64,
    /// [J] impact loss.
    pub impact: f64,
    /// [J] dent energy.
    pub dent: f64,
    /// [Pa] peak contact pressure: the larger of two, never a sum.
    pub peak: f64,
    /// [m] sliding distance.
    pub slip: f64,
    /// Touches.
    pub touches: f64,
}

impl Amounts {
    /// Adds `other`, `times` times; the peak is the larger of the two.
    pub fn add(&mut self, other: &Amounts, times: f64) {
        self.friction += other.friction * times;
        self.impact += other.impact * times;
        self.dent += other.dent * times;
        self.peak = self.peak.max(other.peak);
        self.slip += other.slip * times;
        self.touches += other.touches * times;
    }

    /// One channel.
    #[must_use]
    pub fn get(&self, channel: Channel) -> f64 {
        match channel {
            Channel::Friction => self.friction,
            Channel::Impact => self.impact,
            Channel::Dent => self.dent,
            Channel::Peak => self.peak,
            Channel::Slip => self.slip,
            Channel::Touches => self.touches,
        }
    }
}
