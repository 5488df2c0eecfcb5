//! What a design could show: smallest p, power, and how many figures the correction asks for.

use super::chance::{ChanceSettings, chance};
use crate::base::Result;
use crate::bench::exact::{self, Exact, Side};
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
    /// Any difference within blocks: Friedman.
    AnyDifferenceInBlocks,
    /// The declared order within blocks: Page.
    DeclaredOrderInBlocks,
    /// Two systems side by side in every block: signed rank.
    TwoGroupsInBlocks,
    /// Worn to a declared grade by a declared look or not: Fisher's exact test.
    WornThrough,
}

impl Test {
    /// True for tests that compare inside blocks.
    #[must_use]
    pub fn in_blocks(self) -> bool {
        matches!(
            self,
            Test::AnyDifferenceInBlocks | Test::DeclaredOrderInBlocks | Test::TwoGroupsInBlocks
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

/// Runs the test on scores by group (blocks are the figures' numbers).
pub(super) fn run(test: Test, groups: &[Vec<f64>]) -> Result<Exact> {
    let blocks = || -> Vec<Vec<f64>> {
        (0..groups[0].len())
            .map(|b| groups.iter().map(|g| g[b]).collect())
            .collect()
    };
    match test {
        Test::TwoGroups => exact::rank_sum(&groups[0], &groups[1]),
        Test::AnyDifference => exact::kruskal_wallis(groups),
        Test::DeclaredOrder => exact::jonckheere(groups),
        Test::AnyDifferenceInBlocks => exact::friedman(&blocks()),
        Test::DeclaredOrderInBlocks => exact::page(&blocks()),
        Test::TwoGroupsInBlocks => {
            let pairs = groups[1].iter().zip(&groups[0]);
            exact::signed_rank(&pairs.map(|(more, less)| more - less).collect::<Vec<_>>())
        }
        Test::WornThrough => {
            let count = |g: &Vec<f64>| {
                let worn = g.iter().filter(|v| **v > 0.5).count();
                [worn, g.len() - worn]
            };
            worn_through(&groups.iter().map(count).collect::<Vec<_>>())
        }
    }
}

/// Fisher's exact test of worn and unworn figures by system, from least to most wear declared.
/// `p_high` is for "more of them worn towards the last" with two systems, for any difference with
/// more; where all or none are worn every p is 1.
///
/// # Errors
/// As the exact test.
pub(crate) fn worn_through(table: &[[usize; 2]]) -> Result<Exact> {
    let worn: usize = table.iter().map(|row| row[0]).sum();
    let all: usize = table.iter().flatten().sum();
    let mut exact = Exact {
        statistic: worn as f64,
        p_low: 1.0,
        p_high: 1.0,
        floor_low: 1.0,
        floor_high: 1.0,
        arrangements: 1.0,
        how: exact::How::Counted,
    };
    if worn == 0 || worn == all {
        return Ok(exact);
    }
    if let [first, last] = table {
        return Ok(exact::fisher_2x2([*last, *first])?.exact);
    }
    let rows = |table: &[[usize; 2]]| table.iter().map(|r| r.to_vec()).collect::<Vec<_>>();
    exact.p_high = exact::fisher_table(&rows(table))?;
    // The least likely tables fill one system after the other.
    let mut left = worn;
    let filled: Vec<[usize; 2]> = table
        .iter()
        .map(|row| {
            let size = row[0] + row[1];
            let here = size.min(left);
            left -= here;
            [here, size - here]
        })
        .collect();
    exact.floor_high = exact::fisher_table(&rows(&filled))?.min(exact.p_high);
    Ok(exact)
}

/// The side on which "wears more towards the last group" is extreme.
pub(super) fn rising(test: Test, two_sided: bool) -> Side {
    match test {
        _ if two_sided && !test.of_any() => Side::Two,
        Test::TwoGroups => Side::Lower,
        _ => Side::Higher,
    }
}

/// The smallest p a design can give, without ties.
///
/// # Errors
/// Fewer than two groups or no figure.
pub fn floor_of_design(test: Test, groups: usize, n: usize, two_sided: bool) -> Result<f64> {
    if test == Test::WornThrough {
        // All worn in the later half of the systems, none in the earlier.
        let row = |g: usize| if 2 * g >= groups { [n, 0] } else { [0, n] };
        let table: Vec<[usize; 2]> = (0..groups).map(row).collect();
        let exact = worn_through(&table)?;
        return Ok(exact.floor(if two_sided && groups == 2 {
            Side::Two
        } else {
            Side::Higher
        }));
    }
    let rank = |g: usize| (0..n).map(|i| (g * n + i) as f64).collect();
    let sorted: Vec<Vec<f64>> = (0..groups).map(rank).collect();
    Ok(run(test, &sorted)?.floor(rising(test, two_sided)))
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
/// As the test.
pub fn power(settings: &PowerSettings, seed: u64) -> Result<f64> {
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
}
