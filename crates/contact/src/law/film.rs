//! How thick a coat dries, on flats, edges and in hollows.

/// Dry thickness over a convex edge as a share of the thickness on flats.
///
/// ```text
/// r = 1 / (1 + R0 / R)
/// ```
/// * `radius`: [m] of the edge, infinite on flats; `edge_radius`: [m] R0, the radius that keeps half
///
/// Our own form (engineering prior): monotone and 1 on flats, so that the figure's curvature decides.
#[must_use]
pub fn edge_retention(radius: f64, edge_radius: f64) -> f64 {
    if radius.is_infinite() {
        return 1.0;
    }
    radius / (radius + edge_radius)
}

/// [m] dry film from wet film.
///
/// ```text
/// dry = wet * solids / (1 + thinner)
/// ```
/// * `wet`: [m]; `solids`: share of volume that stays; `thinner`: added volume per volume of paint
#[must_use]
pub fn dry_from_wet(wet: f64, solids: f64, thinner: f64) -> f64 {
    wet * solids / (1.0 + thinner)
}

/// [m] mean dry film from weighing before and after a coat (mass per area, ISO 2808).
///
/// * `gain`: [kg]; `density`: [kg/m3] of the dry film; `area`: [m2] painted
#[must_use]
pub fn dry_from_weight(gain: f64, density: f64, area: f64) -> f64 {
    gain / (density * area)
}

/// [m] dry film of an aerosol coat.
///
/// * `content`: [m3] of can used; `solids`: share of volume of content; `transfer`: share of
///   sprayed solids that land; `area`: [m2]
#[must_use]
pub fn dry_from_can(content: f64, solids: f64, transfer: f64, area: f64) -> f64 {
    content * solids * transfer / area
}

/// [kg/m3] density of a dry film of binder and pigment.
///
/// * `pigment_share`: of volume
#[must_use]
pub fn film_density(pigment_share: f64, pigment: f64, binder: f64) -> f64 {
    pigment_share * pigment + (1.0 - pigment_share) * binder
}

/// Factor of a lognormal thickness with median 1.
///
/// * `cv`: relative standard deviation; `z`: standard normal draw
#[must_use]
pub fn lognormal_factor(cv: f64, z: f64) -> f64 {
    ((1.0 + cv * cv).ln().sqrt() * z).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Alkyd sheet in print: 87.5 um wet at 43 % dries to 37.5 um; urethane sheet in print: 3 mil
    /// at 24 % to 0.5-1.0 mil.
    #[test]
    fn wet_to_dry_reproduces_two_data_sheets() {
        assert!((dry_from_wet(87.5, 0.43, 0.0) - 37.6).abs() < 0.05);
        assert!((37.6_f64 / 37.5 - 1.0).abs() < 0.01);
        let urethane = dry_from_wet(3.0 * 25.4, 0.24, 0.0);
        assert!((urethane - 18.29).abs() < 0.01 && (12.7..25.4).contains(&urethane));
        assert!((dry_from_wet(100.0, 0.3, 0.5) - 20.0).abs() < 1e-12);
    }

    /// 400 ml over 2 m2 (coverage in print) at 10 % solids and 65 % transfer: 13 um.
    #[test]
    fn a_can_covers() {
        assert!((dry_from_can(400e-6, 0.10, 0.65, 2.0) - 13e-6).abs() < 1e-12);
    }

    /// 20 % rutile (4200) in binder (1100): 1720 kg/m3. Rule of mixtures.
    #[test]
    fn film_density_is_a_mixture() {
        assert!((film_density(0.2, 4200.0, 1100.0) - 1720.0).abs() < 1e-9);
    }

    /// 0.24 g of a film of 1600 kg/m3 over 30 cm2 is 50 um.
    #[test]
    fn weighing_gives_thickness() {
        assert!((dry_from_weight(0.24e-3, 1600.0, 30e-4) - 50e-6).abs() < 1e-12);
    }

    #[test]
    fn edges_keep_less_and_flats_all() {
        assert_eq!(edge_retention(f64::INFINITY, 1e-4), 1.0);
        assert!((edge_retention(0.25e-3, 0.25e-3) - 0.5).abs() < 1e-12);
        assert!(edge_retention(0.1e-3, 0.25e-3) < edge_retention(0.2e-3, 0.25e-3));
        // prior row: brushed 0.45 (0.2-0.8) at 0.1-0.3 mm, sprayed 0.7 (0.4-1.1)
        assert!((0.2..0.8).contains(&edge_retention(0.2e-3, 0.25e-3)));
        assert!((0.4..1.1).contains(&edge_retention(0.2e-3, 0.08e-3)));
    }

    /// The sample cv of a lognormal with sigma^2 = ln(1 + cv^2) is cv (handbook identity).
    #[test]
    fn lognormal_factor_has_the_asked_cv() {
        use rand_distr::{Distribution, StandardNormal};
        let mut random = base::random::stream(3, &["cv"], 0);
        let values: Vec<f64> = (0..40_000)
            .map(|_| lognormal_factor(0.35, StandardNormal.sample(&mut random)))
            .collect();
        let mean = base::sum::sum(values.iter().copied()) / 40_000.0;
        let var = base::sum::sum(values.iter().map(|v| (v - mean).powi(2))) / 40_000.0;
        assert!((var.sqrt() / mean - 0.35).abs() < 0.01);
    }
}
