//! The suite of classical checks, the same for every engine.
//!
//! Each row has a published or derivable expectation. Where an engine is known to deviate, the row
//! also carries what it gives instead and why; it passes only at that value, so that a change of
//! the engine is noticed.

use super::{BoxPath, EngineKind, Ledger, Scene, Shape, State};
use crate::base::{Quat, Result, Vec3};
use crate::contact::{Body, Restitution};
use crate::figure::{Mesh, hull::hull, solid};
use crate::law::{coulomb, impact};

/// A known deviation of one engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deviation {
    /// What the engine gives.
    pub gives: f64,
    /// Absolute tolerance about `gives`.
    pub tolerance: f64,
    /// Why.
    pub reason: &'static str,
}

/// One check: expected against got.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// What is checked.
    pub name: String,
    /// What theory or print says.
    pub expected: f64,
    /// What the engine gave.
    pub got: f64,
    /// Absolute tolerance.
    pub tolerance: f64,
    /// Author, year, place; or why it must be so.
    pub source: &'static str,
    /// Written down where the engine is known to be off.
    pub deviation: Option<Deviation>,
}

impl Row {
    /// Does the engine give what is expected of it, known deviation included?
    #[must_use]
    pub fn holds(&self) -> bool {
        let (aim, tolerance) = self
            .deviation
            .map_or((self.expected, self.tolerance), |d| (d.gives, d.tolerance));
        (self.got - aim).abs() <= tolerance
    }
}

/// Runs the whole suite.
///
/// * `kind`: which engine
/// * `step`: [s] time step
///
/// # Errors
/// Passed on from the engine.
pub fn suite(kind: EngineKind, step: f64) -> Result<Vec<Row>> {
    let bench = Bench { kind, step };
    let mut rows = Vec::new();
    bench.bounces(&mut rows)?;
    bench.blocks(&mut rows)?;
    bench.rolling(&mut rows)?;
    bench.oblique(&mut rows)?;
    bench.landings(&mut rows)?;
    bench.free_top(&mut rows)?;
    bench.shaken(&mut rows)?;
    Ok(rows)
}

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

/// One engine at one step, and how its rows are written.
struct Bench {
    kind: EngineKind,
    step: f64,
}

/// [m] half the edge of the large box in which the checks run.
const ROOM: f64 = 1.0;

fn on_floor(height: f64) -> Vec3 {
    Vec3::new(0.0, 0.0, height - ROOM)
}

