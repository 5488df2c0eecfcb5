//! The ferry porter himself: coat, cloak, arms and hands, boots, head and hat.
//!
//! Millimetres, z up, front towards -y, deck of the jetty at z = 2.8. "Left" and "right" are the
//! porter's own.

use super::field::{Bounds, Group, Piece, Point, dot, length, smooth_min};
use super::shapes::{ball, block, chain, drum, egg, ellipse_distance, profile, ring, rod};

/// Where the left hand holds the pole.
pub(super) const POLE_HAND: Point = [8.5, -4.3, 18.4];
/// Where the right hand holds the handle of the lantern.
pub(super) const LANTERN_HAND: Point = [-9.1, -5.0, 20.6];

const LEFT_SHOULDER: Point = [4.2, 0.4, 20.2];
const LEFT_ELBOW: Point = [7.5, 0.5, 16.2];
const RIGHT_SHOULDER: Point = [-4.2, 0.4, 20.2];
const RIGHT_ELBOW: Point = [-7.7, -0.3, 16.9];
/// Middle of the head.
const HEAD: Point = [-0.25, -1.1, 25.3];
/// [deg] turn of the head towards the lantern.
const TURN: f64 = -13.0;

/// All groups of the person, from the deck up.
pub(super) fn person() -> Vec<Group> {
    vec![
        leg("left leg", 1.0),
        leg("right leg", -1.0),
        coat(),
        belt(),
        cloak(),
        arm("left arm", [LEFT_SHOULDER, LEFT_ELBOW], &left_grip()),
        arm("right arm", [RIGHT_SHOULDER, RIGHT_ELBOW], &right_grip()),
        cape(),
        scarf(),
        head(),
        hat(),
    ]
}

fn egg_at(p: Point, centre: Point, radii: Point) -> f64 {
    let q: Point = std::array::from_fn(|k| p[k] - centre[k]);
    let unit: Point = std::array::from_fn(|k| q[k] / radii[k]);
    let slope: Point = std::array::from_fn(|k| unit[k] / radii[k]);
    let (value, gradient) = (length(unit), length(slope));
    if gradient < 1e-9 {
        return -radii[1];
    }
    value * (value - 1.0) / gradient
}

fn smooth_max(a: f64, b: f64, k: f64) -> f64 {
    -smooth_min(-a, -b, k)
}

/// Angle about the vertical through (0, `y0`), 0 to the back, positive to the left.
fn azimuth(p: Point, y0: f64) -> f64 {
    p[0].atan2(p[1] - y0)
}

/// The bare trunk: belly and chest.
fn trunk(p: Point) -> f64 {
    let belly = egg_at(p, [0.0, -0.4, 14.4], [5.0, 4.7, 5.2]);
    let chest = egg_at(p, [0.0, 0.3, 18.6], [4.6, 3.5, 4.3]);
    smooth_min(belly, chest, 1.4)
}

/// The skirt of the coat, solid, with folds that deepen towards the hem.
fn skirt(p: Point) -> f64 {
    let radius = profile(&[(8.0, 6.2), (10.5, 5.55), (13.4, 4.95)], p[2]);
    let depth = 0.26 * ((13.4 - p[2]) / 5.0).clamp(0.0, 1.0);
    let turn = azimuth(p, -0.2);
    let fold = depth * ((9.0 * turn).cos() + 0.5 * (16.0 * turn + 1.0).sin());
    let side = ellipse_distance([p[0], p[1] + 0.2], [radius * 1.02, radius * 0.93]) - fold;
    let end = (p[2] - 13.6).max(8.2 - p[2]);
    smooth_max(0.9 * side, end, 0.35)
}

fn dressed(p: Point) -> f64 {
    smooth_min(trunk(p), skirt(p), 0.5)
}

fn whole(low: Point, high: Point) -> Bounds {
    Bounds { low, high }
}

/// The first point of `solid` met from `from` along `way` (unit length).
fn meet(solid: fn(Point) -> f64, from: Point, way: Point) -> Point {
    let mut p = from;
    for _ in 0..200 {
        let d = solid(p);
        p = std::array::from_fn(|k| p[k] + 0.7 * d * way[k]);
    }
    p
}

