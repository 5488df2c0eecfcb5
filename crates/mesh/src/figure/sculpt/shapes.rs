//! The pieces a sculptor works with, as signed distances in millimetres.
//!
//! Balls, rods, blocks, drums and rings are exact; ellipsoids and flared bodies are first-order
//! estimates (value over length of the gradient).

use super::field::{Bounds, Piece, Point, dot, length, minus};

/// A ball.
#[must_use]
pub fn ball(centre: Point, radius: f64) -> Piece {
    Piece::new(Bounds::about(centre, [radius; 3]), move |p| {
        length(minus(p, centre)) - radius
    })
}

/// An ellipsoid along the axes.
#[must_use]
pub fn egg(centre: Point, radii: Point) -> Piece {
    Piece::new(Bounds::about(centre, radii), move |p| {
        let q = minus(p, centre);
        let unit: Point = std::array::from_fn(|k| q[k] / radii[k]);
        let slope: Point = std::array::from_fn(|k| unit[k] / radii[k]);
        let (value, gradient) = (length(unit), length(slope));
        if gradient < 1e-9 {
            return -radii[0].min(radii[1]).min(radii[2]);
        }
        value * (value - 1.0) / gradient
    })
}

/// A rod with round ends whose radius goes from `ra` at `a` to `rb` at `b`.
#[must_use]
pub fn rod(a: Point, b: Point, ra: f64, rb: f64) -> Piece {
    let bounds = Bounds::about(a, [ra; 3]).join(Bounds::about(b, [rb; 3]));
    Piece::new(bounds, move |p| rod_distance(p, (a, ra), (b, rb)))
}

