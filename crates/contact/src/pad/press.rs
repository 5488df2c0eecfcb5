//! Pressure between a rigid height map and a pad: bound-constrained conjugate gradient on a
//! convex energy.
//!
//! ```text
//! minimise  J(p) = <p, K p>/2 + sum_j h_j sum U(S_j p) - <p, g>   over p >= 0
//! ```
//! Every accepted step lowers J. Without that guard the same iteration returns garbage without a
//! word in two of the cases of the tests. The projection follows the idea of Polonsky and Keer
//! 1999, Wear 231:206; the step and the guard are our own.
//!
//! What was tried for speed is in [`super`].

use super::foundation::Filling;
use super::foundation::{Foundation, Level, ascend, descend};
use super::plane::{Real, Scratch, Wave};
use crate::law::foam::Foam;
use base::{Error, Result};

/// Mean gap error over the contact, relative to the mean indentation, at which a solve ends.
pub const TOLERANCE: f64 = 2e-4;
/// Deepest overlap outside the contact, relative to the deepest indentation.
const OVERLAP: f64 = 2e-3;
const MOST_ITERATIONS: usize = 400;
/// Share of a step below which no more is tried.
const SHORTEST: f64 = 1e-4;
/// Rise of the energy, relative, that is taken for the rounding of single precision.
const ROUNDING: f64 = 1e-6;

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
    stress: Vec<Real>,
    strain: Vec<Real>,
    slope: Vec<Real>,
    direction: Vec<Real>,
    waves: Vec<Wave>,
}

