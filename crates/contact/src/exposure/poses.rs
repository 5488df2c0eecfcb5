//! Random poses of a figure under a pad.

use crate::pad::Pose;
use base::random::Stream;
use base::{Quat, Vec3};
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};
use std::f64::consts::TAU;

/// A pose about a wanted one: the outward direction tilted about a random axis, the pad turned
/// so that its first axis, along which it strokes, has a random direction.
///
/// * `outward`: unit vector of the figure that should face the pad
/// * `tilt`: \[rad\] standard deviation about each of the two level axes
pub(super) fn tilted(outward: &Vec3, tilt: f64, random: &mut Stream) -> Pose {
    let a: f64 = StandardNormal.sample(random);
    let b: f64 = StandardNormal.sample(random);
    let spin: f64 = random.random();
    let (t1, t2) = base::geometry::tangents(outward);
    let lean = Quat::from_scaled_axis((t1 * a + t2 * b) * tilt);
    let facing = Pose::facing(&(lean * outward)).turn;
    Pose {
        turn: Quat::from_axis_angle(&Vec3::z_axis(), TAU * spin) * facing,
    }
}
