//! Log density of the whole bench with its gradient by hand.
//!
//! Choices that decide how well it samples, all tried: the parameter of a cell is its crossing
//! point itself (some ten readings pin it); it is measured from the third threshold, because data
//! fix x - tau and not x; specimens and areas are parameters in ln units. Common level, factor
//! effects and systems are integrated out of the specimens' joint normal prior and drawn back
//! afterwards: left in, they trade places with the specimens' scatter at a rate that depends on
//! that scatter, a funnel that costs ten times the steps. The rest has a unit normal prior.

use super::data::{Reading, Trial};
use super::nuts::Target;
use super::ordinal::log_probability;
use super::prior::Prior;
use base::Result;
use base::random::Stream;
use nalgebra::{DMatrix, DVector};
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};

/// Where each kind of parameter starts; specimens start at 0.
#[derive(Debug, Clone, Copy)]
struct Layout {
    area: usize,
    cell: usize,
    spread: usize,
    threshold: usize,
    grader: usize,
    exponent: usize,
    dim: usize,
}

/// Readings of one area on one specimen.
#[derive(Debug, Clone)]
struct Cell {
    specimen: usize,
    area: usize,
    /// (inspection x graders + grader, grade)
    readings: Vec<(usize, u8)>,
    /// Crossing point read off the grades, to start from.
    start: f64,
}

/// What specimens descend from, as offsets from the systems' centres.
struct Ancestors {
    effects: Vec<f64>,
    systems: Vec<f64>,
    specimens: Vec<f64>,
}

/// One draw in the model's own words.
#[derive(Debug, Clone, PartialEq)]
pub struct World {
    /// \[ln(m2/J)\] ln(k_E / h) of each system.
    pub beta: Vec<f64>,
    /// \[ln units\] simulator's error of each area.
    pub area: Vec<f64>,
    /// \[ln units\] each specimen's own offset.
    pub specimen: Vec<f64>,
    /// Scatters: system, area, specimen, cell, reading.
    pub spread: [f64; 5],
    /// Thresholds of grades 1 to 5.
    pub threshold: [f64; 5],
    /// \[ln units\] offset of each grader.
    pub grader: Vec<f64>,
    /// Dose exponent.
    pub exponent: f64,
    /// \[ln units\] factor effects.
    pub theta: Vec<f64>,
}

/// The log density of a trial under a prior.
#[derive(Debug, Clone)]
pub struct Density {
    trial: Trial,
    prior: Prior,
    layout: Layout,
    cells: Vec<Cell>,
    /// ln N - ln pivot
    steps: Vec<f64>,
}

/// Scaled distances beyond this are handled one by one without shared exponentials.
const SHARED: f64 = 100.0;

impl Density {
    /// Prepares a trial.
    ///
    /// # Errors
    /// As [`Trial::check`].
    pub fn new(trial: Trial, prior: Prior) -> Result<Density> {
        trial.check()?;
        let steps: Vec<f64> = trial
            .exposure
            .iter()
            .map(|n| (n / prior.pivot).ln())
            .collect();
        let cells = cells(&trial, &steps);
        let area = trial.system_of.len();
        let cell = area + trial.ln_dose.len();
        let spread = cell + cells.len();
        let layout = Layout {
            area,
            cell,
            spread,
            threshold: spread + 5,
            grader: spread + 10,
            exponent: spread + 10 + trial.graders,
            dim: spread + 11 + trial.graders,
        };
        Ok(Density {
            trial,
            prior,
            layout,
            cells,
            steps,
        })
    }

    /// The trial.
    #[must_use]
    pub fn trial(&self) -> &Trial {
        &self.trial
    }

    fn spread(&self, q: &[f64]) -> [f64; 5] {
        let mut list = self.prior.spread.list();
        for (k, value) in list.iter_mut().enumerate() {
            *value *= (self.prior.spread_width * q[self.layout.spread + k]).exp();
        }
        list
    }

    fn gap(&self, q: &[f64], k: usize) -> f64 {
        self.prior.gaps[k - 1] * (self.prior.gap_width * q[self.layout.threshold + k]).exp()
    }

    fn threshold(&self, q: &[f64]) -> [f64; 5] {
        let first = q[self.layout.threshold];
        let mut tau = [self.prior.first_threshold + self.prior.first_threshold_sd * first; 5];
        for k in 1..5 {
            tau[k] = tau[k - 1] + self.gap(q, k);
        }
        tau
    }

