//! One body: bouncing, sliding, rolling, landing.

use super::super::{Shape, State};
use super::{Bench, ROOM, Row, on_floor, room};
use crate::law::{coulomb, impact};
use base::{Quat, Result, Vec3};

impl Bench {
    pub(super) fn bounces(&self, rows: &mut Vec<Row>) -> Result<()> {
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

    pub(super) fn blocks(&self, rows: &mut Vec<Row>) -> Result<()> {
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

    pub(super) fn rolling(&self, rows: &mut Vec<Row>) -> Result<()> {
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

    pub(super) fn oblique(&self, rows: &mut Vec<Row>) -> Result<()> {
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
    pub(super) fn landings(&self, rows: &mut Vec<Row>) -> Result<()> {
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
}
