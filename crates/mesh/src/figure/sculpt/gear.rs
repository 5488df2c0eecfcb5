//! What the porter holds and stands on: boat-hook, lantern, jetty with rope coil and bollard.

use super::field::{Bounds, Group, Piece, Point, length};
use super::person::{LANTERN_HAND, POLE_HAND};
use super::shapes::{ball, block, chain, drum, egg, ring, rod};
use std::f64::consts::TAU;

/// [mm] radius of the base.
const BASE: f64 = 12.5;

/// All groups of the gear; the base first.
pub(super) fn gear() -> Vec<Group> {
    vec![base(), coil(), bollard(), boat_hook(), lantern()]
}

fn base() -> Group {
    let mut group = Group::new(
        "base",
        0.0,
        drum([0.0, 0.0], [0.0, 2.1], [BASE, 12.15], 0.3),
    );
    for board in -4_i32..=4 {
        group = group.join(0.03, plank(f64::from(board)));
        for x in [-7.6, 0.4, 8.1] {
            let y = 2.75 * f64::from(board);
            if f64::hypot(x, y.abs() + 0.8) < 11.3 {
                group = group
                    .join(0.02, egg([x, y - 0.75, 2.74], [0.3, 0.3, 0.2]))
                    .join(0.02, egg([x + 0.1, y + 0.75, 2.74], [0.3, 0.3, 0.2]));
            }
        }
    }
    group
}

/// One board of the jetty, cut to the round, with grain.
fn plank(board: f64) -> Piece {
    let (y, wobble) = (2.75 * board, (board * 2.4).sin());
    let bounds = Bounds {
        low: [-12.0, y - 1.3, 1.0],
        high: [12.0, y + 1.3, 3.1],
    };
    Piece::new(bounds, move |p| {
        let grain = 0.035 * (8.0 * (p[1] - y) + 1.4 * (0.45 * p[0] + 2.0 * board).sin()).sin();
        let top = 2.74 + 0.09 * wobble + 0.008 * wobble * p[0] + grain;
        let over = [
            p[0].hypot(p[1]) - 11.75 - 0.2 * (1.7 * board).cos() + 0.15,
            (p[1] - y).abs() - 1.24 + 0.15,
            p[2] - top + 0.15,
        ];
        let inside = over[0].max(over[1]).max(over[2]).min(0.0);
        (0.9 * (inside + length(over.map(|x| x.max(0.0))) - 0.15)).max(1.0 - p[2])
    })
}

/// A laid rope lying in a ring: its strands show as a twist.
fn laid_ring(centre: Point, wide: f64, thick: f64) -> Piece {
    let reach = [wide + thick + 0.1, wide + thick + 0.1, thick + 0.1];
    Piece::new(Bounds::about(centre, reach), move |p| {
        let (x, y, z) = (p[0] - centre[0], p[1] - centre[1], p[2] - centre[2]);
        let out = x.hypot(y) - wide;
        let turns = (wide * 7.0).round();
        let twist = 0.055 * (3.0 * z.atan2(out) + turns * y.atan2(x)).cos();
        0.85 * (out.hypot(z) - thick + twist)
    })
}

fn coil() -> Group {
    let at = |x: f64, y: f64, z: f64| [-6.0 + x, -7.4 + y, z];
    let end = chain(&[
        ([-3.4, -8.3, 3.1], 0.45),
        ([-2.0, -9.2, 3.1], 0.45),
        ([-0.3, -9.5, 3.1], 0.45),
        ([1.2, -8.9, 3.1], 0.45),
        ([2.4, -9.3, 3.1], 0.45),
        ([3.6, -9.9, 3.1], 0.45),
    ]);
    Group::new("coil", 0.05, laid_ring(at(0.0, 0.0, 3.2), 2.6, 0.56))
        .join(0.02, laid_ring(at(0.05, 0.0, 3.2), 1.5, 0.54))
        .join(0.02, laid_ring(at(0.1, -0.05, 4.15), 2.15, 0.56))
        .join(0.05, end)
        .join(0.03, ball([3.6, -9.9, 3.2], 0.6))
}

fn bollard() -> Group {
    let at = [9.6, 3.6];
    Group::new("bollard", 0.1, drum(at, [2.0, 6.6], [1.3, 1.15], 0.1))
        .join(0.1, drum(at, [6.2, 7.2], [1.55, 1.5], 0.35))
        .join(0.03, laid_ring([at[0], at[1], 4.3], 1.4, 0.42))
        .join(0.03, laid_ring([at[0], at[1], 5.1], 1.38, 0.42))
        .join(
            0.05,
            chain(&[
                ([9.0, 4.9, 4.4], 0.4),
                ([7.6, 7.0, 3.3], 0.42),
                ([5.4, 9.4, 3.1], 0.42),
                ([3.4, 11.0, 3.1], 0.42),
            ]),
        )
}

