//! The solver against exact punches, a finite-element calculation and its own symmetries.

use super::foundation::{Filling, Foundation, Pad};
use super::grid::Grid;
use super::press::{Pressed, Workspace};
use crate::law::foam::{Foam, OPEN_CELL};
use crate::law::punch::{self, Punch, table};

fn foam_pad(thickness: f64) -> Pad {
    Pad {
        filling: Filling::Foam(Foam::new(OPEN_CELL, 3500.0)),
        thickness,
    }
}

fn elastic_pad(thickness: f64, poisson: f64) -> Pad {
    Pad {
        filling: Filling::Elastic {
            youngs: 1e6,
            poisson,
        },
        thickness,
    }
}

/// Gap of `indentation` minus the depth of a shape of revolution or any map.
fn gap(grid: &Grid, indentation: f64, depth: impl Fn(f64, f64) -> f64) -> Vec<f64> {
    (0..grid.cells())
        .map(|c| {
            let [x, y] = grid.middle(c);
            indentation - depth(x, y)
        })
        .collect()
}

/// Depth of a cylinder with a hemispherical end, infinite beside it.
fn rod(radius: f64) -> impl Fn(f64, f64) -> f64 {
    move |x, y| {
        let r2 = x * x + y * y;
        if r2 < radius * radius {
            radius - (radius * radius - r2).sqrt()
        } else {
            f64::INFINITY
        }
    }
}

/// Gap of a flat disc: cells covered by half or more (4 x 4 samples).
fn disc(grid: &Grid, indentation: f64, radius: f64) -> Vec<f64> {
    gap(grid, indentation, |x, y| {
        let inside = (0..16).filter(|k| {
            let at = |k: i32| (f64::from(k) - 1.5) * 0.25 * grid.spacing;
            (x + at(k % 4)).hypot(y + at(k / 4)) < radius
        });
        if inside.count() >= 8 {
            0.0
        } else {
            f64::INFINITY
        }
    })
}

fn press(pad: &Pad, grid: &Grid, gap: &[f64]) -> Pressed {
    press_to(super::press::TOLERANCE, pad, grid, gap)
}

fn press_to(tolerance: f64, pad: &Pad, grid: &Grid, gap: &[f64]) -> Pressed {
    let foundation = Foundation::new(pad, grid.columns, grid.rows, grid.spacing);
    let mut workspace = Workspace::new(&foundation);
    workspace.tolerance = tolerance;
    match foundation.press(gap, None, &mut workspace) {
        Ok(pressed) => pressed,
        Err(error) => panic!("{error}"),
    }
}

/// Paraboloid R 5 mm sunk 2 mm into 20 mm, nu 0 to 0.45, against the exact punch: the periodic
/// images leave 0.1 %, for the incompressible finger layer the bulge beside the contact more.
#[test]
fn an_elastic_layer_meets_the_exact_paraboloid() {
    let h = 0.02;
    for (nu, tolerance) in [(0.0, 2e-3), (0.3, 3e-3), (0.45, 8e-3)] {
        // Radius for a depth of 2 mm by secant on the exact solution.
        let exact = |a: f64| punch::press(Punch::Paraboloid(0.25), a, nu);
        let (mut low, mut high) = (0.05, 0.3);
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if exact(middle).indentation < 0.1 {
                low = middle
            } else {
                high = middle
            }
        }
        let truth = exact(low);
        let grid = Grid::centred(256, 256, 0.25e-3);
        let parabola = gap(&grid, 2e-3, |x, y| (x * x + y * y) / (2.0 * 5e-3));
        let pressed = press(&elastic_pad(h, nu), &grid, &parabola);
        let force = truth.force * 1e6 * h * h;
        assert!(
            (pressed.force / force - 1.0).abs() < tolerance,
            "nu {nu}: {} {force}",
            pressed.force
        );
        let peak = pressed.pressure.iter().copied().fold(0.0, f64::max);
        assert!(
            (peak / (truth.axis_pressure * 1e6) - 1.0).abs() < 5e-3,
            "nu {nu}: peak {peak}"
        );
        let area = pressed.pressure.iter().filter(|p| **p > 0.0).count() as f64 * grid.cell_area();
        let circle = std::f64::consts::PI * (low * h).powi(2);
        assert!(
            (area / circle - 1.0).abs() < 0.04,
            "nu {nu}: area {area} {circle}"
        );
    }
}

