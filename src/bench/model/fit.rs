//! Four chains, gates, and the numbers people ask for.

use super::chains::{Summary, summary};
use super::data::Trial;
use super::density::{Density, World};
use super::nuts::{Chain, NutsSettings, sample};
use super::prior::Prior;
use super::whiten::Whitened;
use base::{Note, Result, Topic, Watch};
use rand_distr::{Distribution, StandardNormal};
use rayon::iter::{IntoParallelIterator, ParallelIterator};

/// How long to sample and what to accept.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FitSettings {
    /// Random seed.
    pub seed: u64,
    /// Chains, run in parallel.
    pub chains: usize,
    /// Length of each.
    pub nuts: NutsSettings,
    /// Times the length is doubled while the gates are not passed.
    pub doublings: u32,
}

impl Default for FitSettings {
    fn default() -> FitSettings {
        FitSettings {
            seed: 1,
            chains: 4,
            nuts: NutsSettings::default(),
            doublings: 3,
        }
    }
}

/// One number of the posterior with its name and unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Quantity {
    /// What it is, such as `beta 3` (counts from 1).
    pub name: String,
    /// Unit.
    pub unit: &'static str,
    /// Its posterior.
    pub summary: Summary,
}

/// Posterior of a bench.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// All draws, chain after chain.
    pub worlds: Vec<World>,
    /// Number of chains.
    pub chains: usize,
    /// Summaries.
    pub quantities: Vec<Quantity>,
    /// Trajectories after warm-up whose energy error ran away.
    pub divergences: usize,
    /// Gradients computed.
    pub gradients: u64,
    /// R-hat at most 1.01 and bulk ESS at least 400 for every system, no divergence.
    pub passed: bool,
    /// What the reader must be told.
    pub notes: Vec<Note>,
}

impl Fit {
    /// Summary of any function of a draw.
    pub fn of(&self, f: impl Fn(&World) -> f64) -> Summary {
        let values: Vec<f64> = self.worlds.iter().map(f).collect();
        let length = values.len() / self.chains;
        let chains: Vec<Vec<f64>> = values.chunks(length).map(<[f64]>::to_vec).collect();
        summary(&chains)
    }

    /// Share of draws for which a statement holds.
    pub fn chance(&self, f: impl Fn(&World) -> bool) -> f64 {
        let hits = self.worlds.iter().filter(|w| f(w)).count();
        hits as f64 / self.worlds.len() as f64
    }
}

/// Fits the model; doubles the length while the gates are not passed.
///
/// # Errors
/// As [`Trial::check`], or interrupted.
pub fn fit(trial: &Trial, prior: &Prior, settings: &FitSettings, watch: &dyn Watch) -> Result<Fit> {
    let density = Density::new(trial.clone(), *prior)?;
    let map = settle(&density, settings, watch)?;
    let mut nuts = settings.nuts;
    let mut gradients = 0;
    for round in 0..=settings.doublings {
        watch.progress(
            f64::from(round) / f64::from(settings.doublings + 1),
            &format!("{} chains of {} draws", settings.chains, nuts.draws),
        );
        let chains = run(&map, &nuts, settings, watch)?;
        gradients += chains.iter().map(|c| c.gradients).sum::<u64>();
        let mut fitted = gather(&density, &map, &chains);
        fitted.gradients = gradients;
        if fitted.passed || round == settings.doublings {
            fitted.notes.extend(warnings(&fitted, prior));
            return Ok(fitted);
        }
        nuts.draws *= 2;
        if fitted.divergences > 0 {
            nuts.accept = 1.0 - 0.4 * (1.0 - nuts.accept);
            nuts.depth = 10;
        }
    }
    unreachable!("the last round returns")
}

/// The map for sampling: first with typical scatters, then with those a short chain found.
fn settle<'a>(
    density: &'a Density,
    settings: &FitSettings,
    watch: &dyn Watch,
) -> Result<Whitened<'a>> {
    let first = Whitened::new(density, &[0.0; 5])?;
    let pilot = NutsSettings {
        warmup: 100,
        draws: 100,
        ..settings.nuts
    };
    let mut random = base::random::stream(settings.seed, &["bench", "nuts", "pilot"], 0);
    let chain = sample(&first, first.origin(), &pilot, &mut random, watch)?;
    let mean = |k: usize| chain.draws.iter().map(|h| h[k]).sum::<f64>() / chain.draws.len() as f64;
    let scores: Vec<f64> = density.spread_range().map(mean).collect();
    Whitened::new(density, &std::array::from_fn(|k| scores[k]))
}

