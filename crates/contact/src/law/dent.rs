//! When a knock leaves a dent: yield under a round tip.

use super::hertz;
use std::f64::consts::PI;

/// Peak Hertz pressure over yield stress when yield begins under a sphere.
///
/// Source: Johnson 1985, Contact Mechanics, sec. 6.1 (1.60 Y at nu 0.3; from memory).
pub const YIELD_BEGINS: f64 = 1.6;

/// Mean pressure over yield stress when the whole contact yields: indentation hardness.
///
/// Source: Tabor 1951, The Hardness of Metals (2.8 to 3; from memory).
pub const FULLY_PLASTIC: f64 = 3.0;

/// [J] elastic energy of a round tip when yield begins.
///
/// ```text
/// W_Y = 8/15 (pi/2)^5 p_Y^5 R^3 / E*^4,  p_Y = 1.6 Y      (about 53 Y^5 R^3 / E*^4)
/// ```
///
/// * `yield_stress`: [Pa] of the softer side
/// * `radius`: [m] of the tip
/// * `modulus`: [Pa] contact modulus
///
/// Source: Johnson 1985, eq. 11.38 (from memory; follows from Hertz).
#[must_use]
pub fn yield_energy(yield_stress: f64, radius: f64, modulus: f64) -> f64 {
    let pressure = YIELD_BEGINS * yield_stress;
    8.0 / 15.0 * (0.5 * PI).powi(5) * pressure.powi(5) * radius.powi(3) / modulus.powi(4)
}

/// [m/s] approach at which yield begins.
///
/// ```text
/// m v_Y^2 / 2 = W_Y;  for a sphere of density rho: v_Y = 1.56 sqrt(p_Y^5 / (E*^4 rho))
/// ```
///
/// * `mass`: [kg] effective mass at the contact
/// * others as in [`yield_energy`]
///
/// Source: Johnson 1985, sec. 11.5 (from memory; recomputed).
#[must_use]
pub fn yield_speed(mass: f64, yield_stress: f64, radius: f64, modulus: f64) -> f64 {
    (2.0 * yield_energy(yield_stress, radius, modulus) / mass).sqrt()
}

/// Share of an impact's loss that goes into the dent: what was brought above the yield energy.
///
/// ```text
/// 1 - (v_Y/v)^2 above v_Y, else 0
/// ```
///
/// * `speed`, `yield_speed`: [m/s]
///
/// Source: energy balance; below the yield speed a knock loses by damping and ringing only.
#[must_use]
pub fn dent_share(speed: f64, yield_speed: f64) -> f64 {
    if speed > yield_speed {
        1.0 - (yield_speed / speed).powi(2)
    } else {
        0.0
    }
}

/// [Pa] peak pressure of a knock: elastic, but never above the hardness of the softer side.
///
/// * `knock`: of the elastic impact
/// * `yield_stress`: [Pa] of the softer side
#[must_use]
pub fn capped_pressure(knock: &hertz::Knock, yield_stress: f64) -> f64 {
    knock.pressure.min(FULLY_PLASTIC * yield_stress)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Johnson 1985, sec. 11.5, steel ball on steel, Y 1000 MPa: about 0.14 m/s; 26 (Y/E*)^4 Y/rho
    /// gives 0.137 with his rounded 26.
    #[test]
    fn steel_yields_at_fourteen_centimetres_per_second() {
        let radius = 5e-3_f64;
        let mass = 4.0 / 3.0 * PI * radius.powi(3) * 7800.0;
        let speed = yield_speed(mass, 1e9, radius, 115.4e9);
        assert!((speed / 0.137 - 1.0).abs() < 0.03, "{speed}");
        let direct = 1.56 * ((1.6e9_f64).powi(5) / (115.4e9_f64.powi(4) * 7800.0)).sqrt();
        assert!((speed / direct - 1.0).abs() < 2e-3, "{speed} {direct}");
    }

    /// The law is dimensionally sound: lengths times a, masses times b leave powers as stated.
    #[test]
    fn the_yield_speed_scales() {
        let base = yield_speed(0.01, 40e6, 1e-3, 47e9);
        let larger = yield_speed(0.01 * 27.0, 40e6, 3e-3, 47e9);
        assert!(
            (larger / base - 1.0).abs() < 1e-12,
            "same density, same speed"
        );
    }

    #[test]
    fn a_slow_knock_leaves_no_dent() {
        assert_eq!(dent_share(0.1, 0.2), 0.0);
        assert!((dent_share(0.4, 0.2) - 0.75).abs() < 1e-15);
    }
}
