//! The no-U-turn sampler: multinomial trajectories, generalised U-turn with the extra checks
//! between subtrees, step size by dual averaging, diagonal mass in growing windows.
//!
//! Sources: Hoffman & Gelman 2014, J. Mach. Learn. Res. 15:1593; Betancourt 2017, A Conceptual
//! Introduction to Hamiltonian Monte Carlo, Columbia Univ. (from memory).

use base::random::Stream;
use base::{Result, Watch};
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};

/// A log density with its gradient.
pub trait Target: Sync {
    /// Number of parameters.
    fn dim(&self) -> usize;
    /// Log density up to a constant; writes its gradient.
    fn log_density(&self, position: &[f64], gradient: &mut [f64]) -> f64;
}

/// Length of a chain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NutsSettings {
    /// Steps of adaptation, thrown away.
    pub warmup: usize,
    /// Draws kept.
    pub draws: usize,
    /// Mean acceptance aimed at.
    pub accept: f64,
    /// Most doublings of a trajectory.
    pub depth: u32,
}

impl Default for NutsSettings {
    fn default() -> NutsSettings {
        NutsSettings {
            warmup: 500,
            draws: 500,
            accept: 0.8,
            depth: 9,
        }
    }
}

/// What one chain gave.
#[derive(Debug, Clone, PartialEq)]
pub struct Chain {
    /// Positions kept.
    pub draws: Vec<Vec<f64>>,
    /// Trajectories after warm-up whose energy error ran away.
    pub divergences: usize,
    /// Gradients computed, warm-up included.
    pub gradients: u64,
    /// Step size after adaptation.
    pub step: f64,
}

#[derive(Clone)]
struct Point {
    position: Vec<f64>,
    momentum: Vec<f64>,
    gradient: Vec<f64>,
    log: f64,
}

/// A stretch of trajectory: its ends, the state chosen from it, and the sum of its momenta.
struct Tree {
    back: Point,
    front: Point,
    chosen: Point,
    log_weight: f64,
    momenta: Vec<f64>,
    turned: bool,
    accept: f64,
    steps: u32,
}

struct Sampler<'a, T> {
    target: &'a T,
    /// Inverse mass: estimated variances.
    variance: Vec<f64>,
    step: f64,
    gradients: u64,
    diverged: bool,
}

fn log_add(a: f64, b: f64) -> f64 {
    let top = a.max(b);
    if top == f64::NEG_INFINITY {
        return top;
    }
    top + ((a - top).exp() + (b - top).exp()).ln()
}

fn add(into: &mut [f64], other: &[f64]) {
    for (a, b) in into.iter_mut().zip(other) {
        *a += b;
    }
}

