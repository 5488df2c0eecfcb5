//! Elastic contact of round bodies (Hertz 1882), at rest and in impact.

use std::f64::consts::PI;

/// [Pa] contact modulus of a pair.
///
/// ```text
/// 1/E* = (1 - nu1^2)/E1 + (1 - nu2^2)/E2
/// ```
///
/// * `sides`: Young's modulus [Pa] and Poisson's ratio of each side; infinity for a rigid one
///
/// Source: Johnson 1985, Contact Mechanics, Cambridge, eq. 4.21 (from memory).
#[must_use]
pub fn contact_modulus(sides: [(f64, f64); 2]) -> f64 {
    let compliance = |(youngs, poisson): (f64, f64)| (1.0 - poisson * poisson) / youngs;
    1.0 / (compliance(sides[0]) + compliance(sides[1]))
}

/// [m] radius of the contact circle of a sphere on a flat, a = (3 F R / (4 E*))^(1/3).
///
/// * `force`: [N]
/// * `radius`: [m] relative radius of curvature
/// * `modulus`: [Pa] contact modulus
///
/// Source: Johnson 1985, eq. 4.22 (from memory).
#[must_use]
pub fn contact_radius(force: f64, radius: f64, modulus: f64) -> f64 {
    libm::cbrt(0.75 * force * radius / modulus)
}

/// [m] approach of distant points, a^2/R. Arguments as in [`contact_radius`].
#[must_use]
pub fn approach(force: f64, radius: f64, modulus: f64) -> f64 {
    contact_radius(force, radius, modulus).powi(2) / radius
}

/// [Pa] pressure in the middle, p0 = 3F/(2 pi a^2). Arguments as in [`contact_radius`].
#[must_use]
pub fn peak_pressure(force: f64, radius: f64, modulus: f64) -> f64 {
    1.5 * force / (PI * contact_radius(force, radius, modulus).powi(2))
}

/// An elastic knock of a round tip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Knock {
    /// [N] largest force.
    pub force: f64,
    /// [m] largest approach.
    pub approach: f64,
    /// [s] time in contact.
    pub duration: f64,
    /// [m] contact radius at the largest force.
    pub contact_radius: f64,
    /// [Pa] pressure in the middle at the largest force.
    pub pressure: f64,
}

/// Elastic impact of a round tip.
///
/// ```text
/// d = (15 m V^2 / (16 sqrt(R) E*))^(2/5);  F = 4/3 E* sqrt(R) d^(3/2);  T = 2.943 d / V
/// ```
///
/// * `mass`: [kg] effective mass at the contact
/// * `speed`: [m/s] approach, above 0
/// * `radius`: [m] relative radius of curvature
/// * `modulus`: [Pa] contact modulus
///
/// Source: Johnson 1985, eq. 11.22-11.24 (from memory; recomputed from the energy balance).
#[must_use]
pub fn knock(mass: f64, speed: f64, radius: f64, modulus: f64) -> Knock {
    let depth = libm::pow(
        15.0 * mass * speed * speed / (16.0 * radius.sqrt() * modulus),
        0.4,
    );
    let force = 4.0 / 3.0 * modulus * (radius * depth).sqrt() * depth;
    Knock {
        force,
        approach: depth,
        // 2.94 is the integral 4/5 B(2/5, 1/2) of dx / sqrt(1 - x^(5/2)) twice.
        duration: 2.943_275_1 * depth / speed,
        contact_radius: (radius * depth).sqrt(),
        pressure: 2.0 * modulus / PI * (depth / radius).sqrt(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, want: f64, relative: f64) {
        assert!((got / want - 1.0).abs() < relative, "{got} for {want}");
    }

    /// Published exercise: R 8 mm on a rigid plane, F = 60 pi N, E 1000 N/mm2, nu 0.3: a = 1.010 mm.
    #[test]
    fn sphere_on_rigid_plane() {
        let modulus = contact_modulus([(1e9, 0.3), (f64::INFINITY, 0.3)]);
        near(contact_radius(60.0 * PI, 8e-3, modulus), 1.010e-3, 1e-3);
    }

    /// Finite-element validation case of two equal spheres (code_aster V6.04.222): R 50 mm, E 20
    /// GPa, nu 0.3, total approach 4 mm: p0 = E/(pi (1 - nu^2)) sqrt(2 h/R) = 2798.3 MPa, a = 10 mm.
    #[test]
    fn two_equal_spheres() {
        let modulus = contact_modulus([(20e9, 0.3), (20e9, 0.3)]);
        let (radius, depth) = (25e-3, 4e-3_f64);
        let force = 4.0 / 3.0 * modulus * f64::sqrt(radius) * depth.powf(1.5);
        near(peak_pressure(force, radius, modulus), 2798.3e6, 1e-4);
        near(contact_radius(force, radius, modulus), 10e-3, 1e-9);
        near(approach(force, radius, modulus), depth, 1e-9);
    }

    /// Published exercise (answer recomputed): 50 mm steel ball on a steel flat, 500 N.
    #[test]
    fn steel_ball_on_steel_flat() {
        let modulus = contact_modulus([(200e9, 0.3), (200e9, 0.3)]);
        near(contact_radius(500.0, 25e-3, modulus), 0.4402e-3, 2e-4);
        near(peak_pressure(500.0, 25e-3, modulus), 1231.9e6, 2e-4);
        near(approach(500.0, 25e-3, modulus), 7.752e-6, 2e-4);
    }

    /// Johnson's example, recomputed by integrating the equation of motion: 10 mm steel ball on
    /// steel at 1 m/s: 435.9 N, 34.47 us, 11.71 um.
    #[test]
    fn steel_ball_at_one_metre_per_second() {
        let modulus = contact_modulus([(210e9, 0.3), (210e9, 0.3)]);
        let knock = knock(4.0841e-3, 1.0, 5e-3, modulus);
        near(knock.force, 435.9, 2e-4);
        near(knock.duration, 34.47e-6, 2e-4);
        near(knock.approach, 11.71e-6, 4e-4);
        near(
            knock.pressure,
            peak_pressure(knock.force, 5e-3, modulus),
            1e-12,
        );
        near(
            knock.contact_radius,
            contact_radius(knock.force, 5e-3, modulus),
            1e-12,
        );
    }
}
