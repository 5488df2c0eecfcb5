use super::*;
use base::Unwatched;
use base::random::stream;

/// Seven systems of four factors, five areas, inspections 125 to 2000, two graders.
pub(super) fn bench_of_seven(specimens: usize) -> Trial {
    let factors: [[f64; 7]; 7] = [
        [1., 0., 0., 0., 0., 0., 0.],
        [1., 0., 0., 0., 0., 1., 0.],
        [0., 0., 0., 1., 0., 0., 0.],
        [0., 0., 0., 0., 1., 1., 0.],
        [0., 1., 0., 0., 0., 0., 1.],
        [0., 1., 1., 0., 1., 0., 0.],
        [1., 0., 0., 1., 0., 0., 1.],
    ];
    let exposure = vec![125.0, 250.0, 500.0, 1000.0, 2000.0];
    let readings = Reading::all(7 * specimens, 5, 5, 2);
    Trial {
        centre: vec![-(600.0_f64.ln()); 7],
        factors: factors.iter().map(|r| r.to_vec()).collect(),
        system_of: (0..7 * specimens).map(|i| i / specimens).collect(),
        ln_dose: vec![0.4, 0.0, -0.5, -1.0, -1.7],
        ln_dose_sd: vec![0.05; 5],
        exposure,
        graders: 2,
        readings,
    }
}

pub(super) fn simulated(specimens: usize, seed: u64) -> (Trial, World) {
    let mut trial = bench_of_seven(specimens);
    let density = Density::new(trial.clone(), Prior::default()).unwrap();
    let mut random = stream(seed, &["truth"], 0);
    let world = density.prior_world(&mut random);
    trial.readings = density.simulate(&world, &mut random);
    (trial, world)
}

#[test]
fn the_gradient_by_hand_is_the_gradient() {
    let (mut trial, _) = simulated(2, 3);
    trial
        .readings
        .retain(|r| (r.specimen + 3 * r.area + r.inspection) % 7 != 0);
    for (prior, scale) in [
        (Prior::default(), 0.7),
        (
            Prior {
                exponent_sd: 0.0,
                ..Prior::default()
            },
            0.3,
        ),
        // A reading scale so small that shared exponentials would overflow.
        (
            Prior {
                spread: Spread {
                    reading: 0.01,
                    ..Prior::default().spread
                },
                ..Prior::default()
            },
            0.5,
        ),
    ] {
        let density = Density::new(trial.clone(), prior).unwrap();
        let mut random = stream(9, &["gradient"], 0);
        let mut q = density.centre();
        for v in &mut q {
            use rand_distr::Distribution;
            let z: f64 = rand_distr::StandardNormal.sample(&mut random);
            *v += scale * z;
        }
        let mut gradient = vec![0.0; q.len()];
        density.log_density(&q, &mut gradient);
        let mut spare = gradient.clone();
        let mut worst = 0.0_f64;
        for k in 0..q.len() {
            let mut at = |h: f64| {
                let mut moved = q.clone();
                moved[k] += h;
                density.log_density(&moved, &mut spare)
            };
            let h = 1e-5;
            let central = (at(h) - at(-h)) / (2.0 * h);
            worst = worst.max((central - gradient[k]).abs() / (1.0 + gradient[k].abs()));
        }
        assert!(worst < 3e-6, "worst relative error {worst:.2e}");
    }
}

/// McCullagh & Nelder 1989, p. 175, cheese tasting: at the published estimates the likelihood of
/// one reading, summed over the 208 tasters, has the published value and no slope.
#[test]
fn cheese_tasting_is_at_its_optimum() {
    let table = include_str!("../../../tests/reference/bench/worked_examples.csv");
    let text: String = table
        .lines()
        .filter(|l| !l.starts_with('#'))
        .map(|l| format!("{l}\n"))
        .collect();
    let (mut counts, mut effects, mut limits, mut minus_two) =
        (Vec::new(), Vec::new(), Vec::new(), 0.0);
    for row in csv::Reader::from_reader(text.as_bytes()).records() {
        let row = row.unwrap();
        if &row[0] != "proportional_odds" {
            continue;
        }
        let value: f64 = row[4].parse().unwrap();
        match &row[3] {
            q if q.starts_with('b') => {
                let line = |l: &str| {
                    l.split(' ')
                        .map(|t| t.parse().unwrap())
                        .collect::<Vec<f64>>()
                };
                counts = row[2].split(';').map(line).collect();
                effects.push(value);
            }
            q if q.starts_with("theta") => limits.push(value),
            _ => minus_two = value,
        }
    }
    effects.push(0.0);
    // The source writes logit P(Y <= j) = theta_j + b, so x = -b, tau_j = theta_j, r = 1.
    let (mut log, mut slope_b, mut slope_t) = (0.0, vec![0.0; 4], vec![0.0; 8]);
    for (cheese, row) in counts.iter().enumerate() {
        for (grade, n) in row.iter().enumerate() {
            let a = (grade > 0).then(|| -effects[cheese] - limits[grade - 1]);
            let b = (grade < 8).then(|| -effects[cheese] - limits[grade]);
            let (value, reach) = log_probability(a, b);
            log += n * value;
            slope_b[cheese] -= n * (reach.lower + reach.upper);
            if grade > 0 {
                slope_t[grade - 1] -= n * reach.lower;
            }
            if grade < 8 {
                slope_t[grade] -= n * reach.upper;
            }
        }
    }
    assert!((-2.0 * log - minus_two).abs() < 1e-6, "{}", -2.0 * log);
    assert!(
        slope_b[..3].iter().chain(&slope_t).all(|s| s.abs() < 1e-4),
        "{slope_b:?} {slope_t:?}"
    );
}

