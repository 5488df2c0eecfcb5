//! Did the chains agree, and how many independent draws are they worth?
//!
//! Source: Vehtari, Gelman, Simpson, Carpenter & Bürkner 2021, Bayesian Anal. 16:667.

use base::stats::{midranks, quantile};
use base::sum::sum;
use statrs::distribution::{ContinuousCDF, Normal};

/// Posterior of one number over all chains.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    /// Median.
    pub median: f64,
    /// 5 % quantile.
    pub lo90: f64,
    /// 95 % quantile.
    pub hi90: f64,
    /// Bulk effective sample size.
    pub ess: f64,
    /// Split, rank-normalised R-hat.
    pub rhat: f64,
}

/// Median, 90 % interval, bulk ESS and split R-hat.
///
/// * `chains`: draws of the number, one list per chain, all of one length of at least 8
#[must_use]
pub fn summary(chains: &[Vec<f64>]) -> Summary {
    let mut sorted: Vec<f64> = chains.iter().flatten().copied().collect();
    sorted.sort_by(f64::total_cmp);
    let halves = split(chains);
    let ranked = normalised(&halves);
    // The folded draws see scales that differ where locations agree.
    let middle = quantile(&sorted, 0.5);
    let fold = |c: &Vec<f64>| c.iter().map(|v| (v - middle).abs()).collect();
    let folded: Vec<Vec<f64>> = halves.iter().map(fold).collect();
    Summary {
        median: middle,
        lo90: quantile(&sorted, 0.05),
        hi90: quantile(&sorted, 0.95),
        ess: effective(&ranked),
        rhat: rhat(&ranked).max(rhat(&normalised(&folded))),
    }
}

fn split(chains: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let half = chains.iter().map(Vec::len).min().unwrap_or(0) / 2;
    let parts = chains
        .iter()
        .flat_map(|c| [c[..half].to_vec(), c[c.len() - half..].to_vec()]);
    parts.collect()
}

fn normalised(chains: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let all: Vec<f64> = chains.iter().flatten().copied().collect();
    let n = all.len() as f64;
    let normal = Normal::standard();
    let scores: Vec<f64> = midranks(&all)
        .iter()
        .map(|r| normal.inverse_cdf((r - 0.375) / (n + 0.25)))
        .collect();
    let length = chains.first().map_or(1, Vec::len).max(1);
    scores.chunks(length).map(<[f64]>::to_vec).collect()
}

fn mean(values: &[f64]) -> f64 {
    sum(values.iter().copied()) / values.len() as f64
}

fn variance(values: &[f64]) -> f64 {
    let m = mean(values);
    sum(values.iter().map(|v| (v - m).powi(2))) / (values.len() - 1) as f64
}

/// Variance within chains, and the pooled variance that a longer run would reach from above.
fn variances(chains: &[Vec<f64>]) -> (f64, f64) {
    let n = chains[0].len() as f64;
    let within = mean(&chains.iter().map(|c| variance(c)).collect::<Vec<_>>());
    let means: Vec<f64> = chains.iter().map(|c| mean(c)).collect();
    (within, (n - 1.0) / n * within + variance(&means))
}

fn rhat(chains: &[Vec<f64>]) -> f64 {
    let (within, pooled) = variances(chains);
    if within <= 0.0 {
        1.0
    } else {
        (pooled / within).sqrt()
    }
}

/// Geyer's initial monotone sequence over the mean autocorrelation of the chains.
fn effective(chains: &[Vec<f64>]) -> f64 {
    let n = chains[0].len();
    let total = (n * chains.len()) as f64;
    let (within, pooled) = variances(chains);
    if pooled <= 0.0 {
        return total;
    }
    let means: Vec<f64> = chains.iter().map(|c| mean(c)).collect();
    let correlation = |lag: usize| {
        let covariances = chains.iter().zip(&means).map(|(c, m)| {
            let pairs = c.iter().zip(&c[lag..]);
            pairs.map(|(a, b)| (a - m) * (b - m)).sum::<f64>() / n as f64
        });
        let covariance = sum(covariances) / chains.len() as f64;
        1.0 - (within * (n - 1) as f64 / n as f64 - covariance) / pooled
    };
    let mut time = -1.0;
    let mut before = f64::INFINITY;
    let mut lag = 0;
    while lag + 1 < n {
        let pair = (if lag == 0 { 1.0 } else { correlation(lag) }) + correlation(lag + 1);
        if pair < 0.0 {
            break;
        }
        before = before.min(pair);
        time += 2.0 * before;
        lag += 2;
    }
    total / time.max(1.0 / total.log10())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_distr::{Distribution, StandardNormal};

    /// An autoregression with coefficient a is worth n (1 - a)/(1 + a) draws (Priestley 1981).
    #[test]
    fn effective_size_of_an_autoregression() {
        let a = 0.6_f64;
        let chains: Vec<Vec<f64>> = (0..4)
            .map(|c| {
                let mut random = base::random::stream(5, &["ess"], c);
                let mut x = 0.0;
                let mut next = || {
                    let z: f64 = StandardNormal.sample(&mut random);
                    x = a * x + (1.0 - a * a).sqrt() * z;
                    x
                };
                (0..5000).map(|_| next()).collect()
            })
            .collect();
        let s = summary(&chains);
        let expected = 20_000.0 * (1.0 - a) / (1.0 + a);
        assert!(
            (s.ess / expected - 1.0).abs() < 0.12,
            "{} for {expected}",
            s.ess
        );
        assert!(s.rhat < 1.005 && (s.hi90 - 1.645).abs() < 0.08, "{s:?}");
    }

    #[test]
    fn chains_that_disagree_are_seen() {
        let chain = |shift: f64| {
            (0..200)
                .map(|i| f64::from(i * 37 % 101) / 101.0 + shift)
                .collect()
        };
        let apart: Vec<Vec<f64>> = vec![chain(0.0), chain(0.0), chain(1.0), chain(1.0)];
        assert!(summary(&apart).rhat > 1.5);
        let same: Vec<Vec<f64>> = vec![chain(0.0); 4];
        assert!(summary(&same).rhat < 1.01);
    }
}
