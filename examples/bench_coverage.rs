//! Do 90 % intervals of the grade model hold 90 % of the time? Worlds are drawn from the prior,
//! benches are simulated and fitted, and the share of intervals that hold the truth is counted.
//!
//! `cargo run --release --example bench_coverage -- BENCHES SEED > results/bench_coverage.csv`

use base::random::{Stream, stream};
use base::{Result, Unwatched};
use rand_distr::{Distribution, StandardNormal};
use thumbworn::bench::model::{Density, Fit, FitSettings, Prior, Reading, Trial, World, fit};

#[derive(Clone, Copy)]
struct Scenario {
    name: &'static str,
    specimens: usize,
    /// Truth with exponent 0.85, heavy-tailed cells and Gaussian reading noise.
    misspecified: bool,
    exponent_sd: f64,
}

const SCENARIOS: [Scenario; 4] = [
    Scenario {
        name: "prior_n2",
        specimens: 2,
        misspecified: false,
        exponent_sd: 0.15,
    },
    Scenario {
        name: "prior_n1",
        specimens: 1,
        misspecified: false,
        exponent_sd: 0.15,
    },
    Scenario {
        name: "misspecified_n2_exponent_free",
        specimens: 2,
        misspecified: true,
        exponent_sd: 0.15,
    },
    Scenario {
        name: "misspecified_n2_exponent_1",
        specimens: 2,
        misspecified: true,
        exponent_sd: 0.0,
    },
];

fn design(specimens: usize) -> Trial {
    let factors: [[f64; 7]; 7] = [
        [1., 0., 0., 0., 0., 0., 0.],
        [1., 0., 0., 0., 0., 1., 0.],
        [0., 0., 0., 1., 0., 0., 0.],
        [0., 0., 0., 0., 1., 1., 0.],
        [0., 1., 0., 0., 0., 0., 1.],
        [0., 1., 1., 0., 1., 0., 0.],
        [1., 0., 0., 1., 0., 0., 1.],
    ];
    let readings = Reading::all(7 * specimens, 5, 5, 2);
    Trial {
        centre: vec![-(600.0_f64.ln()); 7],
        factors: factors.iter().map(|r| r.to_vec()).collect(),
        system_of: (0..7 * specimens).map(|i| i / specimens).collect(),
        ln_dose: vec![0.4, 0.0, -0.5, -1.0, -1.7],
        ln_dose_sd: vec![0.0; 5],
        exposure: vec![125.0, 250.0, 500.0, 1000.0, 2000.0],
        graders: 2,
        readings,
    }
}

/// Grades of a truth outside the model.
fn misspecified(trial: &Trial, world: &World, random: &mut Stream) -> Vec<Reading> {
    let normal = |random: &mut Stream| -> f64 { StandardNormal.sample(random) };
    let areas = trial.ln_dose.len();
    let cells: Vec<f64> = (0..trial.system_of.len() * areas)
        .map(|_| {
            let chi: f64 = (0..4).map(|_| normal(random).powi(2)).sum();
            world.spread[3] * normal(random) / (chi / 4.0).sqrt() * 0.5_f64.sqrt()
        })
        .collect();
    let mut readings = trial.readings.clone();
    for r in &mut readings {
        let x = 500.0_f64.ln()
            + 0.85 * (trial.exposure[r.inspection] / 500.0).ln()
            + trial.ln_dose[r.area]
            + world.beta[trial.system_of[r.specimen]]
            + world.area[r.area]
            + world.specimen[r.specimen]
            + cells[r.specimen * areas + r.area]
            + world.grader[r.grader]
            + 1.6 * world.spread[4] * normal(random);
        r.grade = world.threshold.iter().filter(|t| x > **t).count() as u8;
    }
    readings
}

/// Inside, half-width, effective draws.
type Hit = (bool, f64, f64);

/// A name and how to read the number from a world.
type Look = (String, Box<dyn Fn(&World) -> f64>);

fn looks() -> Vec<Look> {
    let mut list: Vec<Look> = Vec::new();
    for s in 0..7 {
        list.push(("beta".into(), Box::new(move |w| w.beta[s])));
    }
    for s in 1..7 {
        list.push(("contrast".into(), Box::new(move |w| w.beta[s] - w.beta[0])));
    }
    for k in 0..7 {
        list.push(("factor".into(), Box::new(move |w| w.theta[k])));
    }
    list.push(("grader2-1".into(), Box::new(|w| w.grader[1] - w.grader[0])));
    for (k, name) in ["system", "area", "specimen", "cell", "reading"]
        .iter()
        .enumerate()
    {
        list.push((format!("sd_{name}"), Box::new(move |w| w.spread[k])));
    }
    for j in 0..5 {
        list.push((
            format!("threshold{}", j + 1),
            Box::new(move |w| w.threshold[j]),
        ));
    }
    for a in 0..5 {
        list.push(("area_error".into(), Box::new(move |w| w.area[a])));
    }
    list.push(("exponent".into(), Box::new(|w| w.exponent)));
    list
}