fn coat() -> Group {
    let bounds = whole([-6.9, -6.4, 8.1], [6.9, 6.2, 23.0]);
    // The right front lies over the left: a step down the front, and a slit below the belt.
    let lap = Piece::new(bounds, |p| {
        let over = smooth_max(dressed(p) - 0.16, p[0] - 1.9 + 0.03 * (p[2] - 13.0), 0.12);
        over.max(p[1] + 1.0).max(-4.5 - p[0])
    });
    let mut group = Group::new("coat", 0.3, Piece::new(bounds, dressed))
        .join(0.05, lap)
        .cut(0.25, block([0.4, -5.6, 9.2], [0.42, 2.4, 2.6], 0.3))
        .cut(0.3, drum([0.0, -0.2], [7.0, 8.9], [5.2, 4.6], 0.2));
    for z in [15.3, 17.0, 18.7] {
        for x in [-1.25, 1.15] {
            let at = meet(dressed, [x, -9.0, z], [0.0, 1.0, 0.0]);
            group = group.join(0.04, egg([x, at[1] - 0.12, z], [0.42, 0.32, 0.42]));
        }
    }
    group
}

fn belt() -> Group {
    let strap = Piece::new(whole([-6.0, -6.0, 12.4], [6.0, 5.2, 13.8]), |p| {
        smooth_max(dressed(p) - 0.32, (p[2] - 13.1).abs() - 0.62, 0.2)
    });
    let front = meet(dressed, [0.3, -9.0, 13.1], [0.0, 1.0, 0.0])[1] - 0.36;
    let hip = meet(dressed, [5.4, -7.0, 11.9], [-0.6, 0.8, 0.0]);
    let pouch = |centre: Point, half: Point| block(centre, half, 0.35).placed(37.0, hip);
    Group::new("belt", 0.08, strap)
        .join(0.05, block([0.3, front, 13.1], [1.1, 0.3, 0.95], 0.15))
        .cut(
            0.05,
            block([0.3, front - 0.3, 13.1], [0.72, 0.34, 0.56], 0.1),
        )
        .join(
            0.03,
            block([0.3, front - 0.1, 13.1], [0.13, 0.22, 0.7], 0.1),
        )
        .join(0.1, pouch([0.0, -0.3, -0.2], [1.25, 0.85, 1.2]))
        .join(0.04, pouch([0.0, -0.42, 0.45], [1.38, 0.9, 0.62]))
        .join(0.03, ball([0.0, -1.3, 0.05], 0.27).placed(37.0, hip))
}

/// The long cloak: a folded shell down the back, blown a little to the left.
fn cloak() -> Group {
    let shell = Piece::new(whole([-9.6, -1.2, 4.6], [10.4, 11.2, 21.6]), |p| {
        let down = (20.5 - p[2]).max(0.0);
        let q = [p[0] - 0.035 * down, p[1] - 0.9 - 0.075 * down];
        let radius = profile(
            &[
                (4.5, 7.5),
                (9.5, 6.8),
                (13.5, 6.1),
                (17.0, 4.9),
                (19.0, 4.2),
                (21.5, 3.0),
            ],
            p[2],
        );
        let turn = q[0].atan2(q[1]);
        let depth = 0.85 * (down / 15.0).clamp(0.0, 1.0).powf(0.8);
        let fold = depth * ((7.0 * turn + 0.6).sin() + 0.35 * (13.0 * turn - 0.03 * down).cos());
        let side = ellipse_distance(q, [radius * 1.04, radius * 0.94]) - fold;
        let thick = 0.75 * side.abs() - 0.36;
        let hem = 5.1 + 0.35 * (4.0 * turn).sin() - p[2];
        let open = -0.1 + 0.02 * down - q[1];
        smooth_max(
            smooth_max(thick, hem, 0.25),
            smooth_max(open, p[2] - 21.3, 0.2),
            0.25,
        )
    });
    Group::new("cloak", 0.3, shell)
}

