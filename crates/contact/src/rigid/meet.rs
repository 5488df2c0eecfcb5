//! Where two convex pieces meet.

use super::spin::Pose;
use base::{Error, Quat, Result, Vec3, geometry::tangents};
use parry3d_f64::math::{Pose as ParryPose, Rotation, Vector};
use parry3d_f64::query::contact;
use parry3d_f64::query::epa::EPA;
use parry3d_f64::query::gjk::{CsoPoint, GJKResult, VoronoiSimplex, closest_points};
use parry3d_f64::shape::{ConvexPolyhedron, SharedShape, SupportMap};

/// [m] pieces touch at this distance: each is swept by half of it. So they never overlap, and the
/// distance algorithm never has to guess a depth.
pub(super) const SKIN: f64 = 4e-5;
/// [m] corners this near to the touching plane belong to the touching face.
const FLAT: f64 = 2e-6;

/// A convex piece of a figure, in its principal axes about its centre of mass.
pub(super) struct Piece {
    pub corners: Vec<Vec3>,
    pub middle: Vec3,
    /// [m] of the ball about `middle` that holds the piece.
    pub radius: f64,
    shape: SharedShape,
}

/// Nearest points of two pieces.
#[derive(Debug, Clone, Copy)]
pub(super) struct Meeting {
    /// Unit, out of the second into the first.
    pub normal: Vec3,
    /// [m] middle between the nearest points, in the world.
    pub point: Vec3,
    /// [m] beyond [`SKIN`], negative when nearer.
    pub gap: f64,
}

fn into(v: &Vec3) -> Vector {
    Vector::new(v.x, v.y, v.z)
}

fn out(v: Vector) -> Vec3 {
    Vec3::new(v.x, v.y, v.z)
}

fn into_pose(position: &Vec3, attitude: &Quat) -> ParryPose {
    ParryPose::from_parts(
        into(position),
        Rotation::from_xyzw(attitude.i, attitude.j, attitude.k, attitude.w),
    )
}

impl Piece {
    /// * `corners`: [m] principal axes; one corner with `round` above 0 is a ball
    pub(super) fn new(corners: Vec<Vec3>, round: f64) -> Result<Piece> {
        let sum = corners.iter().fold(Vec3::zeros(), |s, c| s + c);
        let middle = sum / corners.len() as f64;
        let far = corners.iter().map(|c| (c - middle).norm());
        let radius = far.fold(0.0, f64::max) + round;
        let points: Vec<Vector> = corners.iter().map(into).collect();
        let shape = if corners.len() == 1 {
            Some(SharedShape::ball(round))
        } else {
            SharedShape::convex_hull(&points)
        };
        Ok(Piece {
            corners,
            middle,
            radius,
            shape: shape.ok_or_else(|| Error::input("a piece of a figure has no volume"))?,
        })
    }
}

/// Nearest points if nearer than `prediction` beyond the skin.
pub(super) fn meet(a: (&Piece, &Pose), b: (&Piece, &Pose), prediction: f64) -> Option<Meeting> {
    let place = |pose: &Pose| into_pose(&pose.position, &pose.spin.attitude);
    let (first, second) = (place(a.1), place(b.1));
    let between = first.inv_mul(&second);
    let limit = SKIN + prediction;
    let (p, q, normal, distance) = match (
        a.0.shape.as_convex_polyhedron(),
        b.0.shape.as_convex_polyhedron(),
    ) {
        (Some(one), Some(other)) => nearest(&between, (one, other), limit)?,
        _ => {
            let (one, other) = (a.0.shape.as_ref(), b.0.shape.as_ref());
            let found = contact(&first, one, &second, other, limit).ok()??;
            let back = first.inverse_transform_point(found.point1);
            let other = first.inverse_transform_point(found.point2);
            (
                back,
                other,
                first.rotation.inverse() * found.normal1,
                found.dist,
            )
        }
    };
    Some(Meeting {
        normal: -out(first.rotation * normal).normalize(),
        point: out(first.transform_point((p + q) * 0.5)),
        gap: distance - SKIN,
    })
}

