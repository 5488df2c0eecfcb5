//! The tables of a results folder, for people with a spreadsheet: units in the headings, one row
//! per thing, numbers that read back the same.

use crate::study::{Comparison, Match, Reinforcement, whatif::WhatIf};
use crate::trial::{Answers, AreaAnswer, PartAnswer, Trial};
use crate::wear::{End, Regime};
use base::Result;
use base::Table;
use base::table::number;
use contact::dose::Channel;

const MM: f64 = 1e3;
const MM2: f64 = 1e6;
const MPA: f64 = 1e-6;
const UM: f64 = 1e6;

fn maybe(value: Option<f64>) -> String {
    value.map_or_else(String::new, number)
}

/// Three significant digits less than the noise of any result, so that a column can be read.
pub(super) fn short(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return number(value);
    }
    let digits = 5 - value.abs().log10().floor() as i32;
    let scale = 10f64.powi(digits);
    let rounded = (value * scale).round() / scale;
    number(if rounded.is_finite() { rounded } else { value })
}

/// A slice of names of a part: exposure and specimen.
fn names(trial: &Trial, part: &PartAnswer) -> [String; 2] {
    [
        trial.scenario.exposures[part.exposure].name.clone(),
        trial.scenario.specimens[part.specimen]
            .specimen
            .name
            .clone(),
    ]
}

/// `areas.csv`: the most worn areas with dose, certainty of rank and life.
///
/// # Errors
/// Never for memory.
pub fn areas(trial: &Trial, answers: &Answers) -> Result<Vec<u8>> {
    let mut table = Table::new(&[
        "exposure",
        "specimen",
        "rank",
        "area",
        "x_mm",
        "y_mm",
        "z_mm",
        "area_mm2",
        "friction_J_m2",
        "impact_J_m2",
        "dent_J_m2",
        "peak_MPa",
        "dose_share_pct",
        "surface_share_pct",
        "rate_lo95",
        "rate_hi95",
        "rank_certainty_pct",
        "life_unit",
        "life_median",
        "life_lo90",
        "life_hi90",
        "sheen_life_median",
        "topcoat_life_median",
        "kind_of_contact",
    ])?;
    for (part, done) in answers.parts.iter().zip(&trial.done) {
        let [exposure, specimen] = names(trial, part);
        let unit = done.outcome.rate.unit.plural();
        for area in &part.areas {
            let mut row = vec![exposure.clone(), specimen.clone()];
            row.extend(area_cells(area, unit));
            table.row(&row)?;
        }
    }
    table.bytes()
}

fn area_cells(answer: &AreaAnswer, unit: &str) -> Vec<String> {
    let area = &answer.area;
    let life = |end: End| {
        answer
            .lives
            .iter()
            .find(|l| l.end == end)
            .and_then(|l| l.life.as_ref())
    };
    let colour = life(End::Colour).map(|l| l.both);
    let rate = area.rate;
    vec![
        area.rank.to_string(),
        area.words.clone(),
        short(area.middle[0] * MM),
        short(area.middle[1] * MM),
        short(area.middle[2] * MM),
        short(area.surface * MM2),
        short(area.friction),
        short(area.impact),
        short(area.dent),
        short(area.peak * MPA),
        short(area.dose_share * 100.0),
        short(area.surface_share * 100.0),
        short((rate.mean - rate.half_width).max(0.0)),
        short(rate.mean + rate.half_width),
        area.certainty
            .map_or_else(String::new, |c| short(c * 100.0)),
        unit.to_string(),
        maybe(colour.map(|l| l.median)),
        maybe(colour.map(|l| l.low)),
        maybe(colour.map(|l| l.high)),
        maybe(life(End::Sheen).map(|l| l.both.median)),
        maybe(life(End::Topcoat).map(|l| l.both.median)),
        answer.regime.words().to_string(),
    ]
}

/// Columns of `patches.csv` behind the place: also the names of the scalars in the heat meshes.
pub const PATCH_CHANNELS: [(&str, Channel, f64); 6] = [
    ("friction_J_m2", Channel::Friction, 1.0),
    ("impact_J_m2", Channel::Impact, 1.0),
    ("dent_J_m2", Channel::Dent, 1.0),
    ("peak_MPa", Channel::Peak, MPA),
    ("slip_mm", Channel::Slip, MM),
    ("touches", Channel::Touches, 1.0),
];