/// Pole with ferrule, spike, hook and spur: the thin parts wear tests are about.
fn boat_hook() -> Group {
    let lean = |z: f64| [POLE_HAND[0] - 0.026 * (z - POLE_HAND[2]), POLE_HAND[1], z];
    let top = lean(34.6);
    let hook: Vec<(Point, f64)> = (0..=12)
        .map(|i| {
            let t = f64::from(i) / 12.0;
            let turn = (185.0 - 235.0 * t).to_radians();
            let place = [
                top[0] + 1.55 + 1.55 * turn.cos(),
                top[1],
                top[2] + 0.9 + 1.75 * turn.sin(),
            ];
            (place, 0.46 - 0.22 * t)
        })
        .collect();
    Group::new("boat-hook", 0.12, rod(lean(2.4), lean(35.0), 0.56, 0.52))
        .join(
            0.05,
            drum(
                [lean(33.2)[0], POLE_HAND[1]],
                [32.2, 34.9],
                [0.72, 0.82],
                0.2,
            ),
        )
        .join(0.05, ring(lean(32.4), [0.0, 0.0, 1.0], 0.66, 0.2))
        .join(0.15, rod(lean(34.8), lean(38.9), 0.55, 0.24))
        .join(0.15, chain(&hook))
        .join(
            0.15,
            rod(
                [top[0], top[1], 35.4],
                [top[0] - 1.75, top[1], 36.5],
                0.42,
                0.22,
            ),
        )
        .join(
            0.1,
            drum([lean(3.2)[0], POLE_HAND[1]], [2.5, 4.0], [0.85, 0.72], 0.15),
        )
}

fn lantern() -> Group {
    let [x, y, z] = LANTERN_HAND;
    let (along, half) = ([0.97, -0.243], 1.95);
    let side = |s: f64, out: f64, up: f64| [x + s * out * along[0], y + s * out * along[1], z + up];
    let top = z - 3.9;
    let handle = [
        ([x, y, top + 0.55], 0.3),
        (side(-1.0, 1.35, -2.2), 0.3),
        (side(-1.0, half, -0.6), 0.3),
        (side(-1.0, 1.7, 0.0), 0.34),
        (side(1.0, 1.7, 0.0), 0.34),
        (side(1.0, half, -0.6), 0.3),
        (side(1.0, 1.35, -2.2), 0.3),
        ([x, y, top + 0.55], 0.3),
    ];
    let mut group = Group::new("lantern", 0.08, chain(&handle))
        .join(
            0.08,
            ring([x, y, top + 0.15], [0.243, 0.97, 0.0], 0.5, 0.26),
        )
        .join(
            0.1,
            drum([x, y], [top - 0.75, top - 0.1], [0.85, 0.6], 0.15),
        )
        .join(
            0.06,
            drum([x, y], [top - 2.1, top - 0.6], [2.15, 0.75], 0.12),
        )
        .join(
            0.05,
            drum([x, y], [top - 2.5, top - 1.95], [2.2, 2.2], 0.15),
        )
        .join(
            0.05,
            drum([x, y], [top - 7.2, top - 6.5], [2.05, 1.9], 0.15),
        )
        .join(
            0.05,
            drum([x, y], [top - 7.7, top - 7.0], [1.7, 2.25], 0.15),
        )
        .join(
            0.06,
            drum([x, y], [top - 6.7, top - 5.0], [0.8, 0.72], 0.12),
        )
        .join(0.1, egg([x, y, top - 4.2], [0.5, 0.5, 1.15]));
    for bar in 0..6 {
        let turn = TAU * (f64::from(bar) + 0.5) / 6.0;
        let (bx, by) = (x + 1.68 * turn.cos(), y + 1.68 * turn.sin());
        group = group.join(
            0.08,
            rod([bx, by, top - 6.9], [bx, by, top - 2.2], 0.27, 0.27),
        );
    }
    let guard = |up: f64| ring([x, y, top - up], [0.0, 0.0, 1.0], 1.72, 0.2);
    // A small block keeps the door's latch.
    group.join(0.05, guard(4.6)).join(
        0.03,
        block([x, y - 1.95, top - 4.6], [0.3, 0.25, 0.35], 0.1),
    )
}
