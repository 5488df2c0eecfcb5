//! How large a difference is, with its interval: p comes second.

use base::{Error, Result};

/// Shift between two groups, in the unit of the score.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// Median of all differences x - y (Hodges-Lehmann).
    pub median: f64,
    /// Lower end; minus infinity where so few figures cannot bound it.
    pub low: f64,
    /// Upper end; infinity where so few figures cannot bound it.
    pub high: f64,
    /// Level reached: at least the one asked for, or 1 when unbounded.
    pub level: f64,
}

/// Hodges-Lehmann shift of `x` over `y` with the interval that inverts the exact rank-sum test.
///
/// With ties the interval holds its level at least. 2 against 2 cannot bound anything at 90 %.
///
/// * `level`: such as 0.90
///
/// # Errors
/// An empty group, a value that is no number.
///
/// Source: Hollander & Wolfe 1999, sec. 4.3 (Moses).
pub fn shift(x: &[f64], y: &[f64], level: f64) -> Result<Shift> {
    let mut differences: Vec<f64> = x
        .iter()
        .flat_map(|a| y.iter().map(move |b| a - b))
        .collect();
    if differences.is_empty() || !differences.iter().all(|d| d.is_finite()) {
        return Err(Error::input("shift: both groups need finite values"));
    }
    differences.sort_by(f64::total_cmp);
    let tail = (1.0 - level) / 2.0;
    let null = crate::bench::exact::rank_sum_shares(x.len(), y.len())?;
    Ok(bounded(&differences, &null, tail))
}

/// Median shift of the pairs `y - x` with the interval that inverts the exact signed-rank test.
///
/// With ties the interval holds its level at least. Four pairs cannot bound anything at 90 %.
///
/// * `differences`: one per block; `level`: such as 0.90
///
/// # Errors
/// No difference, a value that is no number.
///
/// Source: Hollander & Wolfe 1999, sec. 3.2 and 3.3 (Walsh averages, Tukey).
pub fn paired_shift(differences: &[f64], level: f64) -> Result<Shift> {
    if differences.is_empty() || !differences.iter().all(|d| d.is_finite()) {
        return Err(Error::input("paired shift: needs finite differences"));
    }
    let n = differences.len();
    let mean = |i: usize, j: usize| 0.5 * (differences[i] + differences[j]);
    let mut walsh: Vec<f64> = (0..n)
        .flat_map(|i| (i..n).map(move |j| mean(i, j)))
        .collect();
    walsh.sort_by(f64::total_cmp);
    let null = crate::bench::exact::signed_rank_shares(n)?;
    Ok(bounded(&walsh, &null, (1.0 - level) / 2.0))
}

/// Median of the ordered differences, and those that the null distribution's tail leaves inside.
fn bounded(differences: &[f64], null: &[f64], tail: f64) -> Shift {
    // The largest count c with P(statistic <= c - 1) at most the tail: the c-th difference bounds.
    let mut below = 0.0;
    let mut c = 0;
    while c < null.len() && below + null[c] <= tail * (1.0 + 1e-12) {
        below += null[c];
        c += 1;
    }
    let n = differences.len();
    let (low, high) = match c {
        0 => (f64::NEG_INFINITY, f64::INFINITY),
        c => (differences[c - 1], differences[n - c]),
    };
    Shift {
        median: base::stats::quantile(differences, 0.5),
        low,
        high,
        level: 1.0 - 2.0 * below,
    }
}

/// Chance that a figure of one group wears more than one of the other, ties half.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Superiority {
    /// Estimate.
    pub share: f64,
    /// 5 % end of a 90 % interval.
    pub low90: f64,
    /// 95 % end of a 90 % interval.
    pub high90: f64,
}

