//! One knock at one point, integrated along its normal impulse.
//!
//! Coordinates of this file: component 0 along the normal (into the body that receives the
//! impulse), 1 and 2 along the tangents.

use base::{Mat3, Vec3};

/// Increments of normal impulse per compression. 6 to 100 agree within noise in shaken boxes; at
/// 6 a reversal of slip is resolved to some per cent, at 24 to a tenth of one.
const INCREMENTS: u32 = 24;

/// What a knock did.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Knock {
    /// [N s]
    pub impulse: Vec3,
    /// [m/s] relative velocity after.
    pub after: Vec3,
    /// [J] lost along the normal, never negative.
    pub impact: f64,
    /// [J] friction work, never negative beyond rounding.
    pub friction: f64,
}

/// Rigid knock with Coulomb friction and the energetic coefficient of restitution.
///
/// ```text
/// du = K dJ;  dJ_n = dp;  slip sticks if it can within mu dp, else dJ_t = -mu dp u_t/|u_t|
/// compression ends at u_n = 0 with work W_c; the knock ends when the work given back is e^2 |W_c|
/// ```
///
/// * `mobility`: [1/kg] K, symmetric: change of relative velocity per impulse
/// * `before`: [m/s] relative velocity, component 0 negative
/// * `friction`: Coulomb coefficient
/// * `restitution`: 0 to 1
///
/// Source: Keller 1986, J. Appl. Mech. 53:1 (impulse as the independent variable); Stronge 1990,
/// Proc. R. Soc. Lond. A 431:169 (energetic coefficient).
#[must_use]
pub fn knock(mobility: &Mat3, before: Vec3, friction: f64, restitution: f64) -> Knock {
    let mut path = Path {
        mobility,
        friction,
        velocity: before,
        impulse: Vec3::zeros(),
        work: (0.0, 0.0),
    };
    let increment = -before.x / mobility[(0, 0)] / f64::from(INCREMENTS);
    let limit = 40 * INCREMENTS;
    for _ in 0..limit {
        let bit = path.bit(increment);
        let rise = (mobility * bit).x;
        let needed = -path.velocity.x;
        if rise > 0.0 && rise >= needed {
            let last = path.bit(increment * (needed / rise).clamp(0.0, 1.0));
            path.take(&last);
            break;
        }
        path.take(&bit);
    }
    let compression = path.work.0;
    let target = -restitution * restitution * compression;
    for _ in 0..limit {
        if restitution == 0.0 {
            break;
        }
        let bit = path.bit(increment);
        let (slope, curve) = (bit.x * path.velocity.x, 0.5 * bit.x * (mobility * bit).x);
        let missing = target - (path.work.0 - compression);
        if slope + curve >= missing {
            path.take(&(bit * fraction_for(missing, slope, curve)));
            break;
        }
        path.take(&bit);
    }
    Knock {
        impulse: path.impulse,
        after: path.velocity,
        impact: -path.work.0,
        friction: -path.work.1,
    }
}

/// Normal impulse of a lasting contact in one round of the contact solver.
///
/// A point on its way out (`before` above 0) may come back as it left, without a gift from the
/// wall; any other is stopped.
///
/// * `old`: [N s] of the last round
/// * `now`, `before`: [m/s] normal velocity with the impulses so far, and before the step's kick
pub(super) fn normal_impulse(mobility: &Mat3, old: f64, now: f64, before: f64) -> f64 {
    let floor = -before.max(0.0);
    (old + (floor - now) / mobility[(0, 0)]).max(0.0)
}

/// Impulse of a lasting contact after its friction was brought up to date.
///
/// Relaxed by the largest eigenvalue of the tangential mobility: solving the 2x2 block and capping
/// its size would push along K^-1 u instead of against the slip, and stop a sliding block late.
///
/// * `old`: [N s] of the last round; `slip`: [m/s] with the impulses so far
/// * `limits`: [N s] normal impulse, and largest friction impulse
pub(super) fn drag(mobility: &Mat3, old: &Vec3, slip: &Vec3, limits: (f64, f64)) -> Vec3 {
    let k = mobility;
    let (k11, k12, k22) = (k[(1, 1)], k[(1, 2)], k[(2, 2)]);
    let spread = (0.25 * (k11 - k22) * (k11 - k22) + k12 * k12).sqrt();
    let stiffest = 0.5 * (k11 + k22) + spread;
    let mut pull = Vec3::new(0.0, old.y - slip.y / stiffest, old.z - slip.z / stiffest);
    let size = pull.norm();
    if size > limits.1 {
        pull *= limits.1 / size;
    }
    Vec3::new(limits.0, pull.y, pull.z)
}

