//! What a knock gives back.

/// Coefficient of restitution of a fully plastic knock.
///
/// ```text
/// e = 3.8 (Y/E*)^(1/2) (m V^2 / (2 Y R^3))^(-1/8)
/// ```
///
/// * `mass`: [kg] effective mass at the contact
/// * `speed`: [m/s] above 0
/// * `yield_stress`: [Pa] of the softer side
/// * `radius`: [m] of the tip
/// * `modulus`: [Pa] contact modulus
///
/// Returns a value that may exceed 1 where the tip does not yield: there the formula does not hold.
///
/// Source: Johnson 1985, Contact Mechanics, eq. 11.47 (from memory; recomputed).
#[must_use]
pub fn plastic_restitution(
    mass: f64,
    speed: f64,
    yield_stress: f64,
    radius: f64,
    modulus: f64,
) -> f64 {
    let ratio = 0.5 * mass * speed * speed / (yield_stress * radius.powi(3));
    3.8 * (yield_stress / modulus).sqrt() * libm::pow(ratio, -0.125)
}

/// A restitution carried from a reference state to another by e ~ m^(-1/8) V^(-1/4) R^(3/8).
///
/// * `ratios`: mass, speed and radius, each over its reference
///
/// Source: Johnson 1985, eq. 11.47 (from memory).
#[must_use]
pub fn scaled_restitution(at_reference: f64, ratios: [f64; 3]) -> f64 {
    let [mass, speed, radius] = ratios;
    at_reference * libm::pow(radius * radius * radius / (mass * speed * speed), 0.125)
}

/// Tangential over normal impulse times mass of a knock that slips throughout.
///
/// ```text
/// dv_t = mu (1 + e) v_n
/// ```
///
/// * `friction`: Coulomb coefficient
/// * `restitution`: 0 to 1
/// * `approach`: [m/s]
///
/// Source: Whittaker 1904, Analytical Dynamics, sec. 96; holds while slip does not stop.
#[must_use]
pub fn slipping_change(friction: f64, restitution: f64, approach: f64) -> f64 {
    friction * (1.0 + restitution) * approach
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pewter tip on steel, 14.6 g at 1 m/s: 0.14 at R 1 mm and 0.21 at 3 mm (recomputed table row).
    #[test]
    fn pewter_gives_little_back() {
        let modulus = crate::law::hertz::contact_modulus([(52e9, 0.35), (210e9, 0.3)]);
        let at = |radius| plastic_restitution(14.6e-3, 1.0, 40e6, radius, modulus);
        assert!((at(1e-3) - 0.14).abs() < 0.007, "{}", at(1e-3));
        assert!((at(3e-3) - 0.21).abs() < 0.007, "{}", at(3e-3));
        let carried = scaled_restitution(at(1e-3), [2.0, 0.5, 3.0]);
        let direct = plastic_restitution(29.2e-3, 0.5, 40e6, 3e-3, modulus);
        assert!((carried / direct - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_slipping_knock_turns_by_mu_times_one_plus_e() {
        assert!((slipping_change(0.3, 0.5, 2.0) - 0.9).abs() < 1e-15);
    }
}