    /// Covariance of the systems: common level, factor effects, own rest.
    fn system_covariance(&self, own: f64) -> DMatrix<f64> {
        let (level, effect) = (self.prior.level_sd, self.prior.factor_sd);
        let factors = &self.trial.factors;
        DMatrix::from_fn(factors.len(), factors.len(), |i, j| {
            let shared: f64 = factors[i].iter().zip(&factors[j]).map(|(x, y)| x * y).sum();
            let rest = if i == j { own * own } else { 0.0 };
            level * level + effect * effect * shared + rest
        })
    }

    /// Covariance of the specimens: that of their systems, and their own scatter.
    fn specimen_covariance(&self, systems: &DMatrix<f64>, own: f64) -> DMatrix<f64> {
        let of = &self.trial.system_of;
        DMatrix::from_fn(of.len(), of.len(), |i, j| {
            systems[(of[i], of[j])] + if i == j { own * own } else { 0.0 }
        })
    }

    /// Log prior of the specimens' offsets; adds its slopes.
    fn specimens_prior(
        &self,
        q: &[f64],
        spread: &[f64; 5],
        gradient: &mut [f64],
        sums: &mut [f64; 5],
    ) -> f64 {
        let n = self.layout.area;
        let systems = self.system_covariance(spread[0]);
        let Some(factor) = self.specimen_covariance(&systems, spread[2]).cholesky() else {
            return f64::NEG_INFINITY;
        };
        let inverse = factor.inverse();
        let offset = DVector::from_column_slice(&q[..n]);
        let pull = &inverse * &offset;
        for (g, p) in gradient.iter_mut().zip(pull.iter()) {
            *g -= p;
        }
        sums[2] += spread[2].powi(2) * (pull.norm_squared() - inverse.trace());
        let of = &self.trial.system_of;
        let mut together = 0.0;
        for i in 0..n {
            for j in (0..n).filter(|j| of[*j] == of[i]) {
                together += pull[i] * pull[j] - inverse[(i, j)];
            }
        }
        sums[0] += spread[0].powi(2) * together;
        let half_log_det: f64 = factor.l_dirty().diagonal().iter().map(|d| d.ln()).sum();
        -0.5 * offset.dot(&pull) - half_log_det
    }

    /// Systems and factor effects given the specimens: their conditional normal, with fresh noise.
    ///
    /// A draw of all of them from the prior, corrected by how far its specimens miss the given
    /// ones (Matheron's rule, from memory).
    fn systems_given(&self, offsets: &[f64], spread: &[f64; 5], random: &mut Stream) -> Ancestors {
        let mut drawn = self.systems_from_prior(spread, random);
        let systems = self.system_covariance(spread[0]);
        let Some(factor) = self.specimen_covariance(&systems, spread[2]).cholesky() else {
            return drawn;
        };
        let miss = offsets
            .iter()
            .zip(&drawn.specimens)
            .map(|(given, drawn)| given - drawn);
        let pull = factor.solve(&DVector::from_iterator(offsets.len(), miss));
        let mut by_system = DVector::zeros(self.trial.centre.len());
        for (p, s) in pull.iter().zip(&self.trial.system_of) {
            by_system[*s] += p;
        }
        let lift = &systems * &by_system;
        for (system, lift) in drawn.systems.iter_mut().zip(lift.iter()) {
            *system += lift;
        }
        let variance = self.prior.factor_sd.powi(2);
        for (k, effect) in drawn.effects.iter_mut().enumerate() {
            let factors = by_system.iter().zip(&self.trial.factors);
            *effect += variance * factors.map(|(p, x)| p * x[k]).sum::<f64>();
        }
        drawn.specimens = offsets.to_vec();
        drawn
    }

    /// Factor effects, systems and specimens drawn from the prior, as offsets from the centres.
    fn systems_from_prior(&self, spread: &[f64; 5], random: &mut Stream) -> Ancestors {
        let mut normal = || -> f64 { StandardNormal.sample(random) };
        let level = self.prior.level_sd * normal();
        let width = self.trial.factors.first().map_or(0, Vec::len);
        let effects: Vec<f64> = (0..width)
            .map(|_| self.prior.factor_sd * normal())
            .collect();
        let mut systems = Vec::with_capacity(self.trial.factors.len());
        for x in &self.trial.factors {
            let shared: f64 = x.iter().zip(&effects).map(|(x, t)| x * t).sum();
            systems.push(level + shared + spread[0] * normal());
        }
        let of = &self.trial.system_of;
        let specimens = of
            .iter()
            .map(|s| systems[*s] + spread[2] * normal())
            .collect();
        Ancestors {
            effects,
            systems,
            specimens,
        }
    }

