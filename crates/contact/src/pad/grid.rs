//! Square cells on the pad's surface.

/// A rectangle of square cells; the cell of column `i` and row `j` has number `j * columns + i`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// Cells along the first pad axis.
    pub columns: usize,
    /// Cells along the second pad axis.
    pub rows: usize,
    /// [m] side of a cell.
    pub spacing: f64,
    /// [m] pad coordinates of the outer corner of cell 0.
    pub corner: [f64; 2],
}

/// Grids have sides of a multiple of this, so that the deep levels of the foam can be worked on
/// grids 2, 4, 8 and 16 times as coarse.
pub const SIDE_STEP: usize = 16;

impl Grid {
    /// A grid about the origin.
    #[must_use]
    pub fn centred(columns: usize, rows: usize, spacing: f64) -> Grid {
        Grid {
            columns,
            rows,
            spacing,
            corner: [
                -0.5 * columns as f64 * spacing,
                -0.5 * rows as f64 * spacing,
            ],
        }
    }

    /// The smallest good grid that covers `low`..`high` with at least `gap` of free pad between
    /// one image of the figure and the next (the solver's plane repeats itself).
    ///
    /// * `low`, `high`, `gap`: \[m\]
    #[must_use]
    pub fn covering(low: [f64; 2], high: [f64; 2], gap: f64, spacing: f64) -> Grid {
        let count = |k: usize| good_side(((high[k] - low[k] + gap) / spacing).ceil() as usize);
        let (columns, rows) = (count(0), count(1));
        let corner = |k: usize, n: usize| 0.5 * (low[k] + high[k] - n as f64 * spacing);
        Grid {
            columns,
            rows,
            spacing,
            corner: [corner(0, columns), corner(1, rows)],
        }
    }

    /// The same rectangle in cells `times` as large; the sides must divide.
    #[must_use]
    pub fn coarser(&self, times: usize) -> Grid {
        Grid {
            columns: self.columns / times,
            rows: self.rows / times,
            spacing: self.spacing * times as f64,
            corner: self.corner,
        }
    }

    /// Number of cells.
    #[must_use]
    pub fn cells(&self) -> usize {
        self.columns * self.rows
    }

    /// [m2] area of a cell.
    #[must_use]
    pub fn cell_area(&self) -> f64 {
        self.spacing * self.spacing
    }

    /// [m] pad coordinates of the middle of a cell.
    #[must_use]
    pub fn middle(&self, cell: usize) -> [f64; 2] {
        let (i, j) = (cell % self.columns, cell / self.columns);
        [
            self.corner[0] + (i as f64 + 0.5) * self.spacing,
            self.corner[1] + (j as f64 + 0.5) * self.spacing,
        ]
    }

    /// Values averaged over `times` x `times` cells.
    #[must_use]
    pub fn averaged(&self, values: &[f64], times: usize) -> Vec<f64> {
        let coarse = self.coarser(times);
        let share = 1.0 / (times * times) as f64;
        let mut out = vec![0.0; coarse.cells()];
        for j in 0..coarse.rows * times {
            let line = &values[j * self.columns..(j + 1) * self.columns];
            let target = &mut out[(j / times) * coarse.columns..][..coarse.columns];
            for (sum, part) in target.iter_mut().zip(line.chunks_exact(times)) {
                *sum += share * part.iter().sum::<f64>();
            }
        }
        out
    }

    /// Values of a grid `times` as coarse, each repeated over the cells it stands for.
    #[must_use]
    pub fn spread(&self, coarse: &[f64], times: usize) -> Vec<f64> {
        let columns = self.columns / times;
        (0..self.cells())
            .map(|c| {
                let (i, j) = (c % self.columns, c / self.columns);
                coarse[(j / times) * columns + i / times]
            })
            .collect()
    }

    /// Values averaged over a square window about each cell; its side is the odd number of cells
    /// nearest to `side`. Free pad counts as zero, so a lone loaded cell is not a peak.
    ///
    /// * `side`: \[m\]
    #[must_use]
    pub fn smoothed(&self, values: &[f64], side: f64) -> Vec<f64> {
        let reach = (((side / self.spacing).round() as usize).max(1) - 1).div_ceil(2);
        let along = window(values, self.columns, self.rows, reach);
        window(&along, self.rows, self.columns, reach)
    }
}

/// Running mean along the rows; the result is transposed.
fn window(values: &[f64], columns: usize, rows: usize, reach: usize) -> Vec<f64> {
    let width = (2 * reach + 1) as f64;
    let mut out = vec![0.0; values.len()];
    for j in 0..rows {
        let line = &values[j * columns..(j + 1) * columns];
        for i in 0..columns {
            let span = &line[i.saturating_sub(reach)..(i + reach + 1).min(columns)];
            out[i * rows + j] = span.iter().sum::<f64>() / width;
        }
    }
    out
}

/// The smallest side of at least `least` cells whose transform is fast: a multiple of
/// [`SIDE_STEP`] with no prime factor above 7.
#[must_use]
pub fn good_side(least: usize) -> usize {
    (least.max(1).div_ceil(SIDE_STEP).max(2)..)
        .find(|&n| {
            let mut rest = n;
            for p in [2, 3, 5, 7] {
                while rest % p == 0 {
                    rest /= p;
                }
            }
            rest == 1
        })
        .map_or(least, |n| n * SIDE_STEP)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn averaging_and_smoothing_keep_the_sum() {
        let grid = Grid::centred(32, 48, 1e-3);
        let values: Vec<f64> = (0..grid.cells())
            .map(|c| {
                let m = grid.middle(c);
                if m[0].hypot(m[1]) < 8e-3 {
                    m[0] + 0.05
                } else {
                    0.0
                }
            })
            .collect();
        let total: f64 = values.iter().sum();
        let coarse: f64 = grid.averaged(&values, 4).iter().sum();
        assert!((coarse * 16.0 / total - 1.0).abs() < 1e-12);
        let smooth: f64 = grid.smoothed(&values, 3e-3).iter().sum();
        assert!((smooth / total - 1.0).abs() < 1e-12);
        let back: f64 = grid.spread(&grid.averaged(&values, 4), 4).iter().sum();
        assert!((back / total - 1.0).abs() < 1e-12);
    }

    #[test]
    fn sides_are_good_and_cover() {
        assert_eq!(good_side(1), 32);
        assert_eq!(good_side(512), 512);
        assert_eq!(good_side(513), 560);
        let grid = Grid::covering([-0.01, 0.0], [0.02, 0.01], 0.02, 0.25e-3);
        assert!(grid.columns as f64 * grid.spacing >= 0.05 - 1e-12);
        let first = grid.middle(0);
        let last = grid.middle(grid.cells() - 1);
        assert!(
            (first[0] + last[0] - 0.01).abs() < 1e-12,
            "centred on the figure"
        );
    }
}
