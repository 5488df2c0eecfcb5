//! One figure in a box that moves.

use super::super::specimens::{pebble, shaken_box};
use super::super::{BoxPath, Scene, Shape, State, run};
use super::{Bench, Row};
use crate::Restitution;
use base::{Quat, Result, Vec3};

impl Bench {
    /// The books of a shaken figure: 10 s in a 200 x 150 x 100 mm box.
    pub(super) fn shaken(&self, rows: &mut Vec<Row>) -> Result<()> {
        let scene = shaken_box(pebble(100, 7300.0)?);
        let mut engine = self.kind.start(&scene, self.step)?;
        let books = run(engine.as_mut(), &scene, 10.0, |_| ())?;
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

    /// A block on the floor of a slowly turning box slips at arctan mu.
    pub(super) fn tilted(&self, rows: &mut Vec<Row>) -> Result<()> {
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
    pub(super) fn rolled(&self, rows: &mut Vec<Row>) -> Result<()> {
        let mut scene = shaken_box(pebble(100, 7300.0)?);
        scene.path = BoxPath::Roll {
            axis: Vec3::new(0.6, 0.0, 0.8),
            frequency: 1.5,
            phase: 0.3,
        };
        let mut engine = self.kind.start(&scene, self.step)?;
        let books = run(engine.as_mut(), &scene, 10.0, |_| ())?;
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
}
