//! A change of coordinates that makes the posterior nearly round before sampling starts.
//!
//! Data pin each cell to a few hundredths while level, factor effects, graders and exponent move
//! many cells together by tenths: in plain coordinates a trajectory needs some 250 steps. With
//! the scatters held at typical values the log density is nearly concave; its maximum and
//! curvature give a linear map after which a trajectory takes about ten. The map changes no
//! posterior, only its coordinates; scatters keep their own.

use super::density::Density;
use super::nuts::Target;
use base::{Error, Result};
use nalgebra::{DMatrix, DVector};

/// The density seen through the map q = mode + W' h.
#[derive(Debug, Clone)]
pub(super) struct Whitened<'a> {
    density: &'a Density,
    mode: Vec<f64>,
    /// 1 / sqrt(curvature) of each cell.
    cell: Vec<f64>,
    /// Rows of W for the other parameters, over cells first and then the others.
    rows: Vec<Vec<f64>>,
    cells: std::ops::Range<usize>,
    others: Vec<usize>,
    spreads: std::ops::Range<usize>,
}

impl<'a> Whitened<'a> {
    /// Finds maximum and curvature with the scatters held at `spread_scores`.
    ///
    /// # Errors
    /// Refused if the curvature cannot be made positive, which means the data are beyond the model.
    pub(super) fn new(density: &'a Density, spread_scores: &[f64; 5]) -> Result<Whitened<'a>> {
        let (cells, spreads) = (density.cell_range(), density.spread_range());
        let free = |k: &usize| !cells.contains(k) && !spreads.contains(k);
        let others: Vec<usize> = (0..density.dim()).filter(free).collect();
        let mut map = Whitened {
            density,
            mode: density.centre(),
            cell: Vec::new(),
            rows: Vec::new(),
            cells,
            others,
            spreads: spreads.clone(),
        };
        map.mode[spreads].copy_from_slice(spread_scores);
        let curvature = map.climb()?;
        map.factor(&curvature)?;
        Ok(map)
    }

    /// Indices in the order of the curvature matrix: cells, then the others.
    fn order(&self) -> Vec<usize> {
        self.cells
            .clone()
            .chain(self.others.iter().copied())
            .collect()
    }

    /// Newton steps to the maximum; returns the curvature there.
    fn climb(&mut self) -> Result<DMatrix<f64>> {
        let order = self.order();
        let mut gradient = vec![0.0; self.mode.len()];
        let mut log = self.density.log_density(&self.mode, &mut gradient);
        for _ in 0..30 {
            let curvature = self.curvature();
            let slope = DVector::from_iterator(order.len(), order.iter().map(|k| gradient[*k]));
            let step = positive(&curvature)?.solve(&slope);
            let gain = slope.dot(&step);
            let mut size = 1.0;
            let mut moved = self.mode.clone();
            let mut spare = gradient.clone();
            loop {
                for (k, s) in order.iter().zip(step.iter()) {
                    moved[*k] = self.mode[*k] + size * s;
                }
                let next = self.density.log_density(&moved, &mut spare);
                if next > log || size < 1e-6 {
                    log = next.max(log);
                    break;
                }
                size *= 0.5;
            }
            if size >= 1e-6 {
                self.mode = moved;
                gradient = spare;
            }
            if gain < 1e-3 || size < 1e-6 {
                break;
            }
        }
        Ok(self.curvature())
    }

    /// Minus the second derivatives by central differences of the gradient. Cells do not see each
    /// other, so one difference gives the diagonal of all of them.
    fn curvature(&self) -> DMatrix<f64> {
        let order = self.order();
        let n = self.cells.len();
        let h = 1e-4;
        let difference = |moved: &[usize]| -> Vec<f64> {
            let (mut up, mut down) = (self.mode.clone(), self.mode.clone());
            for &k in moved {
                up[k] += h;
                down[k] -= h;
            }
            let (mut above, mut below) = (vec![0.0; up.len()], vec![0.0; up.len()]);
            self.density.log_density(&up, &mut above);
            self.density.log_density(&down, &mut below);
            let slopes = above.iter().zip(&below);
            slopes.map(|(a, b)| (b - a) / (2.0 * h)).collect()
        };
        let mut curvature = DMatrix::zeros(order.len(), order.len());
        let all: Vec<usize> = self.cells.clone().collect();
        let own = difference(&all);
        for (i, &k) in all.iter().enumerate() {
            curvature[(i, i)] = own[k].max(1e-3);
        }
        for (j, &k) in self.others.iter().enumerate() {
            let column = difference(&[k]);
            for (i, &row) in order.iter().enumerate() {
                curvature[(i, n + j)] = column[row];
                curvature[(n + j, i)] = column[row];
            }
        }
        let sides = curvature.clone().transpose();
        (curvature + sides) * 0.5
    }

    fn factor(&mut self, curvature: &DMatrix<f64>) -> Result<()> {
        let n = self.cells.len();
        let lower = positive(curvature)?.unpack();
        let inverse = lower
            .solve_lower_triangular(&DMatrix::identity(curvature.nrows(), curvature.nrows()))
            .ok_or_else(beyond)?;
        self.cell = (0..n).map(|i| inverse[(i, i)]).collect();
        self.rows = (0..self.others.len())
            .map(|j| (0..=n + j).map(|i| inverse[(n + j, i)]).collect())
            .collect();
        Ok(())
    }

    /// From round coordinates to the model's.
    pub(super) fn position(&self, h: &[f64]) -> Vec<f64> {
        let mut q = self.mode.clone();
        let n = self.cells.len();
        for (i, scale) in self.cell.iter().enumerate() {
            q[self.cells.start + i] += scale * h[self.cells.start + i];
        }
        for (row, &k) in self.rows.iter().zip(&self.others) {
            let amount = h[k];
            let (to_cells, to_others) = row.split_at(n);
            for (q, w) in q[self.cells.clone()].iter_mut().zip(to_cells) {
                *q += w * amount;
            }
            for (w, &other) in to_others.iter().zip(&self.others) {
                q[other] += w * amount;
            }
        }
        q[self.spreads.clone()].copy_from_slice(&h[self.spreads.clone()]);
        q
    }

    /// Round coordinates of the scatters' scores in the mode, zero elsewhere.
    pub(super) fn origin(&self) -> Vec<f64> {
        let mut h = vec![0.0; self.mode.len()];
        h[self.spreads.clone()].copy_from_slice(&self.mode[self.spreads.clone()]);
        h
    }
}

fn beyond() -> Error {
    Error::refused(
        "the grades cannot be brought to a common scale: the model's curvature is not positive",
    )
    .hint("look for an area or a system graded in the opposite direction")
}

/// Cholesky factor, with the smallest ridge that makes it positive.
fn positive(curvature: &DMatrix<f64>) -> Result<nalgebra::Cholesky<f64, nalgebra::Dyn>> {
    let mut ridge = 0.0;
    for _ in 0..12 {
        let size = curvature.nrows();
        let raised = curvature + DMatrix::identity(size, size) * ridge;
        if let Some(factor) = raised.cholesky() {
            return Ok(factor);
        }
        ridge = if ridge == 0.0 { 0.1 } else { ridge * 4.0 };
    }
    Err(beyond())
}

impl Target for Whitened<'_> {
    fn dim(&self) -> usize {
        self.mode.len()
    }

    fn log_density(&self, h: &[f64], gradient: &mut [f64]) -> f64 {
        let q = self.position(h);
        let mut slope = vec![0.0; q.len()];
        let log = self.density.log_density(&q, &mut slope);
        let n = self.cells.len();
        for (i, scale) in self.cell.iter().enumerate() {
            gradient[self.cells.start + i] = scale * slope[self.cells.start + i];
        }
        let of_others: Vec<f64> = self.others.iter().map(|k| slope[*k]).collect();
        let of_cells = &slope[self.cells.clone()];
        for (row, &k) in self.rows.iter().zip(&self.others) {
            let (to_cells, to_others) = row.split_at(n);
            let dot = |w: &[f64], s: &[f64]| w.iter().zip(s).map(|(a, b)| a * b).sum::<f64>();
            gradient[k] = dot(to_cells, of_cells) + dot(to_others, &of_others);
        }
        gradient[self.spreads.clone()].copy_from_slice(&slope[self.spreads.clone()]);
        log
    }
}
