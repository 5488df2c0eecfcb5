//! Bodies that touch each other.

use super::super::meet::SKIN;
use super::super::specimens::crowded_box;
use super::super::{Shape, State, run};
use super::{Bench, Row, on_floor, room};
use base::{Quat, Result, Vec3};
use std::sync::Arc;

impl Bench {
    /// Two balls head on, the second at rest, without gravity.
    pub(super) fn collision(&self, rows: &mut Vec<Row>) -> Result<()> {
        let (radius, masses, e, speed) = (5e-3, [4e-3, 12e-3], 0.6, 1.0);
        let mut start =
            [-0.01, 0.01].map(|x| State::still(Vec3::new(x, 0.0, 0.0), Quat::identity()));
        start[0].velocity.x = speed;
        let mut scene = room(Shape::ball(radius, masses[0]), start[0], 0.3, e);
        scene.shapes.push(Arc::new(Shape::ball(radius, masses[1])));
        scene.start.push(start[1]);
        scene.gravity = 0.0;
        let mut engine = self.kind.start(&scene, self.step)?;
        let books = run(engine.as_mut(), &scene, 0.03, |_| ())?;
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
    pub(super) fn stack(&self, rows: &mut Vec<Row>) -> Result<()> {
        let half = Vec3::new(0.01, 0.01, 0.005);
        let at = |i: usize| {
            let height = half.z + i as f64 * (2.0 * half.z + SKIN);
            State::still(on_floor(height), Quat::identity())
        };
        let block = Arc::new(Shape::block(half, 0.02));
        let mut scene = room(Shape::block(half, 0.02), at(0), 0.3, 0.3);
        scene.shapes = vec![block; 3];
        scene.start = (0..3).map(at).collect();
        let mut engine = self.kind.start(&scene, self.step)?;
        let books = run(engine.as_mut(), &scene, 2.0, |_| ())?;
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
    pub(super) fn crowd(&self, rows: &mut Vec<Row>) -> Result<()> {
        let scene = crowded_box(5, 8)?;
        let mut engine = self.kind.start(&scene, self.step)?;
        let books = run(engine.as_mut(), &scene, 2.0, |_| ())?;
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