/// A solver's memory: reuse it from solve to solve on one thread.
pub struct Workspace {
    scratch: Scratch,
    dense: Vec<Real>,
    /// Of the pressure.
    spectrum: Vec<Wave>,
    /// Of whatever was transformed last: the direction while a step is looked for.
    other: Vec<Wave>,
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
            other: vec![Wave::default(); foundation.plane.len()],
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
        let mut rows = vec![false; self.rows];
        cells.iter().for_each(|c| rows[c / self.columns] = true);
        let mut solver = Solver {
            base: self,
            work: workspace,
            cells: &cells,
            rows: &rows,
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
    /// Rows with a cell.
    rows: &'a [bool],
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
            let way = Way {
                step,
                direction: &memory.direction,
                grown: (grow_count > 0).then_some(&grown),
                known: slope > 0.0,
            };
            match self.lower(&p, energy, &way) {
                Some((trial, lower, share)) => {
                    memory.fresh |= share < 1.0;
                    (p, energy, stalled) = (trial, lower, false);
                }
                // Once more, straight down; then there is no lower place to be found.
                None if !stalled => {
                    energy = self.energy(&p);
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
    fn lower(&mut self, p: &[f64], energy: f64, way: &Way) -> Option<(Vec<f64>, f64, f64)> {
        let mut share = 1.0;
        // How far along the direction the spectrum and the levels stand; unknown once they had to
        // be made anew.
        let mut stands = way.known.then_some(0.0);
        while share > SHORTEST {
            let (trial, straight) = way.at(p, share);
            let along = share * way.step;
            let lower = match stands {
                Some(at) if straight => {
                    stands = Some(along);
                    self.slide(along - at, &trial)
                }
                _ => {
                    stands = None;
                    self.energy(&trial)
                }
            };
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
                    let slope = f64::from(field.slope[(j / t) * (columns / t) + i / t]);
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
        for ((s, x), k) in work.sum.iter_mut().zip(&work.other).zip(&base.inverse) {
            *s = x * k;
        }
        (base.plane).back_to(
            |row| self.rows[row],
            &mut work.sum,
            &mut work.dense,
            &mut work.scratch,
        );
        work.transforms += 1.0;
        (0..r.len())
            .map(|i| {
                if p[i] > 0.0 {
                    f64::from(work.dense[self.cells[i]]) / diagonal[i].sqrt()
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
        let work = &mut *self.work;
        std::mem::swap(&mut work.spectrum, &mut work.other);
        for (level, field) in base.levels.iter().zip(&mut work.levels) {
            arriving(base, &work.spectrum, level, &mut field.waves);
            (level.plane).back(&mut field.waves, &mut field.stress, &mut work.scratch);
            work.transforms += level.plane.cells() as f64 / base.plane.cells() as f64;
        }
        self.collapse(p)
    }

    /// The same at `p` when only a path `by` along the direction of the last [`Self::curvature`]
    /// has been added: everything but the collapse is linear, so no transform is needed.
    fn slide(&mut self, by: f64, p: &[f64]) -> f64 {
        let by = by as Real;
        let work = &mut *self.work;
        for (s, d) in work.spectrum.iter_mut().zip(&work.other) {
            *s -= d * by;
        }
        for field in &mut work.levels {
            for (s, d) in field.stress.iter_mut().zip(&field.direction) {
                *s -= d * by;
            }
        }
        self.collapse(p)
    }

    /// J at `p`, strain and tangent of every level, from its spectrum and stresses.
    fn collapse(&mut self, p: &[f64]) -> f64 {
        let base = self.base;
        let mut total = 0.5 * self.elastic(&self.work.spectrum);
        for (level, field) in base.levels.iter().zip(&mut self.work.levels) {
            let Some(foam) = base.foam() else { break };
            let mut sum = 0.0;
            let fields = (field.stress.iter()).zip(field.strain.iter_mut().zip(&mut field.slope));
            for (s, (e, t)) in fields {
                let x = foam.excess(f64::from(*s));
                *e = x.strain as Real;
                *t = x.slope as Real;
                sum += x.energy;
            }
            total += level.height * sum * (level.times * level.times) as f64;
        }
        total - p.iter().zip(self.gap).map(|(p, g)| p * g).sum::<f64>()
    }

    /// w at the cells, after [`Self::energy`] or [`Self::slide`].
    fn sinking(&mut self) -> Vec<f64> {
        let base = self.base;
        let n = base.plane.cells() as f64;
        let work = &mut *self.work;
        let share = (1.0 / n) as Real;
        for ((s, p), k) in work.sum.iter_mut().zip(&work.spectrum).zip(&base.kernel) {
            *s = p * (k * share);
        }
        for (level, field) in base.levels.iter().zip(&mut work.levels) {
            (level.plane).forward(&field.strain, &mut field.waves, &mut work.scratch);
            let scale = level.height / level.plane.cells() as f64;
            ascend(
                &base.plane,
                &field.waves,
                level,
                scale as Real,
                &mut work.sum,
            );
            work.transforms += level.plane.cells() as f64 / n;
        }
        (base.plane).back_to(
            |row| self.rows[row],
            &mut work.sum,
            &mut work.dense,
            &mut work.scratch,
        );
        work.transforms += 1.0;
        (self.cells.iter())
            .map(|&c| f64::from(work.dense[c]))
            .collect()
    }

    /// <d, H d> with the tangents of now; `other` and the levels then hold the direction.
    fn curvature(&mut self, d: &[f64]) -> f64 {
        self.transform(d);
        let base = self.base;
        let mut total = self.elastic(&self.work.other);
        let work = &mut *self.work;
        for (level, field) in base.levels.iter().zip(&mut work.levels) {
            arriving(base, &work.other, level, &mut field.waves);
            (level.plane).back(&mut field.waves, &mut field.direction, &mut work.scratch);
            let terms = (field.direction.iter().zip(&field.slope))
                .map(|(d, t)| f64::from(d * t) * f64::from(*d));
            total += level.height * terms.sum::<f64>() * (level.times * level.times) as f64;
            work.transforms += level.plane.cells() as f64 / base.plane.cells() as f64;
        }
        total
    }

    /// Into `other`.
    fn transform(&mut self, values: &[f64]) {
        let work = &mut *self.work;
        work.dense.fill(0.0);
        for (&c, v) in self.cells.iter().zip(values) {
            work.dense[c] = *v as Real;
        }
        let plane = &self.base.plane;
        plane.forward(&work.dense, &mut work.other, &mut work.scratch);
        work.transforms += 1.0;
    }

    /// <x, K x> of a spectrum's field, by Parseval.
    fn elastic(&self, spectrum: &[Wave]) -> f64 {
        let plane = &self.base.plane;
        let rows = self.base.rows;
        let mut total = 0.0;
        for kx in 0..plane.waves() {
            let range = kx * rows..(kx + 1) * rows;
            let terms = spectrum[range.clone()].iter().zip(&self.base.kernel[range]);
            let sum: f64 = terms.map(|(x, k)| f64::from(x.norm_sqr() * k)).sum();
            total += plane.times(kx) * sum;
        }
        total / plane.cells() as f64
    }

    fn done(&mut self, p: &[f64], iterations: usize, residual: f64) -> Pressed {
        let mut pressure = vec![0.0; self.base.plane.cells()];
        for (&c, v) in self.cells.iter().zip(p) {
            pressure[c] = *v;
        }
        Pressed {
            force: base::sum::sum(p.iter().copied()) * self.base.cell_area(),
            strain: self.largest_strain(),
            pressure,
            iterations,
            residual,
            transforms: self.work.transforms,
        }
    }

    fn largest_strain(&self) -> f64 {
        let most = |values: &[f64]| values.iter().copied().fold(0.0, f64::max);
        let stress = |values: &[Real]| f64::from(values.iter().copied().fold(0.0, Real::max));
        match self.base.foam() {
            Some(foam) => (self.work.levels.iter())
                .map(|l| foam.strain(stress(&l.stress)))
                .fold(0.0, f64::max),
            None => most(self.gap) / self.base.pad.thickness,
        }
    }
}

/// Where a step leads.
struct Way<'a> {
    step: f64,
    direction: &'a [f64],
    grown: Option<&'a Vec<f64>>,
    /// The direction has been transformed.
    known: bool,
}

impl Way<'_> {
    /// The pressure after a share of the step, and whether it is the straight one: nothing was cut
    /// off at zero and nothing grew.
    fn at(&self, p: &[f64], share: f64) -> (Vec<f64>, bool) {
        let along = share * self.step;
        let mut straight = self.grown.is_none();
        let trial = (p.iter().zip(self.direction).enumerate())
            .map(|(i, (p, d))| {
                let moved = p - along * d;
                straight &= moved >= 0.0;
                moved.max(0.0)
                    + self
                        .grown
                        .map_or(0.0, |g| share * self.step.min(1.0) * g[i])
            })
            .collect();
        (trial, straight)
    }
}

/// The waves of the stress that arrives in a level.
fn arriving(base: &Foundation, spectrum: &[Wave], level: &Level, waves: &mut [Wave]) {
    let scale = (1.0 / base.plane.cells() as f64) as Real;
    descend(&base.plane, spectrum, level, scale, waves);
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
