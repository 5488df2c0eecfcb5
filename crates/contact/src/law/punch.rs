//! Exact force and pressure of axisymmetric punches on a bonded layer: Fredholm equation of the
//! second kind solved by Gauss-Legendre quadrature. Everything for E = 1; forces scale with E.
//!
//! Method: Lebedev and Ufliand 1958, PMM 22:442; Hayes, Keer, Herrmann and Mockros 1972,
//! J. Biomech. 5:541.

use super::layer::half_space_ratio;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::{FRAC_PI_2, PI};

const CONTACT_NODES: usize = 40;
const WAVE_NODES: usize = 400;
/// The kernel 1 - L(s) falls like exp(-2 s): nothing is left beyond this.
const LONGEST_WAVE: f64 = 30.0;

/// Axisymmetric shape of the punch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Punch {
    /// Flat disc.
    Disc,
    /// Paraboloid of the given tip radius \[m\]: a sphere for small contacts.
    Paraboloid(f64),
    /// Cone: depth grows by this much per radius.
    Cone(f64),
}

/// State of a punch in equilibrium, per unit of Young's modulus.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pressed {
    /// [m] indentation; 1 for the disc (its answer is linear in it).
    pub indentation: f64,
    /// [m2] force over Young's modulus.
    pub force: f64,
    /// Pressure on the axis over Young's modulus; not defined for the disc and the cone (0).
    pub axis_pressure: f64,
}