/// `patches.csv`: every patch that got anything, dose per unit of exposure, wear after the amount
/// the scenario asks for.
///
/// # Errors
/// Never for memory.
pub fn patches(trial: &Trial, answers: &Answers) -> Result<Vec<u8>> {
    let mut table = Table::new(&[
        "exposure",
        "specimen",
        "patch",
        "x_mm",
        "y_mm",
        "z_mm",
        "nx",
        "ny",
        "nz",
        "area_mm2",
        "shape",
        "friction_J_m2",
        "impact_J_m2",
        "dent_J_m2",
        "peak_MPa",
        "slip_mm",
        "touches",
        "depth_um_energy_law",
        "depth_um_load_law",
        "gloss_change_pct",
        "chip_class",
        "life_median",
    ])?;
    let areas = trial.figure.patch_areas();
    for (part, done) in answers.parts.iter().zip(&trial.done) {
        let [exposure, specimen] = names(trial, part);
        let maps: Vec<Vec<f64>> = PATCH_CHANNELS
            .iter()
            .map(|(_, channel, _)| done.outcome.rate.mean.map(*channel, &areas))
            .collect();
        for (p, patch) in trial.figure.patches.iter().enumerate() {
            if part.wear[p].regime == Regime::Untouched {
                continue;
            }
            let place = patch.centroid * MM;
            let mut row = vec![exposure.clone(), specimen.clone(), p.to_string()];
            row.extend(place.iter().map(|x| short(*x)));
            row.extend(patch.normal.iter().map(|x| short(*x)));
            row.push(short(patch.area * MM2));
            row.push(word(patch.shape));
            for (map, (_, _, unit)) in maps.iter().zip(PATCH_CHANNELS) {
                row.push(short(map[p] * unit));
            }
            let wear = &part.wear[p];
            row.extend([
                maybe(wear.depth_energy.map(|d| d * UM)),
                maybe(wear.depth_load.map(|d| d * UM)),
                short(wear.gloss_change),
                wear.chip.class.word().to_string(),
                maybe(part.patch_life[p]),
            ]);
            table.row(&row)?;
        }
    }
    table.bytes()
}

fn word(shape: mesh::figure::Shape) -> String {
    use mesh::figure::Shape;
    match shape {
        Shape::Tip => "tip",
        Shape::Edge => "edge",
        Shape::Face => "face",
        Shape::Hollow => "hollow",
    }
    .into()
}

/// `ledger.csv`: the energy books of every replicate of hard contact.
///
/// # Errors
/// Never for memory.
pub fn ledger(trial: &Trial) -> Result<Vec<u8>> {
    let mut table = Table::new(&[
        "exposure",
        "specimen",
        "replicate",
        "simulated_s",
        "work_walls_J",
        "work_gravity_J",
        "stored_J",
        "impact_J",
        "friction_J",
        "projection_J",
        "negative_pct",
        "residual_pct",
    ])?;
    for done in &trial.done {
        let exposure = &trial.scenario.exposures[done.id.exposure].name;
        let specimen = &trial.scenario.specimens[done.id.specimen].specimen.name;
        for (replicate, l) in done.outcome.ledgers.iter().enumerate() {
            let negative = l.share(-(l.negative_impact + l.negative_friction));
            table.row(&[
                exposure.clone(),
                specimen.clone(),
                replicate.to_string(),
                number(l.seconds),
                number(l.work_walls),
                number(l.work_gravity),
                number(l.stored),
                number(l.impact),
                number(l.friction),
                number(l.projection),
                number(negative * 100.0),
                number(l.residual_share() * 100.0),
            ])?;
        }
    }
    table.bytes()
}

