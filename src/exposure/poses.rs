//! Random poses of a figure under a pad, and replicates run in parallel with the same bytes for
//! any number of threads.

use crate::base::random::Stream;
use crate::base::{Error, Quat, Result, Vec3, Watch};
use crate::contact::pad::Pose;
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use std::f64::consts::TAU;
use std::sync::atomic::{AtomicUsize, Ordering};

/// A pose about a wanted one: the outward direction tilted about a random axis, the pad turned
/// so that its first axis, along which it strokes, has a random direction.
///
/// * `outward`: unit vector of the figure that should face the pad
/// * `tilt`: \[rad\] standard deviation about each of the two level axes
pub(super) fn tilted(outward: &Vec3, tilt: f64, random: &mut Stream) -> Pose {
    let a: f64 = StandardNormal.sample(random);
    let b: f64 = StandardNormal.sample(random);
    let spin: f64 = random.random();
    let (t1, t2) = crate::base::geometry::tangents(outward);
    let lean = Quat::from_scaled_axis((t1 * a + t2 * b) * tilt);
    let facing = Pose::facing(&(lean * outward)).turn;
    Pose {
        turn: Quat::from_axis_angle(&Vec3::z_axis(), TAU * spin) * facing,
    }
}

/// Runs `count` independent replicates; their order and bytes do not depend on the threads.
///
/// # Errors
/// The first failure in replicate order; interrupted when the watcher says so.
pub(super) fn replicates<T: Send>(
    count: usize,
    watch: &dyn Watch,
    run: impl Fn(u64) -> Result<T> + Sync,
) -> Result<Vec<T>> {
    let done = AtomicUsize::new(0);
    let results: Vec<Result<T>> = (0..count as u64)
        .into_par_iter()
        .map(|replicate| {
            if watch.stopped() {
                return Err(Error::interrupted("stopped before all poses were pressed"));
            }
            let result = run(replicate);
            let now = done.fetch_add(1, Ordering::Relaxed) + 1;
            watch.progress(
                now as f64 / count as f64,
                &format!("{now} of {count} poses"),
            );
            result
        })
        .collect();
    results.into_iter().collect()
}