/// Correlated normal in 20 dimensions with known moments.
struct Ellipse;

impl Target for Ellipse {
    fn dim(&self) -> usize {
        20
    }
    fn log_density(&self, q: &[f64], gradient: &mut [f64]) -> f64 {
        // Neighbours share 0.8 of a random walk's precision: tridiagonal.
        let mut log = 0.0;
        for k in 0..20 {
            let before = if k > 0 { q[k - 1] } else { 0.0 };
            let after = if k < 19 { q[k + 1] } else { 0.0 };
            gradient[k] = -(2.0 * q[k] - 0.9 * (before + after));
            log += 0.5 * q[k] * gradient[k];
        }
        log
    }
}

#[test]
fn the_sampler_finds_a_normal_with_its_correlations() {
    let settings = NutsSettings {
        warmup: 500,
        draws: 4000,
        ..NutsSettings::default()
    };
    let mut random = stream(4, &["ellipse"], 0);
    let chain = sample(&Ellipse, vec![1.0; 20], &settings, &mut random, &Unwatched).unwrap();
    assert_eq!(chain.divergences, 0);
    let precision = nalgebra::DMatrix::from_fn(20, 20, |i, j| match i.abs_diff(j) {
        0 => 2.0,
        1 => -0.9,
        _ => 0.0,
    });
    let covariance = precision.try_inverse().unwrap();
    for (i, j) in [(0, 0), (10, 10), (10, 11), (5, 9)] {
        let products: Vec<f64> = chain.draws.iter().map(|q| q[i] * q[j]).collect();
        let halves: Vec<Vec<f64>> = products.chunks(2000).map(<[f64]>::to_vec).collect();
        let mean = products.iter().sum::<f64>() / 4000.0;
        let sd = (products.iter().map(|p| (p - mean).powi(2)).sum::<f64>() / 4000.0).sqrt();
        let error = sd / summary(&halves).ess.sqrt();
        assert!(
            (mean - covariance[(i, j)]).abs() < 4.0 * error,
            "{i} {j}: {mean} {}",
            covariance[(i, j)]
        );
    }
}

#[test]
fn same_seed_same_bytes_on_any_number_of_threads() {
    let (trial, _) = simulated(1, 11);
    let settings = FitSettings {
        nuts: NutsSettings {
            warmup: 60,
            draws: 40,
            ..NutsSettings::default()
        },
        doublings: 0,
        ..FitSettings::default()
    };
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| {
            fit(&trial, &Prior::default(), &settings, &Unwatched)
                .unwrap()
                .worlds
        })
    };
    assert!(on(1) == on(3));
}

#[test]
fn a_bench_of_seven_by_two_is_recovered() {
    let (trial, world) = simulated(2, 2);
    let fitted = fit(
        &trial,
        &Prior::default(),
        &FitSettings::default(),
        &Unwatched,
    )
    .unwrap();
    assert!(fitted.passed);
    // Levels stand or fall together (one bench, one simulator), ratios are what it tells apart.
    let inside = (1..7).filter(|s| {
        let ratio = fitted.of(|w| w.beta[*s] - w.beta[0]);
        let truth = world.beta[*s] - world.beta[0];
        ratio.lo90 <= truth && truth <= ratio.hi90
    });
    assert!(inside.count() >= 4, "nine in ten are expected inside");
}

/// Survey of the sampler's behaviour; run by hand with --ignored --nocapture.
#[test]
#[ignore = "a survey of many benches, minutes long: cargo test --lib survey_of_sampling -- --ignored --nocapture"]
fn survey_of_sampling() {
    for accept in [0.8, 0.9] {
        for seed in 1..7 {
            let (trial, _) = simulated(2, seed);
            let settings = FitSettings {
                doublings: 0,
                nuts: NutsSettings {
                    accept,
                    ..NutsSettings::default()
                },
                ..FitSettings::default()
            };
            let started = std::time::Instant::now();
            let fitted = fit(&trial, &Prior::default(), &settings, &Unwatched).unwrap();
            let beta = fitted
                .quantities
                .iter()
                .filter(|q| q.name.starts_with("beta"));
            let (rhat, ess) = beta.fold((1.0_f64, f64::INFINITY), |(r, e), q| {
                (r.max(q.summary.rhat), e.min(q.summary.ess))
            });
            let all = fitted
                .quantities
                .iter()
                .map(|q| q.summary.ess)
                .fold(f64::INFINITY, f64::min);
            println!(
                "accept {accept} seed {seed}: {:.2} s, {} gradients, beta rhat {rhat:.4} ess {ess:.0}, least ess {all:.0}, divergences {}",
                started.elapsed().as_secs_f64(),
                fitted.gradients,
                fitted.divergences
            );
        }
    }
}
