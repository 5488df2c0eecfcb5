//! A declared comparison asked of the grades: which exact test, on what, and what was left out.

use super::of_system;
use super::reached::preparations;
use crate::bench::design::{Test, rising};
use crate::bench::exact::{self, Exact, Side};
use crate::bench::files::{Bench, Comparison, Grade};
use crate::bench::scores::Score;
use base::{Error, Result};

/// An exact test and what belongs beside its p.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Asked {
    /// Name of the test.
    pub test: &'static str,
    /// Its result.
    pub exact: Exact,
    /// The side that was declared.
    pub side: Side,
    /// What its effect is counted in.
    pub effect: Effect,
    /// What the reader must know before the p, or nothing.
    pub remark: String,
}

/// What the size of a difference is told in.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Effect {
    /// No single size.
    None,
    /// Scores of two systems, one per preparation.
    Scores([Vec<f64>; 2]),
    /// Differences of score, second less first system, one per block.
    Differences(Vec<f64>),
    /// Preparations that got there, and all that could be judged, by system; which grade by when.
    Shares(Vec<(usize, usize)>, u8, f64),
}

/// Runs a declared test.
///
/// # Errors
/// [`Comparison::check`]; an unknown system; as the test.
pub(super) fn ask(
    bench: &Bench,
    (grades, scores): (&[Grade], &[Score]),
    comparison: &Comparison,
) -> Result<Asked> {
    comparison.check(bench.file.inspections.len() - 1)?;
    let systems: Vec<usize> = comparison
        .systems
        .iter()
        .map(|id| number_of(bench, id))
        .collect::<Result<_>>()?;
    let groups: Vec<Vec<f64>> = systems.iter().map(|s| of_system(scores, *s)).collect();
    let side = rising(comparison.test, comparison.side == Side::Two);
    let mut asked = Asked {
        test: "",
        exact: Exact::single(0.0),
        side,
        effect: match groups.as_slice() {
            [a, b] => Effect::Scores([a.clone(), b.clone()]),
            _ => Effect::None,
        },
        remark: String::new(),
    };
    match comparison.test {
        Test::TwoGroups => {
            asked.test = "rank sum";
            asked.exact = exact::rank_sum(&groups[0], &groups[1])?;
        }
        Test::AnyDifference => {
            asked.test = "Kruskal-Wallis";
            asked.exact = exact::kruskal_wallis(&groups)?;
        }
        Test::DeclaredOrder => {
            asked.test = "Jonckheere";
            asked.exact = exact::jonckheere(&groups)?;
        }
        Test::TwoGroupsInBlocks => pairs(&blocks(scores, &systems), comparison, &mut asked)?,
        Test::AnyDifferenceInBlocks => match complete(&blocks(scores, &systems)) {
            Some(rows) => {
                asked.test = "Friedman";
                asked.exact = exact::friedman(&rows)?;
            }
            None => {
                asked.test = "Skillings-Mack";
                let rows: Vec<_> = blocks(scores, &systems).into_iter().map(|b| b.1).collect();
                asked.exact = exact::skillings_mack(&rows)?;
            }
        },
        Test::DeclaredOrderInBlocks => match complete(&blocks(scores, &systems)) {
            Some(rows) => {
                asked.test = "Page";
                asked.exact = exact::page(&rows)?;
            }
            None => {
                return Err(Error::input(format!(
                    "\"{}\" needs every system in every block",
                    comparison.name
                )));
            }
        },
        Test::WornThrough => through(bench, (grades, &systems), comparison, &mut asked)?,
    }
    Ok(asked)
}

/// Number of a system by its name.
pub(super) fn number_of(bench: &Bench, id: &str) -> Result<usize> {
    let at = bench.systems.iter().position(|s| s.system_id == id);
    at.ok_or_else(|| Error::input(format!("bench.toml compares the unknown system {id}")))
}

/// Number of a block, and the score of each system in it.
type Block = (u32, Vec<Option<f64>>);

fn blocks(scores: &[Score], systems: &[usize]) -> Vec<Block> {
    let mut numbers: Vec<u32> = scores.iter().map(|s| s.block).collect();
    numbers.sort_unstable();
    numbers.dedup();
    let cell = |b: u32, system: usize| {
        let mut here = scores.iter().filter(|s| s.block == b && s.system == system);
        here.next().map(|s| s.value)
    };
    let row = |b: u32| (b, systems.iter().map(|s| cell(b, *s)).collect());
    numbers.into_iter().map(row).collect()
}

fn complete(blocks: &[Block]) -> Option<Vec<Vec<f64>>> {
    let row = |(_, cells): &Block| cells.iter().copied().collect();
    blocks.iter().map(row).collect()
}

