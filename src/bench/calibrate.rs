//! `bench calibrate`: wear rates out, as a file that overrules the stock.

use super::analyse::{calibration_note, short};
use super::files::{Bench, Outcome};
use super::model::{Fit, FitSettings, fit};
use super::scores::trial;
use crate::reference::{Calibration, WearRate};
use base::known::Z95;
use base::random::stream;
use base::stats::quantile;
use base::{Error, Note, Result, Topic, Watch};
use rand_distr::{Distribution, StandardNormal};
use std::fmt::Write;
use std::path::PathBuf;

/// What to calibrate.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrateSettings {
    /// The bench folder.
    pub folder: PathBuf,
    /// How to sample.
    pub fit: FitSettings,
}

/// \[ln units\] how much another bench of the same user may differ (engineering guess).
pub const BENCH_SD: f64 = 0.2;
/// \[ln units\] uncertainty of a gauged film.
const GAUGED_SD: f64 = 0.10;
/// \[ln units\] uncertainty of a guessed film.
const GUESSED_SD: f64 = 0.35;

/// Fits the bench and writes the posterior of k_E.
///
/// # Errors
/// As [`super::analyse::analyse`]; refused while the sampler's gates are not passed.
pub fn calibrate(settings: &CalibrateSettings, watch: &dyn Watch) -> Result<Outcome> {
    let bench = Bench::open(&settings.folder)?;
    let grades = bench.recorded()?;
    let mut outcome = Outcome::default();
    let (trial, prior, _) = trial(&bench, &grades, &mut outcome.notes)?;
    let fitted = fit(&trial, &prior, &settings.fit, watch)?;
    outcome.notes.extend(fitted.notes.clone());
    if !fitted.passed {
        return Err(
            Error::refused("the fit did not pass its gates: no wear rate is written")
                .hint("sample longer, or look for grades that contradict each other"),
        );
    }
    let mut calibration = posterior(&bench, &fitted);
    if grades.iter().any(|g| g.rehearsed) {
        for rate in &mut calibration.wear_rate {
            rate.source = format!("REHEARSAL with made-up grades, {}", rate.source);
        }
    }
    outcome.text = told(&calibration);
    let name = format!("calibration/wear-rates-{}.toml", short(&bench, &grades));
    let _ = writeln!(
        outcome.text,
        "A scenario takes one in with a line in its specimen: measured = {{ file = \"{name}\", system = \"{}\" }}, the path seen from the scenario.",
        bench.systems[0].system_id
    );
    outcome.notes.push(calibration_note());
    outcome.notes.push(Note::new(
        Topic::Guess,
        format!("film thickness counts as known to a factor of {:.2} where gauged and {:.2} where guessed; another bench may differ by {:.2}", GAUGED_SD.exp(), GUESSED_SD.exp(), BENCH_SD.exp()),
    ));
    let toml = toml::to_string(&calibration)
        .map_err(|e| Error::refused(format!("cannot write the calibration: {e}")))?;
    let head = "# Wear rates from a bench: overrules the stock for these systems on this exposure.\n# Results of abrasion machines and of one bench do not convert to other counterfaces.\n";
    outcome.add(name, format!("{head}{toml}"));
    Ok(outcome)
}

/// Draws of ln(k_E in mm3/J) per system, film and bench scatter added.
fn draws(bench: &Bench, fitted: &Fit) -> Vec<Vec<f64>> {
    let mut random = stream(bench.file.seed, &["bench", "calibrate"], 0);
    let mut columns = vec![Vec::with_capacity(fitted.worlds.len()); bench.systems.len()];
    for world in &fitted.worlds {
        let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
        let shared = BENCH_SD * normal();
        for (s, system) in bench.systems.iter().enumerate() {
            let film_sd = if system.film_um_source == "gauge" {
                GAUGED_SD
            } else {
                GUESSED_SD
            };
            let film = (system.film_um_median * 1e-6).ln() + film_sd * normal();
            columns[s].push(world.beta[s] + film + 1e9_f64.ln() + shared);
        }
    }
    columns
}

fn posterior(bench: &Bench, fitted: &Fit) -> Calibration {
    let columns = draws(bench, fitted);
    let n = fitted.worlds.len() as f64;
    let sum = |v: &mut dyn Iterator<Item = f64>| base::sum::sum(v);
    let means: Vec<f64> = columns
        .iter()
        .map(|c| sum(&mut c.iter().copied()) / n)
        .collect();
    let covariance = |i: usize, j: usize| {
        let pairs = columns[i].iter().zip(&columns[j]);
        sum(&mut pairs.map(|(a, b)| (a - means[i]) * (b - means[j]))) / (n - 1.0)
    };
    let systems = 0..bench.systems.len();
    let rate = |s: usize| {
        let system = &bench.systems[s];
        let mut sorted = columns[s].clone();
        sorted.sort_by(f64::total_cmp);
        let at = |p: f64| quantile(&sorted, p).exp();
        let prior = bench
            .file
            .prior
            .iter()
            .find(|p| p.system_id == system.system_id);
        WearRate {
            system_id: system.system_id.clone(),
            words: format!(
                "{}, primer {} {}, paint {}, topcoat {} x{}",
                system.body,
                system.primer_kind,
                system.primer_method,
                system.paint_method,
                system.topcoat_kind,
                system.topcoat_coats
            ),
            k_E_mm3_per_J: at(0.5),
            low: at(0.05),
            high: at(0.95),
            mean_ln: means[s],
            sd_ln: covariance(s, s).sqrt(),
            prior_mm3_per_J: prior.map_or(f64::NAN, |p| p.k_e_mm3_per_j),
            source: format!("bench \"{}\", grades of figures", bench.file.title),
        }
    };
    Calibration {
        bench: bench.file.title.clone(),
        bench_hash: bench.hash(),
        simulator_run: bench.file.simulator_run.clone(),
        exposure_kind: bench.file.exposure_kind.clone(),
        counterface: bench.file.counterface.clone(),
        friction: bench.file.friction,
        exponent: fitted.of(|w| w.exponent).median,
        wear_rate: systems.clone().map(rate).collect(),
        covariance_ln: systems
            .clone()
            .map(|i| systems.clone().map(|j| covariance(i, j)).collect())
            .collect(),
    }
}

fn told(calibration: &Calibration) -> String {
    let mut text =
        String::from("Wear rates for the next plan and for the simulator (90 % intervals):\n");
    for w in &calibration.wear_rate {
        let factor = (Z95 * w.sd_ln).exp();
        let _ = writeln!(
            text,
            "{}: {:.2e} mm3/J ({:.2e} to {:.2e}, a factor of {factor:.1} either way); planned with {:.2e}.",
            w.system_id, w.k_E_mm3_per_J, w.low, w.high, w.prior_mm3_per_J
        );
    }
    text
}
