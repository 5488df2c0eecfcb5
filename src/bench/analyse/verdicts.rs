//! Exact tests: the declared family, and the pairs nobody declared.

use super::of_system;
use crate::base::{Error, Result};
use crate::bench::design::{Test, worn_through};
use crate::bench::exact::{self, Exact, Side};
use crate::bench::files::{Bench, Comparison};
use crate::bench::judge;
use crate::bench::scores::{Means, Score};
use serde::Serialize;
use std::fmt::Write;

/// One line of `tests.csv`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TestRow {
    /// `declared` or `looked at afterwards`.
    pub family: String,
    /// Comparison and test.
    pub test: String,
    /// Declared direction.
    pub direction: String,
    /// Statistic.
    pub statistic: f64,
    /// p on that side.
    pub p_exact: f64,
    /// The smallest p these grades could have given.
    pub p_floor: f64,
    /// After Holm over its family.
    pub p_holm: f64,
    /// Arrangements counted, or drawn.
    pub n_arrangements: f64,
    /// `counted` or `drawn`.
    pub how: String,
}

fn number_of(bench: &Bench, id: &str) -> Result<usize> {
    let at = bench.systems.iter().position(|s| s.system_id == id);
    at.ok_or_else(|| Error::input(format!("bench.toml compares the unknown system {id}")))
}

/// Runs a declared test.
fn run(
    bench: &Bench,
    (scores, means): (&[Score], &Means),
    comparison: &Comparison,
) -> Result<(Exact, &'static str)> {
    let systems: Vec<usize> = comparison
        .systems
        .iter()
        .map(|id| number_of(bench, id))
        .collect::<Result<_>>()?;
    let groups: Vec<Vec<f64>> = systems.iter().map(|s| of_system(scores, *s)).collect();
    let blocks = || -> Vec<Vec<Option<f64>>> {
        let mut numbers: Vec<u32> = scores.iter().map(|s| s.block).collect();
        numbers.sort_unstable();
        numbers.dedup();
        let cell = |b: u32, system: usize| {
            scores
                .iter()
                .find(|s| s.block == b && s.system == system)
                .map(|s| s.value)
        };
        numbers
            .iter()
            .map(|b| systems.iter().map(|s| cell(*b, *s)).collect())
            .collect()
    };
    let complete = |blocks: &[Vec<Option<f64>>]| -> Option<Vec<Vec<f64>>> {
        blocks
            .iter()
            .map(|row| row.iter().copied().collect())
            .collect()
    };
    Ok(match comparison.test {
        Test::TwoGroups => (exact::rank_sum(&groups[0], &groups[1])?, "rank sum"),
        Test::AnyDifference => (exact::kruskal_wallis(&groups)?, "Kruskal-Wallis"),
        Test::DeclaredOrder => (exact::jonckheere(&groups)?, "Jonckheere"),
        Test::AnyDifferenceInBlocks => match complete(&blocks()) {
            Some(rows) => (exact::friedman(&rows)?, "Friedman"),
            None => (exact::skillings_mack(&blocks())?, "Skillings-Mack"),
        },
        Test::DeclaredOrderInBlocks => match complete(&blocks()) {
            Some(rows) => (exact::page(&rows)?, "Page"),
            None => {
                return Err(Error::input(format!(
                    "\"{}\" needs every system in every block",
                    comparison.name
                )));
            }
        },
        Test::TwoGroupsInBlocks => {
            let pairs = blocks();
            let pairs = pairs.iter().filter_map(|row| Some(row[1]? - row[0]?));
            (
                exact::signed_rank(&pairs.collect::<Vec<_>>())?,
                "signed rank of pairs in blocks",
            )
        }
        Test::WornThrough => {
            let table = worn_table(bench, means, comparison)?;
            (
                worn_through(&table)?,
                "Fisher's exact test of figures worn through",
            )
        }
    })
}

/// Preparations of each compared system that were worn to the declared grade by the declared look,
/// and that were not.
fn worn_table(bench: &Bench, means: &Means, comparison: &Comparison) -> Result<Vec<[usize; 2]>> {
    let broken = || {
        Error::input(format!(
            "\"{}\" in bench.toml has no grade or no look to count by",
            comparison.name
        ))
    };
    let grade = comparison.grade.ok_or_else(broken)?;
    let looks = &bench.file.inspections;
    let by = *comparison
        .by_look
        .and_then(|l| looks.get(l))
        .ok_or_else(broken)?;
    let lives = super::lives::rows(bench, means, f64::from(grade));
    let mut table = Vec::new();
    for id in &comparison.systems {
        let mut row = [0, 0];
        for life in lives.iter().filter(|l| l.system_id == *id) {
            if life.up_to_units.is_some_and(|u| u <= by) {
                row[0] += 1;
            } else if life.over_units >= by {
                row[1] += 1;
            } else {
                return Err(Error::input(format!(
                    "\"{}\" cannot be counted: grades of {} ({}) up to {by} {} are missing",
                    comparison.name, life.system_id, life.batch, bench.file.exposure_unit
                )));
            }
        }
        table.push(row);
    }
    Ok(table)
}

