//! Limits met while pads were pressed: gathered over poses, told once.

use crate::law::foam::CURVE_END;
use crate::pad::{Catch, Filling, Pad, Press, Slide};
use base::note::Topic;
use base::{Note, Vec3};
use mesh::figure::{Figure, PatchId};

/// [Pa] Pressure on a raised detail above which open-cell foam tears or hooks. Engineering prior
/// (grade D), range 100 to 800 kPa. Soft foam tears at some 100 kPa in pure tension.
pub(super) const TEARING: f64 = 300e3;
/// Faces steeper than this [rad] take sideways load that a pad pressed from above does not show.
const STEEP: f64 = 75.0 * std::f64::consts::PI / 180.0;
/// Tips named in a note at most.
const NAMED: usize = 3;

/// The slide of a cell as far as the foam holds: where the pressure (mean over 0.5 mm) is above
/// what it bears, it hooks or tears, and only the share it bears is booked as sliding.
pub(super) fn held(press: &Press, cell: usize, slide: Slide) -> Slide {
    Slide {
        slip: slide.slip * bears(press, cell),
        ..slide
    }
}

/// Share of a cell's force at which the foam still holds.
fn bears(press: &Press, cell: usize) -> f64 {
    let pressure = press.mean_pressure[cell];
    if pressure > TEARING {
        TEARING / pressure
    } else {
        1.0
    }
}

/// What was met, over any number of presses.
#[derive(Debug, Clone, Default)]
pub(super) struct Limits {
    strain: f64,
    steep: f64,
    /// [N] of all presses, and what of it lies beyond the foam's strength.
    force: f64,
    beyond: f64,
    catches: Vec<Catch>,
}

impl Limits {
    pub(super) fn see(&mut self, figure: &Figure, press: &Press) {
        self.strain = self.strain.max(press.settled.pressed.strain);
        self.steep = self.steep.max(press.steep_share(STEEP));
        self.force += press.force();
        let cells = press.settled.pressed.pressure.iter().enumerate();
        let lost = cells.map(|(cell, p)| p * (1.0 - bears(press, cell)));
        self.beyond += base::sum::sum(lost) * press.relief.grid.cell_area();
        self.catches.extend(press.catches(figure, TEARING));
        self.tidy();
    }

    pub(super) fn join(&mut self, other: Limits) {
        self.strain = self.strain.max(other.strain);
        self.steep = self.steep.max(other.steep);
        self.force += other.force;
        self.beyond += other.beyond;
        self.catches.extend(other.catches);
        self.tidy();
    }

    /// Patches that may catch instead of sliding, in order.
    pub(super) fn catching(&self) -> Vec<PatchId> {
        self.catches.iter().map(|c| c.patch).collect()
    }

    /// Share of the work that is not booked, since the foam would hook or tear there.
    pub(super) fn withheld(&self) -> f64 {
        self.beyond / self.force.max(f64::MIN_POSITIVE)
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
        let withheld = match self.withheld() {
            0.0 => String::new(),
            share => format!(
                "; where the foam would tear (above {:.0} kPa) the work is booked up to its \
                 strength, and {} % of all work is not booked at all",
                TEARING / 1e3,
                two_digits(share * 100.0)
            ),
        };
        Some(Note::new(
            Topic::Limit,
            format!(
                "{count} place(s) sink deeper than three of their radii or press hard enough to \
                 hook or tear the foam: {}. They may catch instead of sliding; their share of the \
                 dose is a rank, not a number{withheld}",
                words.join("; ")
            ),
        ))
    }
}

fn two_digits(value: f64) -> String {
    match value {
        v if v >= 9.5 => format!("{v:.0}"),
        v if v >= 0.1 => format!("{v:.1}"),
        v => format!("{v:.1e}"),
    }
}