/// Two indentations on which the same iteration without its guard ends at 8.8 and 1.03 in place
/// of 1.33 and 1.67 (collapse spread 1.0 and 1.3; here with 1.5: 1.484 and 1.765).
#[test]
fn the_two_silent_failures_stay_mended() {
    let grid = Grid::centred(128, 128, 0.5e-3);
    let foam = Foam::new(OPEN_CELL, 3500.0);
    for (strain, factor) in [(0.25, 1.484), (0.40, 1.765)] {
        let map = disc(&grid, strain * 0.01, 0.012);
        let cells = map.iter().filter(|g| g.is_finite()).count();
        let pressed = press(&foam_pad(0.01), &grid, &map);
        let s = pressed.force / (cells as f64 * grid.cell_area() * foam.stress(strain));
        assert!((s / factor - 1.0).abs() < 6e-3, "strain {strain}: {s}");
    }
}

/// Spheres and rods against a finite-strain hyperfoam finite-element calculation (axisymmetric,
/// our own, not a published one): force within 12 %, mean within 2 %. The collapse spread was
/// chosen in view of these rows, so this holds the code, not the model.
#[test]
fn finite_element_columns() {
    let rows = table(include_str!("../../tests/reference/pad/foam_spheres.csv"));
    assert_eq!(rows.len(), 28);
    let mut ratios = Vec::new();
    for row in rows.iter().filter(|r| r[0] >= 1.0 && r[2] <= 3.0) {
        let spacing = if row[0] >= 5.0 { 0.5e-3 } else { 0.125e-3 };
        let n = if row[0] >= 5.0 { 128 } else { 256 };
        let grid = Grid::centred(n, n, spacing);
        let map = gap(&grid, row[2] * 1e-3, rod(row[0] * 1e-3));
        let ratio = press(&foam_pad(row[1] * 1e-3), &grid, &map).force / row[3];
        println!("{row:?} {ratio:.3}");
        assert!((ratio - 1.0).abs() < 0.12, "{row:?}: {ratio}");
        ratios.push(ratio);
    }
    let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
    assert!((mean - 0.97).abs() < 0.03, "{mean}");
}

/// Smooth bumps 64 mm across: height towards the pad.
fn bumps(x: f64, y: f64) -> f64 {
    let g = |cx: f64, cy: f64, a: f64, sx: f64, sy: f64| {
        a * (-((x * 1e3 - cx) / sx).powi(2) - ((y * 1e3 - cy) / sy).powi(2)).exp()
    };
    let z = g(0., 0., 5., 7., 9.)
        + g(5., 6., 1.5, 1.2, 2.)
        + g(-4., -3., 2., 0.8, 0.8)
        + g(1., -8., 1.8, 3., 0.7)
        - 8.0;
    -z.max(-30.0) * 1e-3
}

