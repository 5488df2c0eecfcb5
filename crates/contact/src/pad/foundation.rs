//! What lies under the surface of a pad: the exact kernel of the bonded layer and, for foam, the
//! depth levels over which collapse adds up.
//!
//! ```text
//! w = F^-1[ K(q) p^ ] + sum_j h_j S_j * x( S_j * p ),   x(s) = strain(s) - s/E0 for s > 0
//! ```
//! Small strain: the exact bonded nu = 0 layer. Wide contact: exactly sigma(w/H). The right side
//! is the gradient of a convex energy, so the pressure is unique and no loss hides in it.
//!
//! Guaranteed: those two limits and convexity. Not guaranteed: peak pressure under tips sunk
//! deeper than three of their radii (about half of a finite-strain calculation), foams with
//! nu > 0 in collapse.

use super::plane::{Plane, Real, Wave};
use super::profile::Profile;
use crate::law::foam::Foam;
use crate::law::layer;

/// Waves with q z above this are dead at depth z (a thousandth of the surface's stress arrives):
/// the level's grid may be coarser.
const DEAD: f64 = 9.0;

/// What a pad is filled with.
#[derive(Debug, Clone)]
pub enum Filling {
    /// Flexible foam, nu = 0.
    Foam(Foam),
    /// Linear elastic layer.
    Elastic {
        /// [Pa] Young's modulus.
        youngs: f64,
        /// Poisson's ratio, 0 to 0.5.
        poisson: f64,
    },
}

/// A pad on a rigid base.
#[derive(Debug, Clone)]
pub struct Pad {
    /// What it is made of.
    pub filling: Filling,
    /// [m]
    pub thickness: f64,
}

/// A depth interval in which the foam's collapse is the same.
#[derive(Debug, Clone)]
pub(super) struct Level {
    pub plane: Plane,
    pub times: usize,
    pub height: f64,
    /// Share of the surface stress that arrives, per wave.
    pub share: Vec<Real>,
    /// Mean over all waves of the whole grid of the squared share.
    pub mean_square: f64,
}

/// A pad prepared for one grid: everything that does not depend on the figure.
#[derive(Debug, Clone)]
pub struct Foundation {
    pub(super) pad: Pad,
    pub(super) plane: Plane,
    pub(super) columns: usize,
    pub(super) rows: usize,
    pub(super) spacing: f64,
    /// [m/Pa] per wave.
    pub(super) kernel: Vec<Real>,
    /// [m/Pa] mean over all waves: the diagonal of the matrix.
    pub(super) mean_kernel: f64,
    /// Mean kernel over kernel, over the number of cells: the kernel turned round.
    pub(super) inverse: Vec<Real>,
    pub(super) levels: Vec<Level>,
}

impl Foundation {
    /// Prepares `pad` for a grid of `columns` x `rows` cells of side `spacing` \[m\].
    #[must_use]
    pub fn new(pad: &Pad, columns: usize, rows: usize, spacing: f64) -> Foundation {
        Foundation::with(&Profile::new(pad), pad, columns, rows, spacing)
    }

    /// The same with what is known of the pad's depth.
    pub(super) fn with(
        profile: &Profile,
        pad: &Pad,
        columns: usize,
        rows: usize,
        spacing: f64,
    ) -> Foundation {
        let plane = Plane::new(columns, rows);
        let (youngs, poisson) = match &pad.filling {
            Filling::Foam(foam) => (foam.start_modulus(), 0.0),
            Filling::Elastic { youngs, poisson } => (*youngs, *poisson),
        };
        let kernel: Vec<f64> = plane
            .wave_numbers(spacing)
            .map(|(x, y)| layer::compliance(x.hypot(y), pad.thickness, youngs, poisson))
            .collect();
        let mean_kernel = mean_over_waves(&plane, &kernel, plane.cells());
        // The mean wave of an incompressible layer has no compliance at all.
        let turned =
            |k: &f64| (mean_kernel / (k.max(1e-6 * mean_kernel) * plane.cells() as f64)) as Real;
        let mut foundation = Foundation {
            pad: pad.clone(),
            mean_kernel,
            inverse: kernel.iter().map(turned).collect(),
            plane,
            columns,
            rows,
            spacing,
            kernel: kernel.iter().map(|k| *k as Real).collect(),
            levels: Vec::new(),
        };
        foundation.levels = (0..profile.levels())
            .map(|j| foundation.level(profile, j))
            .collect();
        foundation
    }