/// Nodes and weights of Gauss-Legendre quadrature on 0..`length`.
#[must_use]
pub fn gauss_legendre(n: usize, length: f64) -> Vec<(f64, f64)> {
    (0..n)
        .map(|i| {
            let mut x = (PI * (i as f64 + 0.75) / (n as f64 + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..100 {
                let (mut now, mut last) = (1.0, 0.0);
                for k in 0..n {
                    let k = k as f64;
                    let next = ((2.0 * k + 1.0) * x * now - k * last) / (k + 1.0);
                    last = now;
                    now = next;
                }
                slope = n as f64 * (x * now - last) / (x * x - 1.0);
                let step = now / slope;
                x -= step;
                if step.abs() < 1e-15 {
                    break;
                }
            }
            let weight = 2.0 / ((1.0 - x * x) * slope * slope);
            (0.5 * length * (1.0 - x), 0.5 * length * weight)
        })
        .collect()
}

struct Equation {
    nodes: Vec<(f64, f64)>,
    waves: Vec<(f64, f64)>,
    factor: nalgebra::LU<f64, nalgebra::Dyn, nalgebra::Dyn>,
}

impl Equation {
    fn new(radius: f64, poisson: f64) -> Equation {
        let nodes = gauss_legendre(CONTACT_NODES, radius);
        let waves: Vec<(f64, f64)> = gauss_legendre(WAVE_NODES, LONGEST_WAVE)
            .into_iter()
            .map(|(s, w)| (s, w * (1.0 - half_space_ratio(s, poisson))))
            .collect();
        let cos = DMatrix::from_fn(CONTACT_NODES, WAVE_NODES, |i, k| {
            (nodes[i].0 * waves[k].0).cos()
        });
        let weighted = DMatrix::from_fn(WAVE_NODES, CONTACT_NODES, |k, j| {
            waves[k].1 * cos[(j, k)] * nodes[j].1 * 2.0 / PI
        });
        let matrix = DMatrix::identity(CONTACT_NODES, CONTACT_NODES) - cos * weighted;
        Equation {
            nodes,
            waves,
            factor: matrix.lu(),
        }
    }

    fn solve(&self, right: impl Fn(f64) -> f64) -> Vec<f64> {
        let rhs = DVector::from_iterator(CONTACT_NODES, self.nodes.iter().map(|(x, _)| right(*x)));
        self.factor
            .solve(&rhs)
            .map_or_else(Vec::new, |phi| phi.iter().copied().collect())
    }

    /// `int phi cos(s t) dt` for each wave.
    fn waves_of(&self, phi: &[f64]) -> Vec<f64> {
        self.waves
            .iter()
            .map(|(s, _)| {
                (self.nodes.iter().zip(phi))
                    .map(|((t, w), f)| w * f * (s * t).cos())
                    .sum()
            })
            .collect()
    }

    fn value_at(&self, x: f64, phi: &[f64], right: f64) -> f64 {
        let integral: f64 = (self.waves.iter().zip(self.waves_of(phi)))
            .map(|((s, g), c)| g * (s * x).cos() * c)
            .sum();
        right + 2.0 / PI * integral
    }
}

/// The punch pressed until its contact radius is `radius` (the disc: its own radius).
///
/// All lengths in units of the layer's thickness; E = 1.
///
/// * `radius`: contact radius over thickness, above 0 and at most about 5
/// * `poisson`: 0 to 0.5
#[must_use]
pub fn press(punch: Punch, radius: f64, poisson: f64) -> Pressed {
    let equation = Equation::new(radius, poisson);
    let q = 1.0 / (PI * (1.0 - poisson * poisson));
    let unit = equation.solve(|_| q);
    let force_of = |phi: &[f64]| {
        let terms = equation.nodes.iter().zip(phi).map(|((_, w), f)| w * f);
        2.0 * PI * base::sum::sum(terms)
    };
    let shape: Box<dyn Fn(f64) -> f64> = match punch {
        Punch::Disc => {
            return Pressed {
                indentation: 1.0,
                force: force_of(&unit),
                axis_pressure: 0.0,
            };
        }
        Punch::Paraboloid(r) => Box::new(move |x| -q * x * x / r),
        Punch::Cone(slope) => Box::new(move |x| -q * slope * FRAC_PI_2 * x),
    };
    let bent = equation.solve(&shape);
    let indentation =
        -equation.value_at(radius, &bent, shape(radius)) / equation.value_at(radius, &unit, q);
    let phi: Vec<f64> = unit
        .iter()
        .zip(&bent)
        .map(|(u, b)| indentation * u + b)
        .collect();
    Pressed {
        indentation,
        force: force_of(&phi),
        axis_pressure: axis_pressure(&equation, punch, q, &phi),
    }
}

/// p(0) = -int_0^a phi'(t) / t dt, phi' from the differentiated integral equation.
fn axis_pressure(equation: &Equation, punch: Punch, q: f64, phi: &[f64]) -> f64 {
    let Punch::Paraboloid(r) = punch else {
        return 0.0;
    };
    let c = equation.waves_of(phi);
    let terms = equation.nodes.iter().map(|(x, w)| {
        let integral: f64 = (equation.waves.iter().zip(&c))
            .map(|((s, g), c)| g * s * (s * x).sin() * c)
            .sum();
        w * (-2.0 * q * x / r - 2.0 / PI * integral) / x
    });
    -base::sum::sum(terms)
}

/// Force over that of the same disc on a half-space: P (1 - nu^2) / (2 E a delta).
#[must_use]
pub fn disc_factor(radius: f64, poisson: f64) -> f64 {
    press(Punch::Disc, radius, poisson).force * (1.0 - poisson * poisson) / (2.0 * radius)
}

/// Rows of numbers of a reference table; comment lines start with `#`, the first other line is
/// the heading, an empty cell is NaN.
#[cfg(test)]
pub(crate) fn table(text: &str) -> Vec<Vec<f64>> {
    text.lines()
        .filter(|l| !l.starts_with('#') && !l.is_empty())
        .skip(1)
        .map(|l| {
            l.split(',')
                .map(|c| c.trim().parse().unwrap_or(f64::NAN))
                .collect()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quadrature_integrates_polynomials_of_high_degree() {
        let integral: f64 = gauss_legendre(8, 2.0)
            .iter()
            .map(|(x, w)| w * x.powi(15))
            .sum();
        assert!((integral / (2f64.powi(16) / 16.0) - 1.0).abs() < 1e-12);
    }

    /// Computed columns to 1e-4; Hayes et al. 1972 (column quoted from memory) to 0.5 %.
    #[test]
    fn disc_table() {
        let rows = table(include_str!("../../tests/reference/pad/disc_bonded.csv"));
        assert!(rows.len() > 50);
        let mut published = 0;
        for row in rows {
            let kappa = disc_factor(row[1], row[0]);
            assert!((kappa / row[2] - 1.0).abs() < 1e-4, "{row:?}: {kappa}");
            if row[4].is_finite() {
                assert!(
                    (kappa / row[4] - 1.0).abs() < 5e-3,
                    "Hayes {row:?}: {kappa}"
                );
                published += 1;
            }
        }
        assert_eq!(published, 6);
    }

    #[test]
    fn sphere_table() {
        let rows = table(include_str!("../../tests/reference/pad/sphere_bonded.csv"));
        assert_eq!(rows.len(), 50);
        for row in rows {
            let (nu, a) = (row[0], row[1]);
            let p = press(Punch::Paraboloid(1.0), a, nu);
            for (mine, theirs) in [
                (p.indentation, row[4]),
                (p.force, row[5]),
                (p.axis_pressure, row[6]),
            ] {
                assert!((mine / theirs - 1.0).abs() < 1e-4, "{row:?}: {p:?}");
            }
        }
    }

    #[test]
    fn cone_table() {
        let rows = table(include_str!("../../tests/reference/pad/cone_bonded.csv"));
        assert_eq!(rows.len(), 15);
        for row in rows {
            let p = press(Punch::Cone(row[0]), row[1], 0.0);
            assert!(
                (p.indentation / row[2] - 1.0).abs() < 1e-3,
                "{row:?}: {p:?}"
            );
            assert!((p.force / row[3] - 1.0).abs() < 1e-4, "{row:?}: {p:?}");
        }
    }

    /// Small contacts are Hertz's: a^2 = R delta, P = 4/3 E* sqrt(R) delta^1.5, p0 = 1.5 mean.
    #[test]
    fn a_small_sphere_is_hertz() {
        let p = press(Punch::Paraboloid(1.0), 0.002, 0.3);
        let hertz = 4.0 / 3.0 / (1.0 - 0.09) * p.indentation.powf(1.5);
        assert!((p.force / hertz - 1.0).abs() < 5e-3);
        assert!((p.axis_pressure * PI * 0.002f64.powi(2) / p.force - 1.5).abs() < 1e-3);
    }
}