/// The side on which "wears more towards the last" is extreme.
fn side(comparison: &Comparison) -> Side {
    match (comparison.test, comparison.side) {
        (test, _) if test.of_any() => Side::Higher,
        (Test::WornThrough, _) if comparison.systems.len() > 2 => Side::Higher,
        (_, Side::Two) => Side::Two,
        (Test::TwoGroups, _) => Side::Lower,
        _ => Side::Higher,
    }
}

fn row(family: &str, name: &str, direction: String, (exact, side): (&Exact, Side)) -> TestRow {
    TestRow {
        family: family.into(),
        test: name.into(),
        direction,
        statistic: exact.statistic,
        p_exact: exact.p(side),
        p_floor: exact.floor(side),
        p_holm: 1.0,
        n_arrangements: exact.arrangements,
        how: match exact.how {
            exact::How::Counted => "counted".into(),
            exact::How::Drawn(_) => "drawn".into(),
        },
    }
}

pub(super) fn declared(
    bench: &Bench,
    (scores, means): (&[Score], &Means),
    text: &mut String,
) -> Result<Vec<TestRow>> {
    let mut rows = Vec::new();
    for comparison in &bench.file.family {
        let (exact, name) = run(bench, (scores, means), comparison)?;
        let way = if comparison.side == Side::Two {
            " (either way)"
        } else {
            ""
        };
        let direction = format!("{}{way}", comparison.systems.join(" < "));
        rows.push(row(
            "declared",
            &format!("{}: {name}", comparison.name),
            direction,
            (&exact, side(comparison)),
        ));
    }
    correct(&mut rows);
    let _ = writeln!(text, "DECLARED BEFORE THE FIRST MOVE");
    if rows.is_empty() {
        let _ = writeln!(text, "Nothing was declared.");
    }
    for (row, comparison) in rows.iter().zip(&bench.file.family) {
        let _ = writeln!(text, "{}", verdict(bench, scores, row, comparison)?);
    }
    text.push('\n');
    Ok(rows)
}

fn correct(rows: &mut [TestRow]) {
    let p: Vec<f64> = rows.iter().map(|r| r.p_exact).collect();
    for (row, adjusted) in rows.iter_mut().zip(judge::holm(&p)) {
        row.p_holm = adjusted;
    }
}

/// What may be said about one declared comparison.
fn verdict(
    bench: &Bench,
    scores: &[Score],
    row: &TestRow,
    comparison: &Comparison,
) -> Result<String> {
    let alpha = bench.file.alpha;
    let m = bench.file.family.len();
    let mut text = format!(
        "{}, {}: statistic {:.4}, exact p = {} (the smallest possible with these grades is {}).",
        row.test,
        row.direction,
        row.statistic,
        p_words(row.p_exact),
        p_words(row.p_floor)
    );
    if m > 1 {
        let _ = write!(
            text,
            " One of {m} declared comparisons; after Holm p = {}.",
            p_words(row.p_holm)
        );
    }
    if row.how == "drawn" {
        let _ = write!(
            text,
            " The p comes from {} arrangements drawn at random.",
            exact::DRAWN
        );
    }
    if row.p_floor > alpha {
        let _ = write!(
            text,
            " No outcome of these grades could have gone below {alpha}: this design cannot decide it either way."
        );
    } else if row.p_holm > alpha {
        let _ = write!(text, " Not shown to differ.");
    } else if comparison.test == Test::DeclaredOrder
        || comparison.test == Test::DeclaredOrderInBlocks
    {
        let _ = write!(
            text,
            " {}",
            order_words(in_order(bench, scores, comparison)?)
        );
    } else {
        let _ = write!(
            text,
            " The difference was shown at the declared level {alpha}."
        );
    }
    if comparison.systems.len() == 2 {
        let groups: Vec<Vec<f64>> = comparison
            .systems
            .iter()
            .map(|id| Ok(of_system(scores, number_of(bench, id)?)))
            .collect::<Result<_>>()?;
        let _ = write!(
            text,
            " {}",
            size(&groups[1], &groups[0], row.p_holm > alpha)?
        );
        let _ = write!(text, "{}", plain_count(&comparison.systems, &groups));
    }
    Ok(text)
}

