//! Our sampler against an independent one (nuts-rs, MIT), which sees the density in its plain
//! coordinates, so that the change of coordinates is checked as well.

use super::density::Density;
use super::nuts::Target;
use super::tests::simulated;
use super::*;
use base::Unwatched;
use nuts_rs::{
    Chain as _, CpuLogpFunc, CpuMath, CpuMathError, DiagNutsSettings, HasDims, LogpError, Settings,
};
use std::collections::HashMap;

#[derive(Debug)]
struct Never;

impl std::fmt::Display for Never {
    fn fmt(&self, _: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        Ok(())
    }
}
impl std::error::Error for Never {}
impl LogpError for Never {
    fn is_recoverable(&self) -> bool {
        true
    }
}

struct Plain<'a>(&'a Density);

impl HasDims for Plain<'_> {
    fn dim_sizes(&self) -> HashMap<String, u64> {
        let n = self.0.dim() as u64;
        HashMap::from([("unconstrained_parameter".into(), n), ("dim".into(), n)])
    }
}

impl CpuLogpFunc for Plain<'_> {
    type LogpError = Never;
    type FlowParameters = ();
    type ExpandedVector = Vec<f64>;

    fn dim(&self) -> usize {
        self.0.dim()
    }
    fn logp(&mut self, position: &[f64], gradient: &mut [f64]) -> Result<f64, Never> {
        Ok(self.0.log_density(position, gradient))
    }
    fn expand_vector<R>(&mut self, _: &mut R, array: &[f64]) -> Result<Vec<f64>, CpuMathError>
    where
        R: nuts_rs::rand::Rng + ?Sized,
    {
        Ok(array.to_vec())
    }
}

#[test]
fn an_independent_sampler_finds_the_same_medians() {
    // Three systems, three areas: small enough for plain coordinates.
    let (mut trial, _) = simulated(2, 21);
    trial.readings.retain(|r| r.specimen < 6 && r.area < 3);
    trial.system_of.truncate(6);
    trial.centre.truncate(3);
    trial.factors.truncate(3);
    trial.ln_dose.truncate(3);
    trial.ln_dose_sd.truncate(3);
    let prior = Prior::default();
    let ours = fit(&trial, &prior, &FitSettings::default(), &Unwatched).unwrap();
    assert!(ours.passed);
    let density = Density::new(trial, prior).unwrap();
    let settings = DiagNutsSettings {
        num_tune: 800,
        num_draws: 1500,
        ..DiagNutsSettings::default()
    };
    let mut chains: Vec<Vec<World>> = Vec::new();
    for chain in 0..2 {
        let mut random = base::random::stream(77, &["against"], chain);
        let mut sampler = settings
            .new_chain(chain, CpuMath::new(Plain(&density)), &mut random)
            .unwrap();
        sampler.set_position(&density.centre()).unwrap();
        let mut worlds = Vec::new();
        for draw in 0..2300 {
            let (position, _) = sampler.draw().unwrap();
            if draw >= 800 {
                let mut noise =
                    base::random::stream(78, &["against", "systems"], chain * 10_000 + draw);
                worlds.push(density.world(&position, &mut noise));
            }
        }
        chains.push(worlds);
    }
    type Look = fn(&World) -> f64;
    let looks: [(&str, Look); 9] = [
        ("beta 1", |w| w.beta[0]),
        ("beta 3", |w| w.beta[2]),
        ("contrast", |w| w.beta[1] - w.beta[0]),
        ("area", |w| w.area[1]),
        ("grader", |w| w.grader[1] - w.grader[0]),
        ("threshold", |w| w.threshold[2]),
        ("reading", |w| w.spread[4].ln()),
        ("specimen", |w| w.spread[2].ln()),
        ("exponent", |w| w.exponent),
    ];
    for (name, look) in looks {
        let theirs: Vec<Vec<f64>> = chains
            .iter()
            .map(|c| c.iter().map(look).collect())
            .collect();
        let (a, b) = (ours.of(look), summary(&theirs));
        // Standard error of a median: 1.25 sd / sqrt(effective draws).
        let error = |s: &Summary| 1.2533 * (s.hi90 - s.lo90) / 3.29 / s.ess.sqrt();
        let both = error(&a).hypot(error(&b));
        assert!(
            (a.median - b.median).abs() < 3.0 * both,
            "{name}: {a:?} {b:?}"
        );
    }
}
