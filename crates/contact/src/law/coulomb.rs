//! Dry friction of rigid bodies: what sliding takes out of a motion.

/// [m] way on which a sliding block stops.
///
/// ```text
/// s = v0^2 / (2 mu g)
/// ```
///
/// * `speed`: [m/s] at the start
/// * `friction`: Coulomb coefficient above 0
/// * `gravity`: [m/s2]
///
/// Source: Coulomb's law with Newton's second; any textbook of mechanics.
#[must_use]
pub fn stopping_distance(speed: f64, friction: f64, gravity: f64) -> f64 {
    speed * speed / (2.0 * friction * gravity)
}

/// Share of its speed that a sphere thrown without spin keeps when it has come to roll.
///
/// ```text
/// v/v0 = 1/(1 + k),  k = I/(m r^2);  5/7 for a solid sphere, whatever the friction
/// ```
///
/// * `gyration`: I/(m r^2): 0.4 for a solid sphere
///
/// Source: Routh 1905, Dynamics of a System of Rigid Bodies (angular momentum about the floor).
#[must_use]
pub fn rolling_share(gyration: f64) -> f64 {
    1.0 / (1.0 + gyration)
}

/// [rad] tilt at which a block begins to slip: arctan(mu).
///
/// * `friction`: Coulomb coefficient
#[must_use]
pub fn slip_angle(friction: f64) -> f64 {
    friction.atan()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The well-known 5/7 of the billiard ball.
    #[test]
    fn a_solid_sphere_keeps_five_sevenths() {
        assert!((rolling_share(0.4) - 5.0 / 7.0).abs() < 1e-15);
    }

    /// The angle of ASTM D4518's inclined plane: mu 0.5 slips at 26.565 degrees.
    #[test]
    fn half_slips_at_its_known_angle() {
        assert!((slip_angle(0.5).to_degrees() - 26.565).abs() < 5e-4);
    }

    /// Energy balance: friction force times way is the kinetic energy.
    #[test]
    fn the_way_spends_the_kinetic_energy() {
        let (v, mu, g) = (1.7, 0.3, 9.81);
        assert!((mu * g * stopping_distance(v, mu, g) - 0.5 * v * v).abs() < 1e-15);
    }
}