/// An even pad does not care where it is pressed, so sum p grad h = 0; on halving the cells the
/// force settles.
#[test]
fn no_side_force_and_grid_convergence() {
    let mut forces = Vec::new();
    for (n, limit) in [(128, 3e-2), (256, 1e-2)] {
        let grid = Grid::centred(n, n, 0.064 / n as f64);
        let pressed = press_to(1e-5, &foam_pad(0.02), &grid, &gap(&grid, 4.5e-3, bumps));
        let d = grid.spacing;
        let (mut fx, mut fy) = (0.0, 0.0);
        for (c, p) in pressed.pressure.iter().enumerate() {
            let [x, y] = grid.middle(c);
            fx += p * (bumps(x + d, y) - bumps(x - d, y)) / (2.0 * d) * grid.cell_area();
            fy += p * (bumps(x, y + d) - bumps(x, y - d)) / (2.0 * d) * grid.cell_area();
        }
        let side = fx.hypot(fy) / pressed.force;
        println!("{n}: {side:.2e}");
        assert!(side < limit, "{n}: {side}");
        forces.push(pressed.force);
    }
    assert!((forces[0] / forces[1] - 1.0).abs() < 0.015, "{forces:?}");
}

/// Wide contact is exactly sigma(w/H): a plate as wide as the repeating plane.
#[test]
fn an_even_press_is_the_foams_curve() {
    let grid = Grid::centred(32, 32, 1e-3);
    let foam = Foam::new(OPEN_CELL, 3500.0);
    for strain in [0.02, 0.2, 0.5, 0.8] {
        let pressed = press(&foam_pad(0.02), &grid, &vec![strain * 0.02; grid.cells()]);
        let pressure = pressed.force / (grid.cells() as f64 * grid.cell_area());
        assert!(
            (pressure / foam.stress(strain) - 1.0).abs() < 3e-3,
            "{strain}: {pressure}"
        );
        assert!((pressed.strain - strain).abs() < 1e-3);
    }
}

#[test]
fn no_overlap_no_force() {
    let grid = Grid::centred(32, 32, 1e-3);
    let pressed = press(&foam_pad(0.02), &grid, &gap(&grid, -1e-4, rod(5e-3)));
    assert_eq!(pressed.force, 0.0);
}

/// Strip, cylinder and wedge that run on without end, against one-dimensional transforms on a
/// fifth of the spacing.
#[test]
fn plane_cases_meet_their_table() {
    let rows = table(include_str!("../../tests/reference/pad/plane_cases.csv"));
    assert_eq!(rows.len(), 13);
    let h = 0.01;
    let grid = Grid::centred(2048, 32, 16.0 * h / 2048.0);
    let pad = elastic_pad(h, 0.0);
    for row in rows {
        let (size, depth) = (row[1] * h, row[2] * h);
        let map = gap(
            &grid,
            if row[0] == 0.0 { 0.01 * h } else { depth },
            |x, _| match row[0] as u8 {
                0 if x.abs() < size => 0.0,
                0 => f64::INFINITY,
                1 => x * x / (2.0 * size),
                _ => x.abs(),
            },
        );
        let pressed = press(&pad, &grid, &map);
        let length = 32.0 * grid.spacing;
        let scale = if row[0] == 0.0 { 0.01 } else { 1.0 };
        let force = pressed.force / (length * 1e6 * h * scale);
        assert!((force / row[3] - 1.0).abs() < 0.012, "{row:?}: {force}");
    }
}

/// Two rods side by side shield each other less the further apart they are: force over twice the
/// single rod's on the elastic layer, 1 mm deep. Values of the same method in Python (regression).
#[test]
fn two_tips_shield_each_other() {
    let grid = Grid::centred(256, 256, 0.25e-3);
    let force = |spacing: f64| {
        let one = rod(0.5e-3);
        let map = gap(&grid, 1e-3, |x, y| {
            one(x - spacing / 2.0, y).min(one(x + spacing / 2.0, y))
        });
        press(&elastic_pad(0.02, 0.0), &grid, &map).force
    };
    let single = force(0.0);
    for (mm, ratio) in [(1.5, 0.846), (3.0, 0.925), (6.0, 0.969), (12.0, 0.991)] {
        let mine = force(mm * 1e-3) / (2.0 * single);
        // Half a cell of shift changes which cells a rod of four cells covers.
        assert!((mine / ratio - 1.0).abs() < 0.02, "{mm}: {mine}");
    }
}
