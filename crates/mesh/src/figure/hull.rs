//! The exact convex hull: all a lone figure can touch a flat wall with.
//!
//! Every corner of the figure is inside the result to within [`SLACK`], which is checked and not
//! believed. A quickhull with slack does it in one pass; where rounding defeats that, parry's does
//! it on the few points that matter: those outside the hull so far, farthest first, until none
//! is left. (parry alone keeps every point of a flat base and slows with the square of them.)

use base::{Error, Result, Vec3};
use parry3d_f64::math::Vector;
use parry3d_f64::transformation::try_convex_hull;

/// [m] points no further outside than this are left out: a fifth of a thin coat. Bracketed: at 1 um
/// a round base keeps 250 corners a rim and tumbling takes twice as long; at 50 um a rim of 25 mm
/// has 35 corners 1.1 mm apart, coarser than two patches.
pub const SLACK: f64 = 5e-6;

/// A convex hull.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Hull {
    /// [m] corners.
    pub points: Vec<Vec3>,
    /// Corner numbers of each triangle, counter-clockwise from outside.
    pub faces: Vec<[u32; 3]>,
}

impl Hull {
    /// The corner farthest along a direction.
    #[must_use]
    pub fn support(&self, direction: &Vec3) -> Option<Vec3> {
        let along = |p: &&Vec3| p.dot(direction);
        self.points
            .iter()
            .max_by(|a, b| along(a).total_cmp(&along(b)))
            .copied()
    }

    /// [m3]
    #[must_use]
    pub fn volume(&self) -> f64 {
        let origin = self.points.first().copied().unwrap_or_default();
        let six = |f: &[u32; 3]| {
            let [a, b, c] = f.map(|v| self.points[v as usize] - origin);
            a.dot(&b.cross(&c))
        };
        base::sum::sum(self.faces.iter().map(six)) / 6.0
    }

    /// Outward normal and offset of each face with an area.
    pub(super) fn planes(&self) -> Vec<(Vec3, f64)> {
        self.faces
            .iter()
            .filter_map(|f| {
                let [a, b, c] = f.map(|v| self.points[v as usize]);
                let normal = (b - a).cross(&(c - a)).try_normalize(0.0)?;
                Some((normal, normal.dot(&a)))
            })
            .collect()
    }
}

/// Wraps points.
///
/// # Errors
/// All points lie in one plane or closer together than a few micrometres.
pub fn hull(points: &[Vec3]) -> Result<Hull> {
    hull_within(points, SLACK)
}

/// As [`hull`], with points no further outside than `slack` [m] left out.
///
/// # Errors
/// As [`hull`].
pub(super) fn hull_within(points: &[Vec3], slack: f64) -> Result<Hull> {
    if points.len() < 4 {
        return Err(flat("it has fewer than four corners"));
    }
    match super::quickhull::quickhull(points, slack) {
        Some(hull) if !is_flat(&hull) && contains(&hull, points, slack) => Ok(hull),
        _ => by_rounds(points, slack),
    }
}

/// Checks the hull's own corners and a share of the points against all its planes.
fn contains(hull: &Hull, points: &[Vec3], slack: f64) -> bool {
    let step = (points.len() / 500).max(1);
    let some: Vec<&Vec3> = hull
        .points
        .iter()
        .step_by((hull.points.len() / 500).max(1))
        .chain(points.iter().step_by(step))
        .collect();
    let inside = |(n, o): &(Vec3, f64)| some.iter().all(|p| n.dot(p) - o <= 1.5 * slack);
    hull.planes().iter().all(inside)
}

fn by_rounds(points: &[Vec3], slack: f64) -> Result<Hull> {
    let mut chosen = extremes(points);
    let mut open: Vec<u32> = (0..points.len() as u32).collect();
    for _ in 0..200 {
        let hull = wrap(points, &chosen)?;
        let mut farthest = farthest_outside(points, &mut open, &hull.planes(), slack);
        farthest.retain(|f| !chosen.contains(f));
        if farthest.is_empty() {
            if is_flat(&hull) {
                return Err(flat("its points lie in one plane"));
            }
            return Ok(hull);
        }
        chosen.extend(farthest);
        chosen.sort_unstable();
    }
    Err(
        Error::refused("the convex hull of the figure did not settle")
            .hint("send the file with a report: this should not happen"),
    )
}

/// Farthest points along a fixed set of directions.
fn extremes(points: &[Vec3]) -> Vec<u32> {
    let directions: Vec<Vec3> = (0..64)
        .map(|i| {
            // Golden-angle spiral: even, and along no axis.
            let z = 1.0 - (2.0 * f64::from(i) + 1.0) / 64.0;
            let (s, c) = libm::sincos(2.399_963 * f64::from(i) + 0.37);
            let r = (1.0 - z * z).sqrt();
            Vec3::new(r * c, r * s, z)
        })
        .collect();
    let mut best = vec![(f64::NEG_INFINITY, 0); directions.len()];
    for (number, p) in points.iter().enumerate() {
        for (direction, best) in directions.iter().zip(&mut best) {
            let along = p.dot(direction);
            if along > best.0 {
                *best = (along, number as u32);
            }
        }
    }
    let mut chosen: Vec<u32> = best.into_iter().map(|b| b.1).collect();
    chosen.sort_unstable();
    chosen.dedup();
    chosen
}

