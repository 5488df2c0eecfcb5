//! The page of a sweep: the template and the words it is given.

use super::{chart, words};
use crate::report::words::two_digits;
use crate::study::life::CAVEAT;
use crate::sweep::effect::TwoWay;
use crate::sweep::findings::ExposureFindings;
use crate::sweep::rank::{Placed, Ranking};
use crate::sweep::{Findings, Sweep};
use base::{Error, Result};
use minijinja::{AutoEscape, Environment};
use serde_json::{Value, json};

/// Two-way charts on the page.
const CHARTS: usize = 6;
/// Values of an axis and figures of a table that are listed.
const LISTED: usize = 60;

/// The whole page as HTML.
///
/// # Errors
/// A fault of the template (a test rules that out).
pub fn page(sweep: &Sweep, findings: &Findings) -> Result<String> {
    let plan = &sweep.plan;
    let mut environment = Environment::new();
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    let failed = |e: minijinja::Error| Error::refused(format!("cannot write the page: {e:#}"));
    environment
        .add_template("sweep.html", include_str!("page.html"))
        .map_err(failed)?;
    let axes: Vec<Value> = plan
        .axes
        .iter()
        .map(|axis| {
            let mut values = axis.groups();
            let more = values.len().saturating_sub(LISTED);
            values.truncate(LISTED);
            if more > 0 {
                values.push(format!("and {more} more"));
            }
            json!({ "name": axis.name, "keys": axis.keys.join(" · "), "values": values.join(" · ") })
        })
        .collect();
    let exposures: Vec<Value> = findings
        .exposures
        .iter()
        .map(|e| of_exposure(findings, e))
        .collect();
    let whole = json!({
        "title": findings.title,
        "lead": format!("{} parts, read for: {}.", findings.parts, findings.quantity),
        "sentences": words::sentences(findings),
        "exposures": exposures,
        "axes": axes,
        "caveat": if findings.more_is_better { CAVEAT } else {
            "Friction work is a dose, not wear: it ranks places and exposures, and says nothing of films."
        },
        "provenance": [
            ["program", format!("thumbworn {} (engines {})", plan.version, plan.engines)],
            ["plan", sweep.hash.clone()],
            ["program file", plan.binary.clone()],
            ["seed", plan.seed.to_string()],
            ["table beside this page", super::TABLE.to_string()],
        ],
    });
    let template = environment.get_template("sweep.html").map_err(failed)?;
    template
        .render(minijinja::value::Serde(&whole))
        .map_err(failed)
}

fn of_exposure(findings: &Findings, exposure: &ExposureFindings) -> Value {
    let effects: Vec<Value> = exposure
        .effects
        .iter()
        .flat_map(|effect| {
            effect.levels.iter().map(|level| {
                json!({
                    "factor": effect.factor, "level": level.level, "parts": level.parts,
                    "times": level.times.as_ref().map_or_else(String::new, words::times),
                })
            })
        })
        .collect();
    json!({
        "name": exposure.exposure,
        "rankings": exposure.rankings.iter()
            .map(|r| of_ranking(findings, exposure, r)).collect::<Vec<_>>(),
        "shares": shares(exposure),
        "shares_note": if exposure.balanced {
            "Share of the variation of the logarithm, with 90 % interval; the shares add up to all of it."
        } else {
            "Not every combination is equally often there, so these shares mix a little and need not add up."
        },
        "effects": effects,
        "two_ways": exposure.two_ways.iter().filter(|t| t.matters).take(CHARTS)
            .map(of_two_way).collect::<Vec<_>>(),
        "never": never(exposure),
    })
}