fn run(
    map: &Whitened<'_>,
    nuts: &NutsSettings,
    settings: &FitSettings,
    watch: &dyn Watch,
) -> Result<Vec<Chain>> {
    let one = |chain: usize| {
        let names = ["bench", "nuts"];
        let mut random = base::random::stream(settings.seed, &names, chain as u64);
        let mut start = map.origin();
        for h in &mut start {
            let z: f64 = StandardNormal.sample(&mut random);
            *h += z;
        }
        sample(map, start, nuts, &mut random, watch)
    };
    let chains: Vec<Result<Chain>> = (0..settings.chains).into_par_iter().map(one).collect();
    chains.into_iter().collect()
}

fn gather(density: &Density, map: &Whitened<'_>, chains: &[Chain]) -> Fit {
    let mut random = base::random::stream(0, &["bench", "systems given specimens"], 0);
    let draws = chains.iter().flat_map(|c| &c.draws);
    let worlds = draws.map(|h| density.world(&map.position(h), &mut random));
    let mut fit = Fit {
        worlds: worlds.collect(),
        chains: chains.len(),
        quantities: Vec::new(),
        divergences: chains.iter().map(|c| c.divergences).sum(),
        gradients: 0,
        passed: false,
        notes: Vec::new(),
    };
    fit.quantities = quantities(&fit);
    let gated = fit.quantities.iter().filter(|q| q.name.starts_with("beta"));
    let mixed = gated
        .clone()
        .all(|q| q.summary.rhat <= 1.01 && q.summary.ess >= 400.0);
    fit.passed = mixed && fit.divergences == 0;
    fit
}

fn quantities(fit: &Fit) -> Vec<Quantity> {
    let first = &fit.worlds[0];
    let mut list = Vec::new();
    let mut add = |name: String, unit: &'static str, f: &dyn Fn(&World) -> f64| {
        list.push(Quantity {
            name,
            unit,
            summary: fit.of(f),
        });
    };
    for s in 0..first.beta.len() {
        add(format!("beta {}", s + 1), "ln(m2/J)", &|w| w.beta[s]);
    }
    for a in 0..first.area.len() {
        add(format!("area error {}", a + 1), "ln", &|w| w.area[a]);
    }
    for k in 0..first.theta.len() {
        add(format!("factor {}", k + 1), "ln", &|w| w.theta[k]);
    }
    for g in 1..first.grader.len() {
        add(format!("grader {} - 1", g + 1), "ln", &|w| {
            w.grader[g] - w.grader[0]
        });
    }
    let names = ["system", "area", "specimen", "cell", "reading"];
    for (k, name) in names.iter().enumerate() {
        add(format!("sd {name}"), "ln", &|w| w.spread[k]);
    }
    for j in 0..5 {
        add(format!("threshold {}", j + 1), "ln", &|w| w.threshold[j]);
    }
    add("dose exponent".into(), "1", &|w| w.exponent);
    list
}

fn warnings(fit: &Fit, prior: &Prior) -> Vec<Note> {
    let mut notes = vec![Note::new(
        Topic::Prior,
        "the scatters, thresholds and factor effects of the grade model start from engineering guesses, no source",
    )];
    if !fit.passed {
        let worst = fit.quantities.iter().filter(|q| q.name.starts_with("beta"));
        let (rhat, ess) = worst.fold((1.0_f64, f64::INFINITY), |(r, e), q| {
            (r.max(q.summary.rhat), e.min(q.summary.ess))
        });
        notes.push(Note::new(
            Topic::Limit,
            format!(
                "the sampler did not pass its gates: R-hat {rhat:.3} (at most 1.01), effective draws {ess:.0} (at least 400), {} divergences (none): read the intervals as rough",
                fit.divergences
            ),
        ));
    }
    if prior.exponent_sd > 0.0 {
        let gamma = fit.of(|w| w.exponent);
        if gamma.lo90 > 1.15 || gamma.hi90 < 0.85 {
            notes.push(Note::new(
                Topic::Limit,
                format!(
                    "wear is not proportional to exposure here (running-in or break-through): dose exponent {:.2} (90 %: {:.2} to {:.2})",
                    gamma.median, gamma.lo90, gamma.hi90
                ),
            ));
        }
    }
    notes
}