impl<T: Target> Sampler<'_, T> {
    fn kinetic(&self, momentum: &[f64]) -> f64 {
        let terms = momentum.iter().zip(&self.variance);
        0.5 * terms.map(|(p, v)| p * p * v).sum::<f64>()
    }

    fn energy(&self, point: &Point) -> f64 {
        point.log - self.kinetic(&point.momentum)
    }

    fn leapfrog(&mut self, from: &Point, step: f64) -> Point {
        let mut to = from.clone();
        for (p, g) in to.momentum.iter_mut().zip(&from.gradient) {
            *p += 0.5 * step * g;
        }
        for ((q, p), v) in to.position.iter_mut().zip(&to.momentum).zip(&self.variance) {
            *q += step * v * p;
        }
        to.log = self.target.log_density(&to.position, &mut to.gradient);
        self.gradients += 1;
        for (p, g) in to.momentum.iter_mut().zip(&to.gradient) {
            *p += 0.5 * step * g;
        }
        to
    }

    /// True while the summed momentum still points along both end momenta.
    fn straight(&self, sum: &[f64], back: &[f64], front: &[f64]) -> bool {
        let (mut along_back, mut along_front) = (0.0, 0.0);
        for k in 0..sum.len() {
            let velocity = sum[k] * self.variance[k];
            along_back += velocity * back[k];
            along_front += velocity * front[k];
        }
        along_back > 0.0 && along_front > 0.0
    }

    /// U-turn of two joined stretches, over the whole and over each with its neighbour's end.
    fn turned(&self, earlier: &Tree, later: &Tree) -> bool {
        let mut sum = earlier.momenta.clone();
        add(&mut sum, &later.momenta);
        let mut to_neighbour = earlier.momenta.clone();
        add(&mut to_neighbour, &later.back.momentum);
        let mut from_neighbour = later.momenta.clone();
        add(&mut from_neighbour, &earlier.front.momentum);
        !(self.straight(&sum, &earlier.back.momentum, &later.front.momentum)
            && self.straight(&to_neighbour, &earlier.back.momentum, &later.back.momentum)
            && self.straight(
                &from_neighbour,
                &earlier.front.momentum,
                &later.front.momentum,
            ))
    }

    fn leaf(&mut self, from: &Point, forward: bool, start: f64) -> Tree {
        let step = if forward { self.step } else { -self.step };
        let point = self.leapfrog(from, step);
        let energy = self.energy(&point);
        let weight = if energy.is_nan() {
            f64::NEG_INFINITY
        } else {
            energy - start
        };
        let away = weight < -1000.0;
        self.diverged |= away;
        Tree {
            momenta: point.momentum.clone(),
            back: point.clone(),
            front: point.clone(),
            chosen: point,
            log_weight: weight,
            turned: away,
            accept: weight.exp().min(1.0),
            steps: 1,
        }
    }

    fn build(
        &mut self,
        from: &Point,
        (forward, depth): (bool, u32),
        start: f64,
        random: &mut Stream,
    ) -> Tree {
        if depth == 0 {
            return self.leaf(from, forward, start);
        }
        let mut near = self.build(from, (forward, depth - 1), start, random);
        if near.turned {
            return near;
        }
        let end = if forward { &near.front } else { &near.back };
        let end = end.clone();
        let far = self.build(&end, (forward, depth - 1), start, random);
        near.accept += far.accept;
        near.steps += far.steps;
        if far.turned {
            near.turned = true;
            return near;
        }
        let weight = log_add(near.log_weight, far.log_weight);
        let take = random.random::<f64>().ln() < far.log_weight - weight;
        self.join(near, far, forward, (weight, take))
    }

    /// Two stretches as one; `take` moves the choice to the new one.
    fn join(&self, mut old: Tree, new: Tree, forward: bool, (weight, take): (f64, bool)) -> Tree {
        old.turned = match forward {
            true => self.turned(&old, &new),
            false => self.turned(&new, &old),
        };
        add(&mut old.momenta, &new.momenta);
        old.log_weight = weight;
        if take {
            old.chosen = new.chosen;
        }
        if forward {
            old.front = new.front;
        } else {
            old.back = new.back;
        }
        old
    }

    /// One trajectory from `current`; the new state and the mean acceptance.
    fn move_on(&mut self, current: Point, depth: u32, random: &mut Stream) -> (Point, f64) {
        let mut current = current;
        for (p, v) in current.momentum.iter_mut().zip(&self.variance) {
            let z: f64 = StandardNormal.sample(random);
            *p = z / v.sqrt();
        }
        let start = self.energy(&current);
        let mut tree = Tree {
            momenta: current.momentum.clone(),
            back: current.clone(),
            front: current.clone(),
            chosen: current,
            log_weight: 0.0,
            turned: false,
            accept: 0.0,
            steps: 0,
        };
        let (mut accept, mut steps) = (0.0, 0);
        for level in 0..depth {
            let forward = random.random::<f64>() < 0.5;
            let end = if forward { &tree.front } else { &tree.back };
            let end = end.clone();
            let new = self.build(&end, (forward, level), start, random);
            accept += new.accept;
            steps += new.steps;
            if new.turned {
                break;
            }
            // Biased progressive choice: the new half is taken by its weight over the old one's.
            let take = random.random::<f64>().ln() < new.log_weight - tree.log_weight;
            let weight = log_add(tree.log_weight, new.log_weight);
            tree = self.join(tree, new, forward, (weight, take));
            if tree.turned {
                break;
            }
        }
        (tree.chosen, accept / f64::from(steps.max(1)))
    }

    /// Doubles or halves the step until one step is accepted about half of the time.
    fn first_step(&mut self, at: &Point, random: &mut Stream) {
        let mut point = at.clone();
        for (p, v) in point.momentum.iter_mut().zip(&self.variance) {
            let z: f64 = StandardNormal.sample(random);
            *p = z / v.sqrt();
        }
        let start = self.energy(&point);
        let mut direction = 0.0;
        for _ in 0..40 {
            let next = self.leapfrog(&point, self.step);
            let gain = self.energy(&next) - start;
            let up = gain > 0.8_f64.ln();
            let want = if up { 1.0 } else { -1.0 };
            if direction != 0.0 && want != direction {
                break;
            }
            direction = want;
            self.step *= 2.0_f64.powf(want);
        }
    }
}

