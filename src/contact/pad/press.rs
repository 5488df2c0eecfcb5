//! Pressure between a rigid height map and a pad: bound-constrained conjugate gradient on a
//! convex energy.
//!
//! ```text
//! minimise  J(p) = <p, K p>/2 + sum_j h_j sum U(S_j p) - <p, g>   over p >= 0
//! ```
//! Every accepted step lowers J. Without that guard the same iteration returns garbage without a
//! word in two of the cases of the tests. The projection follows the idea of Polonsky and Keer
//! 1999, Wear 231:206; the step and the guard are our own.

use super::foundation::Filling;
use super::foundation::{Foundation, ascend, descend};
use super::plane::{Scratch, Wave};
use crate::base::{Error, Result};
use crate::law::foam::Foam;

/// Mean gap error over the contact, relative to the mean indentation, at which a solve ends.
pub const TOLERANCE: f64 = 2e-4;
/// Deepest overlap outside the contact, relative to the deepest indentation.
const OVERLAP: f64 = 2e-3;
const MOST_ITERATIONS: usize = 400;
/// Share of a step below which no more is tried.
const SHORTEST: f64 = 1e-4;
/// Rise of the energy, relative, that is taken for rounding.
const ROUNDING: f64 = 1e-9;

/// A solved pressure.
#[derive(Debug, Clone)]
pub struct Pressed {
    /// [Pa] per cell of the grid.
    pub pressure: Vec<f64>,
    /// [N]
    pub force: f64,
    /// Largest compressive strain anywhere in the pad; for an elastic pad sinking over thickness.
    pub strain: f64,
    /// Iterations used.
    pub iterations: usize,
    /// Mean gap error reached, see [`TOLERANCE`].
    pub residual: f64,
    /// Transforms used, in units of one transform of the whole grid.
    pub transforms: f64,
}

struct LevelField {
    stress: Vec<f64>,
    strain: Vec<f64>,
    slope: Vec<f64>,
    direction: Vec<f64>,
    waves: Vec<Wave>,
}

/// A solver's memory: reuse it from solve to solve on one thread.
pub struct Workspace {
    scratch: Scratch,
    dense: Vec<f64>,
    spectrum: Vec<Wave>,
    sum: Vec<Wave>,
    levels: Vec<LevelField>,
    transforms: f64,
    /// Gap error at which a solve ends; [`TOLERANCE`] unless changed.
    pub tolerance: f64,
}

impl Workspace {
    /// Memory for one foundation.
    #[must_use]
    pub fn new(foundation: &Foundation) -> Workspace {
        let levels = foundation.levels.iter().map(|l| {
            let cells = vec![0.0; l.plane.cells()];
            LevelField {
                stress: cells.clone(),
                strain: cells.clone(),
                slope: cells.clone(),
                direction: cells,
                waves: vec![Wave::default(); l.plane.len()],
            }
        });
        Workspace {
            scratch: Scratch::default(),
            dense: vec![0.0; foundation.plane.cells()],
            spectrum: vec![Wave::default(); foundation.plane.len()],
            sum: vec![Wave::default(); foundation.plane.len()],
            levels: levels.collect(),
            transforms: 0.0,
            tolerance: TOLERANCE,
        }
    }
}

impl Foundation {
    /// The pressure that presses a rigid surface `gap` deep into the pad.
    ///
    /// * `gap`: \[m\] per cell, indentation minus the surface's depth; minus infinity where there
    ///   is no surface
    /// * `start`: \[Pa\] per cell, a guess, such as the answer at another indentation
    ///
    /// # Errors
    /// Refused when the iteration does not come to rest.
    pub fn press(
        &self,
        gap: &[f64],
        start: Option<&[f64]>,
        workspace: &mut Workspace,
    ) -> Result<Pressed> {
        let cells: Vec<usize> = (0..gap.len()).filter(|&c| gap[c].is_finite()).collect();
        let gap: Vec<f64> = cells.iter().map(|&c| gap[c]).collect();
        let guess = |c: usize, g: f64| match start {
            Some(p) if g > 0.0 => p[c].max(0.0),
            _ => self.stress_of(g),
        };
        let pressure: Vec<f64> = cells.iter().zip(&gap).map(|(&c, &g)| guess(c, g)).collect();
        let mut solver = Solver {
            base: self,
            work: workspace,
            cells: &cells,
            gap: &gap,
        };
        solver.work.transforms = 0.0;
        solver.run(pressure)
    }

