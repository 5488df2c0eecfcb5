//! Torque-free rotation and principal axes.

use base::{Mat3, Quat, Vec3};
use nalgebra::Quaternion;

/// Rotation in flight: attitude and angular momentum in the body's principal axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spin {
    /// From the principal axes to the world.
    pub attitude: Quat,
    /// [kg m2/s] in the principal axes.
    pub momentum: Vec3,
}

/// Turns freely for a time.
///
/// Implicit midpoint rule for the momentum and the matching Cayley turn for the attitude: energy,
/// and angular momentum in the world, are kept to rounding (Simo & Wong 1991, Int. J. Numer.
/// Meth. Eng. 31:19; the rotation's phase has an error of order `time` squared).
///
/// * `inertia`: [kg m2] principal moments
/// * `time`: [s]
#[must_use]
pub fn turn(spin: &Spin, inertia: &Vec3, time: f64) -> Spin {
    let start = spin.momentum;
    let size = start.abs().max();
    let mut end = start;
    let mut rate = start.component_div(inertia);
    // Contracts by about spin x time per pass, 0.02 for tumbling figures; 30 is never reached there.
    for _ in 0..30 {
        let next = start + ((start + end) * 0.5).cross(&rate) * time;
        let change = (next - end).abs().max();
        end = next;
        rate = ((start + end) * 0.5).component_div(inertia);
        if change <= 1e-16 * size {
            break;
        }
    }
    let half = rate * (0.5 * time);
    let cayley = Quaternion::new(1.0, half.x, half.y, half.z);
    let turned = spin.attitude.quaternion() * cayley;
    Spin {
        attitude: Quat::new_unchecked(turned / turned.norm()),
        momentum: end,
    }
}

/// Motion of a body with the attitude as a matrix, which every question about corners needs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pose {
    /// [m] centre of mass in the world.
    pub position: Vec3,
    /// [m/s]
    pub velocity: Vec3,
    pub spin: Spin,
    /// From the principal axes to the world.
    pub axes: Mat3,
}

impl Pose {
    pub(super) fn new(position: Vec3, velocity: Vec3, spin: Spin) -> Pose {
        Pose {
            position,
            velocity,
            spin,
            axes: *spin.attitude.to_rotation_matrix().matrix(),
        }
    }

    /// Free flight under gravity.
    pub(super) fn fly(&self, inertia: &Vec3, gravity: f64, time: f64) -> Pose {
        let fall = Vec3::new(0.0, 0.0, -gravity * time);
        Pose::new(
            self.position + (self.velocity + fall * 0.5) * time,
            self.velocity + fall,
            turn(&self.spin, inertia, time),
        )
    }

    /// The same motion from a place shifted in the world and an attitude turned about the principal
    /// axes; both small. Kinetic energy stays, as the momentum is told in the principal axes.
    pub(super) fn moved(&self, shift: &Vec3, turn: &Vec3) -> Pose {
        let half = turn * 0.5;
        let turned = self.spin.attitude.quaternion() * Quaternion::new(1.0, half.x, half.y, half.z);
        let spin = Spin {
            attitude: Quat::new_unchecked(turned / turned.norm()),
            momentum: self.spin.momentum,
        };
        Pose::new(self.position + shift, self.velocity, spin)
    }

    /// Free motion without gravity.
    pub(super) fn drift(&self, inertia: &Vec3, time: f64) -> Pose {
        Pose::new(
            self.position + self.velocity * time,
            self.velocity,
            turn(&self.spin, inertia, time),
        )
    }
}