fn wrap(points: &[Vec3], chosen: &[u32]) -> Result<Hull> {
    let given: Vec<Vector> = chosen
        .iter()
        .map(|i| points[*i as usize])
        .map(|p| Vector::new(p.x, p.y, p.z))
        .collect();
    let (corners, faces) = try_convex_hull(&given).map_err(|cause| flat(&cause.to_string()))?;
    let hull = Hull {
        points: corners.iter().map(|p| Vec3::new(p.x, p.y, p.z)).collect(),
        faces,
    };
    Ok(hull)
}

fn flat(why: &str) -> Error {
    Error::input(format!("no convex hull can be put around the mesh: {why}"))
        .hint("a flat or thread-thin mesh is no figure: check the export")
}

/// parry wraps flat points into a coin of no thickness.
fn is_flat(hull: &Hull) -> bool {
    hull.planes().iter().all(|(normal, offset)| {
        hull.points
            .iter()
            .all(|p| (normal.dot(p) - offset).abs() <= 2.0 * SLACK)
    })
}

/// For each plane the point farthest outside; points inside all planes leave `open` for good.
fn farthest_outside(
    points: &[Vec3],
    open: &mut Vec<u32>,
    planes: &[(Vec3, f64)],
    slack: f64,
) -> Vec<u32> {
    let mut best = vec![(slack, u32::MAX); planes.len()];
    open.retain(|i| {
        let p = points[*i as usize];
        let mut outside = (slack, None);
        for (number, (normal, offset)) in planes.iter().enumerate() {
            let distance = normal.dot(&p) - offset;
            if distance > outside.0 {
                outside = (distance, Some(number));
            }
        }
        if let (distance, Some(plane)) = outside
            && distance > best[plane].0
        {
            best[plane] = (distance, *i);
        }
        outside.1.is_some()
    });
    best.into_iter()
        .map(|b| b.1)
        .filter(|i| *i != u32::MAX)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::shapes;
    use crate::figure::weld::weld;

    #[test]
    fn a_box_of_many_triangles_has_eight_corners() {
        let cube = shapes::block(Vec3::zeros(), Vec3::new(0.02, 0.03, 0.04));
        let fine = shapes::split_in_four(&shapes::split_in_four(&shapes::split_in_four(&cube)));
        let hull = hull(&weld(&fine).unwrap().0.vertices).unwrap();
        assert_eq!(hull.points.len(), 8);
        assert_eq!(hull.faces.len(), 12);
    }

    #[test]
    fn no_point_of_a_fine_sphere_is_left_outside() {
        let ball = weld(&shapes::icosphere(5, 0.02)).unwrap().0;
        let hull = hull(&ball.vertices).unwrap();
        let planes = hull.planes();
        let worst = ball
            .vertices
            .iter()
            .flat_map(|p| planes.iter().map(move |(n, o)| n.dot(p) - o))
            .fold(0.0, f64::max);
        assert!(worst <= SLACK, "{worst:e}");
        assert!(hull.points.len() > 500);
    }

    /// parry by rounds is the second opinion: support in any direction within twice the slack.
    #[test]
    fn two_ways_to_wrap_agree() {
        let bodies = [
            shapes::split_in_four(&shapes::split_in_four(&shapes::block(
                Vec3::zeros(),
                Vec3::new(0.02, 0.03, 0.04),
            ))),
            shapes::turned(
                &[
                    (0.0, 0.0),
                    (0.0125, 0.0),
                    (0.012, 0.003),
                    (0.001, 0.035),
                    (0.0, 0.04),
                ],
                90,
            ),
            shapes::icosphere(4, 0.015),
        ];
        let turn = crate::figure::column::attitude(true);
        for body in bodies {
            for turned in [false, true] {
                let single = |p: &Vec3| p.map(|x| f64::from(x as f32));
                let body = shapes::moved(&body, |p| single(&if turned { turn * p } else { *p }));
                let points = weld(&body).unwrap().0.vertices;
                let quick = super::super::quickhull::quickhull(&points, SLACK);
                let quick = quick.expect("quickhull copes");
                assert!(contains(&quick, &points, SLACK));
                let rounds = by_rounds(&points, SLACK).unwrap();
                for i in 0..500 {
                    let t = f64::from(i);
                    let d =
                        Vec3::new((1.7 * t).sin(), (2.3 * t).cos(), (3.1 * t).sin()).normalize();
                    let of = |h: &Hull| h.support(&d).unwrap().dot(&d);
                    assert!((of(&quick) - of(&rounds)).abs() < 2.0 * SLACK);
                }
                let euler = quick.points.len() as i64 - quick.faces.len() as i64 / 2;
                assert_eq!(euler, 2);
            }
        }
    }

    #[test]
    fn flat_points_are_refused() {
        let flat: Vec<Vec3> = (0..50)
            .map(|i| Vec3::new(f64::from(i % 7), f64::from(i / 7), 0.0) * 1e-3)
            .collect();
        assert!(hull(&flat).is_err());
    }
}
