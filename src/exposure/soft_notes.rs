//! Limits met while pads were pressed: gathered over poses, told once.

use crate::base::note::Topic;
use crate::base::{Note, Vec3};
use crate::contact::pad::{Catch, Filling, Pad, Press};
use crate::figure::Figure;
use crate::law::foam::CURVE_END;

/// [Pa] Pressure on a raised detail above which open-cell foam tears or hooks. Engineering prior
/// (grade D), range 100 to 800 kPa.
const TEARING: f64 = 300e3;
/// Faces steeper than this [rad] take sideways load that a pad pressed from above does not show.
const STEEP: f64 = 75.0 * std::f64::consts::PI / 180.0;
/// Tips named in a note at most.
const NAMED: usize = 3;

/// What was met, over any number of presses.
#[derive(Debug, Clone, Default)]
pub(super) struct Limits {
    strain: f64,
    steep: f64,
    catches: Vec<Catch>,
}

impl Limits {
    pub(super) fn see(&mut self, figure: &Figure, press: &Press) {
        self.strain = self.strain.max(press.settled.pressed.strain);
        self.steep = self.steep.max(press.steep_share(STEEP));
        self.catches.extend(press.catches(figure, TEARING));
        self.tidy();
    }

    pub(super) fn join(&mut self, other: Limits) {
        self.strain = self.strain.max(other.strain);
        self.steep = self.steep.max(other.steep);
        self.catches.extend(other.catches);
        self.tidy();
    }

    /// One entry for a patch, its deepest.
    fn tidy(&mut self) {
        self.catches
            .sort_by(|a, b| a.patch.cmp(&b.patch).then(b.depth.total_cmp(&a.depth)));
        self.catches.dedup_by_key(|c| c.patch);
    }

    pub(super) fn notes(&self, figure: &Figure, pad: &Pad) -> Vec<Note> {
        let mut notes = Vec::new();
        if matches!(pad.filling, Filling::Foam(_)) && self.strain > CURVE_END {
            notes.push(Note::new(
                Topic::Limit,
                format!(
                    "the foam is compressed to {:.0} % at the hardest spot, beyond the {:.0} % its \
                     curve is known to: forces there are an extrapolation",
                    self.strain * 100.0,
                    CURVE_END * 100.0
                ),
            ));
        }
        if self.steep > 0.05 {
            notes.push(Note::new(
                Topic::Limit,
                format!(
                    "up to {:.0} % of the load rests on faces steeper than 75 degrees, whose \
                     sides get less dose here than in use",
                    self.steep * 100.0
                ),
            ));
        }
        if matches!(pad.filling, Filling::Foam(_)) {
            notes.extend(self.tips(figure));
        }
        notes
    }

    fn tips(&self, figure: &Figure) -> Option<Note> {
        let mut tips = self.catches.clone();
        tips.sort_by(|a, b| {
            b.pressure
                .total_cmp(&a.pressure)
                .then(a.patch.cmp(&b.patch))
        });
        let apart =
            |kept: &[(Vec3, Catch)], at: &Vec3| kept.iter().all(|(p, _)| (p - at).norm() > 2e-3);
        let mut named: Vec<(Vec3, Catch)> = Vec::new();
        for tip in tips {
            let at = figure.patches[tip.patch.index()].centroid;
            if apart(&named, &at) {
                named.push((at, tip));
            }
        }
        if named.is_empty() {
            return None;
        }
        let count = named.len();
        let words: Vec<String> = (named.iter().take(NAMED))
            .map(|(at, tip)| {
                let shape = figure.patches[tip.patch.index()].shape;
                format!(
                    "{} ({:.1} mm deep, {:.0} kPa)",
                    figure.place_words(at, shape),
                    tip.depth * 1e3,
                    tip.pressure / 1e3
                )
            })
            .collect();
        Some(Note::new(
            Topic::Limit,
            format!(
                "{count} place(s) sink deeper than three of their radii or press hard enough to \
                 hook or tear the foam: {}. They may catch instead of sliding; their share of the \
                 dose is a rank, not a number",
                words.join("; ")
            ),
        ))
    }
}
