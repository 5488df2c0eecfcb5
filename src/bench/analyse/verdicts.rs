//! Exact tests: the declared family, and the pairs nobody declared.

use super::ask::{Asked, ask, number_of};
use super::of_system;
use super::words::{effect, p_words};
use crate::bench::design::Test;
use crate::bench::exact::{self, Exact, Side};
use crate::bench::files::{Bench, Comparison, Grade};
use crate::bench::judge;
use crate::bench::scores::Score;
use base::Result;
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

/// The declared family, asked and worded.
pub(super) fn declared(
    bench: &Bench,
    evidence: (&[Grade], &[Score]),
    text: &mut String,
) -> Result<Vec<TestRow>> {
    let mut rows = Vec::new();
    let mut all = Vec::new();
    for comparison in &bench.file.family {
        let asked = ask(bench, evidence, comparison)?;
        rows.push(row(
            "declared",
            &format!("{}: {}", comparison.name, asked.test),
            direction(comparison),
            (&asked.exact, asked.side),
        ));
        all.push(asked);
    }
    correct(&mut rows);
    let _ = writeln!(text, "DECLARED BEFORE THE FIRST MOVE");
    if rows.is_empty() {
        let _ = writeln!(text, "Nothing was declared.");
    }
    for ((row, asked), comparison) in rows.iter().zip(&all).zip(&bench.file.family) {
        let _ = writeln!(
            text,
            "{}",
            verdict(bench, evidence.1, (row, asked), comparison)?
        );
    }
    text.push('\n');
    Ok(rows)
}

/// What was declared to be extreme.
fn direction(comparison: &Comparison) -> String {
    let any = match comparison.test {
        Test::WornThrough => comparison.systems.len() > 2,
        test => test.of_any(),
    };
    if any {
        return format!("any of {}", comparison.systems.join(", "));
    }
    let way = match comparison.side {
        Side::Two => " (either way)",
        _ => "",
    };
    format!("{}{way}", comparison.systems.join(" < "))
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
    (row, asked): (&TestRow, &Asked),
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
    if !asked.remark.is_empty() {
        let _ = write!(text, " {}", asked.remark);
    }
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
        if comparison.systems.len() > 2 {
            let _ = write!(text, " Which systems differ is not told by it.");
        }
    }
    let open = row.p_holm > alpha;
    let unit = &bench.file.exposure_unit;
    text.push_str(&effect(&asked.effect, &comparison.systems, unit, open)?);
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
