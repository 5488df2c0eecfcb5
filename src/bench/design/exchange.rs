//! Choosing runs: exchange for the largest determinant, and what the choice mixes up.

use base::random::stream;
use base::{Error, Result};
use nalgebra::DMatrix;
use rand::RngExt;

/// A chosen design.
#[derive(Debug, Clone, PartialEq)]
pub struct Exchange {
    /// Indices into the candidates, must-have runs first, the rest ascending.
    pub runs: Vec<usize>,
    /// ln det(X'X + K).
    pub log_det: f64,
    /// det(X'X)^(1/p) / N; 0 for fewer runs than parameters.
    pub efficiency: f64,
}

/// Runs that make det(X'X + K) as large as an exchange from many random starts can.
///
/// * `candidates`: one coded row per possible run, the first column 1
/// * `count`: runs wanted; `must`: candidates that stay in
/// * `precision`: K, added to the diagonal from the second column on (0 for none; 1/0.7^2 for the
///   prior of factor effects when there are fewer runs than parameters)
///
/// # Errors
/// More must-have runs than runs; fewer runs than parameters without a prior.
///
/// Sources: Fedorov 1972; Cook & Nachtsheim 1980, Technometrics 22:315; DuMouchel & Jones 1994,
/// Technometrics 36:37 (all from memory).
pub fn exchange(
    candidates: &DMatrix<f64>,
    count: usize,
    must: &[usize],
    (precision, starts, seed): (f64, usize, u64),
) -> Result<Exchange> {
    let parameters = candidates.ncols();
    if must.len() > count || must.iter().any(|m| *m >= candidates.nrows()) {
        return Err(Error::input(format!(
            "{} must-have systems do not fit into {count}",
            must.len()
        )));
    }
    if count < parameters && precision <= 0.0 {
        return Err(Error::input(format!(
            "{count} systems cannot estimate {parameters} effects without a prior"
        ))
        .hint("give more systems, fewer levels, or let the prior of effects (sd 0.7) help"));
    }
    let mut best: Option<(f64, Vec<usize>)> = None;
    for start in 0..starts {
        let mut random = stream(seed, &["bench", "exchange"], start as u64);
        let mut runs = must.to_vec();
        while runs.len() < count {
            runs.push(random.random_range(0..candidates.nrows()));
        }
        improve(candidates, &mut runs, must.len(), precision);
        runs[must.len()..].sort_unstable();
        let log_det = log_det(&information(candidates, &runs, precision));
        if best.as_ref().is_none_or(|(b, _)| log_det > b + 1e-9) {
            best = Some((log_det, runs));
        }
    }
    let (log_det_best, runs) =
        best.ok_or_else(|| Error::input("exchange needs at least one start"))?;
    let plain = log_det(&information(candidates, &runs, 0.0));
    Ok(Exchange {
        efficiency: (plain / parameters as f64).exp() / count as f64,
        log_det: log_det_best,
        runs,
    })
}

fn information(candidates: &DMatrix<f64>, runs: &[usize], precision: f64) -> DMatrix<f64> {
    let chosen = candidates.select_rows(runs);
    let mut information = chosen.transpose() * chosen;
    for k in 1..information.nrows() {
        information[(k, k)] += precision;
    }
    information
}

fn log_det(information: &DMatrix<f64>) -> f64 {
    let Some(factor) = information.clone().cholesky() else {
        return f64::NEG_INFINITY;
    };
    let log: f64 = factor.l_dirty().diagonal().iter().map(|d| d.ln()).sum();
    // A pivot of rounding size is a singular design, not a small determinant.
    let least = factor
        .l_dirty()
        .diagonal()
        .iter()
        .copied()
        .fold(f64::INFINITY, f64::min);
    if least < 1e-6 {
        f64::NEG_INFINITY
    } else {
        2.0 * log
    }
}

/// Exchanges one run after the other for the candidate with the largest gain, until none gains.
fn improve(candidates: &DMatrix<f64>, runs: &mut [usize], fixed: usize, precision: f64) {
    // A tiny ridge lets a singular start climb.
    let ridge = precision.max(1e-6);
    for _ in 0..60 {
        let mut changed = false;
        for i in fixed..runs.len() {
            let rest: Vec<usize> = (0..runs.len())
                .filter(|j| *j != i)
                .map(|j| runs[j])
                .collect();
            let mut information = information(candidates, &rest, ridge);
            information[(0, 0)] += 1e-6;
            let Some(inverse) = information.try_inverse() else {
                continue;
            };
            let gain = |c: usize| {
                let row = candidates.row(c);
                (row * &inverse * row.transpose())[(0, 0)]
            };
            let mut best = (runs[i], gain(runs[i]));
            for c in 0..candidates.nrows() {
                let g = gain(c);
                if g > best.1 * (1.0 + 1e-9) + 1e-12 {
                    best = (c, g);
                }
            }
            changed |= best.0 != runs[i];
            runs[i] = best.0;
        }
        if !changed {
            return;
        }
    }
}

