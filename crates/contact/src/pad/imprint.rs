//! A pad at rest on a figure, and what it leaves on the patches when it slides.

use super::relief::{Pose, Relief};
use super::settle::Settled;
use crate::dose::{Amounts, Imprint, Mark};
use base::Vec3;
use mesh::figure::{Figure, PatchId, Shape};
use std::sync::OnceLock;

/// [m] side of the window over which pressure is averaged before it is reported: about one foam
/// cell, below which the pressure of a continuum has no meaning. A grid's own peak under an edge
/// grows without end as the cells shrink.
pub const MEAN_OVER: f64 = 0.5e-3;
/// [m] smallest radius over which a cell's force is spread on the surface.
const LEAST_SPREAD: f64 = 0.2e-3;
/// A patch's peak counts cells of which it takes at least this share.
const PEAK_SHARE: f64 = 0.25;
/// A tip sunk deeper than this many of its radii is beyond the foam model.
pub const DEEPEST_IN_RADII: f64 = 3.0;

/// A pad pressed on a figure.
#[derive(Debug, Clone)]
pub struct Press {
    /// How the figure is turned under the pad.
    pub pose: Pose,
    /// What the pad sees of it.
    pub relief: Relief,
    /// Indentation, force and pressure.
    pub settled: Settled,
    /// [Pa] pressure averaged over [`MEAN_OVER`], per cell.
    pub mean_pressure: Vec<f64>,
    /// Where each touched cell's force goes; made when it is first asked for.
    footing: OnceLock<Vec<Foot>>,
}

/// A touched cell and the patches under it with their shares of its force, which sum to 1.
#[derive(Debug, Clone)]
struct Foot {
    cell: usize,
    shares: Vec<(PatchId, f64)>,
}

/// How the pad moves over the surface it presses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slide {
    /// Coulomb friction coefficient.
    pub friction: f64,
    /// [m] path of the pad over the figure.
    pub slip: f64,
}

/// A tip the foam model cannot answer for, or that would not slide.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Catch {
    /// Where.
    pub patch: PatchId,
    /// [m] how deep it is sunk.
    pub depth: f64,
    /// [m] its radius.
    pub radius: f64,
    /// [Pa] pressure on it, averaged over [`MEAN_OVER`].
    pub pressure: f64,
}

impl Press {
    /// Puts the parts together.
    #[must_use]
    pub fn new(pose: Pose, relief: Relief, settled: Settled) -> Press {
        let mean_pressure = relief.grid.smoothed(&settled.pressed.pressure, MEAN_OVER);
        Press {
            pose,
            relief,
            settled,
            mean_pressure,
            footing: OnceLock::new(),
        }
    }

    /// [N] normal force.
    #[must_use]
    pub fn force(&self) -> f64 {
        self.settled.pressed.force
    }

    /// What the slide leaves: friction work mu p slip on the projected area. It sums to
    /// mu N slip to rounding, because each cell's force is shared out with weights that sum to 1.
    ///
    /// On a tilted face the projected pressure is the true normal pressure (frictionless
    /// balance). That true area times true path is larger, by 1.3 at 30 degrees and 4 at 60, is
    /// left out: it would break the sum.
    #[must_use]
    pub fn imprint(&self, figure: &Figure, slide: &Slide) -> Imprint {
        self.imprint_by(figure, |_| *slide)
    }

    /// The same with a slide that differs from cell to cell.
    ///
    /// * `slide`: of the cell of that number
    pub fn imprint_by(&self, figure: &Figure, slide: impl Fn(usize) -> Slide) -> Imprint {
        let mut amounts = vec![Amounts::default(); figure.patches.len()];
        let area = self.relief.grid.cell_area();
        let total = self.force().max(f64::MIN_POSITIVE);
        for foot in self.footing(figure) {
            let Slide { friction, slip } = slide(foot.cell);
            let force = self.settled.pressed.pressure[foot.cell] * area;
            for (patch, share) in &foot.shares {
                let mark = &mut amounts[patch.index()];
                mark.friction += friction * force * slip * share;
                mark.slip += slip * share * force / total;
                mark.touches += share * force / total;
                if *share >= PEAK_SHARE {
                    mark.peak = mark.peak.max(self.mean_pressure[foot.cell]);
                }
            }
        }
        let marks = (amounts.into_iter().enumerate())
            .filter(|(_, a)| a.touches > 0.0)
            .map(|(patch, amounts)| Mark {
                patch: PatchId(patch as u32),
                amounts,
            });
        Imprint {
            marks: marks.collect(),
        }
    }