    fn level(&self, profile: &Profile, number: usize) -> Level {
        let (top, bottom) = profile.reach(number);
        let times = self.coarsest(top);
        let plane = match times {
            1 => self.plane.clone(),
            _ => Plane::new(self.columns / times, self.rows / times),
        };
        let (half_x, half_y) = (self.columns / times, self.rows / times);
        let rows = half_y;
        let share: Vec<f64> = (plane.wave_numbers(self.spacing * times as f64))
            .enumerate()
            .map(|(at, (x, y))| {
                let (kx, ky) = (at / rows, at % rows);
                // The highest wave of an even grid has no partner: it would break the symmetry
                // of going down to a coarse level and coming back.
                if times > 1 && (2 * kx == half_x || 2 * ky == half_y) {
                    return 0.0;
                }
                profile.share(number, x.hypot(y))
            })
            .collect();
        let squares: Vec<f64> = share.iter().map(|s| s * s).collect();
        Level {
            mean_square: mean_over_waves(&plane, &squares, self.plane.cells()),
            plane,
            times,
            height: bottom - top,
            share: share.iter().map(|s| *s as Real).collect(),
        }
    }

    /// The coarsest grid that still holds every wave that is alive at depth `top`.
    fn coarsest(&self, top: f64) -> usize {
        let mut times = 1;
        let fits = |t: usize| {
            self.columns.is_multiple_of(t)
                && self.rows.is_multiple_of(t)
                && self.columns.min(self.rows) / t >= 16
                && std::f64::consts::PI / (self.spacing * t as f64)
                    * top
                    * super::profile::COLLAPSE_SPREAD
                    > DEAD
        };
        while fits(times * 2) {
            times *= 2;
        }
        times
    }

    /// The pad.
    #[must_use]
    pub fn pad(&self) -> &Pad {
        &self.pad
    }

    /// [m2] area of a cell.
    #[must_use]
    pub fn cell_area(&self) -> f64 {
        self.spacing * self.spacing
    }
}

fn mean_over_waves(plane: &Plane, values: &[f64], cells: usize) -> f64 {
    let rows = plane.len() / plane.waves();
    let terms = values
        .iter()
        .enumerate()
        .map(|(at, v)| plane.times(at / rows) * v);
    base::sum::sum(terms) / cells as f64
}

/// Takes the waves a level knows out of a spectrum, each times its share and `scale`.
pub(super) fn descend(whole: &Plane, from: &[Wave], level: &Level, scale: Real, to: &mut [Wave]) {
    if level.times == 1 {
        for ((t, f), s) in to.iter_mut().zip(from).zip(&level.share) {
            *t = f * (s * scale);
        }
        return;
    }
    let (rows, all) = (
        level.plane.len() / level.plane.waves(),
        whole.len() / whole.waves(),
    );
    for kx in 0..level.plane.waves() {
        for ky in 0..rows {
            let at = kx * rows + ky;
            to[at] = from[kx * all + far(ky, rows, all)] * (level.share[at] * scale);
        }
    }
}

/// Adds a level's waves to a spectrum, each times its share and `scale`: the transpose of
/// [`descend`].
pub(super) fn ascend(whole: &Plane, from: &[Wave], level: &Level, scale: Real, to: &mut [Wave]) {
    if level.times == 1 {
        for ((t, f), s) in to.iter_mut().zip(from).zip(&level.share) {
            *t += f * (s * scale);
        }
        return;
    }
    let (rows, all) = (
        level.plane.len() / level.plane.waves(),
        whole.len() / whole.waves(),
    );
    for kx in 0..level.plane.waves() {
        for ky in 0..rows {
            let at = kx * rows + ky;
            to[kx * all + far(ky, rows, all)] += from[at] * (level.share[at] * scale);
        }
    }
}

/// Place of a small grid's second wave number in a larger one.
fn far(ky: usize, rows: usize, all: usize) -> usize {
    if 2 * ky < rows { ky } else { all - (rows - ky) }
}
