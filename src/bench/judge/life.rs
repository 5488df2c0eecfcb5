//! Lives known only between two inspections: a Weibull fit with one shape for all groups.

use base::{Error, Result};
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
    /// The exposures above 0 that bound it.
    pub(super) fn ends(&self) -> impl Iterator<Item = f64> + use<> {
        let (a, b) = match *self {
            Known::At(t) | Known::Beyond(t) => (t, t),
            Known::Between(a, b) => (a, b),
        };
        [a, b].into_iter().filter(|t| *t > 0.0)
    }

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

/// What was known of the scatter before the first life: ln of the scale is normal around
/// `ln_middle`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// \[ln units\] ln of the scale's middle.
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
    /// Log likelihood (densities for exact lives are per ln unit).
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
}

/// Fits lives of several groups by maximum likelihood; errors from the curvature there, which few
/// lives make too small (use [`super::life_ranges`] for a bench).
///
/// # Errors
/// A life that is none; a group in which no life ended or all ended by the first look (its location
/// runs away); inspections so coarse that no scatter can be seen.
///
/// Source: Nelson 1982, Applied Life Data Analysis, ch. 9 (inspection data); common shape: Lawless
/// 2003, Statistical Models and Methods for Lifetime Data, ch. 6.
pub fn fit_lives(groups: &[Vec<Known>]) -> Result<LifeFit> {
    two_sided(groups)?;
    if groups.iter().all(|g| of_one_moment(g)) {
        return Err(coarse());
    }
    let mut at = start(groups);
    for _ in 0..200 {
        let (value, slope) = likelihood(groups, &at);
        if slope.amax() < 1e-10 * (1.0 + groups.iter().map(Vec::len).sum::<usize>() as f64) {
            break;
        }
        let step = newton_step(&curvature(groups, &at), &slope);
        let mut share = 1.0;
        while share > 1e-10 {
            let next = &at + share * &step;
            let (there, _) = likelihood(groups, &next);
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
            return Err(coarse());
        }
    }
    let information = -curvature(groups, &at);
    let covariance = information
        .try_inverse()
        .filter(|c| (0..c.nrows()).all(|i| c[(i, i)] > 0.0))
        .ok_or_else(|| Error::refused("the likelihood has no peak: too few lives ended"))?;
    if covariance[(groups.len(), groups.len())] > 9.0 {
        return Err(coarse());
    }
    let (log_likelihood, _) = likelihood(groups, &at);
    Ok(LifeFit {
        location: at.iter().take(groups.len()).copied().collect(),
        scale: at[groups.len()].exp(),
        log_likelihood,
        covariance,
    })
}

/// Refuses lives that are none, and groups whose location would run away.
///
/// # Errors
/// As [`fit_lives`].
pub(super) fn two_sided(groups: &[Vec<Known>]) -> Result<()> {
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
    Ok(())
}

fn coarse() -> Error {
    Error::refused("the inspections are too coarse to see any scatter between lives")
}

/// Could all lives of a group have ended at one moment? If so in every group, the likelihood rises
/// as the scale falls to 0 and has no peak: even where intervals only touch, no scale does better.
fn of_one_moment(group: &[Known]) -> bool {
    let bounds = group.iter().map(|k| match *k {
        Known::At(t) => (t, t),
        Known::Between(a, b) => (a, b),
        Known::Beyond(a) => (a, f64::INFINITY),
    });
    let (from, to) = bounds.fold((0.0_f64, f64::INFINITY), |(f, t), (a, b)| {
        (f.max(a), t.min(b))
    });
    from <= to
}

/// Log likelihood of one life.
pub(super) fn log_likelihood(known: Known, location: f64, scale: f64) -> f64 {
    let hazard = |t: f64| ((t.ln() - location) / scale).exp();
    match known {
        Known::At(t) => (t.ln() - location) / scale - hazard(t) - scale.ln(),
        Known::Beyond(t) => -hazard(t),
        Known::Between(a, b) => {
            let lower = if a > 0.0 { hazard(a) } else { 0.0 };
            match lower.is_finite() {
                true => (-(lower - hazard(b)).exp_m1()).ln() - lower,
                false => f64::NEG_INFINITY,
            }
        }
    }
}

/// Locations at the mean ln of what is known, a middling scale.
fn start(groups: &[Vec<Known>]) -> DVector<f64> {
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
        at[i] = base::sum::sum(group.iter().map(guess)) / group.len() as f64;
    }
    at[groups.len()] = 0.7_f64.ln();
    at
}

/// Log density and its slope in the locations and in ln scale.
fn likelihood(groups: &[Vec<Known>], at: &DVector<f64>) -> (f64, DVector<f64>) {
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
    (base::sum::sum(parts), slope)
}

/// Second derivatives, by central differences of the exact slope.
fn curvature(groups: &[Vec<Known>], at: &DVector<f64>) -> DMatrix<f64> {
    let n = at.len();
    let h = 1e-5;
    let mut matrix = DMatrix::zeros(n, n);
    for k in 0..n {
        let moved = |by: f64| {
            let mut there = at.clone();
            there[k] += by;
            likelihood(groups, &there).1
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
            assert!(fit_lives(&[sound.clone(), bad]).is_err());
        }
        assert!(fit_lives(std::slice::from_ref(&sound)).is_ok());
        assert!(fit_lives(&[vec![Known::Between(4.0, 2.0)]]).is_err());
    }

    /// Lives that may all have ended at one moment, even only just, show no scatter; a group that
    /// shows some is enough for all.
    #[test]
    fn no_scatter_no_fit() {
        let same = vec![Known::Between(2.0, 4.0); 3];
        let touching = vec![Known::Between(2.0, 4.0), Known::Between(4.0, 8.0)];
        let apart = vec![Known::Between(1.0, 2.0), Known::Between(4.0, 8.0)];
        for groups in [vec![same.clone()], vec![touching.clone(), same.clone()]] {
            let error = fit_lives(&groups).unwrap_err().to_string();
            assert!(error.contains("too coarse"), "{error}");
        }
        assert!(fit_lives(&[same, touching, apart]).is_ok());
    }

    /// Two groups of the same lives, one stretched threefold: the ratio is 3, the scale stays.
    #[test]
    fn a_stretch_is_found() {
        let lives = [3.0, 5.0, 6.5, 8.0, 11.0, 14.0];
        let one: Vec<Known> = lives.iter().map(|t| Known::At(*t)).collect();
        let three = lives.iter().map(|t| Known::At(3.0 * t)).collect();
        let alone = fit_lives(std::slice::from_ref(&one)).unwrap();
        let both = fit_lives(&[one, three]).unwrap();
        assert!((both.median(1) / both.median(0) - 3.0).abs() < 1e-8);
        assert!((both.scale - alone.scale).abs() < 1e-8);
    }
}
