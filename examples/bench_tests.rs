//! The bench's tests as a filter: JSON cases on stdin, JSON results on stdout, so that independent
//! programs can ask it about any data. `tests/python/check_bench.py` does.
//!
//! A case is `{"test": "rank_sum", "groups": [[..], [..]]}`; `groups` are groups, blocks (with
//! null for a missing cell), two lists of a correlation, rows of a table, graders' lists, or how many
//! of each group got there and how many there are.

use base::{Error, Result};
use serde::Deserialize;
use serde_json::{Value, json};
use thumbworn::bench::exact::{self, Exact, Side};
use thumbworn::bench::judge;

#[derive(Deserialize)]
struct Case {
    test: String,
    groups: Vec<Vec<Option<f64>>>,
}

fn main() -> Result<()> {
    let fail = |e: serde_json::Error| Error::input(format!("cases are not JSON: {e}"));
    let cases: Vec<Case> = serde_json::from_reader(std::io::stdin()).map_err(fail)?;
    let results: Vec<Value> = cases
        .iter()
        .map(|c| answer(c).unwrap_or_else(|e| json!({ "error": e.to_string() })))
        .collect();
    println!("{}", Value::Array(results));
    Ok(())
}

fn from(exact: Exact) -> Value {
    json!({
        "statistic": exact.statistic,
        "low": exact.p(Side::Lower),
        "high": exact.p(Side::Higher),
        "two": exact.p(Side::Two),
        "counted": exact.how == exact::How::Counted,
    })
}

fn answer(case: &Case) -> Result<Value> {
    let full: Vec<Vec<f64>> = case
        .groups
        .iter()
        .map(|g| g.iter().flatten().copied().collect())
        .collect();
    let count = |v: f64| v as usize;
    Ok(match case.test.as_str() {
        "rank_sum" => from(exact::rank_sum(&full[0], &full[1])?),
        "signed_rank" => from(exact::signed_rank(&full[0])?),
        "kruskal_wallis" => from(exact::kruskal_wallis(&full)?),
        "jonckheere" => from(exact::jonckheere(&full)?),
        "friedman" => from(exact::friedman(&full)?),
        "page" => from(exact::page(&full)?),
        "skillings_mack" => from(exact::skillings_mack(&case.groups)?),
        "spearman" => from(exact::spearman(&full[0], &full[1])?),
        "kendall" => from(exact::kendall(&full[0], &full[1])?),
        "fisher" => {
            let [a, b] = [&full[0], &full[1]];
            let test = exact::fisher_2x2([[count(a[0]), count(a[1])], [count(b[0]), count(b[1])]])?;
            json!({ "low": test.p(Side::Lower), "high": test.p(Side::Higher), "two": test.p(Side::Two) })
        }
        "fisher_table" => {
            let table: Vec<Vec<usize>> = full
                .iter()
                .map(|r| r.iter().map(|v| count(*v)).collect())
                .collect();
            json!({ "two": exact::fisher_table(&table)? })
        }
        "through" => {
            let list = |i: usize| full[i].iter().map(|v| count(*v)).collect::<Vec<_>>();
            let side = if full[0].len() > 2 {
                Side::Two
            } else {
                Side::Higher
            };
            let test = exact::through(&list(0), &list(1), side)?;
            json!({ "low": test.p(Side::Lower), "floor": test.floor(Side::Lower) })
        }
        "holm" => json!({ "adjusted": judge::holm(&full[0]) }),
        "fleiss" => json!({ "kappa": judge::fleiss_kappa(&full)? }),
        "lives" => lives(&case.groups)?,
        "kappa" => kappas(&full)?,
        "binomial" => {
            let b = judge::blinding(count(full[0][0]), count(full[0][1]), count(full[0][2]))?;
            json!({ "high": b.p_high, "low90": b.low90, "high90": b.high90 })
        }
        other => return Err(Error::input(format!("unknown test {other}"))),
    })
}

/// Two lists a group: from (null is 0) and up to (null is never); same ones are exact.
fn lives(groups: &[Vec<Option<f64>>]) -> Result<Value> {
    let known = |(from, to): (&Option<f64>, &Option<f64>)| {
        let from = from.unwrap_or(0.0);
        match to {
            None => judge::Known::Beyond(from),
            Some(to) if *to > from => judge::Known::Between(from, *to),
            Some(to) => judge::Known::At(*to),
        }
    };
    let pairs = groups.chunks_exact(2);
    let lives: Vec<Vec<judge::Known>> = pairs
        .map(|p| p[0].iter().zip(&p[1]).map(known).collect())
        .collect();
    let fit = judge::fit_lives(&lives)?;
    let prior = judge::Scatter {
        ln_middle: -1.09,
        sd: 0.5,
    };
    let ranges = judge::life_ranges(&lives, prior)?;
    let list = |r: judge::Range| [r.low90, r.median, r.high90];
    let last = lives.len() - 1;
    Ok(json!({
        "scale": fit.location[0].exp(),
        "shape": 1.0 / fit.scale,
        "ratio": (fit.location[last] - fit.location[0]).exp(),
        "last_se": fit.covariance[(last, last)].sqrt(),
        "ranges": [list(ranges.shape()), list(ranges.median(0)), list(ranges.ratio(last, 0))],
    }))
}

fn kappas(table: &[Vec<f64>]) -> Result<Value> {
    let mut all = serde_json::Map::new();
    for (name, weights) in [
        ("none", judge::Weights::Nominal),
        ("linear", judge::Weights::Linear),
        ("quadratic", judge::Weights::Quadratic),
    ] {
        let k = judge::weighted_kappa(table, weights)?;
        all.insert(name.into(), json!([k.kappa, k.ase]));
    }
    Ok(Value::Object(all))
}
