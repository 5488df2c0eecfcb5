//! Doses as the draws of a life need them: replicates of one patch side by side, untouched patches
//! left out, and films that share a dose sharing its draws.

use super::life::bootstrap_weights;
use contact::dose::DoseRate;

/// Not touched in any replicate.
const UNTOUCHED: u32 = u32::MAX;

/// One dose rate, packed patch by patch.
struct Packed {
    replicates: usize,
    /// [J] friction work of each replicate, touched patch by touched patch.
    work: Vec<f64>,
    /// Number of each patch among the touched.
    at: Vec<u32>,
    /// [J] and [Pa] of the mean.
    mean: Vec<(f64, f64)>,
}

impl Packed {
    fn of(rate: &DoseRate) -> Packed {
        let totals = rate.mean.totals();
        let mut packed = Packed {
            replicates: rate.replicates.len(),
            work: Vec::new(),
            at: Vec::with_capacity(totals.len()),
            mean: totals.iter().map(|a| (a.friction, a.peak)).collect(),
        };
        let mut touched = 0;
        for (p, mean) in totals.iter().enumerate() {
            if mean.friction == 0.0 {
                packed.at.push(UNTOUCHED);
                continue;
            }
            packed.at.push(touched);
            touched += 1;
            let each = rate.replicates.iter().map(|dose| dose.totals()[p].friction);
            packed.work.extend(each);
        }
        packed
    }

    fn drawn(&self, weights: &[f64]) -> Vec<(f64, f64)> {
        let n = self.replicates;
        let one = |(at, mean): (&u32, &(f64, f64))| match *at {
            UNTOUCHED => *mean,
            _ if n < 2 => *mean,
            at => {
                let from = at as usize * n;
                let each = self.work[from..from + n].iter().zip(weights);
                (each.map(|(work, w)| work * w).sum(), mean.1)
            }
        };
        self.at.iter().zip(&self.mean).map(one).collect()
    }
}

/// The doses of all film stages of one exposure of one specimen.
pub(super) struct DrawnDoses {
    packed: Vec<Packed>,
    of_stage: Vec<usize>,
}

impl DrawnDoses {
    /// Packs the stages; equal ones once.
    pub(super) fn of(rates: &[DoseRate]) -> DrawnDoses {
        let mut first: Vec<usize> = Vec::new();
        let mut of_stage = Vec::new();
        for (r, rate) in rates.iter().enumerate() {
            let known = first.iter().position(|f| rates[*f] == *rate);
            of_stage.push(known.unwrap_or(first.len()));
            if known.is_none() {
                first.push(r);
            }
        }
        DrawnDoses {
            packed: first.iter().map(|f| Packed::of(&rates[*f])).collect(),
            of_stage,
        }
    }

    /// Which of the packed doses a film stage has.
    pub(super) fn of_stage(&self, film: usize) -> usize {
        self.of_stage[film.min(self.of_stage.len() - 1)]
    }

    /// [J] friction work and [Pa] peak per patch, one list per packed dose: the mean over
    /// replicates, reweighted (Bayesian bootstrap, Rubin 1981) so that the dose's own uncertainty
    /// enters the interval.
    pub(super) fn drawn(&self, names: &[&str], seed: u64, draw: u64) -> Vec<Vec<(f64, f64)>> {
        self.packed
            .iter()
            .map(|p| p.drawn(&bootstrap_weights(p.replicates, seed, names, draw)))
            .collect()
    }
}
