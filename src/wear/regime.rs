//! Which kind of contact a patch saw, told from the peak pressure.

use contact::law::wear::ploughed_volume;
use serde::{Deserialize, Serialize};

/// Pressure up to which a contact counts as a pad's [Pa]: pads press at 10 to 300 kPa, hard
/// contacts at 50 to 500 MPa; nothing the program knows lies between, so the limit is not delicate.
pub const PAD_LIMIT: f64 = 1e6;

/// Kind of contact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Regime {
    /// Nothing touched it.
    Untouched,
    /// Soft pad: polishing; depth in microns.
    Polish,
    /// Hard contact below film hardness: scuffing; nominal depth, as if spread over the patch.
    Scuff,
    /// Hard contact at or above film hardness: the film is ploughed, dented or chipped; a class and
    /// the ploughed share, never microns.
    Dent,
}

impl Regime {
    /// From the peak pressure on the patch and the hardness of the outer film.
    ///
    /// * `peak`, `hardness`: [Pa]
    #[must_use]
    pub fn of(peak: f64, hardness: f64) -> Regime {
        match peak {
            p if p <= 0.0 => Regime::Untouched,
            p if p < PAD_LIMIT => Regime::Polish,
            p if p < hardness => Regime::Scuff,
            _ => Regime::Dent,
        }
    }

    /// For people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Regime::Untouched => "untouched",
            Regime::Polish => "pad polishing",
            Regime::Scuff => "hard scuffing, nominal depth",
            Regime::Dent => "dents and chips, share of film ploughed",
        }
    }

    /// True where a depth in microns may be printed.
    #[must_use]
    pub fn has_depth(self) -> bool {
        matches!(self, Regime::Polish | Regime::Scuff)
    }

    /// [m3/J] the rate that film volume is lost at: the pair's own below hardness; above it, the
    /// volume ploughed per joule (1/hardness) times the share of it that leaves the film.
    ///
    /// Tumble wear is told with this: friction work in hard contacts above film hardness ploughs
    /// grooves of sub-millimetre width. The sum of lost volume over the film's volume on the patch
    /// is the *scuffed share*; a patch counts as through when it reaches one. It is an expectation
    /// over many hits in random places, not a depth at any one place.
    #[must_use]
    pub fn rate(self, pair: f64, ploughed_share: f64, hardness: f64) -> f64 {
        match self {
            Regime::Dent => pair.max(ploughed_share * ploughed_volume(1.0, hardness)),
            _ => pair,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pads_polish_boxes_dent() {
        assert_eq!(Regime::of(150e3, 25e6), Regime::Polish);
        assert_eq!(Regime::of(10e6, 25e6), Regime::Scuff);
        assert_eq!(Regime::of(120e6, 25e6), Regime::Dent);
        assert_eq!(Regime::of(0.0, 25e6), Regime::Untouched);
        assert!(!Regime::Dent.has_depth());
    }

    /// The same slide as hard contact and as pad costs the same microns: the rate depends on the
    /// pair, not on how the contact was computed.
    #[test]
    fn a_slide_costs_the_same_hard_or_soft() {
        let (k, share, hardness) = (4e-12, 0.02, 25e6);
        let pad = Regime::of(0.9e6, hardness).rate(k, share, hardness);
        let hard = Regime::of(1.1e6, hardness).rate(k, share, hardness);
        assert_eq!(pad, hard);
    }

    /// Polymer on abrasive paper, 0.05 (0.01-0.3) mm3/(N m) at friction about 0.5 (Lancaster 1969,
    /// from memory): the ploughed share of a glassy film of 250 MPa that leaves is 0.025
    /// (0.005-0.15), inside the prior 0.002-0.2.
    #[test]
    fn the_ploughed_share_agrees_with_abrasive_paper() {
        let per_joule = 0.05e-9 / 0.5;
        let share = per_joule / ploughed_volume(1.0, 250e6);
        assert!((share - 0.025).abs() < 1e-3);
        let stock = crate::reference::Stock::load().unwrap();
        let prior = stock.modifier("ploughed share").unwrap();
        assert!(prior.low < share && share < prior.high);
    }
}
