//! Wear rates from the user's own bench, as a file between `bench calibrate` and `run`.

use base::error::nearest;
use base::known::Z95;
use base::{Error, Grade, Known, Result};
use serde::{Deserialize, Serialize};

/// The calibration file: wear rates of systems on one exposure, grade `User`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Calibration {
    /// Title of the bench.
    pub bench: String,
    /// Hash over plan and key.
    pub bench_hash: String,
    /// Run the areas' doses came from.
    pub simulator_run: String,
    /// Kind of exposure.
    pub exposure_kind: String,
    /// What rubbed the figures, a name of the stock; empty if the plan did not say.
    #[serde(default)]
    pub counterface: String,
    /// Friction the areas' doses were computed with; absent if the plan did not say.
    #[serde(default)]
    pub friction: Option<f64>,
    /// Dose exponent seen.
    pub exponent: f64,
    /// One entry per system.
    pub wear_rate: Vec<WearRate>,
    /// Covariance of ln k_E in the order of the entries.
    pub covariance_ln: Vec<Vec<f64>>,
}

/// One system's wear rate, already widened by what another bench may differ.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(non_snake_case)]
pub struct WearRate {
    /// System of the bench.
    pub system_id: String,
    /// Body, coats, in words.
    pub words: String,
    /// [mm3/J] median.
    pub k_E_mm3_per_J: f64,
    /// [mm3/J] 5 %.
    pub low: f64,
    /// [mm3/J] 95 %.
    pub high: f64,
    /// Mean of ln(k_E in mm3/J).
    pub mean_ln: f64,
    /// Its standard deviation.
    pub sd_ln: f64,
    /// [mm3/J] what the plan started from.
    pub prior_mm3_per_J: f64,
    /// Where it is from.
    pub source: String,
}

/// The wear rate of one system as a run takes it: one for the whole stack of films, since grades
/// of a figure tell nothing about a single one of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SystemRate {
    /// [m3/J] median with its 90 % range.
    pub rate: Known,
    /// Standard deviation of ln rate that all systems of the bench share.
    pub shared_sigma: f64,
    /// Standard deviation of ln rate that is this system's own.
    pub own_sigma: f64,
    /// Hash of the bench: what the shared part is drawn by.
    pub bench_hash: String,
    /// System of the bench.
    pub system_id: String,
    /// Friction the bench's doses were computed with.
    pub friction: Option<f64>,
}

impl Calibration {
    /// The wear rate of one system.
    ///
    /// # Errors
    /// A system the bench does not have, or numbers that cannot be.
    pub fn system(&self, id: &str) -> Result<SystemRate> {
        let found = self.wear_rate.iter().position(|w| w.system_id == id);
        let Some(s) = found else {
            let known = self.wear_rate.iter().map(|w| w.system_id.as_str());
            let error = Error::input(format!(
                "the bench \"{}\" has no system \"{id}\"",
                self.bench
            ));
            return Err(match nearest(id, known.clone()) {
                Some(near) => error.hint(format!("did you mean \"{near}\"?")),
                None => error.hint(format!("it has: {}", known.collect::<Vec<_>>().join(", "))),
            });
        };
        let row = &self.wear_rate[s];
        let whole = self.covariance_ln.len() == self.wear_rate.len()
            && self
                .covariance_ln
                .iter()
                .all(|r| r.len() == self.wear_rate.len());
        let positive = |x: f64| x > 0.0 && x.is_finite();
        if !(whole && positive(row.k_E_mm3_per_J) && positive(row.sd_ln)) {
            return Err(Error::input(format!(
                "the wear rate of system \"{id}\" is damaged: rate and sd_ln must be above 0, the covariance square"
            ))
            .hint("write the file again with `thumbworn bench calibrate`"));
        }
        // what all systems share at least: the smallest covariance of this one with another
        let others = (0..self.wear_rate.len()).filter(|o| *o != s);
        let least = others
            .map(|o| self.covariance_ln[s][o])
            .fold(f64::INFINITY, f64::min);
        let variance = row.sd_ln * row.sd_ln;
        let shared = if least.is_finite() {
            least.clamp(0.0, variance)
        } else {
            0.0
        };
        let reach = (Z95 * row.sd_ln).exp();
        Ok(SystemRate {
            rate: Known {
                value: row.k_E_mm3_per_J * 1e-9,
                low: row.k_E_mm3_per_J * 1e-9 / reach,
                high: row.k_E_mm3_per_J * 1e-9 * reach,
                grade: Grade::User,
                source: row.source.clone(),
            },
            shared_sigma: shared.sqrt(),
            own_sigma: (variance - shared).sqrt(),
            bench_hash: self.bench_hash.clone(),
            system_id: id.to_owned(),
            friction: self.friction,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(sd: [f64; 2], covariance: f64) -> Calibration {
        let row = |i: usize| WearRate {
            system_id: format!("S{}", i + 1),
            words: String::new(),
            k_E_mm3_per_J: 0.01,
            low: 0.005,
            high: 0.02,
            mean_ln: 0.01_f64.ln(),
            sd_ln: sd[i],
            prior_mm3_per_J: 0.02,
            source: "t".into(),
        };
        Calibration {
            bench: "t".into(),
            bench_hash: "00".into(),
            simulator_run: String::new(),
            exposure_kind: "handle".into(),
            counterface: "greasy skin".into(),
            friction: None,
            exponent: 1.0,
            wear_rate: vec![row(0), row(1)],
            covariance_ln: vec![
                vec![sd[0] * sd[0], covariance],
                vec![covariance, sd[1] * sd[1]],
            ],
        }
    }

    /// Variances add: shared and own give the whole, and the ratio of two systems keeps theirs.
    #[test]
    fn the_spread_is_split_into_shared_and_own() {
        let file = of([0.5, 0.6], 0.16);
        let (a, b) = (file.system("S1").unwrap(), file.system("S2").unwrap());
        assert!((a.shared_sigma - 0.4).abs() < 1e-12 && (a.own_sigma - 0.3).abs() < 1e-12);
        let ratio = a.own_sigma.powi(2) + b.own_sigma.powi(2);
        assert!((ratio - (0.25 + 0.36 - 2.0 * 0.16)).abs() < 1e-12);
        assert!((a.rate.value - 1e-11).abs() < 1e-24);
        assert!(file.system("S3").unwrap_err().to_string().contains("S1"));
        assert!(of([0.0, 0.6], 0.0).system("S1").is_err());
    }
}
