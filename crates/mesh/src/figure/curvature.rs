//! Curvature of the surface at each sample, from how the normal turns between neighbours.
//!
//! The shape operator S is the symmetric 2 x 2 matrix that best explains the change of the normal
//! over the offsets to the neighbours, dn = S d, in area-weighted least squares (Rusinkiewicz
//! 2004, 3DPVT, p. 486, from points instead of triangles). Radii much below the cutting grid
//! cannot be seen: a sharp edge of 90 degrees reads as about two cells.

use super::cluster::Links;
use super::grid::Grid;
use super::sample::Piece;
use base::geometry::tangents;
use base::{Mat3, Vec3};
use rayon::prelude::*;

/// Principal curvatures at a sample.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Bend {
    /// [1/m] the more convex one.
    pub sharp: f64,
    /// [1/m] the other one.
    pub blunt: f64,
}

/// Curvatures of all samples.
///
/// * `cell`: [m] side of the cutting grid
pub(super) fn bends(pieces: &[Piece], links: &Links, cell: f64) -> Vec<Bend> {
    let grid = Grid::new(pieces.iter().map(|p| p.point), 1.8 * cell);
    (0..pieces.len())
        .into_par_iter()
        .map(|i| {
            let (bend, lopsided) = fit(pieces, links.of(i), i, cell);
            match blade(pieces, &grid, i, lopsided, cell) {
                Some(sharp) if sharp > bend.sharp => Bend {
                    sharp,
                    blunt: bend.blunt.max(0.0),
                },
                _ => bend,
            }
        })
        .collect()
}

/// Curvatures, and how far the neighbours lie to one side: mean offset [m] along the surface.
fn fit(pieces: &[Piece], neighbours: &[u32], i: usize, cell: f64) -> (Bend, Vec3) {
    let me = &pieces[i];
    let soft = 0.1 * cell * cell;
    let (t1, t2) = tangents(&me.normal);
    let (mut left, mut right) = (Mat3::zeros(), Vec3::zeros());
    let (mut lopsided, mut area) = (Vec3::zeros(), 0.0);
    for &j in neighbours {
        let other = &pieces[j as usize];
        let (d, n) = (other.point - me.point, other.normal - me.normal);
        let (x, y) = (d.dot(&t1), d.dot(&t2));
        let (u, v) = (n.dot(&t1), n.dot(&t2));
        // Nearer neighbours count more: a step in the normal then reads as sharp as it can.
        let w = other.area / (d.norm_squared() + soft);
        // Unknowns a, b, c of S = [a b; b c]: u = a x + b y, v = b x + c y.
        left += Mat3::new(
            x * x,
            x * y,
            0.0,
            x * y,
            x * x + y * y,
            x * y,
            0.0,
            x * y,
            y * y,
        ) * w;
        right += Vec3::new(u * x, u * y + v * x, v * y) * w;
        lopsided += (t1 * x + t2 * y) * other.area;
        area += other.area;
    }
    if area <= 0.0 {
        return (Bend::default(), Vec3::zeros());
    }
    // A touch of damping keeps a row of neighbours in line solvable.
    let damping = 1e-3 * left.trace();
    left += Mat3::identity() * damping;
    let s = left
        .try_inverse()
        .map_or_else(Vec3::zeros, |inverse| inverse * right);
    let (mean, half) = ((s.x + s.z) / 2.0, ((s.x - s.z) / 2.0).hypot(s.y));
    let bend = Bend {
        sharp: mean + half,
        blunt: mean - half,
    };
    (bend, lopsided / area)
}

/// The rim of a blade so thin that its two sides are no neighbours: half its thickness is the
/// radius. A rim is a sample whose neighbours all lie to one side and that has another sheet
/// close behind it.
fn blade(pieces: &[Piece], grid: &Grid, i: usize, lopsided: Vec3, cell: f64) -> Option<f64> {
    if lopsided.norm() < 0.4 * cell {
        return None;
    }
    let me = &pieces[i];
    let reach = 1.8 * cell;
    let mut nearest = f64::INFINITY;
    grid.near(&me.point, reach, |j| {
        let d = pieces[j].point - me.point;
        if pieces[j].normal.dot(&me.normal) < -0.2 && d.dot(&me.normal) < 0.0 {
            nearest = nearest.min(d.norm());
        }
    });
    (nearest <= reach).then(|| 2.0 / nearest.max(0.2 * cell))
}
