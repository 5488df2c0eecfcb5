//! Systems side by side: what the model of grades makes of them.

use super::of_system;
use crate::base::Result;
use crate::bench::files::Bench;
use crate::bench::model::Fit;
use crate::bench::scores::Score;
use std::fmt::Write;

/// Estimates per system and the chance that one is really better.
pub(super) fn told(bench: &Bench, scores: &[Score], fitted: &Fit, text: &mut String) -> Result<()> {
    let _ = writeln!(text, "SYSTEMS (model of grades; 90 % intervals)");
    let mut order: Vec<usize> = (0..bench.systems.len()).collect();
    let median = |s: usize| fitted.quantities[s].summary.median;
    order.sort_by(|a, b| median(*a).total_cmp(&median(*b)));
    for &s in &order {
        let own = of_system(scores, s);
        let mean = crate::base::sum::sum(own.iter().copied()) / own.len().max(1) as f64;
        let rate = fitted.of(|w| w.beta[s].exp() * bench.systems[s].film_um_median * 1e3);
        let _ = writeln!(
            text,
            "{}: score {mean:.1} ({} figures); wear rate {:.2e} mm3/J ({:.2e} to {:.2e}) at a film of {} um.",
            bench.systems[s].system_id,
            own.len(),
            rate.median,
            rate.lo90,
            rate.hi90,
            bench.systems[s].film_um_median
        );
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
    Ok(())
}