    /// \[ln units\] spread of the simulator's error of one area: model and seeds together.
    fn area_sd(&self, area: usize, sd: f64) -> f64 {
        sd.hypot(self.trial.ln_dose_sd[area])
    }

    /// A position in the model's own words; systems and factor effects are drawn given it.
    #[must_use]
    pub fn world(&self, q: &[f64], random: &mut Stream) -> World {
        let spread = self.spread(q);
        let ancestors = self.systems_given(&q[..self.layout.area], &spread, random);
        self.name(q, ancestors)
    }

    fn name(&self, q: &[f64], ancestors: Ancestors) -> World {
        let l = &self.layout;
        let systems = &ancestors.systems;
        let of = self.trial.system_of.iter().zip(&ancestors.specimens);
        World {
            specimen: of.map(|(s, total)| total - systems[*s]).collect(),
            beta: systems
                .iter()
                .zip(&self.trial.centre)
                .map(|(b, c)| b + c)
                .collect(),
            area: q[l.area..l.cell].to_vec(),
            spread: self.spread(q),
            threshold: self.threshold(q),
            grader: q[l.grader..l.exponent]
                .iter()
                .map(|u| self.prior.grader_sd * u)
                .collect(),
            exponent: 1.0 + self.prior.exponent_sd * q[l.exponent],
            theta: ancestors.effects,
        }
    }

    /// A world drawn from the prior.
    #[must_use]
    pub fn prior_world(&self, random: &mut Stream) -> World {
        let mut q: Vec<f64> = (0..self.layout.dim)
            .map(|_| StandardNormal.sample(random))
            .collect();
        let spread = self.spread(&q);
        let ancestors = self.systems_from_prior(&spread, random);
        for a in 0..self.trial.ln_dose.len() {
            q[self.layout.area + a] *= self.area_sd(a, spread[1]);
        }
        self.name(&q, ancestors)
    }

    /// The prior's centre, with cells at the crossing read off the grades.
    #[must_use]
    pub fn centre(&self) -> Vec<f64> {
        let mut q = vec![0.0; self.layout.dim];
        for (c, cell) in self.cells.iter().enumerate() {
            q[self.layout.cell + c] = cell.start;
        }
        q
    }

    /// Where the cells' parameters stand.
    pub(super) fn cell_range(&self) -> std::ops::Range<usize> {
        self.layout.cell..self.layout.spread
    }

    /// Where the scatters' parameters stand.
    pub(super) fn spread_range(&self) -> std::ops::Range<usize> {
        self.layout.spread..self.layout.threshold
    }

    /// Grades of this trial's design in a given world: cells and readings are drawn anew.
    #[must_use]
    pub fn simulate(&self, world: &World, random: &mut Stream) -> Vec<Reading> {
        let mut readings = Vec::with_capacity(self.trial.readings.len());
        for cell in &self.cells {
            let z: f64 = StandardNormal.sample(random);
            let system = self.trial.system_of[cell.specimen];
            let level = self.prior.pivot.ln()
                + self.trial.ln_dose[cell.area]
                + world.beta[system]
                + world.area[cell.area]
                + world.specimen[cell.specimen]
                + world.spread[3] * z;
            for &(slot, _) in &cell.readings {
                let (inspection, grader) = (slot / self.trial.graders, slot % self.trial.graders);
                let u: f64 = random.random::<f64>().clamp(1e-15, 1.0 - 1e-15);
                let x = level
                    + world.exponent * self.steps[inspection]
                    + world.grader[grader]
                    + world.spread[4] * (u / (1.0 - u)).ln();
                readings.push(Reading {
                    specimen: cell.specimen,
                    area: cell.area,
                    inspection,
                    grader,
                    grade: world.threshold.iter().filter(|t| x > **t).count() as u8,
                });
            }
        }
        readings
    }
}

fn cells(trial: &Trial, steps: &[f64]) -> Vec<Cell> {
    let mut sorted: Vec<&Reading> = trial.readings.iter().collect();
    sorted.sort_by_key(|r| (r.specimen, r.area, r.inspection, r.grader));
    sorted
        .chunk_by(|a, b| (a.specimen, a.area) == (b.specimen, b.area))
        .map(|run| Cell {
            specimen: run[0].specimen,
            area: run[0].area,
            readings: run
                .iter()
                .map(|r| (r.inspection * trial.graders + r.grader, r.grade))
                .collect(),
            start: -crossing(run, steps),
        })
        .collect()
}