/// Dual averaging of the step size.
struct StepSize {
    centre: f64,
    error: f64,
    mean_log: f64,
    count: f64,
    target: f64,
}

impl StepSize {
    fn new(step: f64, target: f64) -> StepSize {
        StepSize {
            centre: (10.0 * step).ln(),
            error: 0.0,
            mean_log: 0.0,
            count: 0.0,
            target,
        }
    }

    fn next(&mut self, accept: f64) -> f64 {
        self.count += 1.0;
        self.error += (self.target - accept - self.error) / (self.count + 10.0);
        let log = self.centre - self.count.sqrt() / 0.05 * self.error;
        let weight = self.count.powf(-0.75);
        self.mean_log += weight * (log - self.mean_log);
        log.exp()
    }
}

/// Running variances of one window.
struct Window {
    count: f64,
    mean: Vec<f64>,
    square: Vec<f64>,
}

impl Window {
    fn new(dim: usize) -> Window {
        Window {
            count: 0.0,
            mean: vec![0.0; dim],
            square: vec![0.0; dim],
        }
    }

    fn add(&mut self, position: &[f64]) {
        self.count += 1.0;
        for ((q, mean), square) in position.iter().zip(&mut self.mean).zip(&mut self.square) {
            let off = q - *mean;
            *mean += off / self.count;
            *square += off * (q - *mean);
        }
    }

    /// Variances drawn a little towards a small number, so that a short window cannot freeze.
    fn variance(&self) -> Vec<f64> {
        let n = self.count;
        let own = n / (n + 5.0);
        let regular = |s: &f64| own * s / (n - 1.0) + 1e-3 * (1.0 - own);
        self.square.iter().map(regular).collect()
    }
}

/// Where the windows of the mass end: growing twofold between a first and a last stretch that
/// adapt the step only.
fn window_ends(warmup: usize) -> Vec<usize> {
    let (first, last) = (warmup * 3 / 20, warmup / 10);
    let mut ends = Vec::new();
    let (mut end, mut size) = (first, 25.min(warmup / 4).max(1));
    while end + size <= warmup - last {
        let remaining = warmup - last - (end + size);
        end = if remaining < 2 * size {
            warmup - last
        } else {
            end + size
        };
        ends.push(end);
        size *= 2;
    }
    ends
}

/// Runs one chain.
///
/// * `start`: finite log density
/// * `watch`: asked now and then whether to stop
///
/// # Errors
/// Interrupted by the watcher.
pub fn sample<T: Target>(
    target: &T,
    start: Vec<f64>,
    settings: &NutsSettings,
    random: &mut Stream,
    watch: &dyn Watch,
) -> Result<Chain> {
    let dim = target.dim();
    let mut gradient = vec![0.0; dim];
    let log = target.log_density(&start, &mut gradient);
    let mut current = Point {
        position: start,
        momentum: vec![0.0; dim],
        gradient,
        log,
    };
    let mut sampler = Sampler {
        target,
        variance: vec![0.25; dim],
        step: 0.1,
        gradients: 1,
        diverged: false,
    };
    sampler.first_step(&current, random);
    let mut step = StepSize::new(sampler.step, settings.accept);
    let ends = window_ends(settings.warmup);
    let first = settings.warmup * 3 / 20;
    let mut window = Window::new(dim);
    let mut chain = Chain {
        draws: Vec::with_capacity(settings.draws),
        divergences: 0,
        gradients: 0,
        step: 0.0,
    };
    for round in 0..settings.warmup + settings.draws {
        if round % 64 == 0 && watch.stopped() {
            return Err(base::Error::interrupted("stopped while fitting the grades"));
        }
        sampler.diverged = false;
        let (next, accept) = sampler.move_on(current, settings.depth, random);
        current = next;
        if round >= settings.warmup {
            chain.divergences += usize::from(sampler.diverged);
            chain.draws.push(current.position.clone());
            continue;
        }
        sampler.step = step.next(accept);
        if round >= first {
            window.add(&current.position);
        }
        if ends.contains(&(round + 1)) {
            sampler.variance = window.variance();
            window = Window::new(dim);
            sampler.step = step.mean_log.exp();
            sampler.first_step(&current, random);
            step = StepSize::new(sampler.step, settings.accept);
        }
        if round + 1 == settings.warmup {
            sampler.step = step.mean_log.exp();
        }
    }
    chain.gradients = sampler.gradients;
    chain.step = sampler.step;
    Ok(chain)
}
