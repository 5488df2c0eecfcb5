//! The chance that a declared test comes out, from simulated benches.

use super::power::{Test, rising, run};
use crate::bench::exact::Side;
use base::Result;
use base::random::{Stream, stream};
use base::stats::midranks;
use rand::seq::SliceRandom;

/// Up to this many arrangements every p is counted; beyond, so many are drawn that a smallest p
/// of 1/1000 is as good as none.
const COUNTED: f64 = 20_000.0;
const DRAWN: usize = 999;

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChanceSettings {
    /// The declared test.
    pub test: Test,
    /// Level, after the correction for the family.
    pub level: f64,
    /// Two-sided.
    pub two_sided: bool,
    /// Simulated benches.
    pub runs: usize,
    /// Seed.
    pub seed: u64,
}

/// Share of simulated benches in which the test comes out at the level.
///
/// * `bench`: scores by group, from least to most wear declared; blocks are the figures' numbers;
///   for worn through 1 for a figure that got there, else 0
///
/// # Errors
/// As the test.
pub fn chance(
    settings: &ChanceSettings,
    mut bench: impl FnMut(&mut Stream) -> Vec<Vec<f64>>,
) -> Result<f64> {
    let mut random = stream(settings.seed, &["bench", "power"], 0);
    let side = rising(settings.test, settings.two_sided);
    let mut hits = 0;
    for _ in 0..settings.runs {
        let groups = bench(&mut random);
        let p = if arrangements(settings.test, &groups) <= COUNTED {
            run(settings.test, settings.two_sided, &groups)?.p(side)
        } else {
            drawn(settings.test, &groups, side, &mut random)
        };
        hits += usize::from(p <= settings.level + 1e-12);
    }
    Ok(hits as f64 / settings.runs as f64)
}

fn arrangements(test: Test, groups: &[Vec<f64>]) -> f64 {
    if test == Test::WornThrough {
        // Tables are counted by class, quickly at any size.
        return 0.0;
    }
    let factorial = |n: usize| (2..=n).map(|i| i as f64).product::<f64>();
    if test.in_blocks() {
        return factorial(groups.len()).powi(groups[0].len() as i32);
    }
    let all: usize = groups.iter().map(Vec::len).sum();
    let within: f64 = groups.iter().map(|g| factorial(g.len())).product();
    factorial(all) / within
}

/// p from random arrangements, (b + 1)/(m + 1).
fn drawn(test: Test, groups: &[Vec<f64>], side: Side, random: &mut Stream) -> f64 {
    let mut groups = ranked(test, groups);
    let observed = statistic(test, &groups);
    let (mut low, mut high) = (1, 1);
    for _ in 0..DRAWN {
        shuffle(test, &mut groups, random);
        let value = statistic(test, &groups);
        low += usize::from(value <= observed + 1e-9);
        high += usize::from(value >= observed - 1e-9);
    }
    let share = |n: usize| n as f64 / (DRAWN + 1) as f64;
    match side {
        Side::Lower => share(low),
        Side::Higher => share(high),
        Side::Two => (2.0 * share(low.min(high))).min(1.0),
    }
}

fn ranked(test: Test, groups: &[Vec<f64>]) -> Vec<Vec<f64>> {
    if test == Test::TwoGroupsInBlocks {
        return signed(&groups[0], &groups[1]);
    }
    if test.in_blocks() {
        let mut ranks = vec![Vec::new(); groups.len()];
        for b in 0..groups[0].len() {
            let block: Vec<f64> = groups.iter().map(|g| g[b]).collect();
            for (list, rank) in ranks.iter_mut().zip(midranks(&block)) {
                list.push(rank);
            }
        }
        return ranks;
    }
    let all: Vec<f64> = groups.iter().flatten().copied().collect();
    let mut ranks = midranks(&all).into_iter();
    groups
        .iter()
        .map(|g| ranks.by_ref().take(g.len()).collect())
        .collect()
}

/// The rank of each pair's difference, on the side that wears more.
fn signed(x: &[f64], y: &[f64]) -> Vec<Vec<f64>> {
    let differences: Vec<f64> = x.iter().zip(y).map(|(a, b)| b - a).collect();
    let kept: Vec<f64> = differences.iter().copied().filter(|d| *d != 0.0).collect();
    let sizes: Vec<f64> = kept.iter().map(|d| d.abs()).collect();
    let ranks = midranks(&sizes);
    let side = |sign: f64| {
        let pairs = kept.iter().zip(&ranks);
        pairs
            .map(|(d, r)| if d * sign > 0.0 { *r } else { 0.0 })
            .collect()
    };
    vec![side(-1.0), side(1.0)]
}