fn rod_distance(p: Point, (a, ra): (Point, f64), (b, rb): (Point, f64)) -> f64 {
    let (along, from) = (minus(b, a), minus(p, a));
    let square = dot(along, along);
    let t = if square > 0.0 {
        (dot(from, along) / square).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let off: Point = std::array::from_fn(|k| from[k] - t * along[k]);
    length(off) - (ra + (rb - ra) * t)
}

/// Rods end to end: a finger, a hook, a rope. Each knot is a point and a radius.
#[must_use]
pub fn chain(knots: &[(Point, f64)]) -> Piece {
    let knots = knots.to_vec();
    let bounds = knots
        .iter()
        .map(|(p, r)| Bounds::about(*p, [*r; 3]))
        .reduce(Bounds::join)
        .unwrap_or(Bounds::about([0.0; 3], [0.0; 3]));
    Piece::new(bounds, move |p| {
        knots
            .windows(2)
            .map(|pair| rod_distance(p, pair[0], pair[1]))
            .fold(f64::INFINITY, f64::min)
    })
}

/// A block with rounded edges.
#[must_use]
pub fn block(centre: Point, half: Point, round: f64) -> Piece {
    Piece::new(Bounds::about(centre, half), move |p| {
        let q = minus(p, centre);
        let over: Point = std::array::from_fn(|k| q[k].abs() - half[k] + round);
        let inside = over[0].max(over[1]).max(over[2]).min(0.0);
        inside + length(over.map(|x| x.max(0.0))) - round
    })
}

/// An upright drum whose radius goes from `bottom` to `top`, edges rounded by `round`.
///
/// * `z`: heights of its two ends
#[must_use]
pub fn drum(centre: [f64; 2], z: [f64; 2], [bottom, top]: [f64; 2], round: f64) -> Piece {
    let wide = bottom.max(top);
    let bounds = Bounds {
        low: [centre[0] - wide, centre[1] - wide, z[0]],
        high: [centre[0] + wide, centre[1] + wide, z[1]],
    };
    let lean = ((top - bottom) / (z[1] - z[0])).hypot(1.0).recip();
    Piece::new(bounds, move |p| {
        let t = ((p[2] - z[0]) / (z[1] - z[0])).clamp(0.0, 1.0);
        let r = (p[0] - centre[0]).hypot(p[1] - centre[1]);
        let side = (r - (bottom + (top - bottom) * t)) * lean + round;
        let end = (p[2] - 0.5 * (z[0] + z[1])).abs() - 0.5 * (z[1] - z[0]) + round;
        side.max(end).min(0.0) + side.max(0.0).hypot(end.max(0.0)) - round
    })
}

/// A ring of radius `wide` and thickness `2 * thick` about `axis` (unit length).
#[must_use]
pub fn ring(centre: Point, axis: Point, wide: f64, thick: f64) -> Piece {
    let reach: Point =
        std::array::from_fn(|k| wide * (1.0 - axis[k] * axis[k]).max(0.0).sqrt() + thick);
    Piece::new(Bounds::about(centre, reach), move |p| {
        let q = minus(p, centre);
        let up = dot(q, axis);
        let out = (dot(q, q) - up * up).max(0.0).sqrt();
        (out - wide).hypot(up) - thick
    })
}

/// First-order distance to an ellipse in the plane, negative inside.
#[must_use]
pub fn ellipse_distance(q: [f64; 2], radii: [f64; 2]) -> f64 {
    let value = (q[0] / radii[0]).hypot(q[1] / radii[1]);
    let slope = (q[0] / (radii[0] * radii[0])).hypot(q[1] / (radii[1] * radii[1]));
    if slope < 1e-9 {
        return -radii[0].min(radii[1]);
    }
    value * (value - 1.0) / slope
}

/// Heights and what is wanted there, with a smooth curve through the knots (cubic Hermite with
/// slopes from the neighbours): profiles of cloaks and skirts.
#[must_use]
pub fn profile(knots: &[(f64, f64)], z: f64) -> f64 {
    let last = knots.len() - 1;
    if z <= knots[0].0 {
        return knots[0].1;
    }
    if z >= knots[last].0 {
        return knots[last].1;
    }
    let i = knots.iter().rposition(|knot| knot.0 <= z).unwrap_or(0);
    let slope = |i: usize| {
        let (a, b) = (knots[i.saturating_sub(1)], knots[(i + 1).min(last)]);
        (b.1 - a.1) / (b.0 - a.0)
    };
    let ((z0, v0), (z1, v1)) = (knots[i], knots[i + 1]);
    let (wide, t) = (z1 - z0, (z - z0) / (z1 - z0));
    let rise = t * t * (3.0 - 2.0 * t);
    let bend = wide * t * (1.0 - t) * ((1.0 - t) * slope(i) - t * slope(i + 1));
    v0 + (v1 - v0) * rise + bend
}

#[cfg(test)]
mod tests {
    use super::super::field::{Field, Group};
    use super::*;

    fn volume(piece: Piece) -> f64 {
        Field::new(vec![Group::new("one", 0.0, piece)]).volume_mm3(0.04)
    }

    /// Closed forms of school geometry.
    #[test]
    fn pieces_have_the_volumes_of_their_closed_forms() {
        let pi = std::f64::consts::PI;
        let cases = [
            (
                "egg",
                volume(egg([0.0; 3], [1.0, 0.7, 1.4])),
                4.0 / 3.0 * pi * 0.98,
            ),
            ("block", volume(block([0.0; 3], [1.0, 0.5, 0.4], 0.0)), 1.6),
            (
                "rod",
                volume(rod([0.0; 3], [2.0, 0.0, 0.0], 0.5, 0.5)),
                pi * 0.5 + pi / 6.0,
            ),
            (
                "drum",
                volume(drum([0.0; 2], [0.0, 2.0], [1.0, 0.5], 0.0)),
                pi * 2.0 / 3.0 * 1.75,
            ),
            (
                "ring",
                volume(ring([0.0; 3], [0.0, 0.6, 0.8], 1.5, 0.4)),
                2.0 * pi * pi * 1.5 * 0.16,
            ),
        ];
        for (name, counted, exact) in cases {
            assert!(
                (counted / exact - 1.0).abs() < 6e-3,
                "{name}: {counted} {exact}"
            );
        }
    }

    #[test]
    fn a_profile_meets_its_knots_and_keeps_straight_lines() {
        let knots = [(0.0, 2.0), (1.0, 3.0), (4.0, 1.0)];
        assert_eq!(profile(&knots, -1.0), 2.0);
        assert_eq!(profile(&knots, 1.0), 3.0);
        assert_eq!(profile(&knots, 9.0), 1.0);
        let line = [(0.0, 1.0), (1.0, 2.0), (3.0, 4.0)];
        assert!((profile(&line, 2.2) - 3.2).abs() < 1e-12);
    }
}
