//! The answers of a sweep in sentences.

use crate::report::words::two_digits;
use crate::study::Interval;
use crate::sweep::Findings;
use crate::sweep::findings::ExposureFindings;
use crate::sweep::rank::{Disagreement, Ranking};

/// Chance from which a first place is called clear.
const CLEAR: f64 = 0.95;
/// Disagreements told in a sentence each.
const TOLD: usize = 3;

/// "1.4 times (1.2 to 1.7)".
#[must_use]
pub fn times(interval: &Interval) -> String {
    format!(
        "{} times ({} to {})",
        two_digits(interval.median),
        two_digits(interval.low),
        two_digits(interval.high)
    )
}

/// "12 % (9 to 14)".
#[must_use]
pub fn percent(share: &Interval) -> String {
    format!(
        "{:.0} % ({:.0} to {:.0})",
        share.median * 100.0,
        share.low * 100.0,
        share.high * 100.0
    )
}

/// All answers.
#[must_use]
pub fn sentences(findings: &Findings) -> Vec<String> {
    let several = findings.exposures.len() > 1;
    let mut all = Vec::new();
    for exposure in &findings.exposures {
        let before = if several {
            format!("{}: ", exposure.exposure)
        } else {
            String::new()
        };
        all.extend(
            of_exposure(findings, exposure)
                .into_iter()
                .map(|s| before.clone() + &s),
        );
    }
    all
}

fn of_exposure(findings: &Findings, exposure: &ExposureFindings) -> Vec<String> {
    let mut said = Vec::new();
    let Some(typical) = &exposure.typical else {
        return vec![format!("no reading has an end ({}).", findings.quantity)];
    };
    said.push(format!(
        "{} on {} readings: typically {} {} (90 %: {} to {}).",
        findings.quantity,
        exposure.readings,
        two_digits(typical.median),
        exposure.unit,
        two_digits(typical.low),
        two_digits(typical.high)
    ));
    for ranking in &exposure.rankings {
        said.extend(of_ranking(findings, ranking));
    }
    if let Some(most) = exposure
        .effects
        .iter()
        .max_by(|a, b| a.share.median.total_cmp(&b.share.median))
        .filter(|_| exposure.effects.len() > 1)
    {
        said.push(format!(
            "of all variation {} is the choice of {}.",
            percent(&most.share),
            most.factor
        ));
    }
    for two in exposure.two_ways.iter().filter(|t| t.matters).take(TOLD) {
        said.push(format!(
            "{} and {} do not act apart: {} of the variation is what they do together.",
            two.first,
            two.second,
            percent(&two.share)
        ));
    }
    if exposure.never > 0 {
        let n = exposure.never;
        said.push(format!(
            "{n} readings have no end (nothing touches, or it never gets through) and are left out."
        ));
    }
    said
}

fn of_ranking(findings: &Findings, ranking: &Ranking) -> Vec<String> {
    let mut said = Vec::new();
    let (Some(first), Some(second)) = (ranking.places.first(), ranking.places.get(1)) else {
        return said;
    };
    let lasts = if findings.more_is_better {
        "lasts longest"
    } else {
        "takes least"
    };
    let name = &ranking.factor;
    let mut text = format!("{name}: \"{}\" {lasts}", first.level);
    if first.chance_best >= CLEAR {
        text += &format!("; \"{}\" reaches {}", second.level, times(&second.of_best));
    } else {
        text += &format!(
            " with {:.0} % chance only; \"{}\" reaches {}",
            first.chance_best * 100.0,
            second.level,
            times(&second.of_best)
        );
    }
    if let Some(last) = ranking.places.last().filter(|l| l.rank > 2) {
        text += &format!(", \"{}\" {}", last.level, times(&last.of_best));
    }
    said.push(text + ".");
    said.extend(
        ranking
            .disagreements
            .iter()
            .take(TOLD)
            .map(|d| of_disagreement(findings, name, d)),
    );
    let more = ranking.disagreements.len().saturating_sub(TOLD);
    if more > 0 {
        said.push(format!("{more} more figures disagree on {name}."));
    }
    if ranking.disagreements.is_empty() && ranking.by_figure.len() > 1 {
        said.push(format!(
            "on {name} no figure clearly disagrees ({} figures).",
            ranking.by_figure.len()
        ));
    }
    said
}

/// One figure that disagrees.
#[must_use]
pub fn of_disagreement(findings: &Findings, factor: &str, d: &Disagreement) -> String {
    let verb = if findings.more_is_better {
        "lasts"
    } else {
        "takes"
    };
    format!(
        "figure \"{}\" disagrees on {factor}: there \"{}\" {verb} {} what \"{}\" does.",
        d.figure,
        d.better,
        times(&d.times),
        d.worse
    )
}
