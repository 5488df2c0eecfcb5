//! What if one number of the scenario were different? The study never runs an engine: it asks a
//! closure for the dose at each value.

use super::area::{AreaSettings, areas};
use super::compare::{channel_words, digits, top_overlap};
use super::life::{Exposed, Interval, LifeSettings, lives};
use crate::wear::{End, Specimen, Treatment};
use base::stats::Estimate;
use base::{Error, Result};
use contact::dose::{Channel, DoseRate};
use mesh::figure::Figure;
use serde::{Deserialize, Serialize};

/// What the closure returns for one value.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// Body and films at this value.
    pub specimen: Specimen,
    /// How the films meet the counterface at this value.
    pub treatment: Treatment,
    /// Dose per unit: one, or one per film, body outward.
    pub rates: Vec<DoseRate>,
}

/// What is asked.
#[derive(Debug, Clone, Copy)]
pub struct Question<'a> {
    /// Name of the exposure.
    pub exposure: &'a str,
    /// The key that is varied, as typed: `topcoat.friction`.
    pub key: &'a str,
    /// Values in the key's own unit, at least two.
    pub values: &'a [f64],
    /// End of the lives.
    pub end: End,
    /// What areas are ranked by.
    pub channel: Channel,
    /// Seed and draws.
    pub life: LifeSettings,
}

/// One value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// In the key's own unit.
    pub value: f64,
    /// Channel total per unit of exposure.
    pub total: Estimate,
    /// [J/m2 for energies] dose per unit of the hottest area, wherever it is.
    pub hottest: f64,
    /// Where that is.
    pub hottest_words: String,
    /// Dose per unit of the areas of the first value, in their order.
    pub areas: Vec<f64>,
    /// Life of the hottest area if wear per joule is held.
    pub life_energy_law: Option<Interval>,
    /// Life of the hottest area if wear per load and path is held.
    pub life_load_law: Option<Interval>,
    /// d ln(total) / d ln(value) about here.
    pub elasticity: Option<f64>,
    /// Surface shared with the top 5 % at the first value, 0 to 1.
    pub top_overlap: f64,
}

/// What a change of the parameter does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Total and hottest area rise with the value, in the same places.
    Rises,
    /// Total and hottest area fall with the value, in the same places.
    Falls,
    /// The total stays, the places change.
    Moves,
    /// The total changes and so do the places.
    ChangesAndMoves,
    /// Nothing beyond a tenth.
    Stays,
}

/// The table and its sentence.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WhatIf {
    /// Name of the exposure.
    pub exposure: String,
    /// Name of the specimen.
    pub specimen: String,
    /// What is varied.
    pub key: String,
    /// What is totalled.
    pub channel: Channel,
    /// End of the lives.
    pub end: End,
    /// Unit of the totals with a space before it, such as " J per stroke".
    pub total_unit: String,
    /// Plural of the unit of lives.
    pub life_unit: String,
    /// Names of the areas of the first value.
    pub area_words: Vec<String>,
    /// One row per value.
    pub rows: Vec<Row>,
    /// d ln(total) / d ln(value) from first to last.
    pub elasticity: Option<f64>,
    /// d ln(life) / d ln(value) from first to last, energy law.
    pub life_elasticity_energy_law: Option<f64>,
    /// d ln(life) / d ln(value) from first to last, load law.
    pub life_elasticity_load_law: Option<f64>,
    /// Does wear fall, rise or merely move?
    pub verdict: Verdict,
    /// The answer.
    pub sentence: String,
}

/// Runs the question over its values.
///
/// # Errors
/// With fewer than two values, or whatever the closure or the lives refuse.
pub fn whatif(
    figure: &Figure,
    question: Question<'_>,
    mut case: impl FnMut(f64) -> Result<Case>,
) -> Result<WhatIf> {
    if question.values.len() < 2 {
        return Err(Error::input(format!(
            "what-if on {} needs at least two values",
            question.key
        )));
    }
    let mut cases = Vec::with_capacity(question.values.len());
    for &value in question.values {
        cases.push(case(value)?);
    }
    let first = outer_rate(&cases[0], question)?;
    let settings = area_settings(question);
    let reference = areas(figure, first, &settings);
    let first_map = first.mean.map(question.channel, &figure.patch_areas());
    let mut rows = Vec::with_capacity(cases.len());
    for (&value, case) in question.values.iter().zip(&cases) {
        let groups: Vec<&[usize]> = reference.iter().map(|a| a.patches.as_slice()).collect();
        rows.push(row(figure, question, (value, case), (&groups, &first_map))?);
    }
    local_elasticities(&mut rows);
    Ok(conclude(
        question,
        &cases[0],
        reference.into_iter().map(|a| a.words).collect(),
        rows,
    ))
}

