//! Lives known only between two inspections: a Weibull fit with one shape for all groups.

use crate::base::{Error, Result};
use nalgebra::{DMatrix, DVector};

/// What is known of one life, in units of exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Known {
    /// Ended at this exposure.
    At(f64),
    /// Ended after the first and by the second; from 0 if it ended by the first look.
    Between(f64, f64),
    /// Had not ended at this exposure.
    Beyond(f64),
}

impl Known {
    fn check(self) -> Result<()> {
        let sound = match self {
            Known::At(t) | Known::Beyond(t) => t > 0.0 && t.is_finite(),
            Known::Between(a, b) => a >= 0.0 && b > a && b.is_finite(),
        };
        if sound {
            return Ok(());
        }
        Err(Error::input(format!(
            "a life needs exposures above 0 in rising order, got {self:?}"
        )))
    }
}

/// What was known of the scatter before: ln of the scale is normal around `ln_middle`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// ln of the scale's middle.
    pub ln_middle: f64,
    /// \[ln units\] its standard deviation.
    pub sd: f64,
}

/// A fit: ln life is smallest-extreme-value distributed with one location per group and one scale,
/// so lives are Weibull with scale exp(location) and shape 1/scale.
#[derive(Debug, Clone, PartialEq)]
pub struct LifeFit {
    /// Location of each group, ln units of exposure.
    pub location: Vec<f64>,
    /// Common scale, ln units.
    pub scale: f64,
    /// Log likelihood (densities for exact lives are per ln unit), prior left out.
    pub log_likelihood: f64,
    /// Covariance of the locations and, last, of ln scale.
    pub covariance: DMatrix<f64>,
}

impl LifeFit {
    /// \[units of exposure\] median life of a group.
    #[must_use]
    pub fn median(&self, group: usize) -> f64 {
        (self.location[group] + self.scale * std::f64::consts::LN_2.ln()).exp()
    }

    /// \[ln units\] standard error of the ln median of a group.
    #[must_use]
    pub fn median_error(&self, group: usize) -> f64 {
        let last = self.location.len();
        let slope = self.scale * std::f64::consts::LN_2.ln();
        let c = &self.covariance;
        let variance =
            c[(group, group)] + 2.0 * slope * c[(group, last)] + slope * slope * c[(last, last)];
        variance.max(0.0).sqrt()
    }

    /// \[ln units\] standard error of the ln ratio of two groups' lives.
    #[must_use]
    pub fn ratio_error(&self, a: usize, b: usize) -> f64 {
        let c = &self.covariance;
        (c[(a, a)] + c[(b, b)] - 2.0 * c[(a, b)]).max(0.0).sqrt()
    }
}

/// Fits lives of several groups by maximum likelihood, or, with a prior scatter, by maximum
/// posterior density; errors from the curvature there.
///
/// # Errors
/// A life that is none; a group in which no life ended or all ended by the first look (its location
/// runs away); without a prior, inspections so coarse that no scatter can be seen.
///
/// Source: Nelson 1982, Applied Life Data Analysis, ch. 9 (inspection data); common shape: Lawless
/// 2003, Statistical Models and Methods for Lifetime Data, ch. 6.
pub fn fit_lives(groups: &[Vec<Known>], prior: Option<Scatter>) -> Result<LifeFit> {
    for life in groups.iter().flatten() {
        life.check()?;
    }
    for (number, group) in groups.iter().enumerate() {
        let bounded = |below: bool| {
            group.iter().any(|k| match k {
                Known::At(_) => true,
                Known::Between(a, _) => !below || *a > 0.0,
                Known::Beyond(_) => below,
            })
        };
        if !bounded(true) || !bounded(false) {
            return Err(Error::refused(format!(
                "the lives of group {} are bounded on one side only",
                number + 1
            )));
        }
    }
    let mut at = start(groups, prior);
    for _ in 0..200 {
        let (value, slope) = likelihood(groups, prior, &at);
        if slope.amax() < 1e-10 * (1.0 + groups.iter().map(Vec::len).sum::<usize>() as f64) {
            break;
        }
        let step = newton_step(&curvature(groups, prior, &at), &slope);
        let mut share = 1.0;
        while share > 1e-10 {
            let next = &at + share * &step;
            let (there, _) = likelihood(groups, prior, &next);
            if there.is_finite() && there >= value {
                at = next;
                break;
            }
            share *= 0.5;
        }
        if share <= 1e-10 {
            break;
        }
        if at[groups.len()] < 0.01_f64.ln() {
            return Err(Error::refused(
                "the inspections are too coarse to see any scatter between lives",
            ));
        }
    }
    let information = -curvature(groups, prior, &at);
    let covariance = information
        .try_inverse()
        .filter(|c| (0..c.nrows()).all(|i| c[(i, i)] > 0.0))
        .ok_or_else(|| Error::refused("the likelihood has no peak: too few lives ended"))?;
    if covariance[(groups.len(), groups.len())] > 9.0 {
        return Err(Error::refused(
            "the inspections are too coarse to see any scatter between lives",
        ));
    }
    let (log_likelihood, _) = likelihood(groups, None, &at);
    Ok(LifeFit {
        location: at.iter().take(groups.len()).copied().collect(),
        scale: at[groups.len()].exp(),
        log_likelihood,
        covariance,
    })
}

