//! How the box moves.

use super::recording::Recording;
use base::{Quat, Vec3};
use nalgebra::Quaternion;
use std::f64::consts::TAU;
use std::sync::Arc;

/// Pose and motion of the box at one time, in the world.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motion {
    /// [m] middle of the box.
    pub position: Vec3,
    /// From the box's frame to the world.
    pub rotation: Quat,
    /// [m/s] of the middle.
    pub velocity: Vec3,
    /// [rad/s] in the world.
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
    /// Turns steadily about an axis through the box's middle, as in a rolling drum.
    Roll {
        /// Unit vector, the same in the box and in the world.
        axis: Vec3,
        /// [1/s] turns per second, either way.
        frequency: f64,
        /// [rad] attitude at time 0.
        phase: f64,
    },
    /// A measured path, repeated.
    Recorded {
        /// The measured path.
        recording: Arc<Recording>,
        /// [s] where in the recording time 0 lies.
        offset: f64,
    },
}

impl BoxPath {
    /// Does the box ever turn?
    #[must_use]
    pub fn turns(&self) -> bool {
        matches!(self, BoxPath::Roll { .. } | BoxPath::Recorded { .. })
    }

    /// [m] middle of the box.
    #[must_use]
    pub fn position(&self, time: f64) -> Vec3 {
        match self {
            BoxPath::Still | BoxPath::Roll { .. } => Vec3::zeros(),
            BoxPath::Shake {
                amplitude,
                frequency,
                phase,
            } => {
                Vec3::from_fn(|k, _| amplitude[k] * libm::sin(TAU * frequency[k] * time + phase[k]))
            }
            BoxPath::Recorded { recording, offset } => recording.at(time + offset).position,
        }
    }

    /// From the box's frame to the world.
    #[must_use]
    pub fn rotation(&self, time: f64) -> Quat {
        match self {
            BoxPath::Still | BoxPath::Shake { .. } => Quat::identity(),
            BoxPath::Roll {
                axis,
                frequency,
                phase,
            } => {
                let half = 0.5 * (TAU * frequency * time + phase);
                let vector = axis * libm::sin(half);
                Quat::new_unchecked(Quaternion::from_parts(libm::cos(half), vector))
            }
            BoxPath::Recorded { recording, offset } => recording.at(time + offset).rotation,
        }
    }

    /// Pose and velocities; `velocity` and `spin` are the exact derivatives of the pose.
    #[must_use]
    pub fn at(&self, time: f64) -> Motion {
        let still = Motion {
            position: self.position(time),
            rotation: self.rotation(time),
            velocity: Vec3::zeros(),
            spin: Vec3::zeros(),
        };
        match self {
            BoxPath::Still => still,
            BoxPath::Shake {
                amplitude,
                frequency,
                phase,
            } => Motion {
                velocity: Vec3::from_fn(|k, _| {
                    let rate = TAU * frequency[k];
                    amplitude[k] * rate * libm::cos(rate * time + phase[k])
                }),
                ..still
            },
            BoxPath::Roll {
                axis, frequency, ..
            } => Motion {
                spin: axis * (TAU * frequency),
                ..still
            },
            BoxPath::Recorded { recording, offset } => recording.at(time + offset),
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// Velocity of every material point is the slope of its position (central difference).
    pub fn velocity_is_the_slope(path: &BoxPath, times: &[f64], tolerance: f64) {
        let h = 1e-5;
        let mark = Vec3::new(0.05, -0.03, 0.02);
        for &t in times {
            let point = |t: f64| path.position(t) + path.rotation(t) * mark;
            let slope = (point(t + h) - point(t - h)) / (2.0 * h);
            let told = path.at(t).velocity_at(&point(t));
            assert!((slope - told).norm() < tolerance, "{slope} {told}");
        }
    }

    #[test]
    fn velocity_is_the_slope_of_position() {
        let shake = BoxPath::Shake {
            amplitude: Vec3::new(0.03, 0.025, 0.02),
            frequency: Vec3::new(3.0, 3.71, 4.43),
            phase: Vec3::new(0.1, 2.0, 4.0),
        };
        let roll = BoxPath::Roll {
            axis: Vec3::new(0.6, 0.0, 0.8),
            frequency: -0.7,
            phase: 1.0,
        };
        for path in [shake, roll] {
            velocity_is_the_slope(&path, &[0.0, 0.37, 12.3], 1e-7);
        }
    }
}
