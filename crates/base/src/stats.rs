//! Means with intervals, ranks, quantiles.

use super::sum::sum;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Mean and half-width of its 95 % confidence interval (Student's t).
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Estimate {
    /// Arithmetic mean.
    pub mean: f64,
    /// Half-width of the two-sided 95 % interval; infinite for fewer than two values.
    pub half_width: f64,
}

/// Two-sided 95 % quantile of Student's t with `degrees` degrees of freedom.
#[must_use]
pub fn student95(degrees: usize) -> f64 {
    StudentsT::new(0.0, 1.0, degrees as f64).map_or(f64::INFINITY, |t| t.inverse_cdf(0.975))
}

/// Mean of independent replicates with its 95 % interval.
#[must_use]
pub fn estimate(values: &[f64]) -> Estimate {
    let n = values.len();
    if n == 0 {
        return Estimate {
            mean: 0.0,
            half_width: f64::INFINITY,
        };
    }
    let mean = sum(values.iter().copied()) / n as f64;
    if n < 2 {
        return Estimate {
            mean,
            half_width: f64::INFINITY,
        };
    }
    let variance = sum(values.iter().map(|v| (v - mean).powi(2))) / (n - 1) as f64;
    Estimate {
        mean,
        half_width: student95(n - 1) * (variance / n as f64).sqrt(),
    }
}

/// Ranks from 1, ties get their mean rank.
#[must_use]
pub fn midranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|&a, &b| values[a].total_cmp(&values[b]));
    let mut ranks = vec![0.0; values.len()];
    let mut start = 0;
    while start < order.len() {
        let mut end = start;
        while end + 1 < order.len() && values[order[end + 1]] == values[order[start]] {
            end += 1;
        }
        for &i in &order[start..=end] {
            ranks[i] = (start + end) as f64 / 2.0 + 1.0;
        }
        start = end + 1;
    }
    ranks
}

/// Pearson correlation; NaN when either side is constant.
#[must_use]
pub fn pearson(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len() as f64;
    let (ma, mb) = (sum(a.iter().copied()) / n, sum(b.iter().copied()) / n);
    let ab = sum(a.iter().zip(b).map(|(x, y)| (x - ma) * (y - mb)));
    let aa = sum(a.iter().map(|x| (x - ma).powi(2)));
    let bb = sum(b.iter().map(|y| (y - mb).powi(2)));
    ab / (aa * bb).sqrt()
}

/// Spearman rank correlation with ties; NaN when either side is constant.
#[must_use]
pub fn spearman(a: &[f64], b: &[f64]) -> f64 {
    pearson(&midranks(a), &midranks(b))
}

/// Quantile by linear interpolation between order statistics (Hyndman & Fan 1996, type 7).
///
/// * `sorted`: ascending, not empty
/// * `p`: 0 to 1
#[must_use]
pub fn quantile(sorted: &[f64], p: f64) -> f64 {
    let position = p.clamp(0.0, 1.0) * (sorted.len() - 1) as f64;
    let low = position.floor() as usize;
    let high = position.ceil() as usize;
    if low == high {
        return sorted[low];
    }
    sorted[low] + (sorted[high] - sorted[low]) * (position - low as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hollander & Wolfe 1973, p. 185 f., tuna lightness against panel score: rho = 0.6.
    #[test]
    fn spearman_of_the_tuna_data() {
        let lightness = [44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1];
        let panel = [2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8];
        assert!((spearman(&lightness, &panel) - 0.6).abs() < 1e-12);
    }

    /// t tables: 12.706 (1), 2.262 (9), 1.984 (100).
    #[test]
    fn student_quantiles_match_the_tables() {
        for (degrees, t) in [(1, 12.706), (9, 2.262), (100, 1.984)] {
            assert!((student95(degrees) - t).abs() < 5e-4);
        }
    }

    #[test]
    fn quantiles_interpolate() {
        assert_eq!(quantile(&[1.0, 2.0, 4.0], 0.5), 2.0);
        assert_eq!(quantile(&[1.0, 2.0, 4.0], 0.75), 3.0);
    }
}