fn area_settings(question: Question<'_>) -> AreaSettings {
    AreaSettings {
        channel: question.channel,
        count: 5,
        seed: question.life.seed,
        ..AreaSettings::default()
    }
}

fn outer_rate<'a>(case: &'a Case, question: Question<'_>) -> Result<&'a DoseRate> {
    case.rates
        .last()
        .ok_or_else(|| Error::input(format!("exposure \"{}\" gave no dose", question.exposure)))
}

fn row(
    figure: &Figure,
    question: Question<'_>,
    (value, case): (f64, &Case),
    (reference, first_map): (&[&[usize]], &[f64]),
) -> Result<Row> {
    let rate = outer_rate(case, question)?;
    let sizes = figure.patch_areas();
    let density = |patches: &[usize]| rate.over_patches(question.channel, patches, &sizes).mean;
    let hottest = areas(figure, rate, &area_settings(question))
        .into_iter()
        .next();
    let exposed = Exposed {
        exposure: question.exposure,
        figure,
        specimen: &case.specimen,
        treatment: &case.treatment,
        rates: &case.rates,
    };
    let life = match &hottest {
        Some(area) => lives(exposed, question.end, question.life)?.area(&area.patches),
        None => None,
    };
    Ok(Row {
        value,
        total: rate.total(question.channel),
        hottest: hottest.as_ref().map_or(0.0, |a| density(&a.patches)),
        hottest_words: hottest.map_or_else(String::new, |a| a.words),
        areas: reference.iter().map(|patches| density(patches)).collect(),
        life_energy_law: life.map(|l| l.energy_law),
        life_load_law: life.map(|l| l.load_law),
        elasticity: None,
        top_overlap: top_overlap(first_map, &rate.mean.map(question.channel, &sizes), &sizes),
    })
}

/// d ln y / d ln x between two points; `None` where a logarithm does not exist.
fn slope((x0, y0): (f64, f64), (x1, y1): (f64, f64)) -> Option<f64> {
    let slope = (y1 / y0).ln() / (x1 / x0).ln();
    (x0 > 0.0 && x1 > 0.0 && slope.is_finite()).then_some(slope)
}

/// Central differences on logarithms, one-sided at the ends.
fn local_elasticities(rows: &mut [Row]) {
    let points: Vec<(f64, f64)> = rows.iter().map(|r| (r.value, r.total.mean)).collect();
    let last = points.len() - 1;
    for (i, row) in rows.iter_mut().enumerate() {
        row.elasticity = slope(points[i.saturating_sub(1)], points[(i + 1).min(last)]);
    }
}

fn conclude(
    question: Question<'_>,
    case: &Case,
    area_words: Vec<String>,
    rows: Vec<Row>,
) -> WhatIf {
    let (first, last) = (&rows[0], &rows[rows.len() - 1]);
    let along =
        |f: &dyn Fn(&Row) -> Option<f64>| slope((first.value, f(first)?), (last.value, f(last)?));
    let elasticity = along(&|r| Some(r.total.mean));
    let energy = along(&|r| r.life_energy_law.map(|l| l.median));
    let load = along(&|r| r.life_load_law.map(|l| l.median));
    let verdict = verdict(first, last);
    let mut result = WhatIf {
        exposure: question.exposure.to_owned(),
        specimen: case.specimen.name.clone(),
        key: question.key.to_owned(),
        channel: question.channel,
        end: question.end,
        total_unit: case
            .rates
            .first()
            .filter(|_| question.channel.is_per_area())
            .map_or_else(String::new, |r| format!(" J per {}", r.unit.singular())),
        life_unit: case
            .rates
            .first()
            .map_or("", |r| r.unit.plural())
            .to_owned(),
        area_words,
        elasticity,
        life_elasticity_energy_law: energy,
        life_elasticity_load_law: load,
        verdict,
        sentence: String::new(),
        rows,
    };
    result.sentence = sentence(&result);
    result
}

/// A tenth counts as a change; half of the top 5 % of surface elsewhere counts as a move.
fn verdict(first: &Row, last: &Row) -> Verdict {
    let changed = |ratio: f64| ratio.ln().abs() >= 1.1_f64.ln();
    let total = last.total.mean / first.total.mean;
    let hottest = last.hottest / first.hottest;
    let moved = last.top_overlap < 0.5;
    match (changed(total) || changed(hottest), moved) {
        (false, false) => Verdict::Stays,
        (false, true) => Verdict::Moves,
        (true, true) => Verdict::ChangesAndMoves,
        (true, false) if hottest >= 1.0 => Verdict::Rises,
        (true, false) => Verdict::Falls,
    }
}