    /// [Pa] of a pad compressed evenly by `gap`: where to start.
    fn stress_of(&self, gap: f64) -> f64 {
        let strain = (gap / self.pad.thickness).clamp(0.0, 0.4);
        match &self.pad.filling {
            Filling::Foam(foam) => foam.stress(strain),
            Filling::Elastic { youngs, .. } => youngs * strain,
        }
    }

    fn foam(&self) -> Option<&Foam> {
        match &self.pad.filling {
            Filling::Foam(foam) => Some(foam),
            Filling::Elastic { .. } => None,
        }
    }
}

struct Solver<'a> {
    base: &'a Foundation,
    work: &'a mut Workspace,
    cells: &'a [usize],
    gap: &'a [f64],
}

impl Solver<'_> {
    fn run(&mut self, mut p: Vec<f64>) -> Result<Pressed> {
        let deepest = self.gap.iter().copied().fold(0.0, f64::max);
        if deepest <= 0.0 {
            return Ok(self.done(&vec![0.0; p.len()], 0, 0.0));
        }
        let mut energy = self.energy(&p);
        let mut memory = Memory::new(p.len());
        let mut residual = f64::INFINITY;
        let mut stalled = false;
        for iteration in 0..MOST_ITERATIONS {
            let w = self.sinking();
            let r: Vec<f64> = w.iter().zip(self.gap).map(|(w, g)| w - g).collect();
            let overlap;
            (residual, overlap) = self.misfit(&p, &r);
            if residual < self.work.tolerance && overlap < self.overlap() * deepest {
                return Ok(self.done(&p, iteration, residual));
            }
            let z = self.preconditioned(&p, &r);
            memory.turn(&p, &r, &z);
            let slope = over_contact(&p, |i| r[i] * memory.direction[i]);
            // Without any contact yet there is no direction, only growth.
            let step = match slope > 0.0 {
                true => slope / self.curvature(&memory.direction).max(f64::MIN_POSITIVE),
                false => 1.0,
            };
            let grown = growth(&p, &r, &z);
            let grow_count = grown.iter().filter(|a| **a > 0.0).count();
            let contact = p.iter().filter(|p| **p > 0.0).count();
            memory.fresh = grow_count as f64 > 0.002 * contact as f64;
            memory.old = r;
            match self.lower(&p, energy, &|share, i| {
                (p[i] - share * step * memory.direction[i]).max(0.0)
                    + share * step.min(1.0) * grown[i]
            }) {
                Some((trial, lower, share)) => {
                    memory.fresh |= share < 1.0;
                    (p, energy, stalled) = (trial, lower, false);
                }
                // Once more, straight down; then there is no lower place to be found.
                None if !stalled => {
                    self.energy(&p);
                    (memory.fresh, stalled) = (true, true);
                }
                None => break,
            }
        }
        Err(Error::refused(format!(
            "the pad's pressure did not settle in {MOST_ITERATIONS} steps (gap error {residual:.1e})"
        ))
        .hint("use a coarser grid or a smaller indentation and report the figure"))
    }

    /// The longest of ever shorter steps that does not raise the energy beyond rounding, with its
    /// energy and share; the levels then hold its state. `None` when there is none.
    fn lower(
        &mut self,
        p: &[f64],
        energy: f64,
        at: &dyn Fn(f64, usize) -> f64,
    ) -> Option<(Vec<f64>, f64, f64)> {
        let mut share = 1.0;
        while share > SHORTEST {
            let trial: Vec<f64> = (0..p.len()).map(|i| at(share, i)).collect();
            let lower = self.energy(&trial);
            if lower <= energy + ROUNDING * energy.abs() {
                return Some((trial, lower, share));
            }
            share *= 0.4;
        }
        None
    }

    fn overlap(&self) -> f64 {
        OVERLAP * (self.work.tolerance / TOLERANCE).max(1.0)
    }

    /// Residual and deepest overlap outside the contact.
    fn misfit(&self, p: &[f64], r: &[f64]) -> (f64, f64) {
        let (mut error, mut work, mut overlap) = (0.0, 0.0, 0.0_f64);
        for i in 0..p.len() {
            if p[i] > 0.0 {
                error += p[i] * r[i].abs();
                work += p[i] * self.gap[i].max(0.0);
            } else {
                overlap = overlap.max(-r[i]);
            }
        }
        (error / f64::max(work, f64::MIN_POSITIVE), overlap)
    }

    /// Diagonal of the Hessian.
    fn diagonal(&self) -> Vec<f64> {
        let columns = self.base.columns;
        (self.cells.iter())
            .map(|&c| {
                let (i, j) = (c % columns, c / columns);
                let mut m = self.base.mean_kernel;
                for (level, field) in self.base.levels.iter().zip(&self.work.levels) {
                    let t = level.times;
                    let slope = field.slope[(j / t) * (columns / t) + i / t];
                    m += level.height * level.mean_square * slope.max(0.0);
                }
                m
            })
            .collect()
    }

    /// Residual as a pressure: the kernel turned round within the contact, between two halves of
    /// the Hessian's diagonal; the diagonal alone outside it.
    ///
    /// Halves the steps of the diagonal alone (512 x 512: 38 to 19 and 58 to 25), for two more
    /// transforms in each. Idea: Vollebregt 2014, J. Sci. Comput. 60:553 (from memory).
    fn preconditioned(&mut self, p: &[f64], r: &[f64]) -> Vec<f64> {
        let base = self.base;
        let diagonal = self.diagonal();
        let masked: Vec<f64> = (0..r.len())
            .map(|i| {
                if p[i] > 0.0 {
                    r[i] / diagonal[i].sqrt()
                } else {
                    0.0
                }
            })
            .collect();
        self.transform(&masked);
        let work = &mut *self.work;
        for ((s, x), k) in work.sum.iter_mut().zip(&work.spectrum).zip(&base.inverse) {
            *s = x * k;
        }
        base.plane
            .back(&mut work.sum, &mut work.dense, &mut work.scratch);
        work.transforms += 1.0;
        (0..r.len())
            .map(|i| {
                if p[i] > 0.0 {
                    work.dense[self.cells[i]] / diagonal[i].sqrt()
                } else {
                    r[i] / diagonal[i]
                }
            })
            .collect()
    }

    /// J and the stress, strain and tangent of every level at `p`.
    fn energy(&mut self, p: &[f64]) -> f64 {
        self.transform(p);
        let base = self.base;
        let n = base.plane.cells() as f64;
        let mut total = 0.5 * self.elastic();
        let foam = base.foam();
        for (level, field) in base.levels.iter().zip(&mut self.work.levels) {
            let Some(foam) = foam else { break };
            descend(
                &base.plane,
                &self.work.spectrum,
                level,
                1.0 / n,
                &mut field.waves,
            );
            (level.plane).back(&mut field.waves, &mut field.stress, &mut self.work.scratch);
            let mut sum = 0.0;
            for ((s, e), t) in field
                .stress
                .iter()
                .zip(&mut field.strain)
                .zip(&mut field.slope)
            {
                let x = foam.excess(*s);
                *e = x.strain;
                *t = x.slope;
                sum += x.energy;
            }
            total += level.height * sum * (level.times * level.times) as f64;
            self.work.transforms += level.plane.cells() as f64 / n;
        }
        total - p.iter().zip(self.gap).map(|(p, g)| p * g).sum::<f64>()
    }

    /// w at the cells, after [`Self::energy`].
    fn sinking(&mut self) -> Vec<f64> {
        let base = self.base;
        let n = base.plane.cells() as f64;
        let work = &mut *self.work;
        for ((s, p), k) in work.sum.iter_mut().zip(&work.spectrum).zip(&base.kernel) {
            *s = p * (k / n);
        }
        for (level, field) in base.levels.iter().zip(&mut work.levels) {
            (level.plane).forward(&field.strain, &mut field.waves, &mut work.scratch);
            let scale = level.height / level.plane.cells() as f64;
            ascend(&base.plane, &field.waves, level, scale, &mut work.sum);
            work.transforms += level.plane.cells() as f64 / n;
        }
        base.plane
            .back(&mut work.sum, &mut work.dense, &mut work.scratch);
        work.transforms += 1.0;
        self.cells.iter().map(|&c| work.dense[c]).collect()
    }

    /// <d, H d> with the tangents of the last [`Self::energy`]; the spectrum is used up.
    fn curvature(&mut self, d: &[f64]) -> f64 {
        self.transform(d);
        let base = self.base;
        let n = base.plane.cells() as f64;
        let mut total = self.elastic();
        for (level, field) in base.levels.iter().zip(&mut self.work.levels) {
            descend(
                &base.plane,
                &self.work.spectrum,
                level,
                1.0 / n,
                &mut field.waves,
            );
            (level.plane).back(
                &mut field.waves,
                &mut field.direction,
                &mut self.work.scratch,
            );
            let terms = field
                .direction
                .iter()
                .zip(&field.slope)
                .map(|(d, t)| d * d * t);
            total += level.height * terms.sum::<f64>() * (level.times * level.times) as f64;
            self.work.transforms += level.plane.cells() as f64 / n;
        }
        total
    }

    fn transform(&mut self, values: &[f64]) {
        self.work.dense.fill(0.0);
        for (&c, v) in self.cells.iter().zip(values) {
            self.work.dense[c] = *v;
        }
        let work = &mut *self.work;
        self.base
            .plane
            .forward(&work.dense, &mut work.spectrum, &mut work.scratch);
        work.transforms += 1.0;
    }

    /// <x, K x> of the spectrum's field, by Parseval.
    fn elastic(&self) -> f64 {
        let plane = &self.base.plane;
        let rows = self.base.rows;
        let mut total = 0.0;
        for kx in 0..plane.waves() {
            let range = kx * rows..(kx + 1) * rows;
            let terms = self.work.spectrum[range.clone()]
                .iter()
                .zip(&self.base.kernel[range]);
            total += plane.times(kx) * terms.map(|(x, k)| x.norm_sqr() * k).sum::<f64>();
        }
        total / plane.cells() as f64
    }

    fn done(&mut self, p: &[f64], iterations: usize, residual: f64) -> Pressed {
        let mut pressure = vec![0.0; self.base.plane.cells()];
        for (&c, v) in self.cells.iter().zip(p) {
            pressure[c] = *v;
        }
        Pressed {
            force: crate::base::sum::sum(p.iter().copied()) * self.base.cell_area(),
            strain: self.largest_strain(),
            pressure,
            iterations,
            residual,
            transforms: self.work.transforms,
        }
    }

    fn largest_strain(&self) -> f64 {
        let most = |values: &[f64]| values.iter().copied().fold(0.0, f64::max);
        match self.base.foam() {
            Some(foam) => (self.work.levels.iter())
                .map(|l| foam.strain(most(&l.stress)))
                .fold(0.0, f64::max),
            None => most(self.gap) / self.base.pad.thickness,
        }
    }
}