/// Nearest points of two hulls, the normal out of the first, and the distance, in the first one's
/// frame.
///
/// Where they overlap and the expanding polytope gives up, as it may, the overlap must not be
/// lost: the faces' own normals then tell it, from above.
fn nearest(
    between: &ParryPose,
    (one, other): (&ConvexPolyhedron, &ConvexPolyhedron),
    limit: f64,
) -> Option<(Vector, Vector, Vector, f64)> {
    let start = between.translation.try_normalize().unwrap_or(Vector::X);
    let mut simplex = VoronoiSimplex::new();
    simplex.reset(CsoPoint::from_shapes(between, one, other, start));
    let told = |p: Vector, q: Vector, n: Vector| Some((p, q, n, (q - p).dot(n)));
    match closest_points(between, one, other, limit, true, &mut simplex) {
        GJKResult::ClosestPoints(p, q, n) => told(p, q, n),
        GJKResult::Intersection => match EPA::new().closest_points(between, one, other, &simplex) {
            Some((p, q, n)) => told(p, q, n),
            None => by_faces(between, one, other),
        },
        _ => None,
    }
}

/// The least overlap along the normals of the faces: never less than the true one.
fn by_faces(
    between: &ParryPose,
    one: &ConvexPolyhedron,
    other: &ConvexPolyhedron,
) -> Option<(Vector, Vector, Vector, f64)> {
    let mine = one.faces().iter().map(|f| f.normal);
    let theirs = other.faces().iter().map(|f| -(between.rotation * f.normal));
    mine.chain(theirs)
        .map(|n| {
            let (p, q) = (one.local_support_point(n), other.support_point(between, -n));
            (p, q, n, (q - p).dot(n))
        })
        .max_by(|a, b| a.3.total_cmp(&b.3))
}

/// Points of a contact between faces or edges: the corners of the overlap of the two touching
/// faces. A single nearest point would jump about on them and let a stack rock.
pub(super) fn overlap(a: (&Piece, &Pose), b: (&Piece, &Pose), meeting: &Meeting) -> Vec<Vec3> {
    let (t1, t2) = tangents(&meeting.normal);
    let flat = |p: &Vec3| [(p - meeting.point).dot(&t1), (p - meeting.point).dot(&t2)];
    let face = |piece: &Piece, pose: &Pose, side: f64| -> Vec<[f64; 2]> {
        let world: Vec<Vec3> = piece
            .corners
            .iter()
            .map(|c| pose.position + pose.axes * c)
            .collect();
        let height = |p: &Vec3| side * meeting.normal.dot(p);
        let lowest = world.iter().map(height).fold(f64::INFINITY, f64::min);
        let near = world.iter().filter(|p| height(p) < lowest + FLAT);
        near.map(flat).collect()
    };
    let (mut fa, mut fb) = (face(a.0, a.1, 1.0), face(b.0, b.1, -1.0));
    if fa.len() < 2 || fb.len() < 2 || fa.len() + fb.len() < 5 {
        return vec![meeting.point];
    }
    around(&mut fa);
    around(&mut fb);
    let shared = if fb.len() >= 3 {
        clip(fa, &fb)
    } else {
        clip(fb, &fa)
    };
    if shared.is_empty() {
        return vec![meeting.point];
    }
    shared
        .iter()
        .map(|p| meeting.point + t1 * p[0] + t2 * p[1])
        .collect()
}

/// Sorts corners of a convex face counter-clockwise.
fn around(face: &mut [[f64; 2]]) {
    let count = face.len() as f64;
    let middle = face.iter().fold([0.0, 0.0], |m, p| {
        [m[0] + p[0] / count, m[1] + p[1] / count]
    });
    let angle = |p: &[f64; 2]| libm::atan2(p[1] - middle[1], p[0] - middle[0]);
    face.sort_by(|p, q| angle(p).total_cmp(&angle(q)));
}