fn room(shape: Shape, start: State, friction: f64, restitution: f64) -> Scene {
    Scene {
        friction,
        restitution: Restitution::Constant(restitution),
        ..Scene::lone(shape, start, Vec3::repeat(ROOM))
    }
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

/// What a check sees of a run.
struct Seen {
    ledger: Ledger,
    end: State,
    /// [m] highest centre after the first contact.
    apex: f64,
}

impl Bench {
    fn see(&self, scene: &Scene, seconds: f64) -> Result<Seen> {
        let mut engine = self.kind.start(scene, self.step)?;
        let mut ledger = Ledger::open(engine.as_ref(), scene);
        let (mut apex, mut met) = (f64::NEG_INFINITY, false);
        let mut contacts = Vec::new();
        while engine.time() < seconds - 1e-9 {
            contacts.clear();
            engine.advance(&mut contacts)?;
            ledger.read(&contacts);
            met |= !contacts.is_empty();
            if met {
                let state = engine.states()[0];
                // Between steps the flight is a parabola: its top is known from height and speed.
                let rise = state.velocity.z.max(0.0).powi(2) / (2.0 * scene.gravity.max(1e-9));
                apex = apex.max(state.position.z + rise);
            }
        }
        ledger.close(engine.as_ref(), scene);
        Ok(Seen {
            ledger,
            end: engine.states()[0],
            apex,
        })
    }

    fn row(&self, name: String, values: [f64; 3], source: &'static str) -> Row {
        let [expected, got, tolerance] = values;
        Row {
            name,
            expected,
            got,
            tolerance,
            source,
            deviation: None,
        }
    }

    /// Attaches a known deviation if the engine is the second opinion.
    fn rapier(&self, mut row: Row, gives: f64, tolerance: f64, reason: &'static str) -> Row {
        if self.kind == EngineKind::Rapier {
            row.deviation = Some(Deviation {
                gives,
                tolerance,
                reason,
            });
        }
        row
    }

    fn bounces(&self, rows: &mut Vec<Row>) -> Result<()> {
        let (radius, mass, height) = (5e-3, 4e-3, 0.1);
        for e in [0.3, 0.7, 1.0] {
            let start = State::still(on_floor(radius + height), Quat::identity());
            let scene = room(Shape::ball(radius, mass), start, 0.3, e);
            // Until shortly before the second impact.
            let fall = (2.0 * height / scene.gravity).sqrt();
            let seen = self.see(&scene, fall * (1.0 + 1.8 * e))?;
            let reached = (seen.apex + ROOM - radius) / (e * e * height);
            let source = "definition of e: h2 = e^2 h1 (Newton 1687)";
            let row = self.row(
                format!("bounce height / (e^2 h), e {e}"),
                [1.0, reached, 1e-3],
                source,
            );
            let late = "gravity acts on within the step of a knock: error of order g dt / v";
            rows.push(self.rapier(row, 1.0 - 10.0 * self.step, 12.0 * self.step, late));
            if e < 1.0 {
                let due = (1.0 - e * e) * mass * scene.gravity * height;
                let row = self.row(
                    format!("impact loss / ((1 - e^2) m g h), e {e}"),
                    [1.0, seen.ledger.impact / due, 1e-3],
                    source,
                );
                rows.push(self.rapier(row, 1.0, 20.0 * self.step, late));
            }
        }
        Ok(())
    }

    fn blocks(&self, rows: &mut Vec<Row>) -> Result<()> {
        let half = Vec3::new(0.01, 0.01, 0.005);
        for (friction, speed) in [(0.1, 0.5), (0.3, 1.0), (0.8, 1.0)] {
            let mut start = State::still(on_floor(half.z), Quat::identity());
            start.velocity.x = speed;
            let scene = room(Shape::block(half, 0.02), start, friction, 0.0);
            let due = coulomb::stopping_distance(speed, friction, scene.gravity);
            let seen = self.see(&scene, 1.3 * speed / (friction * scene.gravity))?;
            let way = seen.end.position.x / due;
            let row = self.row(
                format!("block's way / (v^2 / 2 mu g), mu {friction}"),
                [1.0, way, 2e-3],
                "Coulomb 1785",
            );
            rows.push(self.rapier(
                row,
                1.105,
                0.012,
                "2x2 stick solve, then a cap: friction along K^-1 u; at this block's corners that \
                 is 0.900 of mu N against the slip, 1/0.900 = 1.111",
            ));
            rows.push(self.row(
                format!("block's friction work / kinetic energy, mu {friction}"),
                [
                    1.0,
                    seen.ledger.friction / (0.5 * 0.02 * speed * speed),
                    2e-3,
                ],
                "energy balance",
            ));
        }
        Ok(())
    }

    fn rolling(&self, rows: &mut Vec<Row>) -> Result<()> {
        let (radius, mass, speed) = (5e-3, 4e-3, 0.7);
        let mut start = State::still(on_floor(radius), Quat::identity());
        start.velocity.x = speed;
        let scene = room(Shape::ball(radius, mass), start, 0.3, 0.0);
        let seen = self.see(&scene, 0.3)?;
        let share = coulomb::rolling_share(0.4);
        let source = "Routh 1905: 5/7 of the speed, 2/7 of the energy lost";
        let row = self.row(
            "sphere, speed kept when it rolls".into(),
            [share, seen.end.velocity.x / speed, 2e-3],
            source,
        );
        rows.push(row);
        let lost = seen.ledger.friction / (0.5 * mass * speed * speed);
        rows.push(self.row(
            "sphere, share of energy lost until it rolls".into(),
            [1.0 - share, lost, 2e-3],
            source,
        ));
        Ok(())
    }

    fn oblique(&self, rows: &mut Vec<Row>) -> Result<()> {
        let (radius, mass, friction) = (5e-3, 4e-3, 0.2);
        for e in [0.0, 0.5, 0.8] {
            let mut start = State::still(on_floor(radius + 1e-3), Quat::identity());
            start.velocity = Vec3::new(3.0, 0.0, -1.0);
            let mut scene = room(Shape::ball(radius, mass), start, friction, e);
            scene.gravity = 0.0;
            let seen = self.see(&scene, 0.01)?;
            let due = impact::slipping_change(friction, e, 1.0);
            let row = self.row(
                format!("oblique knock, dv_t / (mu (1 + e) v_n), e {e}"),
                [1.0, (3.0 - seen.end.velocity.x) / due, 1e-3],
                "Whittaker 1904, sec. 96",
            );
            let reason = "restitution is added after the solve and carries no friction: 1/(1 + e)";
            rows.push(self.rapier(row, 1.0 / (1.0 + e), 5e-3, reason));
        }
        Ok(())
    }

    /// No agreed answer exists: a wide band says so and still catches a lost or doubled contact.
    fn landings(&self, rows: &mut Vec<Row>) -> Result<()> {
        let half = Vec3::new(0.01, 0.01, 0.005);
        for (degrees, low, high) in [(0.0, 0.80, 1.0), (1.0, 0.80, 0.97), (20.0, 0.38, 0.58)] {
            let angle: f64 = f64::to_radians(degrees);
            let attitude = Quat::from_axis_angle(&Vec3::y_axis(), angle);
            let lowest = half.x * angle.sin() + half.z * angle.cos();
            let fall = 0.05;
            let start = State::still(on_floor(lowest + fall), attitude);
            let scene = room(Shape::block(half, 0.02), start, 0.3, 0.5);
            let first = (2.0 * fall / scene.gravity).sqrt();
            let seen = self.see(&scene, first + 2e-3)?;
            let lost = seen.ledger.booked() / (0.02 * scene.gravity * fall);
            rows.push(self.row(
                format!("block landing at {degrees} deg, share of fall energy lost, e 0.5 (band)"),
                [0.5 * (low + high), lost, 0.5 * (high - low)],
                "no agreed answer for several points at once (Chatterjee & Ruina 1998, J. Appl. \
                 Mech. 65:894): a declared band",
            ));
        }
        Ok(())
    }

    /// The books of a shaken figure: 10 s in a 200 x 150 x 100 mm box.
    fn shaken(&self, rows: &mut Vec<Row>) -> Result<()> {
        let scene = shaken_box(pebble(100, 7300.0)?);
        let mut engine = self.kind.start(&scene, self.step)?;
        let books = super::run(engine.as_mut(), &scene, 10.0, |_| ())?;
        let source = "conservation of energy";
        let row = self.row(
            "shaken figure, ledger residual / booked".into(),
            [0.0, books.residual_share(), 1e-9],
            source,
        );
        let quadrature = "work of gravity within a step is of second order; position correction";
        rows.push(self.rapier(row, 0.0, 20.0 * self.step, quadrature));
        let negative = [
            ("impact loss", books.negative_impact, 25.0),
            ("friction work", books.negative_friction, 10.0),
        ];
        for (name, energy, known) in negative {
            let row = self.row(
                format!("shaken figure, negative bookings of {name} / booked"),
                [0.0, books.share(energy), 1e-5],
                "second law: a contact does not give energy",
            );
            let reason = "restitution and friction are solved apart from each other";
            rows.push(self.rapier(row, 0.0, known * self.step, reason));
        }
        let row = self.row(
            "shaken figure, deepest overlap [mm]".into(),
            [0.0, 1e3 * books.deepest, 0.03 + 40.0 * self.step],
            "rigid bodies do not overlap; 0.05 mm at 1/2000 s",
        );
        let reason = "positions are corrected over some 50 ms";
        rows.push(self.rapier(row, 0.0, 1.0, reason));
        Ok(())
    }

    fn free_top(&self, rows: &mut Vec<Row>) -> Result<()> {
        let shape = Shape::block(Vec3::new(0.005, 0.01, 0.015), 0.02);
        let mut start = State::still(Vec3::zeros(), Quat::identity());
        start.spin = Vec3::new(2.0, 30.0, 3.0);
        let inertia = shape.body.inertia;
        let mut scene = room(shape, start, 0.3, 0.3);
        scene.gravity = 0.0;
        let momentum = |s: &State| s.rotation * (inertia * (s.rotation.inverse() * s.spin));
        let end = self.see(&scene, 5.0)?.end;
        let energy = scene.energies(&[end]).0 / scene.energies(&[start]).0;
        let source = "Euler 1758: both are constants of the free top";
        let row = self.row(
            "free top, energy after 5 s / at start".into(),
            [1.0, energy, 1e-9],
            source,
        );
        let explicit = "explicit gyroscopic term: keeps the size of the momentum, not the energy";
        rows.push(self.rapier(row, 1.0 + 17.0 * self.step, 10.0 * self.step, explicit));
        let kept = momentum(&end).dot(&momentum(&start)) / momentum(&start).norm_squared();
        let row = self.row(
            "free top, angular momentum along its start / at start".into(),
            [1.0, kept, 1e-9],
            source,
        );
        rows.push(self.rapier(row, 1.0 - 7.0 * self.step, 10.0 * self.step, explicit));
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all_hold(kind: EngineKind, step: f64) {
        let rows = suite(kind, step).unwrap();
        for row in &rows {
            println!("{:<70} {:>10.6} {:>12.8}", row.name, row.expected, row.got);
        }
        let failed: Vec<&Row> = rows.iter().filter(|r| !r.holds()).collect();
        assert!(failed.is_empty(), "{failed:#?}");
    }

    #[test]
    fn the_exact_engine_passes_the_suite_at_two_steps() {
        all_hold(EngineKind::Exact, 1.0 / 2000.0);
        all_hold(EngineKind::Exact, 1.0 / 500.0);
    }

    #[test]
    fn the_second_opinion_passes_with_its_known_deviations() {
        all_hold(EngineKind::Rapier, 1.0 / 2000.0);
    }
}
