//! Chips: the body dents and the film cannot follow, or the film lets go. Rank and class only.

/// Representative strain of a dent, 0.2 a/R (Tabor 1951, The Hardness of Metals, from memory).
///
/// * `dent_radius`: [m] a; `tip_radius`: [m] R of the rounder
#[must_use]
pub fn dent_strain(dent_radius: f64, tip_radius: f64) -> f64 {
    0.2 * dent_radius / tip_radius
}

/// [m] radius of the dent that an energy leaves in a body of constant dent pressure.
///
/// ```text
/// E = p_d V,  V = pi a^4 / (4 R)   ->   a = (4 R E / (pi p_d))^(1/4)
/// ```
/// * `energy`: [J]; `tip_radius`: [m]; `dent_pressure`: [Pa], about three times the yield stress
///
/// Source: Johnson 1985, Contact Mechanics, section 11.5 (eq. 11.42 f., from memory); the volume
/// is that of a shallow spherical cap.
#[must_use]
pub fn dent_radius(energy: f64, tip_radius: f64, dent_pressure: f64) -> f64 {
    (4.0 * tip_radius * energy / (std::f64::consts::PI * dent_pressure)).powf(0.25)
}

/// [J/m2] energy released per area when a stressed film lets go.
///
/// ```text
/// G = Z s^2 h / E
/// ```
/// with Z = 1/2 (plane film, Hutchinson & Suo 1991, Adv. Appl. Mech. 29:63, formula from memory)
///
/// * `stress`: [Pa]; `thickness`: [m] of the whole stack; `youngs`: [Pa]
#[must_use]
pub fn delamination_drive(stress: f64, thickness: f64, youngs: f64) -> f64 {
    0.5 * stress * stress * thickness / youngs
}

/// How likely a chip is.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize,
)]
#[serde(rename_all = "snake_case")]
pub enum ChipClass {
    /// Index below 0.1.
    None,
    /// 0.1 to 0.5: only where film or bond is poor.
    Unlikely,
    /// 0.5 to 2: within the spread of the values.
    Possible,
    /// Above 2.
    Likely,
}

impl ChipClass {
    /// For the column `chip_class`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            ChipClass::None => "none",
            ChipClass::Unlikely => "unlikely",
            ChipClass::Possible => "possible",
            ChipClass::Likely => "likely",
        }
    }

    /// The class of an index: demand over what the film stands.
    #[must_use]
    pub fn of(index: f64) -> ChipClass {
        match index {
            i if i >= 2.0 => ChipClass::Likely,
            i if i >= 0.5 => ChipClass::Possible,
            i if i >= 0.1 => ChipClass::Unlikely,
            _ => ChipClass::None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A Brinell test works at a/R of 0.25 to 0.5: strain 5 to 10 %; Meyer-type full indentation
    /// a = R gives 20 % (Tabor 1951, from memory).
    #[test]
    fn tabors_strain() {
        assert!((dent_strain(1.0, 1.0) - 0.2).abs() < 1e-15);
        assert!((dent_strain(0.5, 1.0) - 0.1).abs() < 1e-15);
    }

    /// The cap's energy back from its radius, and the fourth-root law.
    #[test]
    fn dent_radius_conserves_energy() {
        let (r, p) = (1e-3, 120e6);
        let a = dent_radius(1e-4, r, p);
        let volume = std::f64::consts::PI * a.powi(4) / (4.0 * r);
        assert!((volume * p - 1e-4).abs() < 1e-16);
        assert!((dent_radius(16e-4, r, p) / a - 2.0).abs() < 1e-12);
    }

    /// Scaling: twice the thickness, twice the drive; twice the stress, four times.
    #[test]
    fn thick_stacks_let_go_sooner() {
        let g = delamination_drive(20e6, 40e-6, 1e9);
        assert!((g - 8.0).abs() < 1e-9);
        assert!((delamination_drive(20e6, 80e-6, 1e9) / g - 2.0).abs() < 1e-12);
        assert!((delamination_drive(40e6, 40e-6, 1e9) / g - 4.0).abs() < 1e-12);
    }

    #[test]
    fn classes_are_ordered() {
        assert!(ChipClass::of(0.05) < ChipClass::of(0.2));
        assert!(ChipClass::of(0.7) < ChipClass::of(5.0));
    }
}