/// What conjugate gradients remember from step to step.
struct Memory {
    direction: Vec<f64>,
    old: Vec<f64>,
    norm: f64,
    /// Forget: the contact has changed, or the last step had to be shortened.
    fresh: bool,
}

impl Memory {
    fn new(n: usize) -> Memory {
        Memory {
            direction: vec![0.0; n],
            old: vec![0.0; n],
            norm: 1.0,
            fresh: true,
        }
    }

    /// The next direction: Polak and Ribiere's, never turning back, steepest when it would climb.
    fn turn(&mut self, p: &[f64], r: &[f64], z: &[f64]) {
        let norm = over_contact(p, |i| r[i] * z[i]);
        let turn = match self.fresh {
            true => 0.0,
            false => (over_contact(p, |i| (r[i] - self.old[i]) * z[i]) / self.norm).max(0.0),
        };
        self.norm = norm.max(f64::MIN_POSITIVE);
        for ((d, z), p) in self.direction.iter_mut().zip(z).zip(p) {
            *d = if *p > 0.0 { z + turn * *d } else { 0.0 };
        }
        if over_contact(p, |i| r[i] * self.direction[i]) <= 0.0 {
            for ((d, z), p) in self.direction.iter_mut().zip(z).zip(p) {
                *d = if *p > 0.0 { *z } else { 0.0 };
            }
        }
    }
}

fn over_contact(p: &[f64], f: impl Fn(usize) -> f64) -> f64 {
    (0..p.len()).filter(|&i| p[i] > 0.0).map(f).sum()
}

/// Pressure to try where the surface overlaps the free pad.
fn growth(p: &[f64], r: &[f64], z: &[f64]) -> Vec<f64> {
    (0..p.len())
        .map(|i| {
            if p[i] <= 0.0 && r[i] < 0.0 {
                -0.5 * z[i]
            } else {
                0.0
            }
        })
        .collect()
}
