//! Least squares with coefficients that may not be negative.

use nalgebra::{DMatrix, DVector};

/// Solution of `min |A x - b|` with `x >= 0`.
#[derive(Debug, Clone, PartialEq)]
pub struct NonNegative {
    /// Coefficients, none below 0.
    pub x: Vec<f64>,
    /// `|A x - b|`.
    pub residual: f64,
}

/// Active-set method of Lawson & Hanson 1974, Solving Least Squares Problems, chapter 23.
///
/// Guaranteed: `x >= 0`, and for finite input the loop ends, because each outer step lowers the
/// residual and there are finitely many sets of columns; a cap of `3 n` steps guards against
/// rounding. Not guaranteed: uniqueness, when columns depend on each other.
///
/// * `a`: rows by columns; `b`: one value per row
#[must_use]
pub fn nnls(a: &DMatrix<f64>, b: &DVector<f64>) -> NonNegative {
    let n = a.ncols();
    let mut x = DVector::zeros(n);
    let mut free = vec![false; n];
    let scale = a.column_iter().map(|c| c.norm()).fold(0.0, f64::max) * b.norm();
    let tolerance = 1e-12 * scale;
    for _ in 0..3 * n.max(1) {
        let gradient = a.transpose() * (b - a * &x);
        let candidate = (0..n)
            .filter(|&j| !free[j] && gradient[j] > tolerance)
            .max_by(|&i, &j| gradient[i].total_cmp(&gradient[j]).then(j.cmp(&i)));
        let Some(j) = candidate else {
            break;
        };
        free[j] = true;
        settle(a, b, &mut x, &mut free);
    }
    let residual = (a * &x - b).norm();
    NonNegative {
        x: x.iter().copied().collect(),
        residual,
    }
}

/// Least squares over the free columns, walking back whenever one would turn negative.
fn settle(a: &DMatrix<f64>, b: &DVector<f64>, x: &mut DVector<f64>, free: &mut [bool]) {
    loop {
        let columns: Vec<usize> = (0..free.len()).filter(|&j| free[j]).collect();
        let trial = least_squares(&a.select_columns(&columns), b);
        let mut step: f64 = 1.0;
        for (i, &j) in columns.iter().enumerate() {
            if trial[i] <= 0.0 {
                step = step.min(x[j] / (x[j] - trial[i]));
            }
        }
        for (i, &j) in columns.iter().enumerate() {
            x[j] += step * (trial[i] - x[j]);
        }
        if step >= 1.0 {
            return;
        }
        let mut freed = false;
        for (i, &j) in columns.iter().enumerate() {
            if trial[i] <= 0.0 && x[j] <= 1e-14 * x.amax().max(f64::MIN_POSITIVE) {
                x[j] = 0.0;
                free[j] = false;
                freed = true;
            }
        }
        if !freed {
            return;
        }
    }
}

fn least_squares(a: &DMatrix<f64>, b: &DVector<f64>) -> DVector<f64> {
    let zero = || DVector::zeros(a.ncols());
    a.clone()
        .svd(true, true)
        .solve(b, 1e-13)
        .unwrap_or_else(|_| zero())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn solved(rows: usize, a: &[f64], b: &[f64]) -> NonNegative {
        nnls(
            &DMatrix::from_row_slice(rows, a.len() / rows, a),
            &DVector::from_row_slice(b),
        )
    }

    /// Documented examples of a numerical library's non-negative least squares (method of Lawson &
    /// Hanson 1974, ch. 23): x = (1.5, 1), r = 0.7071; x = (0, 0), r = 1.7321.
    #[test]
    fn two_published_cases() {
        let a = [1.0, 0.0, 1.0, 0.0, 0.0, 1.0];
        let s = solved(3, &a, &[2.0, 1.0, 1.0]);
        assert!((s.x[0] - 1.5).abs() < 1e-12 && (s.x[1] - 1.0).abs() < 1e-12);
        assert!((s.residual - 0.5f64.sqrt()).abs() < 1e-10);
        let s = solved(3, &a, &[-1.0, -1.0, -1.0]);
        assert_eq!(s.x, [0.0, 0.0]);
        assert!((s.residual - 3f64.sqrt()).abs() < 1e-12);
    }

    /// Worked 4 x 3 case with one active column, recomputed: x = (0.6495384364, 0, 0), r = 39.81255812.
    #[test]
    fn a_case_with_clamped_columns() {
        let a = [73., 71., 52., 87., 74., 46., 72., 2., 7., 80., 89., 71.];
        let s = solved(4, &a, &[49., 67., 68., 20.]);
        assert!((s.x[0] - 0.649_538_436_4).abs() < 1e-9 && s.x[1] == 0.0 && s.x[2] == 0.0);
        assert!((s.residual - 39.812_558_12).abs() < 1e-7);
    }

    proptest! {
        /// The conditions of Kuhn and Tucker: no negative coefficient, no descent left in any
        /// column, none at all in the used ones.
        #[test]
        fn kuhn_tucker(a in prop::collection::vec(0.0..1.0f64, 32), b in prop::collection::vec(-1.0..1.0f64, 8)) {
            let s = solved(8, &a, &b);
            let a = DMatrix::from_row_slice(8, 4, &a);
            let residual = DVector::from_row_slice(&b) - &a * DVector::from_row_slice(&s.x);
            let gradient = a.transpose() * residual;
            for (x, g) in s.x.iter().zip(gradient.iter()) {
                prop_assert!(*x >= 0.0 && *g < 1e-8);
                prop_assert!(*x == 0.0 || g.abs() < 1e-8);
            }
        }
    }
}
