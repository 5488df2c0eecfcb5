//! Bodies and boxes for checks and speed tests: made here, so that everyone measures the same.

use super::{BoxPath, Scene, Shape, State};
use crate::Body;
use base::{Mat3, Quat, Result, Vec3};
use mesh::figure::{Mesh, hull::hull, solid};
use std::sync::Arc;

/// An irregular convex body of about `corners` corners, 30 mm tall: an ellipsoid drawn to a point
/// by a projective map, which keeps it convex. For checks and speed tests.
///
/// * `density`: [kg/m3]
///
/// # Errors
/// Fewer than four corners.
pub fn pebble(corners: usize, density: f64) -> Result<Shape> {
    // Golden-angle spiral: even, never symmetric.
    let golden = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    let points: Vec<Vec3> = (0..corners)
        .map(|i| {
            let z = 1.0 - 2.0 * (i as f64 + 0.5) / corners as f64;
            let (around, ring) = (golden * i as f64, (1.0 - z * z).sqrt());
            let p = Vec3::new(
                0.75 * ring * libm::cos(around) + 0.25 * z,
                0.48 * ring * libm::sin(around) - 0.1 * z,
                z,
            );
            p * (0.015 / (1.0 + 0.36 * z + 0.11 * p.x))
        })
        .collect();
    let wrapped = hull(&points)?;
    let mesh = Mesh {
        vertices: wrapped.points,
        triangles: wrapped.faces,
    };
    let moments = solid::divergence(&mesh);
    let (centre, inertia) = moments.centre_and_inertia();
    let body = Body {
        mass: density * moments.volume,
        centre,
        inertia: inertia * density,
    };
    Ok(Shape::convex(mesh.vertices, body))
}

/// A figure of `pieces` convex pieces: a disc and blobs up a stem, with the mass of the pieces as
/// if they did not overlap.
///
/// # Errors
/// None for 2 to 60 pieces.
pub fn totem(pieces: usize, density: f64) -> Result<Shape> {
    let blob = |middle: Vec3, half: Vec3, corners: usize| -> Vec<Vec3> {
        let golden = 2.399_963;
        let at = |i: usize| {
            let z = 1.0 - 2.0 * (i as f64 + 0.5) / corners as f64;
            let ring = (1.0 - z * z).sqrt();
            let around = golden * i as f64;
            middle
                + half.component_mul(&Vec3::new(
                    ring * libm::cos(around),
                    ring * libm::sin(around),
                    z,
                ))
        };
        (0..corners).map(at).collect()
    };
    let disc = (0..32).map(|i| {
        let angle = std::f64::consts::TAU * f64::from(i / 2) / 16.0;
        let (radius, z) = if i % 2 == 0 {
            (0.0125, -0.015)
        } else {
            (0.0115, -0.012)
        };
        Vec3::new(radius * libm::cos(angle), radius * libm::sin(angle), z)
    });
    let mut all: Vec<Vec<Vec3>> = vec![disc.collect()];
    for i in 1..pieces {
        let f = i as f64 / pieces as f64;
        let (angle, out) = (2.4 * i as f64, 0.006 * (0.3 + f));
        let middle = Vec3::new(
            out * libm::cos(angle),
            out * libm::sin(angle),
            0.024 * f - 0.011,
        );
        let half = Vec3::new(0.003 + 0.002 * (i % 3) as f64 / 2.0, 0.003, 0.0035);
        all.push(blob(middle, half, 16));
    }
    let (mut volume, mut first, mut second) = (0.0, Vec3::zeros(), Mat3::zeros());
    for piece in &all {
        let wrapped = hull(piece)?;
        let moments = solid::divergence(&Mesh {
            vertices: wrapped.points,
            triangles: wrapped.faces,
        });
        volume += moments.volume;
        first += moments.first;
        second += moments.second;
    }
    let centre = first / volume;
    let about = second - centre * centre.transpose() * volume;
    let body = Body {
        mass: density * volume,
        centre,
        inertia: (Mat3::identity() * about.trace() - about) * density,
    };
    let mut shape = Shape::convex(hull(&all.concat())?.points, body);
    shape.pieces = all;
    Ok(shape)
}

/// A tip below a disc: the hull of a peg top about its centre of mass.
pub(super) fn peg_top(mass: f64, arm: f64, [across, along]: [f64; 2]) -> Shape {
    let rim = (0..8).map(|i| {
        let angle = std::f64::consts::FRAC_PI_4 * f64::from(i);
        Vec3::new(0.008 * libm::cos(angle), 0.008 * libm::sin(angle), 0.0)
    });
    let hull = std::iter::once(Vec3::new(0.0, 0.0, -arm))
        .chain(rim)
        .collect();
    let body = Body {
        mass,
        centre: Vec3::zeros(),
        inertia: Mat3::from_diagonal(&Vec3::new(across, across, along)),
    };
    Shape::convex(hull, body)
}

/// One figure in a box of 200 x 150 x 100 mm shaken with incommensurate sinusoids of 20 to 30 mm
/// at 3 to 4.4 Hz.
#[must_use]
pub fn shaken_box(shape: Shape) -> Scene {
    let path = BoxPath::Shake {
        amplitude: Vec3::new(0.030, 0.025, 0.020),
        frequency: Vec3::new(3.0, 3.71, 4.43),
        phase: Vec3::new(0.5, 2.1, 4.4),
    };
    let mut start = State::still(path.position(0.0), Quat::identity());
    start.velocity = Vec3::new(0.3, -0.2, 0.1);
    Scene {
        path,
        ..Scene::lone(shape, start, Vec3::new(0.1, 0.075, 0.05))
    }
}

/// The box of [`shaken_box`] with several [`totem`]s.
///
/// # Errors
/// More figures than the box holds apart.
pub fn crowded_box(figures: usize, pieces: usize) -> Result<Scene> {
    let shape = Arc::new(totem(pieces, 7300.0)?);
    let mut scene = shaken_box(Shape::clone(&shape));
    let middle = scene.path.position(0.0);
    let place = |i: usize| {
        let (x, y, z) = (i % 4, i / 4 % 3, i / 12);
        Vec3::new(
            0.045 * x as f64 - 0.07,
            0.045 * y as f64 - 0.045,
            0.04 * z as f64 - 0.02,
        )
    };
    scene.start = (0..figures)
        .map(|i| {
            let turn = Vec3::new(0.7 * i as f64, 1.1 * i as f64, 0.3 + i as f64);
            let half = turn * 0.25;
            let raw = nalgebra::Quaternion::new(1.0, half.x, half.y, half.z);
            let mut state = State::still(middle + place(i), Quat::new_normalize(raw));
            state.velocity = Vec3::new(0.3 - 0.1 * i as f64, -0.2 + 0.1 * i as f64, 0.1);
            state
        })
        .collect();
    scene.shapes = vec![shape; figures];
    Ok(scene)
}
