//! Gloss: what roughness leaves of a mirror, and how rubbing moves it.

use std::f64::consts::PI;

/// Share of the mirror's reflection that a rough surface keeps in the specular direction.
///
/// ```text
/// f = exp(-(4 pi Rq cos(angle) / wavelength)^2)
/// ```
/// * `roughness`: [m] Rq; `angle`: [rad] from the normal; `wavelength`: [m]
///
/// Scalar scattering; exponential in (Rq cos)^2 (Simonsen et al. 2005, phys. stat. sol. (b)
/// 242:2995, abstract confirmed). The lateral term is left out.
#[must_use]
pub fn specular_share(roughness: f64, angle: f64, wavelength: f64) -> f64 {
    (-(4.0 * PI * roughness * angle.cos() / wavelength).powi(2)).exp()
}

/// Gloss after rubbing.
///
/// ```text
/// G = G0 + (G1 - G0) (1 - exp(-h / h_b))
/// ```
/// * `start`, `end`: [gloss units at 60 degrees]; `depth`: [m] nominal depth rubbed off;
///   `scale`: [m] h_b
///
/// Rises for a matt film, falls for a glossy one: the sign comes from start and end.
#[must_use]
pub fn burnished(start: f64, end: f64, depth: f64, scale: f64) -> f64 {
    start + (end - start) * -(-depth / scale).exp_m1()
}

/// [m] nominal depth at which a share of the whole gloss change has happened.
///
/// * `share`: 0 to below 1; `scale`: [m] h_b
#[must_use]
pub fn depth_for_share(share: f64, scale: f64) -> f64 {
    -scale * (-share).ln_1p()
}

/// Trade words for gloss at 60 degrees (trade custom in print, not part of ISO 2813).
#[must_use]
pub fn band(gloss: f64) -> &'static str {
    match gloss {
        g if g < 8.5 => "matt",
        g if g < 40.5 => "satin",
        g if g < 70.5 => "semi-gloss",
        g if g < 90.5 => "gloss",
        _ => "high gloss",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rq 0.02, 0.05, 0.1, 0.2 um at 60 degrees, 0.55 um: 0.95, 0.72, 0.27, 0.005 (recomputed
    /// from scalar scattering; Bennett & Porteus 1961 give the same form, from memory).
    #[test]
    fn roughness_dulls() {
        let share = |um: f64| specular_share(um * 1e-6, PI / 3.0, 0.55e-6);
        for (um, f) in [(0.02, 0.949), (0.05, 0.7216), (0.1, 0.2712), (0.2, 0.0054)] {
            assert!((share(um) - f).abs() < 1e-3, "{um}: {}", share(um));
        }
    }

    #[test]
    fn matt_rises_and_gloss_falls_towards_the_end() {
        assert!(burnished(4.0, 25.0, 0.1e-6, 0.15e-6) > 4.0);
        assert!(burnished(80.0, 45.0, 0.1e-6, 0.15e-6) < 80.0);
        assert!((burnished(4.0, 25.0, 1e-3, 0.15e-6) - 25.0).abs() < 1e-12);
        let h = depth_for_share(0.5, 0.15e-6);
        assert!((burnished(0.0, 1.0, h, 0.15e-6) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn bands_have_the_trades_limits() {
        assert_eq!(
            [4.0, 25.0, 60.0, 80.0, 95.0].map(band),
            ["matt", "satin", "semi-gloss", "gloss", "high gloss"]
        );
    }
}