/// The part of a polygon or segment inside a convex counter-clockwise polygon (Sutherland &
/// Hodgman 1974, Commun. ACM 17:32).
fn clip(mut part: Vec<[f64; 2]>, window: &[[f64; 2]]) -> Vec<[f64; 2]> {
    for i in 0..window.len() {
        let (p, q) = (window[i], window[(i + 1) % window.len()]);
        let inside = |r: &[f64; 2]| (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]);
        let mut kept = Vec::with_capacity(part.len() + 1);
        // A segment has one edge, not two.
        let edges = if part.len() == 2 { 1 } else { part.len() };
        if edges == 1 && inside(&part[0]) >= 0.0 {
            kept.push(part[0]);
        }
        for j in 0..edges {
            let (from, to) = (part[j], part[(j + 1) % part.len()]);
            let (a, b) = (inside(&from), inside(&to));
            if (a > 0.0 && b < 0.0) || (a < 0.0 && b > 0.0) {
                let f = a / (a - b);
                kept.push([
                    from[0] + f * (to[0] - from[0]),
                    from[1] + f * (to[1] - from[1]),
                ]);
            }
            if b >= 0.0 {
                kept.push(to);
            }
        }
        part = kept;
        if part.is_empty() {
            break;
        }
    }
    part
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rigid::Shape;
    use crate::rigid::spin::Spin;
    use base::Quat;

    fn at(position: Vec3, attitude: Quat) -> Pose {
        let spin = Spin {
            attitude,
            momentum: Vec3::zeros(),
        };
        Pose::new(position, Vec3::zeros(), spin)
    }

    #[test]
    fn blocks_crossed_on_each_other_share_a_square() {
        let long = Shape::block(Vec3::new(0.02, 0.004, 0.004), 1.0);
        let piece = Piece::new(long.hull, 0.0).unwrap();
        let turn = Quat::from_axis_angle(&Vec3::z_axis(), std::f64::consts::FRAC_PI_2);
        let lower = at(Vec3::zeros(), Quat::identity());
        let upper = at(Vec3::new(0.0, 0.0, 0.008 + SKIN + 3e-6), turn);
        let meeting = meet((&piece, &upper), (&piece, &lower), 1e-5).unwrap();
        assert!((meeting.gap - 3e-6).abs() < 1e-10, "{}", meeting.gap);
        assert!((meeting.normal - Vec3::z()).norm() < 1e-9);
        let points = overlap((&piece, &upper), (&piece, &lower), &meeting);
        assert_eq!(points.len(), 4);
        for p in points {
            assert!((p.x.abs() - 0.004).abs() < 1e-9 && (p.y.abs() - 0.004).abs() < 1e-9);
        }
        assert!(meet((&piece, &upper), (&piece, &lower), 1e-6).is_none());
    }

    /// The fallback is never shallower than the expanding polytope, and as deep where a face of
    /// one is what the other dips into.
    #[test]
    fn overlaps_told_by_faces_bound_the_true_ones() {
        use base::random::{attitude, stream};
        let mut random = stream(2, &["overlaps"], 0);
        let shape = |half: Vec3| Piece::new(Shape::block(half, 1.0).hull, 0.0).unwrap();
        let (long, cube) = (
            shape(Vec3::new(0.02, 0.004, 0.004)),
            shape(Vec3::repeat(0.006)),
        );
        let hulls = (
            long.shape.as_convex_polyhedron().unwrap(),
            cube.shape.as_convex_polyhedron().unwrap(),
        );
        let mut equal = 0;
        for i in 0..200 {
            let height = 0.0095 + 2e-5 * f64::from(i % 10);
            let place = into_pose(&Vec3::new(0.001, 0.0, height), &attitude(&mut random));
            let Some(true_one) = nearest(&place, hulls, 1.0) else {
                panic!("nothing within a metre")
            };
            if true_one.3 >= 0.0 {
                continue;
            }
            let bound = by_faces(&place, hulls.0, hulls.1).unwrap().3;
            assert!(bound <= true_one.3 + 1e-9, "{bound} {}", true_one.3);
            equal += u32::from((bound - true_one.3).abs() < 1e-9);
        }
        assert!(equal > 20, "{equal}");
    }
}
