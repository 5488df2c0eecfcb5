//! What fingers do to a film: energy per pick-up, grease that softens.

/// [J/m2] friction work per area of one pick-up at a point under a finger that slides over it.
///
/// ```text
/// W/A = mu p s
/// ```
/// * `pressure`: [Pa]; `slip`: [m] per pick-up and put-down
#[must_use]
pub fn pick_up(friction: f64, pressure: f64, slip: f64) -> f64 {
    friction * pressure * slip
}

/// Exponent of skin friction with load, from two loads and the ratio of their frictions.
///
/// ```text
/// n = ln(ratio) / ln(high / low)
/// ```
/// * `low`, `high`: [N]; `ratio`: friction at `high` over friction at `low`
#[must_use]
pub fn load_exponent(low: f64, high: f64, ratio: f64) -> f64 {
    ratio.ln() / (high / low).ln()
}

/// Wear multiplier of a film that has taken up grease, while it soaks.
///
/// ```text
/// m(t) = 1 + (m - 1) (1 - exp(-t / t_soak))
/// ```
/// * `soaked`: multiplier of the fully soaked film; `days`: [d] since greasy handling began;
///   `soak_days`: [d] hours to months: declare it, do not infer it
///
/// First-order uptake is our own form (engineering prior): softening is real and comes back out
/// in part (paint glossary; leather-finish study, in print), its pace is not known.
#[must_use]
pub fn softening(soaked: f64, days: f64, soak_days: f64) -> f64 {
    if soak_days <= 0.0 {
        return soaked;
    }
    1.0 + (soaked - 1.0) * -(-days / soak_days).exp_m1()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::law::wear::pad_pass;

    /// 0.6, 20 kPa, 2 mm: 24 J/m2; one felt cycle (654 J/m2) is 27 such pick-ups on flats.
    #[test]
    fn pick_ups_per_felt_cycle() {
        assert!((pick_up(0.6, 20e3, 2e-3) - 24.0).abs() < 1e-9);
        let felt = pad_pass(0.5, 9.81 / (0.015 * 0.015), 0.015, 2.0);
        assert!((felt / pick_up(0.6, 20e3, 2e-3) - 27.25).abs() < 0.01);
    }

    /// Friction falls 46 % from 1 to 20 N (Seo et al. 2009, Ergonomics 52:609, abstract):
    /// exponent -0.2057.
    #[test]
    fn skin_friction_falls_with_load() {
        assert!((load_exponent(1.0, 20.0, 0.54) + 0.2057).abs() < 1e-4);
    }

    #[test]
    fn softening_starts_at_one_and_saturates() {
        assert!((softening(6.0, 0.0, 7.0) - 1.0).abs() < 1e-15);
        assert!((softening(6.0, 700.0, 7.0) - 6.0).abs() < 1e-9);
        assert_eq!(softening(6.0, 1.0, 0.0), 6.0);
    }
}
