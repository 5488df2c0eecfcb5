//! What a design could show: smallest p, power, and how many figures the correction asks for.

use super::chance::{ChanceSettings, chance};
use crate::bench::exact::{self, Exact, Side};
use base::{Error, Result};
use rand_distr::{Distribution, StandardNormal};

/// The test a bench declares.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Test {
    /// Two groups: rank sum.
    TwoGroups,
    /// Any difference: Kruskal-Wallis.
    AnyDifference,
    /// The declared order: Jonckheere-Terpstra.
    DeclaredOrder,
    /// Two groups within blocks: signed rank of the differences.
    TwoGroupsInBlocks,
    /// Any difference within blocks: Friedman.
    AnyDifferenceInBlocks,
    /// The declared order within blocks: Page.
    DeclaredOrderInBlocks,
    /// Figures that reached a declared grade by a declared inspection: Fisher.
    WornThrough,
}

impl Test {
    /// True for tests that compare inside blocks.
    #[must_use]
    pub fn in_blocks(self) -> bool {
        matches!(
            self,
            Test::TwoGroupsInBlocks | Test::AnyDifferenceInBlocks | Test::DeclaredOrderInBlocks
        )
    }

    /// True for tests of exactly two systems.
    #[must_use]
    pub fn of_two(self) -> bool {
        matches!(self, Test::TwoGroups | Test::TwoGroupsInBlocks)
    }

    /// True for tests of any difference, which know no direction.
    #[must_use]
    pub fn of_any(self) -> bool {
        matches!(self, Test::AnyDifference | Test::AnyDifferenceInBlocks)
    }
}

/// Runs the test on scores by group (blocks are the figures' numbers; for worn through a score is
/// 1 for a figure that got there, else 0).
pub(super) fn run(test: Test, two_sided: bool, groups: &[Vec<f64>]) -> Result<Exact> {
    let blocks = || -> Vec<Vec<f64>> {
        (0..groups[0].len())
            .map(|b| groups.iter().map(|g| g[b]).collect())
            .collect()
    };
    match test {
        Test::TwoGroups => exact::rank_sum(&groups[0], &groups[1]),
        Test::AnyDifference => exact::kruskal_wallis(groups),
        Test::DeclaredOrder => exact::jonckheere(groups),
        Test::TwoGroupsInBlocks => exact::paired(&groups[0], &groups[1]),
        Test::AnyDifferenceInBlocks => exact::friedman(&blocks()),
        Test::DeclaredOrderInBlocks => exact::page(&blocks()),
        Test::WornThrough => {
            let count = |g: &Vec<f64>| g.iter().filter(|v| **v > 0.5).count();
            let reached: Vec<usize> = groups.iter().map(count).collect();
            let of: Vec<usize> = groups.iter().map(Vec::len).collect();
            let side = if two_sided { Side::Two } else { Side::Higher };
            exact::through(&reached, &of, side)
        }
    }
}

/// The side of the statistic on which "wears more towards the last group" is extreme.
#[must_use]
pub fn rising(test: Test, two_sided: bool) -> Side {
    match test {
        _ if test.of_any() => Side::Higher,
        // Two-sided, its statistic is the probability of the table.
        Test::WornThrough => Side::Lower,
        _ if two_sided => Side::Two,
        Test::TwoGroups => Side::Lower,
        _ => Side::Higher,
    }
}

/// The smallest p a design can give, without ties; of worn through, with half of the groups there
/// to the last figure and the other half not at all.
///
/// # Errors
/// Fewer than two groups or no figure.
pub fn floor_of_design(test: Test, groups: usize, n: usize, two_sided: bool) -> Result<f64> {
    let apart = |g: usize| -> Vec<f64> {
        match test {
            Test::WornThrough => vec![f64::from(u8::from(2 * g >= groups)); n],
            _ => (0..n).map(|i| (g * n + i) as f64).collect(),
        }
    };
    let sorted: Vec<Vec<f64>> = (0..groups).map(apart).collect();
    Ok(run(test, two_sided, &sorted)?.floor(rising(test, two_sided)))
}

/// Smallest number of figures per group with which a pairwise rank sum can pass Holm's first step.
#[must_use]
pub fn smallest_n_for_holm(comparisons: usize, alpha: f64, two_sided: bool) -> usize {
    let sides = if two_sided { 2.0 } else { 1.0 };
    let mut ways = 1.0;
    (1..)
        .find(|&n| {
            ways *= (2 * n * (2 * n - 1)) as f64 / (n * n) as f64;
            sides / ways <= alpha / comparisons.max(1) as f64
        })
        .unwrap_or(1)
}

/// What is asked of a power simulation.
#[derive(Debug, Clone, PartialEq)]
pub struct PowerSettings {
    /// The declared test.
    pub test: Test,
    /// True mean score of each group, in standard deviations of one figure (or grades).
    pub means: Vec<f64>,
    /// Standard deviation of one figure in the same unit.
    pub sd: f64,
    /// Figures per group.
    pub n: usize,
    /// True for single grades 0 to 5 (rounded), false for an untied summed score.
    pub graded: bool,
    /// Level.
    pub alpha: f64,
    /// Two-sided.
    pub two_sided: bool,
    /// Simulated benches.
    pub runs: usize,
}