/// The short cape over shoulders and upper arms, open at the front.
fn cape() -> Group {
    let draped = Piece::new(whole([-9.4, -4.8, 16.3], [9.4, 6.2, 22.8]), |p| {
        let radius = profile(
            &[
                (16.5, 6.5),
                (19.0, 6.0),
                (20.6, 5.0),
                (21.7, 3.6),
                (22.6, 2.6),
            ],
            p[2],
        );
        let turn = azimuth(p, 0.3);
        let depth = 0.2 * ((21.5 - p[2]) / 4.0).clamp(0.0, 1.0);
        let fold = depth * (12.0 * turn + 0.4).sin();
        let cone =
            0.8 * (ellipse_distance([p[0], p[1] - 0.3], [radius * 1.03, radius * 0.93]) - fold);
        let over = |a: Point, b: Point| sleeve(p, a, b) - 0.42 - 0.5 * fold;
        let arms = over(LEFT_SHOULDER, LEFT_ELBOW).min(over(RIGHT_SHOULDER, RIGHT_ELBOW));
        let hem = 17.5 + 0.16 * (8.0 * turn).cos() - 0.035 * p[0].abs() - p[2];
        smooth_max(
            smooth_max(smooth_min(cone, arms, 1.2), hem, 0.25),
            p[2] - 22.5,
            0.2,
        )
    });
    // A wedge that widens downwards shows the buttons.
    let opening = Piece::new(whole([-5.0, -9.0, 15.0], [5.0, -0.8, 23.0]), |p| {
        let half = 0.75 + 0.42 * (22.2 - p[2]);
        (0.9 * (p[0].abs() - half)).max(p[1] + 1.0)
    });
    let clasp = |x: f64| egg([x, -3.0, 21.3], [0.5, 0.35, 0.5]);
    Group::new("cape", 0.12, draped)
        .cut(0.3, opening)
        .join(0.05, clasp(-1.3))
        .join(0.05, clasp(1.3))
        .join(0.03, rod([-1.2, -3.2, 21.2], [1.2, -3.2, 21.2], 0.2, 0.2))
}

fn sleeve(p: Point, a: Point, b: Point) -> f64 {
    let along: Point = std::array::from_fn(|k| b[k] - a[k]);
    let from: Point = std::array::from_fn(|k| p[k] - a[k]);
    let t = (dot(from, along) / dot(along, along)).clamp(0.0, 1.0);
    let off: Point = std::array::from_fn(|k| from[k] - t * along[k]);
    length(off) - 1.75 + 0.2 * t
}

fn scarf() -> Group {
    Group::new(
        "scarf",
        0.1,
        ring([-0.1, -0.5, 22.5], [0.0, 0.13, 0.991], 1.95, 0.72),
    )
    .join(
        0.15,
        ring([-0.1, -0.4, 23.1], [0.05, 0.2, 0.978], 1.75, 0.6),
    )
    .join(0.1, egg([0.2, -3.1, 22.2], [0.72, 0.6, 0.6]))
    .join(
        0.1,
        chain(&[
            ([0.3, -3.3, 21.9], 0.5),
            ([0.7, -3.75, 20.6], 0.55),
            ([0.8, -3.95, 19.7], 0.35),
        ]),
    )
    .join(
        0.08,
        chain(&[
            ([0.0, -3.3, 21.9], 0.45),
            ([-0.4, -3.7, 20.9], 0.5),
            ([-0.7, -3.95, 20.1], 0.3),
        ]),
    )
}

fn leg(name: &'static str, side: f64) -> Group {
    let forward = if side < 0.0 { -1.2 } else { 0.0 };
    let at = |x: f64, y: f64, z: f64| [side * x, y + forward, z];
    Group::new(
        name,
        0.4,
        rod([side * 2.2, 0.0, 10.5], at(2.7, -0.3, 7.2), 2.1, 1.75),
    )
    .join(
        0.25,
        rod(at(2.75, -0.2, 6.8), at(2.85, 0.1, 4.0), 1.62, 1.28),
    )
    .join(0.5, rod(at(2.85, 0.5, 3.7), at(3.5, -2.3, 3.65), 1.2, 1.12))
    .join(0.3, egg(at(3.6, -2.8, 3.7), [1.2, 1.3, 1.15]))
    .join(
        0.06,
        drum(
            [side * 2.76, -0.2 + forward],
            [6.3, 7.4],
            [1.85, 2.05],
            0.25,
        ),
    )
    .join(
        0.05,
        chain(&[(at(2.85, 0.9, 2.9), 1.22), (at(3.6, -2.8, 2.9), 1.3)]),
    )
    .cut(0.05, ring(at(2.8, 0.05, 4.6), [0.0, 0.3, 0.954], 1.62, 0.2))
}

