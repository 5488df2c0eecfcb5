//! What can be touched from outside.
//!
//! Two questions. Is the place just outside a sample inside some other part of the body
//! (winding number above one half)? Asked only where shells overlap. And does a patch see the sky:
//! of [`RAYS`] cosine-weighted rays from it, does one leave the figure through a grid of cells
//! marked by the surface itself? That finds sealed cavities, and the inner walls of hollowed
//! prints, which see less than two hundredths of it through their drain holes.
//! Gaps narrower than about two cells (0.6 mm) count as closed for rays along them, never for
//! what lies open beside them.

use super::mesh::Mesh;
use super::sample::Piece;
use super::winding::Winding;
use base::Vec3;
use base::geometry::tangents;
use rayon::prelude::*;

/// Rays of a patch: one that leaves is 1.6 % of the sky.
const RAYS: usize = 64;
/// How far off a sample the winding number is asked, in cells. Less, and the middle of a sample
/// that runs around a sharp edge lies inside the body by more than that; more, and walls just
/// under another part's skin count as free.
const LIFT: f64 = 0.5;
/// Full cells a ray may pass before its first empty one: it starts in a groove whose walls fill
/// the cells beside them.
const MOST_PASSED: usize = 4;
/// Most cells of the grid: one byte each.
const MOST_CELLS: f64 = 6.4e7;

/// Which samples lie free of other parts of the body.
pub(super) fn free_of_overlap(mesh: &Mesh, pieces: &[Piece], cell: f64) -> Vec<bool> {
    let winding = Winding::new(mesh);
    pieces
        .par_iter()
        .map(|p| winding.at(&(p.point + p.normal * (LIFT * cell))) <= 0.5)
        .collect()
}

/// Which patches see the sky.
///
/// * `patches`: middle sample and normal of each
/// * `cell`: [m] side of the cutting grid
pub(super) fn sees_sky(pieces: &[Piece], patches: &[(Vec3, Vec3)], cell: f64) -> Vec<bool> {
    let cells = Cells::new(pieces, 2.0 * cell);
    patches
        .par_iter()
        .map(|(point, normal)| {
            let (t1, t2) = tangents(normal);
            (0..RAYS).any(|i| {
                // Concentric spiral: even over the disc, so cosine-weighted over the half space
                // (Malley's method). The steepest ray comes first: it nearly always settles it.
                let r2 = (i as f64 + 0.3) / RAYS as f64;
                let (s, c) = libm::sincos(2.399_963 * i as f64);
                let way = normal * (1.0 - r2).sqrt() + (t1 * c + t2 * s) * r2.sqrt();
                cells.leaves(point + normal * (1.6 * cells.side), &way)
            })
        })
        .collect()
}

struct Cells {
    low: Vec3,
    side: f64,
    size: [i64; 3],
    full: Vec<bool>,
}

impl Cells {
    fn new(pieces: &[Piece], side: f64) -> Cells {
        let first = pieces.first().map_or_else(Vec3::zeros, |p| p.point);
        let (low, high) = pieces.iter().fold((first, first), |(lo, hi), p| {
            (lo.inf(&p.point), hi.sup(&p.point))
        });
        let extent = high - low;
        let mut side = side;
        let count = |side: f64| extent.iter().map(|e| e / side + 1.0).product::<f64>();
        while count(side) > MOST_CELLS {
            side *= 1.25;
        }
        let size = [0, 1, 2].map(|a| (extent[a] / side) as i64 + 1);
        let mut cells = Cells {
            low,
            side,
            size,
            full: vec![false; size.iter().product::<i64>() as usize],
        };
        for p in pieces {
            let at = cells.cell(&p.point);
            if let Some(i) = cells.index(at) {
                cells.full[i] = true;
            }
        }
        cells
    }

    fn cell(&self, p: &Vec3) -> [i64; 3] {
        [0, 1, 2].map(|a| ((p[a] - self.low[a]) / self.side).floor() as i64)
    }

    fn index(&self, c: [i64; 3]) -> Option<usize> {
        let inside = (0..3).all(|a| (0..self.size[a]).contains(&c[a]));
        inside.then(|| ((c[0] * self.size[1] + c[1]) * self.size[2] + c[2]) as usize)
    }

    /// Does a ray leave the box without meeting a full cell (Amanatides & Woo 1987,
    /// Eurographics, p. 3)?
    fn leaves(&self, from: Vec3, way: &Vec3) -> bool {
        let mut cell = self.cell(&from);
        let step = [0, 1, 2].map(|a| if way[a] < 0.0 { -1 } else { 1 });
        let delta = [0, 1, 2].map(|a| self.side / way[a].abs().max(1e-12));
        let mut next = [0, 1, 2].map(|a| {
            let wall = self.low[a] + self.side * (cell[a] + i64::from(step[a] > 0)) as f64;
            (wall - from[a])
                / if way[a].abs() < 1e-12 {
                    1e-12 * step[a] as f64
                } else {
                    way[a]
                }
        });
        let mut passed = Some(0);
        while let Some(i) = self.index(cell) {
            passed = match (self.full[i], passed) {
                (true, Some(n)) if n < MOST_PASSED => Some(n + 1),
                (true, _) => return false,
                (false, _) => None,
            };
            let a = if next[0] <= next[1] && next[0] <= next[2] {
                0
            } else if next[1] <= next[2] {
                1
            } else {
                2
            };
            cell[a] += step[a];
            next[a] += delta[a];
        }
        true
    }
}