/// ln(N / pivot) half way between the last look below grade 3 and the first at or above it.
fn crossing(run: &[&Reading], steps: &[f64]) -> f64 {
    let at = |r: &&&Reading| steps[r.inspection];
    let low = run
        .iter()
        .filter(|r| r.grade < 3)
        .map(|r| at(&r))
        .fold(f64::NEG_INFINITY, f64::max);
    let high = run
        .iter()
        .filter(|r| r.grade >= 3)
        .map(|r| at(&r))
        .fold(f64::INFINITY, f64::min);
    match (low.is_finite(), high.is_finite()) {
        (true, true) => 0.5 * (low + high),
        (true, false) => low + 0.7,
        _ => high - 0.7,
    }
}

/// Sums of derivatives that several parameters share.
struct Sums {
    threshold: [f64; 5],
    spread: [f64; 5],
    slots: Vec<f64>,
}

/// Exponentials shared by all readings of one position.
struct Shared {
    inverse: f64,
    /// (gamma step + u) per slot
    offset: Vec<f64>,
    slot: Vec<f64>,
    /// tau_3 - tau_j
    below: [f64; 5],
    level: [f64; 5],
    /// e^-(gap / r) and 1 / (1 - that), ln(1 - that) between j and j + 1
    gap: [f64; 4],
    open: [f64; 4],
    log_open: [f64; 4],
    safe: bool,
}

impl Shared {
    fn new(density: &Density, q: &[f64], tau: &[f64; 5], reading: f64) -> Shared {
        let l = &density.layout;
        let inverse = 1.0 / reading;
        let exponent = 1.0 + density.prior.exponent_sd * q[l.exponent];
        let graders = density.trial.graders;
        let offset: Vec<f64> = (0..density.steps.len() * graders)
            .map(|slot| {
                exponent * density.steps[slot / graders]
                    + density.prior.grader_sd * q[l.grader + slot % graders]
            })
            .collect();
        let below = tau.map(|t| tau[2] - t);
        let gap: [f64; 4] = std::array::from_fn(|j| ((tau[j] - tau[j + 1]) * inverse).exp());
        let near = |list: &[f64]| list.iter().all(|v| (v * inverse).abs() < SHARED);
        Shared {
            inverse,
            safe: near(&offset) && near(&below),
            slot: offset.iter().map(|o| (o * inverse).exp()).collect(),
            level: below.map(|b| (b * inverse).exp()),
            offset,
            below,
            open: gap.map(|g| 1.0 / (1.0 - g)),
            log_open: gap.map(|g| (-g).ln_1p()),
            gap,
        }
    }

    /// Scaled distance of a cell's reading from threshold `j`.
    fn distance(&self, z: f64, slot: usize, j: usize) -> f64 {
        (z + self.offset[slot] + self.below[j]) * self.inverse
    }

    /// Log likelihood of a cell at `z` from the third threshold, and d/dz of it.
    fn cell(&self, z: f64, readings: &[(usize, u8)], sums: &mut Sums) -> (f64, f64) {
        if !self.safe || (z * self.inverse).abs() > SHARED {
            return self.cell_far(z, readings, sums);
        }
        let here = (z * self.inverse).exp();
        let (mut log, mut slope, mut product) = (0.0, 0.0, 1.0_f64);
        for &(slot, grade) in readings {
            let common = here * self.slot[slot];
            let grade = grade as usize;
            let change = match grade {
                0 => {
                    let a = common * self.level[0];
                    product *= 1.0 + a;
                    let upper = -a / (1.0 + a);
                    self.note(sums, 0, upper, self.distance(z, slot, 0));
                    upper
                }
                5 => {
                    let a = common * self.level[4];
                    product *= 1.0 + a;
                    let lower = 1.0 / (1.0 + a);
                    let distance = self.distance(z, slot, 4);
                    log += distance;
                    self.note(sums, 4, lower, distance);
                    lower
                }
                _ => {
                    let j = grade - 1;
                    let a = 1.0 + common * self.level[j];
                    let b = 1.0 + common * self.level[j + 1];
                    product *= a * b;
                    let ratio = b / a;
                    let lower = ratio * self.open[j];
                    let upper = -self.gap[j] * self.open[j] / ratio;
                    let distance = self.distance(z, slot, j);
                    log += distance + self.log_open[j];
                    self.note(sums, j, lower, distance);
                    self.note(sums, j + 1, upper, self.distance(z, slot, j + 1));
                    lower + upper
                }
            };
            sums.slots[slot] += change * self.inverse;
            slope += change * self.inverse;
            if product > 1e40 {
                log -= product.ln();
                product = 1.0;
            }
        }
        (log - product.ln(), slope)
    }