/// Share of simulated benches in which the test comes out at the declared level.
///
/// # Errors
/// As the test; worn through, which asks for grades at an inspection, not for a score.
pub fn power(settings: &PowerSettings, seed: u64) -> Result<f64> {
    if settings.test == Test::WornThrough {
        return Err(
            Error::refused("the chance of worn_through cannot be simulated from scores")
                .hint("bench plan simulates it from the model of grades"),
        );
    }
    let asked = ChanceSettings {
        test: settings.test,
        level: settings.alpha,
        two_sided: settings.two_sided,
        runs: settings.runs,
        seed,
    };
    chance(&asked, |random| {
        let mut figure = |mean: f64| {
            let z: f64 = StandardNormal.sample(random);
            let score = mean + settings.sd * z;
            if settings.graded {
                score.round_ties_even().clamp(0.0, 5.0)
            } else {
                score
            }
        };
        let mut group = |m: &f64| (0..settings.n).map(|_| figure(*m)).collect();
        settings.means.iter().map(&mut group).collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(table: &str) -> Vec<Vec<String>> {
        let lines = table.lines().filter(|l| !l.starts_with('#')).skip(1);
        lines
            .map(|l| l.split(',').map(str::to_owned).collect())
            .collect()
    }

    /// Independent simulations of the same test: within four standard errors of both.
    #[test]
    fn power_agrees_with_an_independent_simulation() {
        let table = include_str!("../../../tests/reference/bench/power_continuous_score.csv");
        for row in rows(table) {
            let value = |i: usize| -> f64 { row[i].parse().unwrap() };
            let n = value(1) as usize;
            if n > 6 {
                continue;
            }
            // The table's two-sided column counts rejections in the true direction only: without
            // a shift that is half of them.
            let both = if value(0) == 0.0 { 2.0 } else { 1.0 };
            for (two_sided, theirs) in [(false, value(2)), (true, both * value(3))] {
                let settings = PowerSettings {
                    test: Test::TwoGroups,
                    means: vec![0.0, value(0)],
                    sd: 1.0,
                    n,
                    graded: false,
                    alpha: 0.05,
                    two_sided,
                    runs: 400,
                };
                let mine = power(&settings, 7).unwrap();
                let error = (theirs * (1.0 - theirs) * (1.0 / 400.0 + 1.0 / 6000.0)).sqrt();
                assert!(
                    (mine - theirs).abs() < 4.0 * error + 0.004,
                    "{row:?} {two_sided}: {mine}"
                );
            }
        }
    }

    #[test]
    fn power_with_single_grades_agrees_too() {
        let table = include_str!("../../../tests/reference/bench/power_two_groups.csv");
        let chosen = rows(table)
            .into_iter()
            .filter(|r| r[4] == "4" || r[4] == "6");
        for row in chosen {
            let value = |i: usize| -> f64 { row[i].parse().unwrap() };
            let settings = PowerSettings {
                test: Test::TwoGroups,
                means: vec![1.7, 1.7 + value(2)],
                sd: value(1),
                n: value(4) as usize,
                graded: true,
                alpha: 0.05,
                two_sided: false,
                runs: 400,
            };
            let mine = power(&settings, 8).unwrap();
            let error = (value(5) * (1.0 - value(5)) * (1.0 / 400.0 + 1.0 / 1200.0)).sqrt();
            assert!(
                (mine - value(5)).abs() < 4.0 * error + 0.006,
                "{row:?}: {mine}"
            );
        }
    }

    /// Rows of the check table: smallest n for Holm's first step, from binomials.
    #[test]
    fn holm_asks_for_as_many_figures_as_the_table_says() {
        let table = include_str!("../../../tests/reference/bench/min_p.csv");
        let mut seen = 0;
        for line in table.lines().filter(|l| l.starts_with("smallest n")) {
            let field: Vec<&str> = line.split(',').collect();
            let m: usize = field[1].split(['=', ' ']).nth(1).unwrap().parse().unwrap();
            for (two_sided, cell) in [(false, field[2]), (true, field[3])] {
                let n = smallest_n_for_holm(m, 0.05, two_sided) as f64;
                assert_eq!(n, cell.parse::<f64>().unwrap(), "{line}");
            }
            seen += 1;
        }
        assert_eq!(seen, 10);
    }

    /// One declared trend over five systems is testable with one figure each; any difference is not.
    #[test]
    fn one_figure_each_can_only_show_a_declared_order() {
        let floor = |test| floor_of_design(test, 5, 1, false).unwrap();
        assert!((floor(Test::DeclaredOrder) - 1.0 / 120.0).abs() < 1e-15);
        assert_eq!(floor(Test::AnyDifference), 1.0);
    }

    /// Counts by hand: 2^-b for pairs in b blocks; 1 of C(2n, n) for all or nothing of two
    /// systems, twice that either way; 3 of C(6, 2) where one of three systems got there.
    #[test]
    fn floors_of_pairs_and_of_worn_through() {
        for (blocks, p) in [(1, 0.5_f64), (3, 0.125), (5, 0.03125)] {
            let floor = |two| floor_of_design(Test::TwoGroupsInBlocks, 2, blocks, two).unwrap();
            assert_eq!((floor(false), floor(true)), (p, (2.0 * p).min(1.0)));
        }
        let floor = |k, n, two| floor_of_design(Test::WornThrough, k, n, two).unwrap();
        assert_eq!((floor(2, 3, false), floor(2, 3, true)), (0.05, 0.1));
        assert_eq!(floor(2, 4, false), 1.0 / 70.0);
        assert_eq!(floor(3, 2, true), 0.2);
    }

    #[test]
    fn chance_of_pairs_grows_and_of_worn_through_is_refused() {
        let settings = |n, test| PowerSettings {
            test,
            means: vec![0.0, 1.5],
            sd: 1.0,
            n,
            graded: true,
            alpha: 0.05,
            two_sided: false,
            runs: 200,
        };
        let chance = |n| power(&settings(n, Test::TwoGroupsInBlocks), 3).unwrap();
        assert_eq!(chance(4), 0.0, "1/16 is the smallest p of four pairs");
        assert!(chance(6) > 0.3 && chance(12) > chance(6) + 0.2);
        assert!(power(&settings(4, Test::WornThrough), 3).is_err());
    }
}