/// Principal moments [kg m2] and the rotation from the principal axes to the figure's frame.
///
/// Jacobi rotations (Golub & Van Loan 1996, sec. 8.4): only +, -, x, / and square roots, so the
/// same bytes come out everywhere.
#[must_use]
pub fn principal(inertia: &Mat3) -> (Vec3, Mat3) {
    let mut a = *inertia;
    let mut axes = Mat3::identity();
    for _ in 0..60 {
        let off = [(0, 1), (0, 2), (1, 2)];
        let (p, q) = off.into_iter().fold((0, 1), |best, pq| {
            if a[pq].abs() > a[best].abs() {
                pq
            } else {
                best
            }
        });
        if a[(p, q)].abs() <= 1e-18 * a.trace() {
            break;
        }
        let theta = (a[(q, q)] - a[(p, p)]) / (2.0 * a[(p, q)]);
        let t = 1.0_f64.copysign(theta) / (theta.abs() + (theta * theta + 1.0).sqrt());
        let c = 1.0 / (t * t + 1.0).sqrt();
        let mut turn = Mat3::identity();
        turn[(p, p)] = c;
        turn[(q, q)] = c;
        turn[(p, q)] = t * c;
        turn[(q, p)] = -t * c;
        a = turn.transpose() * a * turn;
        axes *= turn;
    }
    if axes.determinant() < 0.0 {
        let flipped = -axes.column(2);
        axes.set_column(2, &flipped);
    }
    (a.diagonal(), axes)
}

/// Quaternion of a rotation matrix by plain arithmetic (Shepperd 1978, J. Guidance 1:223).
#[must_use]
pub fn quaternion(m: &Mat3) -> Quat {
    let trace = m.trace();
    let squares = [trace, m[(0, 0)], m[(1, 1)], m[(2, 2)]];
    let best = (1..4).fold(0, |b, i| if squares[i] > squares[b] { i } else { b });
    let (xy, xz, yz) = (
        m[(0, 1)] + m[(1, 0)],
        m[(0, 2)] + m[(2, 0)],
        m[(1, 2)] + m[(2, 1)],
    );
    let (x, y, z) = (
        m[(2, 1)] - m[(1, 2)],
        m[(0, 2)] - m[(2, 0)],
        m[(1, 0)] - m[(0, 1)],
    );
    let raw = match best {
        0 => Quaternion::new(1.0 + trace, x, y, z),
        1 => Quaternion::new(x, 1.0 + 2.0 * m[(0, 0)] - trace, xy, xz),
        2 => Quaternion::new(y, xy, 1.0 + 2.0 * m[(1, 1)] - trace, yz),
        _ => Quaternion::new(z, xz, yz, 1.0 + 2.0 * m[(2, 2)] - trace),
    };
    Quat::new_unchecked(raw / raw.norm())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn principal_axes_rebuild_the_tensor() {
        let tensor = Mat3::new(3.0, 0.4, -0.2, 0.4, 2.0, 0.3, -0.2, 0.3, 1.5);
        let (moments, axes) = principal(&tensor);
        let back = axes * Mat3::from_diagonal(&moments) * axes.transpose();
        assert!((back - tensor).norm() < 1e-14 && (axes.determinant() - 1.0).abs() < 1e-14);
        let q = quaternion(&axes);
        assert!((q.to_rotation_matrix().matrix() - axes).norm() < 1e-14);
    }

    /// Euler's top: a body spun about its middle axis turns over, and both invariants stay.
    #[test]
    fn a_free_top_keeps_energy_and_angular_momentum() {
        let inertia = Vec3::new(1e-6, 2e-6, 3e-6);
        let mut spin = Spin {
            attitude: Quat::identity(),
            momentum: Vec3::new(1e-8, 2e-6 * 40.0, 1e-8),
        };
        let energy = |s: &Spin| 0.5 * s.momentum.dot(&s.momentum.component_div(&inertia));
        let (energy0, world0) = (energy(&spin), spin.attitude * spin.momentum);
        let mut turned_over = false;
        for _ in 0..20_000 {
            spin = turn(&spin, &inertia, 5e-4);
            turned_over |= spin.momentum.y < 0.0;
        }
        assert!(turned_over, "the middle axis is unstable");
        assert!((energy(&spin) / energy0 - 1.0).abs() < 1e-11);
        assert!(((spin.attitude * spin.momentum - world0).norm() / world0.norm()) < 1e-11);
    }
}