/// Per look: inside, half-width and effective draws; and whether the gates were passed.
fn one(scenario: Scenario, seed: u64, bench: u64) -> Result<(Vec<Hit>, Fit)> {
    let mut trial = design(scenario.specimens);
    let mut random = stream(seed, &["bench coverage", scenario.name], bench);
    let density = Density::new(trial.clone(), Prior::default())?;
    let mut world = density.prior_world(&mut random);
    if scenario.misspecified {
        world.exponent = 0.85;
        trial.readings = misspecified(&trial, &world, &mut random);
    } else {
        trial.readings = density.simulate(&world, &mut random);
    }
    let prior = Prior {
        exponent_sd: scenario.exponent_sd,
        ..Prior::default()
    };
    let settings = FitSettings {
        seed: bench,
        ..FitSettings::default()
    };
    let fitted = fit(&trial, &prior, &settings, &Unwatched)?;
    let results = looks()
        .iter()
        .map(|(_, f)| {
            let s = fitted.of(f);
            let truth = f(&world);
            (
                s.lo90 <= truth && truth <= s.hi90,
                0.5 * (s.hi90 - s.lo90),
                s.ess,
            )
        })
        .collect();
    Ok((results, fitted))
}

fn main() -> Result<()> {
    let mut arguments = std::env::args()
        .skip(1)
        .filter_map(|a| a.parse::<u64>().ok());
    let benches = arguments.next().unwrap_or(200);
    let seed = arguments.next().unwrap_or(1);
    println!(
        "# thumbworn {} bench_coverage, seed {seed}: worlds drawn from the prior, 7 systems, 5 areas, 5 inspections, 2 graders, 4 chains of 500 draws",
        env!("CARGO_PKG_VERSION")
    );
    println!(
        "scenario,quantity,benches,intervals,coverage90_pct,se_pct,half_width_median_ln,ess_median,passed_gates_pct,divergences,seconds_median"
    );
    for scenario in SCENARIOS {
        let looks = looks();
        let mut hits = vec![Vec::new(); looks.len()];
        let (mut passed, mut divergences, mut seconds) = (0, 0, Vec::new());
        for bench in 0..benches {
            let started = std::time::Instant::now();
            let (results, fitted) = one(scenario, seed, bench)?;
            seconds.push(started.elapsed().as_secs_f64());
            passed += usize::from(fitted.passed);
            divergences += fitted.divergences;
            for (list, result) in hits.iter_mut().zip(results) {
                list.push(result);
            }
            eprintln!("{} {}/{benches}", scenario.name, bench + 1);
        }
        let mut names: Vec<String> = looks.iter().map(|(n, _)| n.clone()).collect();
        names.dedup();
        for name in names {
            report(
                &name,
                scenario,
                &looks,
                &hits,
                (passed, divergences, median(seconds.clone())),
            );
        }
    }
    Ok(())
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn report(
    name: &str,
    scenario: Scenario,
    looks: &[Look],
    hits: &[Vec<Hit>],
    (passed, divergences, seconds): (usize, usize, f64),
) {
    let chosen = looks.iter().zip(hits).filter(|((n, _), _)| n == name);
    let lists: Vec<&Vec<Hit>> = chosen.map(|(_, h)| h).collect();
    let benches = lists[0].len();
    // Intervals of one bench are not independent: the error is that of the benches' shares.
    let share = |b: usize| lists.iter().filter(|l| l[b].0).count() as f64 / lists.len() as f64;
    let shares: Vec<f64> = (0..benches).map(share).collect();
    let mean = shares.iter().sum::<f64>() / benches as f64;
    let variance =
        shares.iter().map(|s| (s - mean).powi(2)).sum::<f64>() / (benches.max(2) - 1) as f64;
    let all = || lists.iter().flat_map(|l| l.iter());
    println!(
        "{},{name},{benches},{},{:.1},{:.1},{:.3},{:.0},{:.1},{divergences},{seconds:.2}",
        scenario.name,
        benches * lists.len(),
        100.0 * mean,
        100.0 * (variance / benches as f64).sqrt(),
        median(all().map(|h| h.1).collect()),
        median(all().map(|h| h.2).collect()),
        100.0 * passed as f64 / benches as f64,
    );
}