/// P(X > Y) + P(X = Y)/2 with a score interval that behaves at small n.
///
/// Solves (estimate - t)^2 = z^2 t(1-t)/(nm) \[1 + N ((1-t)/(2-t) + t/(1+t))\], N = (n+m)/2 - 1.
///
/// # Errors
/// An empty group.
///
/// Source: Newcombe 2006, Stat. Med. 25:559, method 5 (from memory).
pub fn superiority(x: &[f64], y: &[f64]) -> Result<Superiority> {
    if x.is_empty() || y.is_empty() {
        return Err(Error::input("superiority: both groups need values"));
    }
    let wins: f64 = x
        .iter()
        .flat_map(|a| {
            y.iter()
                .map(move |b| f64::from(u8::from(a > b)) + 0.5 * f64::from(u8::from(a == b)))
        })
        .sum();
    let (n, m) = (x.len() as f64, y.len() as f64);
    let share = wins / (n * m);
    let spare = (n + m) / 2.0 - 1.0;
    let excess = |t: f64| {
        let variance =
            t * (1.0 - t) / (n * m) * (1.0 + spare * ((1.0 - t) / (2.0 - t) + t / (1.0 + t)));
        (share - t).powi(2) - base::known::Z95.powi(2) * variance
    };
    Ok(Superiority {
        share,
        low90: root(0.0, share, &excess),
        high90: root(1.0, share, &excess),
    })
}

/// Where `excess` changes sign between an outer point and the estimate.
fn root(outer: f64, estimate: f64, excess: &impl Fn(f64) -> f64) -> f64 {
    let (mut out, mut inside) = (outer, estimate);
    if excess(out) <= 0.0 {
        return out;
    }
    for _ in 0..80 {
        let middle = 0.5 * (out + inside);
        match excess(middle) > 0.0 {
            true => out = middle,
            false => inside = middle,
        }
    }
    inside
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hollander & Wolfe 1973, p. 69 data: shift 0.305, exact 95 % interval -0.15 to 0.76 (the
    /// common statistics package's example, from memory).
    #[test]
    fn shift_of_the_permeability_data() {
        let x = [0.8, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46];
        let y = [1.15, 0.88, 0.9, 0.74, 1.21];
        let s = shift(&x, &y, 0.95).unwrap();
        assert!((s.median - 0.305).abs() < 1e-9, "{s:?}");
        assert!(
            (s.low + 0.15).abs() < 1e-9 && (s.high - 0.76).abs() < 1e-9,
            "{s:?}"
        );
        assert!(s.level >= 0.95);
    }

    /// Hollander & Wolfe 1973, p. 29 data (Example 3.3 there: median -0.46, 96.1 % interval -0.786
    /// to -0.010, from memory, for the second less the first).
    #[test]
    #[allow(clippy::approx_constant, reason = "3.14 is a measured value")]
    fn paired_shift_of_the_depression_data() {
        let before = [1.83, 0.5, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.3];
        let after = [0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29];
        let differences: Vec<f64> = before.iter().zip(after).map(|(b, a)| a - b).collect();
        let s = paired_shift(&differences, 0.95).unwrap();
        assert!((s.median + 0.46).abs() < 0.005, "{s:?}");
        assert!(
            (s.low + 0.786).abs() < 5e-4 && (s.high + 0.010).abs() < 5e-4,
            "{s:?}"
        );
        assert!((s.level - 0.961).abs() < 5e-4, "{s:?}");
    }

    /// 2^-4 is above 5 %, 2^-5 is not.
    #[test]
    fn five_pairs_bound_at_90_percent_and_four_do_not() {
        assert!(
            paired_shift(&[1.0, 2.0, 3.0, 4.0], 0.90)
                .unwrap()
                .low
                .is_infinite()
        );
        let s = paired_shift(&[1.0, 2.0, 3.0, 4.0, 9.0], 0.90).unwrap();
        assert_eq!((s.low, s.high), (1.0, 9.0));
    }

    #[test]
    fn two_against_two_bounds_nothing_at_90_percent() {
        let s = shift(&[0.0, 1.0], &[3.0, 4.0], 0.90).unwrap();
        assert!(s.low.is_infinite() && s.high.is_infinite() && s.median == -3.0);
        let s = shift(&[0.0, 1.0, 1.5], &[3.0, 4.0, 5.0], 0.90).unwrap();
        assert_eq!((s.low, s.high), (-5.0, -1.5), "3 v 3 reaches exactly 90 %");
    }

    #[test]
    fn superiority_of_separated_groups_still_has_an_interval() {
        let s = superiority(&[4.0, 5.0, 5.0], &[0.0, 1.0, 1.0]).unwrap();
        assert_eq!(s.share, 1.0);
        assert!(s.high90 == 1.0 && s.low90 > 0.5 && s.low90 < 0.9, "{s:?}");
    }
}