/// Locations at the mean ln of what is known, a middling scale.
fn start(groups: &[Vec<Known>], prior: Option<Scatter>) -> DVector<f64> {
    let guess = |k: &Known| match *k {
        Known::At(t) => t.ln(),
        Known::Between(a, b) => {
            if a > 0.0 {
                0.5 * (a.ln() + b.ln())
            } else {
                b.ln() - 0.7
            }
        }
        Known::Beyond(t) => t.ln() + 0.7,
    };
    let mut at = DVector::zeros(groups.len() + 1);
    for (i, group) in groups.iter().enumerate() {
        at[i] = crate::base::sum::sum(group.iter().map(guess)) / group.len() as f64;
    }
    at[groups.len()] = prior.map_or(0.7_f64.ln(), |p| p.ln_middle);
    at
}

/// Log density and its slope in the locations and in ln scale.
fn likelihood(
    groups: &[Vec<Known>],
    prior: Option<Scatter>,
    at: &DVector<f64>,
) -> (f64, DVector<f64>) {
    let last = groups.len();
    let scale = at[last].exp();
    let mut slope = DVector::zeros(last + 1);
    let mut parts = Vec::new();
    for (i, group) in groups.iter().enumerate() {
        let z = |t: f64| (t.ln() - at[i]) / scale;
        for known in group {
            // Value, and slopes in z at the lower and at the upper end.
            let (value, low, high) = match *known {
                Known::At(t) => {
                    let z = z(t);
                    slope[last] -= 1.0;
                    (z - z.exp() - at[last], Some((z, 1.0 - z.exp())), None)
                }
                Known::Beyond(t) => {
                    let z = z(t);
                    (-z.exp(), Some((z, -z.exp())), None)
                }
                Known::Between(a, b) => {
                    let (zb, upper) = (z(b), z(b).exp());
                    let (za, lower) = if a > 0.0 {
                        (z(a), z(a).exp())
                    } else {
                        (0.0, 0.0)
                    };
                    let gap = upper - lower;
                    let value = -lower + (-(-gap).exp_m1()).ln();
                    let from = -lower / -(-gap).exp_m1();
                    (
                        value,
                        (a > 0.0).then_some((za, from)),
                        Some((zb, upper / gap.exp_m1())),
                    )
                }
            };
            parts.push(value);
            for (z, d) in [low, high].into_iter().flatten() {
                slope[i] -= d / scale;
                slope[last] -= z * d;
            }
        }
    }
    if let Some(p) = prior {
        let off = (at[last] - p.ln_middle) / p.sd;
        parts.push(-0.5 * off * off);
        slope[last] -= off / p.sd;
    }
    (crate::base::sum::sum(parts), slope)
}

/// Second derivatives, by central differences of the exact slope.
fn curvature(groups: &[Vec<Known>], prior: Option<Scatter>, at: &DVector<f64>) -> DMatrix<f64> {
    let n = at.len();
    let h = 1e-5;
    let mut matrix = DMatrix::zeros(n, n);
    for k in 0..n {
        let moved = |by: f64| {
            let mut there = at.clone();
            there[k] += by;
            likelihood(groups, prior, &there).1
        };
        let column = (moved(h) - moved(-h)) / (2.0 * h);
        matrix.set_column(k, &column);
    }
    0.5 * (&matrix + matrix.transpose())
}

/// Uphill: Newton's step where the surface bends down, else along the slope.
fn newton_step(curvature: &DMatrix<f64>, slope: &DVector<f64>) -> DVector<f64> {
    let newton = (-curvature).cholesky().map(|c| c.solve(slope));
    let step = newton.unwrap_or_else(|| slope / (1.0 + slope.norm()));
    let most = step.amax();
    if most > 2.0 {
        step * (2.0 / most)
    } else {
        step
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_sided_lives_are_refused() {
        let late = vec![Known::Beyond(10.0); 3];
        let early = vec![Known::Between(0.0, 5.0); 3];
        let sound = vec![
            Known::Between(2.0, 4.0),
            Known::Between(4.0, 8.0),
            Known::Beyond(8.0),
        ];
        for bad in [late, early] {
            assert!(fit_lives(&[sound.clone(), bad], None).is_err());
        }
        assert!(fit_lives(std::slice::from_ref(&sound), None).is_ok());
        assert!(fit_lives(&[vec![Known::Between(4.0, 2.0)]], None).is_err());
        let same = vec![Known::Between(2.0, 4.0); 3];
        let error = fit_lives(std::slice::from_ref(&same), None)
            .unwrap_err()
            .to_string();
        assert!(error.contains("too coarse"), "{error}");
        let prior = Scatter {
            ln_middle: 0.34_f64.ln(),
            sd: 0.5,
        };
        let fit = fit_lives(&[same], Some(prior)).unwrap();
        assert!(fit.median(0) > 2.0 && fit.median(0) < 4.0);
    }

    /// Two groups of the same lives, one stretched threefold: the ratio is 3, the scale stays.
    #[test]
    fn a_stretch_is_found() {
        let lives = [3.0, 5.0, 6.5, 8.0, 11.0, 14.0];
        let one: Vec<Known> = lives.iter().map(|t| Known::At(*t)).collect();
        let three = lives.iter().map(|t| Known::At(3.0 * t)).collect();
        let alone = fit_lives(std::slice::from_ref(&one), None).unwrap();
        let both = fit_lives(&[one, three], None).unwrap();
        assert!((both.median(1) / both.median(0) - 3.0).abs() < 1e-8);
        assert!((both.scale - alone.scale).abs() < 1e-8);
    }
}