/// Does every figure of each system score below every figure of the next?
fn in_order(bench: &Bench, scores: &[Score], comparison: &Comparison) -> Result<bool> {
    let mut most = f64::NEG_INFINITY;
    for id in &comparison.systems {
        let own = of_system(scores, number_of(bench, id)?);
        if own.iter().any(|v| *v <= most) {
            return Ok(false);
        }
        most = own.iter().copied().fold(most, f64::max);
    }
    Ok(true)
}

/// The order as a whole may be claimed; single steps only if every figure stands in order.
fn order_words(perfect: bool) -> &'static str {
    match perfect {
        true => "The order came out as declared.",
        false => {
            "Wear rises in the declared order taken as a whole; single steps and odd systems out are not shown by this."
        }
    }
}

/// A p value as a person reads it.
fn p_words(p: f64) -> String {
    match p {
        p if p >= 0.001 => format!("{p:.4}"),
        p => format!("{p:.1e}"),
    }
}

/// Effect size in points of the score.
fn size(more: &[f64], less: &[f64], open: bool) -> Result<String> {
    let shift = judge::shift(more, less, 0.90)?;
    if shift.low.is_infinite() {
        return Ok(format!(
            "Difference of score {:.2}; {} against {} figures cannot bound it at 90 %.",
            shift.median,
            more.len(),
            less.len()
        ));
    }
    let better = judge::superiority(more, less)?;
    let mut text = format!(
        "Difference of score {:.2} (90 %: {:.2} to {:.2}); chance that a figure of one wears more than one of the other {:.0} % (90 %: {:.0} to {:.0}).",
        shift.median,
        shift.low,
        shift.high,
        100.0 * better.share,
        100.0 * better.low90,
        100.0 * better.high90
    );
    if open {
        let _ = write!(
            text,
            " A difference of up to {:.2} is still compatible.",
            shift.high.abs().max(shift.low.abs())
        );
    }
    Ok(text)
}

/// Two against two, in plain counting.
fn plain_count(names: &[String], groups: &[Vec<f64>]) -> String {
    let apart = groups[0].iter().all(|a| groups[1].iter().all(|b| a < b));
    let (n, m) = (groups[0].len(), groups[1].len());
    if !apart || n.max(m) > 3 || n * m < 2 {
        return String::new();
    }
    let shares = exact::rank_sum_shares(n, m).unwrap_or_default();
    let luck = shares.first().map_or(0.0, |p| 1.0 / p);
    format!(
        " All figures of {} were below all of {}; with {n} against {m} that happens by luck 1 time in {luck:.0}.",
        names[0], names[1]
    )
}

/// All pairs that were not declared, labelled as such.
pub(super) fn afterwards(
    bench: &Bench,
    scores: &[Score],
    text: &mut String,
) -> Result<Vec<TestRow>> {
    let mut rows = Vec::new();
    for i in 0..bench.systems.len() {
        for j in i + 1..bench.systems.len() {
            let ids = [&bench.systems[i].system_id, &bench.systems[j].system_id];
            let known = bench
                .file
                .family
                .iter()
                .any(|c| c.systems.len() == 2 && ids.iter().all(|id| c.systems.contains(id)));
            if known {
                continue;
            }
            let exact = exact::rank_sum(&of_system(scores, i), &of_system(scores, j))?;
            rows.push(row(
                "looked at afterwards",
                "rank sum",
                format!("{} against {}", ids[0], ids[1]),
                (&exact, Side::Two),
            ));
        }
    }
    correct(&mut rows);
    let _ = writeln!(text, "LOOKED AT AFTERWARDS");
    let best = rows.iter().min_by(|a, b| a.p_exact.total_cmp(&b.p_exact));
    if let Some(best) = best {
        let _ = writeln!(
            text,
            "{} pairs that were not declared. The most apart are {} (exact p = {}, smallest possible {}): picked out of {} comparisons; after Holm p = {}. Nothing here is evidence; it is material for the next plan.",
            rows.len(),
            best.direction,
            p_words(best.p_exact),
            p_words(best.p_floor),
            rows.len(),
            p_words(best.p_holm)
        );
    }
    text.push('\n');
    Ok(rows)
}
