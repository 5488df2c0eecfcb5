//! How the box moves.

use crate::base::{Quat, Vec3};
use std::f64::consts::TAU;

/// Pose and motion of the box at one time, in the world.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motion {
    /// [m] middle of the box.
    pub position: Vec3,
    /// From the box's frame to the world.
    pub rotation: Quat,
    /// [m/s] of the middle.
    pub velocity: Vec3,
    /// [rad/s]
    pub spin: Vec3,
}

impl Motion {
    /// [m/s] of the box's material at a point of the world.
    #[must_use]
    pub fn velocity_at(&self, point: &Vec3) -> Vec3 {
        self.velocity + self.spin.cross(&(point - self.position))
    }
}

/// A prescribed path.
#[derive(Debug, Clone, PartialEq)]
pub enum BoxPath {
    /// Does not move.
    Still,
    /// Sinusoid on each axis: amplitude sin(2 pi f t + phase).
    Shake {
        /// [m]
        amplitude: Vec3,
        /// [Hz]
        frequency: Vec3,
        /// [rad]
        phase: Vec3,
    },
}

impl BoxPath {
    /// Does the box ever turn?
    #[must_use]
    pub fn turns(&self) -> bool {
        match self {
            BoxPath::Still | BoxPath::Shake { .. } => false,
        }
    }

    /// [m] middle of the box.
    #[must_use]
    pub fn position(&self, time: f64) -> Vec3 {
        match self {
            BoxPath::Still => Vec3::zeros(),
            BoxPath::Shake {
                amplitude,
                frequency,
                phase,
            } => {
                Vec3::from_fn(|k, _| amplitude[k] * libm::sin(TAU * frequency[k] * time + phase[k]))
            }
        }
    }

    /// Attitude of the box.
    #[must_use]
    pub fn rotation(&self, _time: f64) -> Quat {
        Quat::identity()
    }

    /// Pose and velocities; `velocity` and `spin` are the exact derivatives of the pose.
    #[must_use]
    pub fn at(&self, time: f64) -> Motion {
        let velocity = match self {
            BoxPath::Still => Vec3::zeros(),
            BoxPath::Shake {
                amplitude,
                frequency,
                phase,
            } => Vec3::from_fn(|k, _| {
                let rate = TAU * frequency[k];
                amplitude[k] * rate * libm::cos(rate * time + phase[k])
            }),
        };
        Motion {
            position: self.position(time),
            rotation: self.rotation(time),
            velocity,
            spin: Vec3::zeros(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Velocity is the derivative of position (central difference, error h^2).
    #[test]
    fn velocity_is_the_slope_of_position() {
        let path = BoxPath::Shake {
            amplitude: Vec3::new(0.03, 0.025, 0.02),
            frequency: Vec3::new(3.0, 3.71, 4.43),
            phase: Vec3::new(0.1, 2.0, 4.0),
        };
        let h = 1e-5;
        for t in [0.0, 0.37, 12.3] {
            let slope = (path.position(t + h) - path.position(t - h)) / (2.0 * h);
            assert!((slope - path.at(t).velocity).norm() < 1e-8);
        }
    }
}
