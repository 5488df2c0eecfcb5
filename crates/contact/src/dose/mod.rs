//! What a patch received. The one door: only here is anything divided by an area.
//!
//! Both kinds of contact meet at [`Imprint`], so the partition of unity is proved once.

mod channel;
mod rate;

pub use channel::{Amounts, Channel};
pub use rate::{DoseRate, Unit};

use mesh::figure::PatchId;

/// What one contact leaves on one patch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Where.
    pub patch: PatchId,
    /// How much: energies already carry the kernel's weight.
    pub amounts: Amounts,
}

/// What one contact leaves on the figure; its energies sum to the contact's.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Imprint {
    /// One mark per patch touched.
    pub marks: Vec<Mark>,
}

/// Sums of what each patch received.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Dose {
    totals: Vec<Amounts>,
}

impl Dose {
    /// No dose on `patches` patches.
    #[must_use]
    pub fn none(patches: usize) -> Dose {
        Dose {
            totals: vec![Amounts::default(); patches],
        }
    }

    /// Adds what one contact left, `times` times.
    pub fn add(&mut self, imprint: &Imprint, times: f64) {
        for mark in &imprint.marks {
            self.totals[mark.patch.index()].add(&mark.amounts, times);
        }
    }

    /// Adds another dose of the same figure, `times` times.
    pub fn add_dose(&mut self, other: &Dose, times: f64) {
        for (mine, theirs) in self.totals.iter_mut().zip(&other.totals) {
            mine.add(theirs, times);
        }
    }

    fn scale_friction(&mut self, times: f64) {
        for amounts in &mut self.totals {
            amounts.friction *= times;
        }
    }

    /// Totals per patch, not divided by area.
    #[must_use]
    pub fn totals(&self) -> &[Amounts] {
        &self.totals
    }

    /// Sum of one channel over the figure, in fixed order.
    #[must_use]
    pub fn total(&self, channel: Channel) -> f64 {
        base::sum::sum(self.totals.iter().map(|a| a.get(channel)))
    }

    /// One channel as a map over patches: energies and work per area [J/m2], the rest as it is.
    ///
    /// * `areas`: [m2] area of each patch, from [`mesh::figure::Figure::patch_areas`]
    #[must_use]
    pub fn map(&self, channel: Channel, areas: &[f64]) -> Vec<f64> {
        self.totals
            .iter()
            .zip(areas)
            .map(|(amounts, area)| {
                let value = amounts.get(channel);
                match channel.is_per_area() {
                    true if *area > 0.0 => value / area,
                    true => 0.0,
                    false => value,
                }
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Partition of unity: what was booked is what the map integrates to.
    #[test]
    fn a_map_integrates_to_what_was_booked() {
        let mut dose = Dose::none(3);
        let mark = |patch, friction| Mark {
            patch: PatchId(patch),
            amounts: Amounts {
                friction,
                ..Amounts::default()
            },
        };
        let imprint = Imprint {
            marks: vec![mark(0, 0.3), mark(2, 0.7)],
        };
        dose.add(&imprint, 2.0);
        let areas = [1e-7, 2e-7, 3e-7];
        let map = dose.map(Channel::Friction, &areas);
        let back: f64 = map.iter().zip(areas).map(|(d, a)| d * a).sum();
        assert!((back - 2.0).abs() < 1e-12);
        assert_eq!(map[1], 0.0);
    }
}
