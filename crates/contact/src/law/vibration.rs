//! Random vibration: spectral densities given at break points joined by straight lines in log-log.

use base::random::Stream;
use rand::RngExt;
use std::f64::consts::TAU;

/// [m/s2] one g.
pub const G: f64 = 9.806_65;

/// Spectral density of an acceleration.
#[derive(Debug, Clone, PartialEq)]
pub struct Spectrum {
    /// [Hz] and [g2/Hz], rising in frequency, above 0.
    pub points: Vec<(f64, f64)>,
}

impl Spectrum {
    /// [g2] area between two frequencies of one straight segment.
    fn segment((f1, g1): (f64, f64), (f2, g2): (f64, f64)) -> f64 {
        let octaves = (f2 / f1).ln();
        let power = (g2 / g1).ln() / octaves + 1.0;
        // int g1 (f/f1)^(power-1) df = g1 f1 (exp(power ln(f2/f1)) - 1) / power. Written with
        // expm1, so that power 0 and nearly upright segments are no special cases.
        let x = power * octaves;
        let growth = if x.abs() < 1e-12 { 1.0 } else { x.exp_m1() / x };
        g1 * f1 * octaves * growth
    }

    /// Root mean square [g].
    #[must_use]
    pub fn grms(&self) -> f64 {
        let area = self
            .points
            .windows(2)
            .map(|p| Spectrum::segment(p[0], p[1]));
        base::sum::sum(area).sqrt()
    }

    /// [g2/Hz] at a frequency; 0 outside.
    #[must_use]
    pub fn at(&self, frequency: f64) -> f64 {
        for p in self.points.windows(2) {
            let ((f1, g1), (f2, g2)) = (p[0], p[1]);
            if (f1..=f2).contains(&frequency) {
                return g1 * ((frequency / f1).ln() / (f2 / f1).ln() * (g2 / g1).ln()).exp();
            }
        }
        0.0
    }

    /// The same shape at another level.
    ///
    /// * `level`: root mean square \[g\]
    #[must_use]
    pub fn scaled_to(&self, level: f64) -> Spectrum {
        let factor = (level / self.grms()).powi(2);
        Spectrum {
            points: self.points.iter().map(|(f, g)| (*f, g * factor)).collect(),
        }
    }

    /// [m/s2] a stretch of acceleration with this density: random phases on lines of equal
    /// spacing (Rice 1944, Bell Syst. Tech. J. 23:282). Its mean square is the density's.
    ///
    /// * `step`: \[s\]
    /// * `count`: a power of two is fastest
    #[must_use]
    pub fn series(&self, step: f64, count: usize, random: &mut Stream) -> Vec<f64> {
        use realfft::num_complex::Complex;
        let line = 1.0 / (step * count as f64);
        let mut waves: Vec<Complex<f64>> = (0..=count / 2)
            .map(|k| {
                let amplitude = (2.0 * self.at(k as f64 * line) * line).sqrt() * G;
                let phase: f64 = TAU * random.random::<f64>();
                Complex::from_polar(0.5 * amplitude, phase)
            })
            .collect();
        waves[0] = Complex::default();
        if let Some(last) = waves.last_mut() {
            *last = Complex::default();
        }
        let mut series = vec![0.0; count];
        let plan = realfft::RealFftPlanner::new().plan_fft_inverse(count);
        // Lengths are those of the plan, so this cannot fail.
        let _ = plan.process(&mut waves, &mut series);
        series
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::law::schedule;
    use base::random::stream;

    /// Published levels [g]: 0.73, 0.52, 0.37 (in print for the truck schedule before 2016), 0.53
    /// and 1.04, 0.204, 0.740 (from memory). Break points are from memory; the level is the check.
    #[test]
    fn schedules_integrate_to_their_published_levels() {
        for (name, published, tolerance) in [
            ("truck before 2016, level I", 0.73, 0.005),
            ("truck before 2016, level II", 0.52, 0.005),
            ("truck before 2016, level III", 0.37, 0.005),
            ("over-the-road trailer", 0.53, 0.005),
            ("highway truck, vertical", 1.04, 0.005),
            ("highway truck, transverse", 0.204, 0.001),
            ("highway truck, longitudinal", 0.740, 0.002),
        ] {
            let grms = schedule::spectrum(name).map(|s| s.grms());
            assert!(
                grms.is_some_and(|g| (g - published).abs() <= tolerance),
                "{name}: {grms:?} against {published}"
            );
        }
    }

    /// Upright and flat segments: int of 1/f and a step of one hertz.
    #[test]
    fn segments_of_any_slope() {
        let pink = Spectrum {
            points: vec![(1.0, 1.0), (10.0, 0.1)],
        };
        assert!((pink.grms().powi(2) - 10f64.ln()).abs() < 1e-12);
        let flat = Spectrum {
            points: vec![(1.0, 0.5), (3.0, 0.5)],
        };
        assert!((flat.grms().powi(2) - 1.0).abs() < 1e-12);
        let upright = Spectrum {
            points: vec![(120.0, 2e-4), (120.000_01, 3e-3)],
        };
        assert!(upright.grms().powi(2) < 3e-8 && upright.grms() > 0.0);
    }

    #[test]
    fn a_series_has_the_density_s_mean_square() {
        let spectrum = Spectrum {
            points: vec![(1.0, 0.001), (4.0, 0.02), (200.0, 2e-5)],
        };
        let mut random = stream(3, &["series"], 0);
        let series = spectrum.series(1e-3, 1 << 15, &mut random);
        let square: f64 = series.iter().map(|a| a * a).sum::<f64>() / series.len() as f64;
        let grms = square.sqrt() / G;
        assert!((grms / spectrum.grms() - 1.0).abs() < 0.02, "{grms}");
        assert!((spectrum.scaled_to(0.1).grms() - 0.1).abs() < 1e-12);
    }
}