/// Root in 0 to 1 of curve f^2 + slope f = missing.
fn fraction_for(missing: f64, slope: f64, curve: f64) -> f64 {
    let root = (slope * slope + 4.0 * curve * missing).max(0.0).sqrt();
    let below = slope + root;
    if below > 0.0 {
        (2.0 * missing / below).clamp(0.0, 1.0)
    } else {
        0.0
    }
}

struct Path<'a> {
    mobility: &'a Mat3,
    friction: f64,
    velocity: Vec3,
    impulse: Vec3,
    work: (f64, f64),
}

impl Path<'_> {
    /// The impulse that goes with a normal increment from the present velocity.
    fn bit(&self, normal: f64) -> Vec3 {
        let k = self.mobility;
        let (k11, k12, k22) = (k[(1, 1)], k[(1, 2)], k[(2, 2)]);
        let (turn1, turn2) = (k[(1, 0)] * normal, k[(2, 0)] * normal);
        let (a, b) = (self.velocity.y + turn1, self.velocity.z + turn2);
        let determinant = k11 * k22 - k12 * k12;
        let stick = (
            (b * k12 - a * k22) / determinant,
            (a * k12 - b * k11) / determinant,
        );
        let (needed, limit) = (stick.0.hypot_plain(stick.1), self.friction * normal);
        if needed <= limit {
            return Vec3::new(normal, stick.0, stick.1);
        }
        // Oppose the slip in the middle of the increment, where its direction is second-order right.
        let slip = (self.velocity.y + 0.5 * turn1, self.velocity.z + 0.5 * turn2);
        let speed = slip.0.hypot_plain(slip.1);
        let along = if speed > 1e-12 {
            (-slip.0 / speed, -slip.1 / speed)
        } else {
            (stick.0 / needed, stick.1 / needed)
        };
        Vec3::new(normal, along.0 * limit, along.1 * limit)
    }

    fn take(&mut self, bit: &Vec3) {
        let change = self.mobility * bit;
        let middle = self.velocity + change * 0.5;
        self.work.0 += bit.x * middle.x;
        self.work.1 += bit.y * middle.y + bit.z * middle.z;
        self.velocity += change;
        self.impulse += bit;
    }
}

/// Length of two components by a square root: the library's `hypot` differs between machines.
trait Plain {
    fn hypot_plain(self, other: f64) -> f64;
}

impl Plain for f64 {
    fn hypot_plain(self, other: f64) -> f64 {
        (self * self + other * other).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Central knock that slips throughout: dv_t = mu (1 + e) v_n, v_n+ = e v_n (Whittaker 1904).
    #[test]
    fn a_central_knock_follows_the_textbook() {
        for e in [0.0, 0.5, 0.8, 1.0] {
            let mobility = Mat3::from_diagonal(&Vec3::new(50.0, 175.0, 175.0));
            let knock = knock(&mobility, Vec3::new(-1.0, 6.0, 8.0), 0.2, e);
            assert!((knock.after.x - e).abs() < 1e-12);
            let tangential = knock.impulse.yz().norm() / knock.impulse.x;
            assert!((tangential - 0.2).abs() < 1e-12);
            assert!((knock.impact - 0.5 * (1.0 - e * e) / 50.0).abs() < 1e-14);
        }
    }

    /// Slow slip stops during compression: the sphere leaves rolling, with 2/7 of m v_t.
    #[test]
    fn slow_slip_ends_in_rolling() {
        let mobility = Mat3::from_diagonal(&Vec3::new(50.0, 175.0, 175.0));
        let knock = knock(&mobility, Vec3::new(-1.0, 0.3, 0.0), 0.4, 0.5);
        assert!(knock.after.yz().norm() < 1e-12);
        assert!((knock.impulse.y + 0.3 / 175.0).abs() < 1e-12);
    }

    /// Energy: the two integrals are together -J.(u- + u+)/2 whatever the coupling, and neither
    /// part gives energy back. Stronge's point: with Newton's coefficient a coupled knock can.
    #[test]
    fn no_part_gives_energy_back() {
        let root = Mat3::new(6.0, 2.0, -1.0, 0.0, 9.0, 3.0, 0.0, 0.0, 5.0);
        let mobility = root.transpose() * root;
        for i in 0..60 {
            let angle = f64::from(i) * 0.1;
            let before = Vec3::new(-0.7, 2.0 * angle.cos(), 1.5 * angle.sin());
            let knock = knock(&mobility, before, 0.5, 0.6);
            let whole = -0.5 * knock.impulse.dot(&(before + knock.after));
            assert!((whole - knock.impact - knock.friction).abs() < 1e-13);
            assert!(
                knock.impact >= 0.0 && knock.friction > -1e-5 * whole,
                "{knock:?}"
            );
        }
    }
}
