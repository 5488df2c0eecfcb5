//! The suite of classical checks, the same for every engine.
//!
//! Each row has a published or derivable expectation. Where an engine is known to deviate, the row
//! also carries what it gives instead and why; it passes only at that value, so that a change of
//! the engine is noticed.

use super::specimens::{crowded_box, pebble, peg_top, shaken_box};
use super::{BoxPath, EngineKind, Ledger, Scene, Shape, State};
use crate::base::{Quat, Result, Vec3};
use crate::contact::Restitution;
use crate::law::{coulomb, impact};
use std::sync::Arc;

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
    bench.corner(&mut rows)?;
    bench.top(&mut rows)?;
    bench.tilted(&mut rows)?;
    bench.rolled(&mut rows)?;
    bench.collision(&mut rows)?;
    bench.stack(&mut rows)?;
    bench.crowd(&mut rows)?;
    Ok(rows)
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

    /// A cube dropped on a corner, its diagonal upright: the impulse passes through the centre.
    fn corner(&self, rows: &mut Vec<Row>) -> Result<()> {
        let (edge, mass, fall, e) = (0.02, 0.02, 0.05, 0.5);
        let diagonal = Vec3::repeat(1.0);
        let upright = Quat::rotation_between(&diagonal, &Vec3::z()).unwrap_or_default();
        let lowest = 0.5 * edge * diagonal.norm();
        let start = State::still(on_floor(lowest + fall), upright);
        let scene = room(Shape::block(diagonal * (0.5 * edge), mass), start, 0.3, e);
        let seen = self.see(&scene, (2.0 * fall / scene.gravity).sqrt() + 0.01)?;
        let due = (1.0 - e * e) * mass * scene.gravity * fall;
        let row = self.row(
            "cube dropped on its corner, loss / ((1 - e^2) m g h)".into(),
            [1.0, seen.ledger.booked() / due, 1e-3],
            "central impact: Newton 1687",
        );
        let late = "gravity acts on within the step of a knock: error of order g dt / v";
        rows.push(self.rapier(row, 1.0, 20.0 * self.step, late));
        Ok(())
    }

    /// A heavy top on a rough floor, started in steady precession.
    fn top(&self, rows: &mut Vec<Row>) -> Result<()> {
        let (mass, arm, tilt, spin) = (0.02, 0.015, 0.35_f64, 250.0);
        let (along, across) = (1.2e-6, 1.0e-6);
        let about_tip = across + mass * arm * arm;
        let (sine, cosine) = (libm::sin(tilt), libm::cos(tilt));
        // I1 W^2 cos - I3 w3 W + m g l = 0, the slow root.
        let (a, b, c) = (
            about_tip * cosine,
            along * spin,
            mass * super::scene::GRAVITY * arm,
        );
        let rate = 2.0 * c / (b + (b * b - 4.0 * a * c).sqrt());
        let axis = Vec3::new(sine, 0.0, cosine);
        let attitude = Quat::rotation_between(&Vec3::z(), &axis).unwrap_or_default();
        let turning = Vec3::new(0.0, 0.0, rate);
        let whole = turning + axis * (spin - rate * cosine);
        let mut start = State::still(on_floor(arm * cosine), attitude);
        start.spin = whole;
        start.velocity = whole.cross(&(axis * arm));
        let scene = room(peg_top(mass, arm, [across, along]), start, 2.0, 0.0);
        let seconds = 0.5;
        let seen = self.see(&scene, seconds)?;
        let end = seen.end.rotation * Vec3::z();
        let turned = libm::atan2(end.y, end.x);
        let due = (rate * seconds).sin().atan2((rate * seconds).cos());
        let missed = (turned - due + std::f64::consts::PI).rem_euclid(std::f64::consts::TAU)
            - std::f64::consts::PI;
        let source =
            "steady precession of the heavy top (Lagrange 1788): I1 W^2 cos a - I3 w W + m g l = 0";
        let rows_due = [
            (
                "heavy top, precession in 0.5 s / due",
                1.0,
                1.0 + missed / (rate * seconds),
                60.0 * self.step,
            ),
            (
                "heavy top, height of its centre after 0.5 s / at start",
                1.0,
                (seen.end.position.z + ROOM) / (arm * cosine),
                100.0 * self.step,
            ),
            (
                "heavy top, energy lost to a rough floor / kinetic energy",
                0.0,
                seen.ledger.booked() / scene.energies(&[start]).0,
                25.0 * self.step,
            ),
        ];
        for (name, expected, got, tolerance) in rows_due {
            let row = self.row(name.into(), [expected, got, tolerance], source);
            let soft = "its contact is a spring of 60 Hz and its gyroscopic term explicit";
            rows.push(self.rapier(row, expected, 0.2, soft));
        }
        Ok(())
    }

    /// A block on the floor of a slowly turning box slips at arctan mu.
    fn tilted(&self, rows: &mut Vec<Row>) -> Result<()> {
        let half = Vec3::new(0.01, 0.01, 0.005);
        let (friction, frequency) = (0.3, 0.01);
        let start = State::still(Vec3::new(0.0, 0.0, half.z - 0.1), Quat::identity());
        let mut scene = Scene::lone(Shape::block(half, 0.02), start, Vec3::repeat(0.1));
        scene.friction = friction;
        scene.restitution = Restitution::Constant(0.0);
        scene.path = BoxPath::Roll {
            axis: Vec3::y(),
            frequency,
            phase: 0.0,
        };
        let mut engine = self.kind.start(&scene, self.step)?;
        let mut contacts = Vec::new();
        let mut slipped = 0.0_f64;
        while slipped < 5e-5 && engine.time() < 10.0 {
            contacts.clear();
            engine.advance(&mut contacts)?;
            let turn = scene.path.rotation(engine.time());
            slipped = (turn.inverse() * engine.states()[0].position).x.abs();
        }
        let angle = std::f64::consts::TAU * frequency * engine.time();
        let row = self.row(
            "block in a slowly turned box, tan(angle at slip) / mu".into(),
            [1.0, libm::tan(angle) / friction, 0.03],
            "definition of the friction angle (ASTM D4518, inclined plane)",
        );
        let creep = "its contacts are springs: a held block creeps before it slips";
        rows.push(self.rapier(row, 0.92, 0.05, creep));
        Ok(())
    }

    /// The books of a figure in a box that turns.
    fn rolled(&self, rows: &mut Vec<Row>) -> Result<()> {
        let mut scene = shaken_box(pebble(100, 7300.0)?);
        scene.path = BoxPath::Roll {
            axis: Vec3::new(0.6, 0.0, 0.8),
            frequency: 1.5,
            phase: 0.3,
        };
        let mut engine = self.kind.start(&scene, self.step)?;
        let books = super::run(engine.as_mut(), &scene, 10.0, |_| ())?;
        let row = self.row(
            "figure in a rolled box, ledger residual / booked".into(),
            [0.0, books.residual_share(), 1e-9],
            "conservation of energy",
        );
        let quadrature = "the wall's speed at a contact is that of the step's start: first order";
        rows.push(self.rapier(row, -70.0 * self.step, 60.0 * self.step, quadrature));
        let row = self.row(
            "figure in a rolled box, deepest overlap [mm]".into(),
            [0.0, 1e3 * books.deepest, 0.03 + 40.0 * self.step],
            "rigid bodies do not overlap; 0.05 mm at 1/2000 s",
        );
        rows.push(self.rapier(row, 0.0, 1.0, "positions are corrected over some 50 ms"));
        Ok(())
    }

    /// Two balls head on, the second at rest, without gravity.
    fn collision(&self, rows: &mut Vec<Row>) -> Result<()> {
        let (radius, masses, e, speed) = (5e-3, [4e-3, 12e-3], 0.6, 1.0);
        let mut start =
            [-0.01, 0.01].map(|x| State::still(Vec3::new(x, 0.0, 0.0), Quat::identity()));
        start[0].velocity.x = speed;
        let mut scene = room(Shape::ball(radius, masses[0]), start[0], 0.3, e);
        scene.shapes.push(Arc::new(Shape::ball(radius, masses[1])));
        scene.start.push(start[1]);
        scene.gravity = 0.0;
        let mut engine = self.kind.start(&scene, self.step)?;
        let books = super::run(engine.as_mut(), &scene, 0.03, |_| ())?;
        let source = "Newton 1687: v2 = (1 + e) m1 v / (m1 + m2)";
        let whole = masses[0] + masses[1];
        let row = self.row(
            "two balls, speed of the one struck".into(),
            [
                (1.0 + e) * masses[0] / whole * speed,
                engine.states()[1].velocity.x,
                1e-6,
            ],
            source,
        );
        rows.push(self.rapier(row, 0.4, 1e-3, "solver's tolerance"));
        let due = 0.5 * (1.0 - e * e) * masses[0] * masses[1] / whole * speed * speed;
        let row = self.row(
            "two balls, impact loss / due".into(),
            [1.0, books.impact / due, 1e-6],
            source,
        );
        rows.push(self.rapier(row, 1.0, 1e-3, "solver's tolerance"));
        Ok(())
    }

    /// Three blocks at rest on each other for two seconds.
    fn stack(&self, rows: &mut Vec<Row>) -> Result<()> {
        let half = Vec3::new(0.01, 0.01, 0.005);
        let skin = 2e-5;
        let at = |i: usize| {
            let height = half.z + i as f64 * (2.0 * half.z + skin);
            State::still(on_floor(height), Quat::identity())
        };
        let block = Arc::new(Shape::block(half, 0.02));
        let mut scene = room(Shape::block(half, 0.02), at(0), 0.3, 0.3);
        scene.shapes = vec![block; 3];
        scene.start = (0..3).map(at).collect();
        let mut engine = self.kind.start(&scene, self.step)?;
        let books = super::run(engine.as_mut(), &scene, 2.0, |_| ())?;
        let moved = engine
            .states()
            .iter()
            .zip(&scene.start)
            .map(|(a, b)| (a.position - b.position).norm())
            .fold(0.0, f64::max);
        let row = self.row(
            "three blocks at rest, farthest moved in 2 s [mm]".into(),
            [0.0, 1e3 * moved, 0.1],
            "statics",
        );
        let soft = "its contacts are springs: a stack settles";
        rows.push(self.rapier(row, 0.5, 0.6, soft));
        let row = self.row(
            "three blocks at rest, energy booked / weight x 1 mm".into(),
            [0.0, books.booked() / (0.06 * scene.gravity * 1e-3), 0.05],
            "statics",
        );
        rows.push(self.rapier(row, 0.5, 0.6, soft));
        Ok(())
    }

    /// The books of five figures of several pieces in a shaken box.
    fn crowd(&self, rows: &mut Vec<Row>) -> Result<()> {
        let scene = crowded_box(5, 8)?;
        let mut engine = self.kind.start(&scene, self.step)?;
        let books = super::run(engine.as_mut(), &scene, 2.0, |_| ())?;
        let row = self.row(
            "five figures, ledger residual / booked".into(),
            [0.0, books.residual_share(), 1e-9],
            "conservation of energy",
        );
        let quadrature = "work of gravity within a step is of second order; position correction";
        rows.push(self.rapier(row, 0.0, 20.0 * self.step, quadrature));
        let negative = [
            ("impact loss", books.negative_impact, 40.0),
            ("friction work", books.negative_friction, 20.0),
        ];
        for (name, energy, known) in negative {
            let row = self.row(
                format!("five figures, negative bookings of {name} / booked"),
                [0.0, books.share(energy), 1e-3],
                "second law: a contact does not give energy",
            );
            let reason = "restitution and friction are solved apart from each other";
            rows.push(self.rapier(row, 0.0, known * self.step, reason));
        }
        let row = self.row(
            "five figures, deepest overlap [mm]".into(),
            [0.0, 1e3 * books.deepest, 0.03 + 40.0 * self.step],
            "rigid bodies do not overlap; 0.05 mm at 1/2000 s",
        );
        rows.push(self.rapier(row, 0.0, 2.0, "positions are corrected over some 50 ms"));
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