/// Signed rank over the blocks that hold both systems.
fn pairs(blocks: &[Block], comparison: &Comparison, asked: &mut Asked) -> Result<()> {
    let mut differences = Vec::new();
    let mut missing = Vec::new();
    for (number, cells) in blocks {
        match (cells[0], cells[1]) {
            // Means of thirds: differences that only rounding tells apart are one difference.
            (Some(a), Some(b)) => differences.push(((b - a) * 1e9).round() / 1e9),
            _ => missing.push(number.to_string()),
        }
    }
    asked.test = "signed rank of pairs in blocks";
    if !missing.is_empty() {
        asked.remark = format!(
            "Left out: block{} {}, without a figure of both.",
            if missing.len() == 1 { "" } else { "s" },
            missing.join(", ")
        );
    }
    if differences.is_empty() {
        asked.remark = format!(
            "No block holds a figure of both {} and {}: nothing can be told.",
            comparison.systems[0], comparison.systems[1]
        );
        return Ok(());
    }
    asked.exact = exact::paired(&vec![0.0; differences.len()], &differences)?;
    asked.effect = Effect::Differences(differences);
    Ok(())
}

/// Fisher over the preparations that can be judged at the declared look.
fn through(
    bench: &Bench,
    (grades, systems): (&[Grade], &[usize]),
    comparison: &Comparison,
    asked: &mut Asked,
) -> Result<()> {
    let looks = &bench.file.inspections;
    let (grade, look) = comparison.through(looks.len() - 1)?;
    let by = looks[look];
    let all = preparations(bench, grades, f64::from(grade));
    let mut counts = vec![(0, 0); systems.len()];
    let mut unknown = 0;
    for p in &all {
        let Some(group) = systems.iter().position(|s| *s == p.system) else {
            continue;
        };
        match p.life {
            Some(life) if life.up_to.is_some_and(|u| u <= by) => {
                counts[group].0 += 1;
                counts[group].1 += 1;
            }
            Some(life) if life.over >= by => counts[group].1 += 1,
            _ => unknown += 1,
        }
    }
    let (reached, of): (Vec<usize>, Vec<usize>) = counts.iter().copied().unzip();
    let unit = &bench.file.exposure_unit;
    asked.test = "Fisher's exact test of figures worn through";
    if unknown > 0 {
        asked.remark = format!(
            "Left out: {unknown} that cannot be judged at {by} {unit} (not graded in full then, or at that grade before the first move)."
        );
    }
    if let Some(empty) = of.iter().position(|n| *n == 0) {
        asked.remark = format!(
            "No figure of {} can be judged at {by} {unit} yet: nothing can be told.",
            comparison.systems[empty]
        );
    } else {
        asked.exact = exact::through(&reached, &of, comparison.side)?;
    }
    asked.effect = Effect::Shares(counts, grade, by);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn score(system: usize, block: u32, value: f64) -> Score {
        Score {
            system,
            block,
            batch: format!("S{system}-{block}"),
            value,
            codes: Vec::new(),
        }
    }

    fn comparison() -> Comparison {
        Comparison {
            name: "varnish helps".into(),
            test: Test::TwoGroupsInBlocks,
            systems: vec!["S1".into(), "S2".into()],
            side: Side::Higher,
            grade: None,
            by_look: None,
        }
    }

    fn asked(scores: &[Score]) -> Asked {
        let mut asked = Asked {
            test: "",
            exact: Exact::single(0.0),
            side: rising(Test::TwoGroupsInBlocks, false),
            effect: Effect::None,
            remark: String::new(),
        };
        pairs(&blocks(scores, &[0, 1]), &comparison(), &mut asked).unwrap();
        asked
    }

    /// Four blocks, the third without the second system: three pairs, p = 1/8.
    #[test]
    fn pairs_leave_incomplete_blocks_out_and_say_so() {
        let third = 1.0 / 3.0;
        let mut scores = vec![score(0, 3, 5.0)];
        for (block, a, b) in [(1, 2.0, 2.0 + third), (2, 1.0 + third, 5.0), (4, 3.0, 4.0)] {
            scores.extend([score(0, block, a), score(1, block, b)]);
        }
        let three = asked(&scores);
        assert_eq!(three.exact.p(three.side), 0.125);
        assert_eq!(three.exact.floor(three.side), 0.125);
        assert!(three.remark.contains("block 3,"), "{}", three.remark);
        let Effect::Differences(differences) = &three.effect else {
            panic!("pairs have differences");
        };
        assert_eq!(differences.len(), 3);
        let none = asked(&[score(0, 1, 2.0), score(1, 2, 3.0)]);
        assert_eq!(none.exact.p(none.side), 1.0);
        assert!(none.remark.contains("nothing can be told"));
    }

    /// A third added up in two orders is one difference: a tie, not a rank.
    #[test]
    fn rounding_makes_no_ranks() {
        let low = 0.1 + 0.2;
        let a = asked(&[
            score(0, 1, 0.0),
            score(1, 1, low),
            score(0, 2, 0.3),
            score(1, 2, 0.0),
        ]);
        assert_eq!(a.exact.statistic, 1.5, "both have rank 1.5");
    }
}