fn of_ranking(findings: &Findings, exposure: &ExposureFindings, ranking: &Ranking) -> Value {
    let question = match (findings.more_is_better, ranking.is_figure) {
        (true, true) => "Which figure lasts longest".to_string(),
        (false, true) => "Which figure takes least".to_string(),
        (true, false) => format!("Which {} lasts longest", ranking.factor),
        (false, false) => format!("Which {} takes least", ranking.factor),
    };
    let more = ranking.places.len().saturating_sub(chart::ROWS);
    let figures: Vec<Value> = ranking
        .by_figure
        .iter()
        .take(LISTED)
        .map(|on| {
            let order: Vec<String> = on
                .order
                .iter()
                .map(|(level, value)| format!("{level} {}", two_digits(value.median)))
                .collect();
            json!({ "figure": on.figure, "order": order.join(" · ") })
        })
        .collect();
    json!({
        "title": question,
        "places": ranking.places.iter().take(chart::ROWS)
            .map(|p| of_place(exposure, p)).collect::<Vec<_>>(),
        "chart": chart::ranking(ranking),
        "more": if more > 0 { format!("{more} more are in sweep.json.") } else { String::new() },
        "figures": figures,
        "disagreements": ranking.disagreements.iter()
            .map(|d| words::of_disagreement(findings, &ranking.factor, d)).collect::<Vec<_>>(),
    })
}

fn of_place(exposure: &ExposureFindings, place: &Placed) -> Value {
    let sure = match place.certainty {
        _ if place.tied_with_next => "as good as the next".to_string(),
        Some(c) => format!("{:.0} % sure", c * 100.0),
        None => String::new(),
    };
    let typical = format!(
        "typically {} {} (90 %: {} to {})",
        two_digits(place.typical.median),
        exposure.unit,
        two_digits(place.typical.low),
        two_digits(place.typical.high)
    );
    json!({ "rank": place.rank, "level": place.level, "sure": sure, "typical": typical })
}

fn shares(exposure: &ExposureFindings) -> Vec<Value> {
    let row = |name: String, share: String, width: f64, kind: &str| json!({ "name": name, "share": share, "width": format!("{:.1}", width * 100.0), "kind": kind });
    let mut rows: Vec<Value> = exposure
        .effects
        .iter()
        .map(|e| {
            row(
                e.factor.clone(),
                words::percent(&e.share),
                e.share.median,
                "",
            )
        })
        .collect();
    rows.extend(exposure.two_ways.iter().filter(|t| t.matters).map(|t| {
        let name = format!("{} with {}", t.first, t.second);
        row(name, words::percent(&t.share), t.share.median, "two")
    }));
    let hidden: f64 = exposure
        .two_ways
        .iter()
        .filter(|t| !t.matters)
        .map(|t| t.share.median)
        .sum();
    if let Some(rest) = exposure.rest {
        let rest = rest + hidden;
        let name = "all else together".to_string();
        rows.push(row(name, format!("{:.0} %", rest * 100.0), rest, "rest"));
    }
    rows
}

fn of_two_way(two: &TwoWay) -> Value {
    let strongest = two.cells.iter().filter(|c| c.sure).max_by(|a, b| {
        let size = |c: &crate::sweep::effect::TwoWayCell| c.beyond.median.ln().abs();
        size(a).total_cmp(&size(b))
    });
    let mut text = format!(
        "{} with {}: {} of the variation.",
        two.first,
        two.second,
        words::percent(&two.share)
    );
    if let Some(cell) = strongest {
        text += &format!(
            " Most of it: {} with {} gives {} what the two would give apart.",
            cell.first,
            cell.second,
            words::times(&cell.beyond)
        );
    }
    json!({ "words": text, "chart": chart::two_way(two) })
}

fn never(exposure: &ExposureFindings) -> Option<String> {
    (exposure.never > 0).then(|| {
        let at: Vec<String> = exposure
            .never_at
            .iter()
            .take(12)
            .map(|(factor, level, n)| format!("{factor} {level}: {n}"))
            .collect();
        format!(
            "{} readings have no end (nothing touches, or it never gets through) and are left out: {}.",
            exposure.never,
            at.join("; ")
        )
    })
}
