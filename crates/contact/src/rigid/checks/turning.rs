//! One body that turns: a free top, a cube on its corner, a top on the floor.

use super::super::specimens::peg_top;
use super::super::{Shape, State, scene};
use super::{Bench, ROOM, Row, on_floor, room};
use base::{Quat, Result, Vec3};

impl Bench {
    pub(super) fn free_top(&self, rows: &mut Vec<Row>) -> Result<()> {
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
    pub(super) fn corner(&self, rows: &mut Vec<Row>) -> Result<()> {
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
    pub(super) fn top(&self, rows: &mut Vec<Row>) -> Result<()> {
        let (mass, arm, tilt, spin) = (0.02, 0.015, 0.35_f64, 250.0);
        let (along, across) = (1.2e-6, 1.0e-6);
        let about_tip = across + mass * arm * arm;
        let (sine, cosine) = (libm::sin(tilt), libm::cos(tilt));
        // I1 W^2 cos - I3 w3 W + m g l = 0, the slow root.
        let (a, b, c) = (
            about_tip * cosine,
            along * spin,
            mass * scene::GRAVITY * arm,
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
}