fn shuffle(test: Test, groups: &mut [Vec<f64>], random: &mut Stream) {
    if test.in_blocks() {
        for b in 0..groups[0].len() {
            let mut block: Vec<f64> = groups.iter().map(|g| g[b]).collect();
            block.shuffle(random);
            for (group, value) in groups.iter_mut().zip(block) {
                group[b] = value;
            }
        }
        return;
    }
    let mut all: Vec<f64> = groups.iter().flatten().copied().collect();
    all.shuffle(random);
    let mut all = all.into_iter();
    for group in groups {
        group.iter_mut().zip(&mut all).for_each(|(g, v)| *g = v);
    }
}

/// Anything that grows with the test's own statistic.
fn statistic(test: Test, ranks: &[Vec<f64>]) -> f64 {
    let sum = |g: &Vec<f64>| base::sum::sum(g.iter().copied());
    match test {
        Test::TwoGroups | Test::WornThrough => sum(&ranks[0]),
        Test::TwoGroupsInBlocks => sum(&ranks[1]),
        Test::AnyDifference | Test::AnyDifferenceInBlocks => {
            base::sum::sum(ranks.iter().map(|g| sum(g).powi(2) / g.len() as f64))
        }
        Test::DeclaredOrderInBlocks => {
            base::sum::sum(ranks.iter().enumerate().map(|(j, g)| j as f64 * sum(g)))
        }
        Test::DeclaredOrder => {
            let mut twice = 0_i64;
            for (j, later) in ranks.iter().enumerate() {
                for earlier in &ranks[..j] {
                    for a in earlier {
                        for b in later {
                            twice += i64::from(b > a) + i64::from(b >= a);
                        }
                    }
                }
            }
            twice as f64
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_distr::{Distribution, StandardNormal};

    /// Drawn and counted p agree, ties and all, for every test.
    #[test]
    fn drawing_is_the_same_test() {
        let mut random = stream(4, &["test"], 0);
        let grade = |random: &mut Stream| -> f64 {
            let z: f64 = StandardNormal.sample(random);
            (2.0 + 1.3 * z).round().clamp(0.0, 5.0)
        };
        for test in [
            Test::TwoGroups,
            Test::AnyDifference,
            Test::DeclaredOrder,
            Test::TwoGroupsInBlocks,
            Test::AnyDifferenceInBlocks,
            Test::DeclaredOrderInBlocks,
        ] {
            let k = if test.of_two() { 2 } else { 4 };
            for two_sided in [false, true] {
                let side = rising(test, two_sided);
                let groups: Vec<Vec<f64>> = (0..k)
                    .map(|_| (0..4).map(|_| grade(&mut random)).collect())
                    .collect();
                let exact = run(test, two_sided, &groups).unwrap().p(side);
                let by_draw = drawn(test, &groups, side, &mut random);
                // Either way is twice the smaller tail, and so is its error.
                let times = if side == Side::Two { 2.0 } else { 1.0 };
                let tail = exact / times;
                let error = times * (tail * (1.0 - tail) / DRAWN as f64).sqrt();
                assert!(
                    (exact - by_draw).abs() < 8.0 * error + 0.003,
                    "{test:?} {side:?}: {exact} {by_draw}"
                );
            }
        }
    }

    /// `power_k_groups.csv`: an independent simulation of graded benches, 250 runs of 400
    /// permutations each. Its rows of three groups are left out: they share one small set of
    /// permutations per row, so that a p near 0.05 falls on one side for the whole row (0.008 there
    /// against 0.13 by counting all arrangements).
    #[test]
    fn power_of_several_groups_agrees_with_an_independent_simulation() {
        let table = include_str!("../../../tests/reference/bench/power_k_groups.csv");
        let mut checked = 0;
        for line in table.lines().filter(|l| !l.starts_with('#')).skip(1) {
            let field: Vec<&str> = line.split(',').collect();
            let value = |i: usize| field[i].parse::<f64>().ok();
            let (Some(sd), Some(k), Some(n)) = (value(1), value(3), value(4)) else {
                continue;
            };
            if field[2] != "trend_0.5_step" || n > 3.0 || k != 5.0 {
                continue;
            }
            for (test, theirs) in [
                (Test::AnyDifference, value(5)),
                (Test::DeclaredOrder, value(6)),
            ] {
                let Some(theirs) = theirs else { continue };
                let settings = ChanceSettings {
                    test,
                    level: 0.05,
                    two_sided: false,
                    runs: 250,
                    seed: 3,
                };
                let mine = chance(&settings, |random| {
                    let mut figure = |g: usize| {
                        let z: f64 = StandardNormal.sample(random);
                        let middle = 1.0 + 0.5 * g as f64;
                        (middle + sd * z).round_ties_even().clamp(0.0, 5.0)
                    };
                    (0..k as usize)
                        .map(|g| (0..n as usize).map(|_| figure(g)).collect())
                        .collect()
                })
                .unwrap();
                let error = (theirs * (1.0 - theirs) * 2.0 / 250.0).sqrt();
                assert!(
                    (mine - theirs).abs() < 4.0 * error + 0.03,
                    "{line} {test:?}: {mine}"
                );
                checked += 1;
            }
        }
        assert!(checked >= 10, "{checked}");
    }
}