    /// [N] normal force on each patch.
    #[must_use]
    pub fn patch_forces(&self, figure: &Figure) -> Vec<f64> {
        let one = Slide {
            friction: 1.0,
            slip: 1.0,
        };
        let mut forces = vec![0.0; figure.patches.len()];
        for mark in self.imprint(figure, &one).marks {
            forces[mark.patch.index()] = mark.amounts.friction;
        }
        forces
    }

    /// Every touched cell, in order.
    ///
    /// * `figure`: the one that was pressed, always the same
    fn footing(&self, figure: &Figure) -> &[Foot] {
        self.footing.get_or_init(|| {
            let touched = (self.settled.pressed.pressure.iter().enumerate()).filter(|c| *c.1 > 0.0);
            let foot = |(cell, _)| Foot {
                cell,
                shares: self.shares(figure, cell),
            };
            touched.map(foot).collect()
        })
    }

    fn shares(&self, figure: &Figure, cell: usize) -> Vec<(PatchId, f64)> {
        let back = self.pose.turn.inverse();
        let [sx, sy] = self.relief.slope(cell);
        let normal = back * Vec3::new(sx, sy, 1.0).normalize();
        let radius = LEAST_SPREAD.max(1.2 * self.relief.grid.spacing);
        let point = back * self.relief.point(cell);
        figure.surface.spread(&point, &normal, radius)
    }

    /// [m] how deep the surface at a cell is sunk into the pad.
    #[must_use]
    pub fn sunk(&self, cell: usize) -> f64 {
        self.settled.indentation - self.relief.depth[cell]
    }

    /// Share of the force that rests on faces steeper than `angle` \[rad\] against the pad.
    #[must_use]
    pub fn steep_share(&self, angle: f64) -> f64 {
        let limit = angle.tan();
        let pressure = &self.settled.pressed.pressure;
        let sum = |steep: bool| {
            base::sum::sum((pressure.iter().enumerate()).filter_map(|(cell, p)| {
                let [x, y] = self.relief.slope(cell);
                (*p > 0.0 && (!steep || x.hypot(y) > limit)).then_some(*p)
            }))
        };
        sum(true) / sum(false).max(f64::MIN_POSITIVE)
    }

    /// Tips sunk deeper than [`DEEPEST_IN_RADII`] of their radii or pressed harder than
    /// `tearing` \[Pa\], deepest first, one for each patch.
    #[must_use]
    pub fn catches(&self, figure: &Figure, tearing: f64) -> Vec<Catch> {
        let mut found: Vec<Catch> = Vec::new();
        for foot in self.footing(figure) {
            let (depth, pressure) = (self.sunk(foot.cell), self.mean_pressure[foot.cell]);
            let Some(&(patch, _)) = foot.shares.iter().max_by(|a, b| a.1.total_cmp(&b.1)) else {
                continue;
            };
            let shape = &figure.patches[patch.index()];
            let tip = matches!(shape.shape, Shape::Tip);
            if (tip && depth > DEEPEST_IN_RADII * shape.radius) || pressure > tearing {
                found.push(Catch {
                    patch,
                    depth,
                    radius: shape.radius,
                    pressure,
                });
            }
        }
        found.sort_by(|a, b| a.patch.cmp(&b.patch).then(b.depth.total_cmp(&a.depth)));
        found.dedup_by_key(|c| c.patch);
        found.sort_by(|a, b| b.depth.total_cmp(&a.depth).then(a.patch.cmp(&b.patch)));
        found
    }
}