/// A hand closed on a bar: frame and size.
struct Grip {
    /// Middle of the bar in the fist.
    centre: Point,
    /// Along the bar, towards the thumb.
    along: Point,
    /// From the wrist to the bar.
    reach: Point,
    /// The side where the knuckles are.
    back: Point,
}

fn left_grip() -> Grip {
    Grip {
        centre: POLE_HAND,
        along: [0.0, 0.0, 1.0],
        reach: [0.21, -0.978, 0.0],
        back: [0.978, 0.21, 0.0],
    }
}

fn right_grip() -> Grip {
    Grip {
        centre: LANTERN_HAND,
        along: [0.97, -0.243, 0.0],
        reach: [-0.2135, -0.8522, 0.4777],
        back: [0.1161, 0.4634, 0.8785],
    }
}

impl Grip {
    /// `t` along the bar, `r` from its axis, `degrees` from the wrist side over the knuckles.
    fn at(&self, t: f64, r: f64, degrees: f64) -> Point {
        let (sin, cos) = degrees.to_radians().sin_cos();
        std::array::from_fn(|k| {
            self.centre[k] + t * self.along[k] + r * (sin * self.back[k] - cos * self.reach[k])
        })
    }

    fn finger(&self, t: f64, thick: f64) -> Piece {
        chain(&[
            (self.at(0.85 * t, 1.55, 28.0), thick * 1.08),
            (self.at(0.96 * t, 1.28, 82.0), thick * 1.08),
            (self.at(t, 1.06, 140.0), thick * 1.02),
            (self.at(t, 0.98, 205.0), thick),
            (self.at(0.97 * t, 0.92, 262.0), thick * 0.92),
        ])
    }

    fn thumb(&self) -> Piece {
        chain(&[
            (self.at(0.7, 1.25, -12.0), 0.62),
            (self.at(1.45, 1.2, -58.0), 0.54),
            (self.at(1.75, 1.05, -112.0), 0.48),
            (self.at(1.7, 1.0, -160.0), 0.42),
        ])
    }
}

fn arm(name: &'static str, [shoulder, elbow]: [Point; 2], grip: &Grip) -> Group {
    let wrist = grip.at(0.0, 1.75, 8.0);
    let part = |t: f64| -> Point { std::array::from_fn(|k| elbow[k] + t * (wrist[k] - elbow[k])) };
    let mut group = Group::new(name, 0.35, rod(shoulder, elbow, 1.75, 1.55))
        .join(0.5, rod(elbow, part(0.72), 1.55, 1.32))
        .join(0.08, rod(part(0.52), part(0.8), 1.5, 1.62))
        .join(0.1, rod(part(0.8), wrist, 1.0, 0.9));
    // Creases in the crook of the elbow.
    for t in [0.12, 0.3] {
        let c = part(t);
        group = group.join(0.3, egg(c, [1.62, 1.2, 1.5]));
    }
    group = group
        .join(
            0.3,
            chain(&[
                (grip.at(-0.75, 1.3, 22.0), 0.78),
                (grip.at(0.75, 1.3, 22.0), 0.8),
            ]),
        )
        .join(
            0.3,
            chain(&[
                (grip.at(-0.7, 1.15, 0.0), 0.7),
                (grip.at(0.8, 1.1, -6.0), 0.7),
            ]),
        );
    for (t, thick) in [(-1.26, 0.4), (-0.43, 0.45), (0.43, 0.46), (1.28, 0.45)] {
        group = group.join(0.07, grip.finger(t, thick));
    }
    group.join(0.08, grip.thumb())
}

fn on_head(piece: Piece) -> Piece {
    piece.placed(TURN, HEAD)
}