/// `compare.csv`: one row per exposure and pair.
///
/// # Errors
/// Never for memory.
pub fn compares(compares: &[Comparison]) -> Result<Vec<u8>> {
    let mut table = Table::new(&[
        "exposure",
        "left",
        "right",
        "equal_treatment_ratio",
        "ratio_lo95",
        "ratio_hi95",
        "equal_energy_ratio",
        "rank_correlation",
        "seed_noise_ceiling",
        "top5_overlap_pct",
        "top5_overlap_ceiling_pct",
        "sentence",
    ])?;
    for c in compares {
        let interval = c.equal_treatment.interval;
        table.row(&[
            c.exposure.clone(),
            c.left.clone(),
            c.right.clone(),
            short(c.equal_treatment.value),
            maybe(interval.map(|i| i.0)),
            maybe(interval.map(|i| i.1)),
            short(c.equal_energy.value),
            short(c.rank_correlation),
            maybe(c.ceiling),
            short(c.top_overlap * 100.0),
            maybe(c.top_overlap_ceiling.map(|x| x * 100.0)),
            c.sentence.clone(),
        ])?;
    }
    table.bytes()
}

/// `match.csv`: the mix first, then the areas of the season.
///
/// # Errors
/// Never for memory.
pub fn matched(found: &Match) -> Result<Vec<u8>> {
    let mut table = Table::new(&[
        "kind",
        "name",
        "units_per_season",
        "unit",
        "share_of_bench_wear_pct",
        "service_depth_um_per_season",
        "bench_depth_um_per_season",
        "bench_over_service",
    ])?;
    for part in &found.mix {
        table.row(&[
            "bench exposure".into(),
            part.exposure.clone(),
            short(part.units),
            part.unit.plural().into(),
            short(part.share * 100.0),
            String::new(),
            String::new(),
            String::new(),
        ])?;
    }
    for area in &found.areas {
        table.row(&[
            "area".into(),
            area.words.clone(),
            String::new(),
            String::new(),
            String::new(),
            short(area.service * UM),
            short(area.bench * UM),
            short(area.ratio()),
        ])?;
    }
    table.bytes()
}

/// `reinforce.csv`: one row per step.
///
/// # Errors
/// Never for memory.
pub fn reinforced(found: &Reinforcement) -> Result<Vec<u8>> {
    let mut table = Table::new(&[
        "step",
        "measure",
        "life_seasons_median",
        "life_over_life_before",
        "area_to_coat_mm2",
        "seasons_gained_per_mm2",
    ])?;
    let now = ["0", "as it is"].map(String::from);
    let [step, measure] = now;
    let none = String::new;
    table.row(&[
        step,
        measure,
        short(found.seasons_now),
        none(),
        none(),
        none(),
    ])?;
    for (i, step) in found.greedy.iter().enumerate() {
        table.row(&[
            (i + 1).to_string(),
            step.measure.clone(),
            short(step.seasons),
            short(step.gain),
            short(step.surface * MM2),
            maybe(step.gain_per_surface.map(|g| g / MM2)),
        ])?;
    }
    table.bytes()
}

/// `whatif.csv`: one row per exposure and value.
///
/// # Errors
/// Never for memory.
pub fn whatifs(whatifs: &[WhatIf]) -> Result<Vec<u8>> {
    let mut table = Table::new(&[
        "exposure",
        "specimen",
        "key",
        "value",
        "total_friction_J_per_unit",
        "total_lo95",
        "total_hi95",
        "hottest_J_m2",
        "hottest_area",
        "life_unit",
        "life_energy_law_median",
        "life_energy_law_lo90",
        "life_energy_law_hi90",
        "life_load_law_median",
        "life_load_law_lo90",
        "life_load_law_hi90",
        "elasticity",
        "top5_overlap_pct",
    ])?;
    for w in whatifs {
        for row in &w.rows {
            let (e, l) = (row.life_energy_law, row.life_load_law);
            table.row(&[
                w.exposure.clone(),
                w.specimen.clone(),
                w.key.clone(),
                number(row.value),
                short(row.total.mean),
                short(row.total.mean - row.total.half_width),
                short(row.total.mean + row.total.half_width),
                short(row.hottest),
                row.hottest_words.clone(),
                w.life_unit.clone(),
                maybe(e.map(|i| i.median)),
                maybe(e.map(|i| i.low)),
                maybe(e.map(|i| i.high)),
                maybe(l.map(|i| i.median)),
                maybe(l.map(|i| i.low)),
                maybe(l.map(|i| i.high)),
                maybe(row.elasticity),
                short(row.top_overlap * 100.0),
            ])?;
        }
    }
    table.bytes()
}
