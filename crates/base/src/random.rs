//! Counter-based random streams: the draw depends on the names of the thing and the replicate's
//! number, never on thread, order or time.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

/// A random stream. Same seed, names and replicate: same numbers on any machine.
pub type Stream = ChaCha8Rng;

/// The stream of one replicate of one named thing.
///
/// * `seed`: the scenario's seed
/// * `names`: what it is for, outermost first, such as `["tumble", "lunch box", "metal"]`
/// * `replicate`: counts from 0; streams of one key do not overlap (ChaCha, 2^64 blocks each)
#[must_use]
pub fn stream(seed: u64, names: &[&str], replicate: u64) -> Stream {
    let mut hasher = blake3::Hasher::new();
    hasher.update(&seed.to_le_bytes());
    for name in names {
        hasher.update(&(name.len() as u64).to_le_bytes());
        hasher.update(name.as_bytes());
    }
    let mut stream = ChaCha8Rng::from_seed(*hasher.finalize().as_bytes());
    stream.set_stream(replicate);
    stream
}

/// A rotation drawn uniformly from all attitudes (Shoemake 1992, Graphics Gems III, p. 124).
pub fn attitude(random: &mut Stream) -> super::Quat {
    use rand::RngExt;
    let (u1, u2, u3): (f64, f64, f64) = (random.random(), random.random(), random.random());
    let (a, b) = ((1.0 - u1).sqrt(), u1.sqrt());
    // The standard library's sine may differ between machines and builds.
    let (s2, c2) = libm::sincos(std::f64::consts::TAU * u2);
    let (s3, c3) = libm::sincos(std::f64::consts::TAU * u3);
    super::Quat::from_quaternion(nalgebra::Quaternion::new(b * c3, a * s2, a * c2, b * s3))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::RngExt;

    #[test]
    fn streams_depend_on_every_name_and_number() {
        let first = |mut s: Stream| -> u64 { s.random() };
        let base = first(stream(1, &["a", "b"], 0));
        assert_eq!(base, first(stream(1, &["a", "b"], 0)));
        assert_ne!(base, first(stream(2, &["a", "b"], 0)));
        assert_ne!(base, first(stream(1, &["ab", ""], 0)));
        assert_ne!(base, first(stream(1, &["a", "b"], 1)));
    }

    #[test]
    fn attitudes_have_no_preferred_direction() {
        let mut random = stream(7, &["attitude"], 0);
        let n = 20_000;
        let mut mean = crate::Vec3::zeros();
        for _ in 0..n {
            mean += attitude(&mut random) * crate::Vec3::z() / f64::from(n);
        }
        assert!(mean.norm() < 4.0 / f64::from(n).sqrt(), "{mean:?}");
    }
}