fn head() -> Group {
    let mut group = Group::new(
        "head",
        0.15,
        on_head(egg([0.0, 0.0, 0.0], [2.3, 2.45, 2.75])),
    )
    .join(0.4, on_head(egg([0.0, 0.7, -0.9], [2.4, 2.1, 2.2])))
    .join(
        0.3,
        on_head(rod([0.0, -2.2, 0.8], [0.0, -2.75, -0.2], 0.34, 0.5)),
    )
    .join(0.2, on_head(egg([0.0, -2.95, -0.32], [0.62, 0.62, 0.55])));
    for s in [-1.0, 1.0] {
        let nostril = egg([s * 0.5, -2.6, -0.45], [0.36, 0.45, 0.34]);
        let brow = chain(&[
            ([s * 0.35, -2.5, 0.98], 0.36),
            ([s * 1.1, -2.4, 1.18], 0.38),
            ([s * 1.85, -1.75, 0.95], 0.26),
        ]);
        group = group
            .join(0.5, on_head(egg([s * 1.3, -1.75, -0.35], [0.9, 0.75, 0.8])))
            .join(0.12, on_head(nostril))
            .cut(
                0.2,
                on_head(egg([s * 0.98, -2.62, 0.42], [0.62, 0.55, 0.42])),
            )
            .join(0.05, on_head(ball([s * 0.96, -1.98, 0.42], 0.42)))
            .join(0.12, on_head(brow))
            .join(0.1, on_head(egg([s * 2.3, 0.0, 0.05], [0.42, 0.72, 0.95])))
            .join(
                0.25,
                on_head(chain(&[
                    ([s * 2.05, -0.9, 0.9], 0.5),
                    ([s * 1.95, -1.2, -1.2], 0.8),
                ])),
            );
    }
    let beard = Piece::new(Bounds::about([0.0, -1.5, -2.5], [2.5, 2.2, 2.6]), |p| {
        let lock = 0.17 * (8.0 * p[0].atan2(-p[1] + 0.4) + 0.5 * (p[2] * 2.2).sin()).cos();
        let wide = egg_at(p, [0.0, -1.35, -2.1], [2.15, 1.6, 1.75]);
        let point = egg_at(p, [0.0, -1.95, -3.3], [1.15, 1.0, 1.5]);
        0.85 * (smooth_min(wide, point, 0.8) + lock)
    });
    group = group
        .join(0.12, on_head(beard))
        .join(0.08, on_head(egg([0.0, -2.82, -1.5], [0.5, 0.3, 0.24])));
    for s in [-1.0, 1.0] {
        let moustache = chain(&[
            ([s * 0.22, -2.95, -0.95], 0.42),
            ([s * 0.95, -2.9, -1.1], 0.5),
            ([s * 1.75, -2.45, -1.3], 0.4),
            ([s * 2.35, -2.0, -0.95], 0.2),
        ]);
        group = group.join(0.05, on_head(moustache));
    }
    group
}

/// A felt hat with a wide brim, turned up at the sides.
fn hat() -> Group {
    let brim = Piece::new(Bounds::about([0.0, 0.1, 1.9], [5.2, 5.4, 1.8]), |p| {
        let bend = 0.036 * p[0] * p[0] - 0.028 * p[1].max(0.0).powi(2)
            + 0.012 * p[1].min(0.0).powi(2)
            + 0.06 * (3.0 * azimuth(p, 0.0) + 0.7).sin() * (p[0].hypot(p[1]) / 4.0);
        let side = ellipse_distance([p[0], p[1] - 0.1], [4.85, 5.0]) + 0.24;
        let end = (p[2] - 1.72 - bend).abs() - 0.3 + 0.24;
        0.85 * (side.max(end).min(0.0) + side.max(0.0).hypot(end.max(0.0)) - 0.24)
    });
    let crown = drum([0.0, 0.1], [1.4, 4.75], [2.9, 2.35], 1.0);
    let band = drum([0.0, 0.1], [2.05, 2.95], [3.02, 2.9], 0.18);
    Group::new("hat", 0.08, on_head(brim))
        .join(0.35, on_head(crown))
        .cut(0.5, on_head(egg([0.0, 0.2, 5.0], [0.7, 1.9, 0.5])))
        .join(0.05, on_head(band))
        .join(
            0.04,
            on_head(block([2.95, -0.5, 2.5], [0.3, 0.62, 0.55], 0.2)),
        )
}
