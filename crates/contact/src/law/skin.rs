//! The finger: a dome of soft tissue on bone, and its friction.

use super::punch::{Punch, press};

/// [m] radius of the pad of a finger. Engineering prior (grade D), range 8 to 10 mm.
pub const PAD_RADIUS: f64 = 9e-3;
/// [m] tissue between skin and bone. Engineering prior (grade D), range 5 to 6 mm.
pub const PAD_THICKNESS: f64 = 5.5e-3;
/// Poisson's ratio of the tissue: nearly incompressible, with room for blood to give way.
pub const POISSON: f64 = 0.45;
/// [m2] gross contact area on a flat plate at 1 N: 70 mm2, range 35 to 140 mm2
/// (Dzidek et al. 2017, PNAS 114:10864, from memory).
pub const AREA_AT_1N: f64 = 70e-6;
/// [N] load that doubles the tissue's modulus. Engineering prior (grade D): stiffness grows
/// steeply with load (Pawluk and Howe 1999, J. Biomech. Eng. 121:178), the number is ours.
pub const STIFFENING: f64 = 2.0;
/// Power with which skin friction changes with load: 0.6 on aluminium at 1 N, 46 % less at 20 N
/// (Seo et al. 2009, Ergonomics 52:609): ln 0.54 / ln 20.
pub const FRICTION_POWER: f64 = -0.206;
/// [N/m] sideways stiffness of a finger pad at 1 to 2 N, range 500 to 3000 (Nakazawa et al. 2000,
/// Wang and Hayward 2007, from memory).
pub const SHEAR_STIFFNESS: f64 = 1200.0;

/// [Pa] secant modulus of the linear layer that stands for the finger at a load.
///
/// ```text
/// E(F) = E0 (1 + F / F1),   E0 such that the area at 1 N on a plate is AREA_AT_1N
/// ```
/// * `force`: \[N\] 0 to about 5; the linear depth is out of range above 2 N
#[must_use]
pub fn modulus(force: f64) -> f64 {
    let h = PAD_THICKNESS;
    let radius = (AREA_AT_1N / std::f64::consts::PI).sqrt() / h;
    let unit = press(Punch::Paraboloid(PAD_RADIUS / h), radius, POISSON);
    let at_1n = 1.0 / (unit.force * h * h);
    at_1n * (1.0 + force / STIFFENING) / (1.0 + 1.0 / STIFFENING)
}

/// Friction of skin at a load, from that at 1 N.
///
/// ```text
/// mu(N) = mu(1 N) N^-0.206
/// ```
/// * `force`: \[N\] above 0; measured from 1 to 20 N, extrapolated below 1 N. The power differs
///   between persons and trials; -1/3 is the limit of smooth damp contact.
#[must_use]
pub fn friction(at_1n: f64, force: f64) -> f64 {
    at_1n * force.powf(FRICTION_POWER)
}

/// Share of a finger's contact that sticks under a sideways load.
///
/// Measured: falls in a straight line from 1 to 0 as the load grows to the slip load (Andre et al.
/// 2011, J. R. Soc. Interface 8:1574). Imposed here, not derived: an elastic pad would give
/// (1 - x)^(2/3).
///
/// * `share`: sideways load over the slip load, 0 or more
#[must_use]
pub fn stuck(share: f64) -> f64 {
    (1.0 - share).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Contact radius on a plate at a force, by bisection on the exact punch.
    fn area(force: f64) -> f64 {
        let (h, e) = (PAD_THICKNESS, modulus(force));
        let (mut low, mut high) = (0.01, 3.0);
        for _ in 0..60 {
            let a = 0.5 * (low + high);
            let p = press(Punch::Paraboloid(PAD_RADIUS / h), a, POISSON).force * e * h * h;
            if p < force { low = a } else { high = a }
        }
        std::f64::consts::PI * (low * h).powi(2)
    }

    /// Seo et al. 2009: 46 % less at 20 N than at 1 N; 0.6 on aluminium, 0.9 on rubber.
    #[test]
    fn friction_falls_by_46_percent_from_1_to_20_newton() {
        for at_1n in [0.6, 0.9] {
            assert!((friction(at_1n, 20.0) / friction(at_1n, 1.0) - 0.54).abs() < 2e-3);
            assert_eq!(friction(at_1n, 1.0), at_1n);
        }
    }

    /// Area 70 mm2 at 1 N growing with a power of 0.35 to 0.6 (Dzidek et al. 2017, from memory).
    #[test]
    fn contact_area_grows_as_measured() {
        let (half, one, two) = (area(0.5), area(1.0), area(2.0));
        assert!((one / 70e-6 - 1.0).abs() < 1e-3, "{one}");
        let power = (two / half).ln() / 4f64.ln();
        assert!((0.35..=0.6).contains(&power), "{power}");
    }

    /// Linear layer (no stiffening): areas at 0.2, 0.5, 2 and 5 N for R 10, H 5 mm, nu 0.45, E set
    /// to 100 mm2 at 1 N. Table made by an independent Python program (Fredholm equation).
    #[test]
    fn linear_finger_table() {
        let h = 5e-3;
        let a1 = (100e-6 / std::f64::consts::PI).sqrt() / h;
        let e = 1.0 / (press(Punch::Paraboloid(2.0), a1, 0.45).force * h * h);
        assert!((e / 23.0e3 - 1.0).abs() < 3e-3, "{e}");
        for (force, mm2, depth) in [(0.2, 39.6, 0.82), (0.5, 67.8, 1.31), (2.0, 145.8, 2.56)] {
            let a = (mm2 * 1e-6 / std::f64::consts::PI).sqrt() / h;
            let p = press(Punch::Paraboloid(2.0), a, 0.45);
            assert!((p.force * e * h * h / force - 1.0).abs() < 6e-3, "{force}");
            assert!((p.indentation * h * 1e3 - depth).abs() < 0.01, "{force}");
        }
    }

    /// Andre et al. 2011: linear from all to nothing.
    #[test]
    fn the_stuck_share_falls_in_a_straight_line() {
        for (x, s) in [(0.0, 1.0), (0.25, 0.75), (0.5, 0.5), (0.9, 0.1), (1.3, 0.0)] {
            assert!((stuck(x) - s).abs() < 1e-12);
        }
    }
}