/// How effects left out leak into those estimated: A = (X1'X1)^-1 X1'X2.
///
/// * `estimated`: coded main effects of the chosen runs; `omitted`: coded interactions
///
/// # Errors
/// A design that cannot estimate its own effects.
pub fn alias_matrix(estimated: &DMatrix<f64>, omitted: &DMatrix<f64>) -> Result<DMatrix<f64>> {
    let inverse = (estimated.transpose() * estimated)
        .try_inverse()
        .ok_or_else(|| Error::refused("the design cannot estimate its own main effects"))?;
    Ok(inverse * estimated.transpose() * omitted)
}

#[cfg(test)]
mod tests {
    use super::super::systems::{Factor, Rule, candidates, columns, contrast_variance};
    use super::*;

    fn all_signs(n: usize) -> DMatrix<f64> {
        let sign = |i: usize, j: usize| {
            if j == 0 || i >> (j - 1) & 1 == 1 {
                1.0
            } else {
                -1.0
            }
        };
        DMatrix::from_fn(1 << (n - 1), n, sign)
    }

    /// Hadamard's maximal determinants of +-1 matrices, n = 2..8: 2 4 16 48 160 576 4096 (sequence
    /// A003433 of the integer sequences, in print), and the L9 array: 9 x 27^4.
    #[test]
    fn the_largest_determinants_are_reached() {
        for (n, det) in [
            (2, 2),
            (3, 4),
            (4, 16),
            (5, 48),
            (6, 160),
            (7, 576),
            (8, 4096),
        ] {
            let found = exchange(&all_signs(n), n, &[], (0.0, 30, 1)).unwrap();
            let root = (0.5 * found.log_det).exp();
            assert!(
                (root - f64::from(det)).abs() < 1e-6 * f64::from(det),
                "{n}: {root}"
            );
        }
        let level = |n: &str| Factor {
            name: n.into(),
            levels: vec!["a".into(), "b".into(), "c".into()],
        };
        let factors = ["p", "q", "r", "s"].map(level);
        let all = columns(&factors, &candidates(&factors, &[]).unwrap());
        let found = exchange(&all, 9, &[], (0.0, 60, 1)).unwrap();
        assert!((found.log_det.exp() / 4_782_969.0 - 1.0).abs() < 1e-9);
    }

    /// The painting systems of the check table: 57 combinations, and designs at least as good.
    #[test]
    fn restricted_systems_reach_the_reference_designs() {
        let factors = crate::bench::choose::usual_factors();
        let rules = crate::bench::choose::usual_rules();
        let rows = candidates(&factors, &rules).unwrap();
        let coded = columns(&factors, &rows);
        assert_eq!((rows.len(), coded.ncols()), (57, 10));
        let table = include_str!("../../../tests/reference/bench/restricted_design.csv");
        for row in table.lines().filter(|l| !l.starts_with('#')).skip(3) {
            let field: Vec<&str> = row.split(',').collect();
            let (runs, d): (usize, f64) = (field[0].parse().unwrap(), field[1].parse().unwrap());
            let found = exchange(&coded, runs, &[], (0.0, 40, 1)).unwrap();
            assert!(
                found.efficiency > d - 1e-4,
                "{runs}: {} for {d}",
                found.efficiency
            );
        }
        let pinned = exchange(&coded, 12, &[0, 30], (0.0, 20, 1)).unwrap();
        assert_eq!(pinned.runs[..2], [0, 30]);
        let few = exchange(&coded, 7, &[], (1.0 / 0.49, 20, 1)).unwrap();
        assert!(few.log_det.is_finite() && few.runs.len() == 7);
        assert!(exchange(&coded, 7, &[], (0.0, 5, 1)).is_err());
    }

    #[test]
    fn a_contrast_the_design_lacks_is_said_to_be_lacking() {
        let factors = [Factor {
            name: "primer".into(),
            levels: vec!["none".into(), "brush".into(), "aerosol".into()],
        }];
        let both = columns(&factors, &[vec![0], vec![0], vec![1], vec![2], vec![2]]);
        let v = contrast_variance(&factors, &both, 0, (0, 2)).unwrap();
        assert!((v - 1.0).abs() < 1e-12, "1/2 + 1/2");
        let lacking = columns(&factors, &[vec![0], vec![0], vec![1], vec![1]]);
        assert_eq!(contrast_variance(&factors, &lacking, 0, (0, 2)), None);
        let rule = Rule {
            without: vec![("prime".into(), "none".into())],
        };
        let error = candidates(&factors, &[rule]).unwrap_err();
        assert!(error.hints()[0].contains("primer"));
    }

    /// Half fraction 2^(3-1) with C = AB: the interaction AB is the main effect C.
    #[test]
    fn the_half_fraction_mixes_what_it_is_known_to_mix() {
        let main = DMatrix::from_row_slice(
            4,
            4,
            &[
                1., -1., -1., 1., 1., 1., -1., -1., 1., -1., 1., -1., 1., 1., 1., 1.,
            ],
        );
        let product =
            |i: usize, j: usize| -> f64 { main[(i, [1, 1, 2][j])] * main[(i, [2, 3, 3][j])] };
        let omitted = DMatrix::from_fn(4, 3, product);
        let alias = alias_matrix(&main, &omitted).unwrap();
        for (row, column) in [(3, 0), (2, 1), (1, 2)] {
            assert!((alias[(row, column)] - 1.0).abs() < 1e-12);
        }
        assert!((alias.iter().map(|a| a.abs()).sum::<f64>() - 3.0).abs() < 1e-12);
    }
}