    fn note(&self, sums: &mut Sums, j: usize, derivative: f64, distance: f64) {
        sums.threshold[j] -= derivative * self.inverse;
        sums.spread[4] -= derivative * distance;
    }

    fn cell_far(&self, z: f64, readings: &[(usize, u8)], sums: &mut Sums) -> (f64, f64) {
        let (mut log, mut slope) = (0.0, 0.0);
        for &(slot, grade) in readings {
            let grade = grade as usize;
            let lower = (grade > 0).then(|| self.distance(z, slot, grade - 1));
            let upper = (grade < 5).then(|| self.distance(z, slot, grade));
            let (value, reach) = log_probability(lower, upper);
            log += value;
            if let Some(distance) = lower {
                self.note(sums, grade - 1, reach.lower, distance);
            }
            if let Some(distance) = upper {
                self.note(sums, grade, reach.upper, distance);
            }
            let change = (reach.lower + reach.upper) * self.inverse;
            sums.slots[slot] += change;
            slope += change;
        }
        (log, slope)
    }
}

impl Target for Density {
    fn dim(&self) -> usize {
        self.layout.dim
    }

    fn log_density(&self, q: &[f64], gradient: &mut [f64]) -> f64 {
        let l = &self.layout;
        let spread = self.spread(q);
        let tau = self.threshold(q);
        let shared = Shared::new(self, q, &tau, spread[4]);
        let mut sums = Sums {
            threshold: [0.0; 5],
            spread: [0.0; 5],
            slots: vec![0.0; shared.slot.len()],
        };
        gradient.fill(0.0);
        let mut log = self.specimens_prior(q, &spread, gradient, &mut sums.spread);
        for k in l.spread..l.dim {
            gradient[k] = -q[k];
            log -= 0.5 * q[k] * q[k];
        }
        let mut third = 0.0;
        for a in 0..self.trial.ln_dose.len() {
            let sd = self.area_sd(a, spread[1]);
            let score = q[l.area + a] / sd;
            log -= 0.5 * score * score + sd.ln();
            gradient[l.area + a] -= score / sd;
            sums.spread[1] += (score * score - 1.0) * (spread[1] / sd).powi(2);
        }
        let narrow = 1.0 / spread[3];
        let pivot = self.prior.pivot.ln();
        for (c, cell) in self.cells.iter().enumerate() {
            let z = q[l.cell + c];
            let base = pivot
                + self.trial.ln_dose[cell.area]
                + self.trial.centre[self.trial.system_of[cell.specimen]]
                + q[cell.specimen]
                + q[l.area + cell.area];
            let off = (z + tau[2] - base) * narrow;
            log -= 0.5 * off * off;
            sums.spread[3] += off * off - 1.0;
            let (value, slope) = shared.cell(z, &cell.readings, &mut sums);
            log += value;
            let pull = off * narrow;
            gradient[l.cell + c] += slope - pull;
            third -= pull;
            gradient[l.area + cell.area] += pull;
            gradient[cell.specimen] += pull;
        }
        log -= self.cells.len() as f64 * spread[3].ln();
        for k in 0..5 {
            gradient[l.spread + k] += self.prior.spread_width * sums.spread[k];
        }
        self.thresholds_out(q, &sums, third, gradient);
        self.slots_out(&sums, gradient);
        log
    }
}

impl Density {
    fn thresholds_out(&self, q: &[f64], sums: &Sums, third: f64, gradient: &mut [f64]) {
        let l = &self.layout;
        let mut pull = sums.threshold;
        // A cell is measured from the third threshold: moving it moves every distance back, too.
        pull[2] += third - sums.threshold.iter().sum::<f64>();
        let mut above = 0.0;
        for k in (1..5).rev() {
            above += pull[k];
            gradient[l.threshold + k] += above * self.prior.gap_width * self.gap(q, k);
        }
        above += pull[0];
        gradient[l.threshold] += above * self.prior.first_threshold_sd;
    }

    fn slots_out(&self, sums: &Sums, gradient: &mut [f64]) {
        let l = &self.layout;
        for (slot, pull) in sums.slots.iter().enumerate() {
            let graders = self.trial.graders;
            gradient[l.grader + slot % graders] += self.prior.grader_sd * pull;
            gradient[l.exponent] += self.prior.exponent_sd * self.steps[slot / graders] * pull;
        }
    }
}
