//! Convex pieces, for figures that touch each other.
//!
//! Approximate convex decomposition by parry (V-HACD; Mamou & Ghorbel 2009, ICIP, p. 3501) with
//! the hulls of the figure's own triangles in each part: hulls of voxels would thicken
//! everything by about a voxel. Each hull keeps at most [`MOST_CORNERS`] corners. A place found on
//! a piece may be off the figure by up to [`Fit::buried_most`]: areas between two figures
//! are located to about a millimetre; contacts with walls use the exact hull and are not.

use super::{Figure, Hull, hull::hull_within};
use base::{Error, Result, Vec3};
use parry3d_f64::math::Vector;
use parry3d_f64::transformation::vhacd::{VHACD, VHACDParameters};
use serde::{Deserialize, Serialize};

/// Corners of one piece.
pub const MOST_CORNERS: usize = 64;
/// [m] how far corners of a piece may be left out while it can still be halved.
const FINE: f64 = 1e-5;
const HALVINGS: usize = 3;
/// Voxels along the largest extent.
const RESOLUTION: u32 = 128;
const CONCAVITY: f64 = 0.001;
/// Pieces of one figure.
const MOST_PIECES: u32 = 64;

/// A figure as a union of convex pieces.
#[derive(Debug, Clone)]
pub struct Pieces {
    /// Convex hulls, in the figure's frame.
    pub hulls: Vec<Hull>,
    /// How well they fit.
    pub fit: Fit,
}

/// How well pieces fit their figure.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Fit {
    /// Sum of the volumes of the pieces over the volume of the figure.
    pub volume_ratio: f64,
    /// [m] how far the outline of the union, seen from any direction, is off the figure's hull.
    pub support_error: f64,
    /// [m] how deep the figure's surface lies within the pieces: 99 % of its area less than this.
    pub buried_99: f64,
    /// [m] the deepest.
    pub buried_most: f64,
}

impl Figure {
    /// Splits the figure into convex pieces; takes seconds, so keep them by [`Figure::hash`].
    ///
    /// # Errors
    /// The decomposition left no piece with a volume.
    pub fn pieces(&self) -> Result<Pieces> {
        let points: Vec<Vector> = self
            .mesh
            .vertices
            .iter()
            .map(|p| Vector::new(p.x, p.y, p.z))
            .collect();
        let parameters = VHACDParameters {
            resolution: RESOLUTION,
            concavity: CONCAVITY,
            max_convex_hulls: MOST_PIECES,
            ..VHACDParameters::default()
        };
        let parts = VHACD::decompose(&parameters, &points, &self.mesh.triangles, true);
        let hulls: Vec<Hull> = parts
            .compute_exact_convex_hulls(&points, &self.mesh.triangles)
            .into_iter()
            .flat_map(|(corners, _)| {
                let corners: Vec<Vec3> = corners.iter().map(|p| Vec3::new(p.x, p.y, p.z)).collect();
                thin(&corners, 0)
            })
            .collect();
        if hulls.is_empty() {
            return Err(
                Error::refused("the figure could not be split into convex pieces")
                    .hint("figures can still be shaken one by one: figures = 1"),
            );
        }
        let fit = self.fit(&hulls);
        Ok(Pieces { hulls, fit })
    }

    fn fit(&self, hulls: &[Hull]) -> Fit {
        let volume: f64 = hulls.iter().map(Hull::volume).sum();
        let whole = Hull {
            points: self.hull.clone(),
            faces: self.hull_faces.clone(),
        };
        let support_error = (0..2000)
            .map(|i| {
                let z = 1.0 - (2.0 * f64::from(i) + 1.0) / 2000.0;
                let (s, c) = libm::sincos(2.399_963 * f64::from(i));
                let d = Vec3::new(c * (1.0 - z * z).sqrt(), s * (1.0 - z * z).sqrt(), z);
                let of = |h: &Hull| h.support(&d).map_or(f64::NEG_INFINITY, |p| p.dot(&d));
                let union = hulls.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
                (union - of(&whole)).abs()
            })
            .fold(0.0, f64::max);
        let planes: Vec<Vec<(Vec3, f64)>> = hulls.iter().map(Hull::planes).collect();
        let step = (self.surface.samples.len() / 20_000).max(1);
        let mut depths: Vec<f64> = self
            .surface
            .samples
            .iter()
            .step_by(step)
            .map(|s| depth(&planes, &s.point))
            .collect();
        depths.sort_by(f64::total_cmp);
        Fit {
            volume_ratio: volume / self.solid.volume,
            support_error,
            buried_99: base::stats::quantile(&depths, 0.99),
            buried_most: depths.last().copied().unwrap_or(0.0),
        }
    }
}

/// [m] how deep a point lies in the piece that buries it most.
fn depth(pieces: &[Vec<(Vec3, f64)>], point: &Vec3) -> f64 {
    pieces
        .iter()
        .map(|planes| {
            planes
                .iter()
                .map(|(n, o)| o - n.dot(point))
                .fold(f64::INFINITY, f64::min)
        })
        .fold(0.0, f64::max)
}

/// One part as one hull or a few, each with few enough corners: a part with too many to be
/// drawn to within [`FINE`] is halved across its length, thrice at most, then drawn coarser.
fn thin(corners: &[Vec3], depth: usize) -> Vec<Hull> {
    let mut slack = FINE;
    let Ok(mut hull) = hull_within(corners, slack) else {
        return Vec::new();
    };
    if hull.points.len() > MOST_CORNERS && depth < HALVINGS {
        return halves(&hull)
            .iter()
            .flat_map(|half| thin(half, depth + 1))
            .collect();
    }
    while hull.points.len() > MOST_CORNERS && slack < 1e-3 {
        slack *= 1.4;
        match hull_within(corners, slack) {
            Ok(coarser) => hull = coarser,
            Err(_) => break,
        }
    }
    vec![hull]
}

/// Corners of the two halves of a hull, cut through its middle across its longest axis.
fn halves(hull: &Hull) -> [Vec<Vec3>; 2] {
    let first = hull.points.first().copied().unwrap_or_default();
    let (lo, hi) = hull
        .points
        .iter()
        .fold((first, first), |(lo, hi), p| (lo.inf(p), hi.sup(p)));
    let axis = (hi - lo).imax();
    let middle = (lo[axis] + hi[axis]) / 2.0;
    let mut sides = [Vec::new(), Vec::new()];
    for p in &hull.points {
        sides[usize::from(p[axis] > middle)].push(*p);
    }
    for f in &hull.faces {
        for k in 0..3 {
            let [a, b] = [f[k], f[(k + 1) % 3]].map(|v| hull.points[v as usize]);
            // Each edge has two faces; one direction is enough.
            if a[axis] <= middle && b[axis] > middle {
                let cut = a + (b - a) * ((middle - a[axis]) / (b[axis] - a[axis]));
                sides[0].push(cut);
                sides[1].push(cut);
            }
        }
    }
    sides
}
