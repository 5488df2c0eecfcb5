//! Systems side by side: what the model of grades makes of them.

use super::of_system;
use crate::bench::files::{Bench, Grade};
use crate::bench::model::Fit;
use crate::bench::scores::{Score, factor_levels};
use std::fmt::Write;

/// Estimates per system and the chance that one is really better.
pub(super) fn told(
    bench: &Bench,
    (scores, grades): (&[Score], &[Grade]),
    fitted: &Fit,
    text: &mut String,
) {
    let _ = writeln!(text, "SYSTEMS (model of grades; 90 % intervals)");
    let mut order: Vec<usize> = (0..bench.systems.len()).collect();
    let median = |s: usize| fitted.quantities[s].summary.median;
    order.sort_by(|a, b| median(*a).total_cmp(&median(*b)));
    let silent: Vec<bool> = (0..bench.systems.len())
        .map(|s| range(bench, grades, s).1 == 0)
        .collect();
    for &s in &order {
        let own = of_system(scores, s);
        let mean = base::sum::sum(own.iter().copied()) / own.len().max(1) as f64;
        let film = bench.systems[s].film_um_median;
        let rate = fitted.of(|w| w.beta[s].exp() * film * 1e3);
        let words = match range(bench, grades, s) {
            (_, 0) => format!("at most {:.2e} mm3/J (no grade above 0)", rate.hi90),
            (5, _) => format!("at least {:.2e} mm3/J (no grade below 5)", rate.lo90),
            _ => format!(
                "{:.2e} mm3/J ({:.2e} to {:.2e})",
                rate.median, rate.lo90, rate.hi90
            ),
        };
        let _ = writeln!(
            text,
            "{}: score {mean:.1} ({} figure{}); wear rate {words} at a film of {film} um.",
            bench.systems[s].system_id,
            own.len(),
            if own.len() == 1 { "" } else { "s" },
        );
    }
    if order[..2].iter().all(|s| silent[*s]) {
        let names: Vec<&str> = (0..silent.len())
            .filter(|s| silent[*s])
            .map(|s| bench.systems[s].system_id.as_str())
            .collect();
        let _ = writeln!(
            text,
            "{} show no wear yet and cannot be told apart: a longer exposure would.\n",
            names.join(", ")
        );
        return;
    }
    let (best, next) = (order[0], order[1]);
    let chance = fitted.chance(|w| w.beta[best] < w.beta[next]);
    let ratio = fitted.of(|w| ((w.beta[next] - w.beta[best]) / w.exponent).exp());
    let own = of_system(scores, best).len();
    let (a, b) = (
        &bench.systems[best].system_id,
        &bench.systems[next].system_id,
    );
    let scatter = fitted.of(|w| w.spread[2]);
    if own == 1 {
        let code = scores
            .iter()
            .find(|s| s.system == best)
            .and_then(|s| s.codes.first().cloned())
            .unwrap_or_default();
        let _ = write!(
            text,
            "In this bench figure {code} (system {a}) wore least. One figure each: no test can tell this from figure-to-figure luck. Allowing for the usual scatter (a factor of {:.2}, an engineering guess) ",
            scatter.median.exp()
        );
    } else {
        let _ = write!(
            text,
            "System {a} wore least, {b} next. Allowing for scatter between figures (a factor of {:.2}, seen and guessed together) ",
            scatter.median.exp()
        );
    }
    let _ = writeln!(
        text,
        "the chance that it is really the better of the two is {:.0} %; the life ratio is {:.2} (90 %: {:.2} to {:.2}).\n",
        100.0 * chance,
        ratio.median,
        ratio.lo90,
        ratio.hi90
    );
}

/// Lowest and highest grade a system was given for rubbed places that should wear.
fn range(bench: &Bench, grades: &[Grade], system: usize) -> (u8, u8) {
    let own = grades.iter().filter(|g| {
        let specimen = &bench.specimens[g.specimen];
        let wears = g.inspection > 0 && bench.areas[g.area].shadow == 0;
        specimen.system == system && specimen.row.role != "blank" && wears && g.kind == 'R'
    });
    let values = own.filter_map(|g| g.grade);
    values.fold((5, 0), |(low, high), v| (low.min(v), high.max(v)))
}

/// What primer, paint and topcoat do on the average of the systems that carry them, where the
/// design can tell them from the systems themselves.
pub(super) fn factors(bench: &Bench, fitted: &Fit, text: &mut String) {
    let levels = factor_levels(bench);
    if levels.is_empty() || levels.len() + 1 >= bench.systems.len() {
        return;
    }
    let _ = writeln!(
        text,
        "FACTORS (times the wear of the first system's level; main effects only)"
    );
    for (k, (from, to)) in levels.iter().enumerate() {
        let ratio = fitted.of(|w| w.theta[k].exp());
        let told = if ratio.lo90 > 1.0 || ratio.hi90 < 1.0 {
            ""
        } else {
            ": which way is not told"
        };
        let _ = writeln!(
            text,
            "{to} against {from}: {:.2} (90 %: {:.2} to {:.2}){told}",
            ratio.median, ratio.lo90, ratio.hi90
        );
    }
    text.push('\n');
}