fn sentence(w: &WhatIf) -> String {
    let (first, last) = (&w.rows[0], &w.rows[w.rows.len() - 1]);
    let what = channel_words(w.channel);
    let change = format!(
        "as {} goes from {} to {}, the {what} goes from {} to {}{}",
        w.key,
        digits(first.value),
        digits(last.value),
        digits(first.total.mean),
        digits(last.total.mean),
        w.total_unit,
    );
    let verdict = match w.verdict {
        Verdict::Rises => format!("and rises on the hottest area, {}", last.hottest_words),
        Verdict::Falls => format!("and falls on the hottest area, {}", last.hottest_words),
        Verdict::Moves => format!(
            "so it merely moves, from {} to {}",
            first.hottest_words, last.hottest_words
        ),
        Verdict::ChangesAndMoves => format!(
            "and it moves, from {} to {}",
            first.hottest_words, last.hottest_words
        ),
        Verdict::Stays => "so it stays as it is".to_owned(),
    };
    let life = |row: &Row, energy: bool| {
        let life = if energy {
            row.life_energy_law
        } else {
            row.life_load_law
        };
        life.map_or_else(|| "no end".to_owned(), |l| digits(l.median))
    };
    format!(
        "{}, {}: {change}, {verdict}. Life there goes from {} to {} {unit} if wear per joule is the constant, \
from {} to {} {unit} if wear per load and path is: the difference is not known, it takes a coupon.",
        w.exposure,
        w.specimen,
        life(first, true),
        life(last, true),
        life(first, false),
        life(last, false),
        unit = w.life_unit,
    )
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{plate, rate};
    use super::*;
    use crate::reference::{Modifiers, Stock};
    use base::Known;

    const N: usize = 12;

    fn hill(x0: f64, height: f64) -> Vec<f64> {
        (0..N * N)
            .map(|i| {
                let (x, y) = ((i % N) as f64, (i / N) as f64);
                height * (0.02 + (-((x - x0).powi(2) + (y - 6.0).powi(2)) / 6.0).exp())
            })
            .collect()
    }

    fn asked(map: impl Fn(f64) -> Vec<f64>) -> WhatIf {
        let stock = Stock::load().unwrap();
        let coats = ["acrylic paint, brush", "satin topcoat, aerosol"];
        let specimen = Specimen::from_stock(&stock, "metal", "tin pewter", &coats).unwrap();
        let base = Treatment::new(&stock, &specimen, "soft foam", Modifiers::default()).unwrap();
        let question = Question {
            exposure: "wipe",
            key: "topcoat.friction",
            values: &[0.15, 0.3, 0.6],
            end: End::Topcoat,
            channel: Channel::Friction,
            life: LifeSettings {
                draws: 200,
                ..LifeSettings::default()
            },
        };
        whatif(&plate(N, &[]), question, |mu| {
            let mut treatment = base.clone();
            treatment.films[1].friction = Known::exact(mu, "varied");
            Ok(Case {
                specimen: specimen.clone(),
                treatment,
                rates: vec![rate(&map(mu), 5e4, (4, 0.0), 1)],
            })
        })
        .unwrap()
    }

    /// A pad of set load and path: work goes as friction, so does wear per joule; the load law's
    /// life does not care.
    #[test]
    fn friction_on_a_pad_with_set_load() {
        let w = asked(|mu| hill(4.0, 1000.0 * mu));
        assert!((w.elasticity.unwrap() - 1.0).abs() < 1e-9);
        assert!((w.rows[1].elasticity.unwrap() - 1.0).abs() < 1e-9);
        assert!(
            (w.life_elasticity_energy_law.unwrap() + 1.0).abs() < 1e-6,
            "{w:?}"
        );
        assert!(w.life_elasticity_load_law.unwrap().abs() < 1e-6);
        assert_eq!(w.verdict, Verdict::Rises);
        assert!(
            w.sentence.contains("rises on the hottest area"),
            "{}",
            w.sentence
        );
    }

    #[test]
    fn the_same_wear_elsewhere_merely_moves() {
        let w = asked(|mu| hill(if mu < 0.5 { 3.0 } else { 8.0 }, 100.0));
        assert_eq!(w.verdict, Verdict::Moves, "{w:#?}");
        assert!(w.sentence.contains("merely moves"));
    }

    #[test]
    fn nothing_changes_and_it_says_so() {
        assert_eq!(asked(|_| hill(4.0, 100.0)).verdict, Verdict::Stays);
    }
}
