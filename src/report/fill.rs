//! Fills the page from a trial and its answers.

use super::footprints;
use super::heat::{common_scale, is_per_unit, maps};
use super::page::Page;
use super::page::data::{
    AreaRow, CompareRow, Curve, FigureShape, FootprintRow, HeatView, LedgerRow, NoteRow, Pane,
    PriorRow, SpecimenAreas, WhatIf,
};
use super::picture::{Scale, Spread};
use super::words;
use crate::reference::{Kind, show};
use crate::study::life::{CAVEAT, Interval, SCUFF_NOTE};
use crate::trial::{Answers, Trial};
use crate::wear::{End, Regime};
use base::{Note, Topic};
use base64::Engine;
use contact::rigid::Ledger;
use mesh::figure::Display;

/// Channels the page offers, most useful first.
const LAYERS: [&str; 4] = ["friction_J_m2", "film_lost_pct", "dent_J_m2", "peak_MPa"];

/// Everything about a run that is not in the trial.
#[derive(Debug, Clone, Default)]
pub struct Provenance {
    /// Name and value.
    pub rows: Vec<(String, String)>,
    /// Command that makes the report again.
    pub reproduce: String,
}

/// The page of a trial.
#[must_use]
pub fn page(trial: &Trial, answers: &Answers, display: &Display, from: Provenance) -> Page {
    let scenario = &trial.scenario;
    let areas = area_rows(trial, answers);
    Page {
        title: scenario.title.clone(),
        lead: lead(trial),
        questions: words::questions(trial),
        answers: words::answers(trial, answers),
        figure: FigureShape {
            name: trial.figure.name.clone(),
            vertices_mm: display.vertices_mm(),
            triangles: display.mesh.triangles.clone(),
        },
        views: views(trial, answers, display),
        areas,
        footprints: footprint_rows(trial),
        compare: answers.compares.iter().map(compare_row).collect(),
        whatif: answers.whatifs.iter().map(whatif).collect(),
        ledger: ledger_rows(trial),
        notes: notes(trial),
        priors: priors(trial),
        limits: limits(answers),
        cautions: cautions(trial),
        provenance: from.rows,
        reproduce: from.reproduce,
    }
}

fn lead(trial: &Trial) -> String {
    let masses: Vec<String> = trial
        .scenario
        .specimens
        .iter()
        .enumerate()
        .filter_map(|(s, plan)| {
            let done = trial.done.iter().find(|d| d.id.specimen == s)?;
            Some(format!(
                "\"{}\" ({}, {:.1} g)",
                plan.specimen.name,
                plan.specimen.body.name,
                done.mass * 1e3
            ))
        })
        .collect();
    format!(
        "The {}, {:.0} mm tall, as {}.",
        trial.figure.name,
        trial.figure.height() * 1e3,
        masses.join(" and ")
    )
}

fn views(trial: &Trial, answers: &Answers, display: &Display) -> Vec<HeatView> {
    let mut views = Vec::new();
    let mut first_row = 0;
    for (e, exposure) in trial.scenario.exposures.iter().enumerate() {
        let parts: Vec<usize> = (0..trial.done.len())
            .filter(|p| trial.done[*p].id.exposure == e)
            .collect();
        let maps: Vec<_> = parts.iter().map(|p| maps(trial, answers, *p)).collect();
        let mut areas_of = Vec::new();
        for p in &parts {
            let rows = &answers.parts[*p].areas;
            areas_of.push(SpecimenAreas {
                specimen: specimen_name(trial, *p),
                of_vertex: areas_of_corners(trial, rows, display, first_row),
            });
            first_row += rows.len() as u32;
        }
        let mut layers = Vec::new();
        for name in LAYERS {
            let values: Vec<Vec<f32>> = maps
                .iter()
                .filter_map(|m| m.iter().find(|m| m.name == name))
                .map(|m| display.values(&m.values))
                .collect();
            let shown: Vec<&[f32]> = values.iter().map(Vec::as_slice).collect();
            let per = if is_per_unit(name) {
                exposure.unit.singular()
            } else {
                ""
            };
            let Some(scale) = common_scale(name, per, &shown) else {
                continue;
            };
            let panes = values
                .into_iter()
                .enumerate()
                .map(|(i, values)| Pane {
                    name: areas_of[i].specimen.clone(),
                    areas: Some(i),
                    values,
                })
                .collect();
            layers.push(super::page::data::Layer { scale, panes });
        }
        layers.extend(ratios(answers, &exposure.name, display));
        views.push(HeatView {
            exposure: exposure.name.clone(),
            layers,
            areas_of,
        });
    }
    views
}

fn specimen_name(trial: &Trial, part: usize) -> String {
    let id = trial.done[part].id;
    trial.scenario.specimens[id.specimen].specimen.name.clone()
}

fn areas_of_corners(
    trial: &Trial,
    areas: &[crate::trial::AreaAnswer],
    display: &Display,
    first_row: u32,
) -> Vec<u32> {
    let mut of_patch = vec![0_u32; trial.figure.patches.len()];
    for (number, answer) in (first_row..).zip(areas) {
        for p in &answer.area.patches {
            of_patch[*p] = number + 1;
        }
    }
    (0..display.weights.len())
        .map(|v| display.patch_of(v).map_or(0, |p| of_patch[p.index()]))
        .collect()
}

/// A ratio map for each comparison under an exposure.
fn ratios(answers: &Answers, exposure: &str, display: &Display) -> Vec<super::page::data::Layer> {
    answers
        .compares
        .iter()
        .filter(|c| c.exposure == exposure)
        .map(|c| {
            let map: Vec<f64> = c
                .patches
                .iter()
                .map(|r| r.as_ref().map_or(f64::NAN, |r| r.value))
                .collect();
            super::page::data::Layer {
                scale: Scale {
                    label: format!("{} over {}", c.left, c.right),
                    unit: String::new(),
                    low: 0.05,
                    high: 20.0,
                    spread: Spread::Ratio,
                },
                panes: vec![Pane {
                    name: format!("{} / {}", c.left, c.right),
                    areas: None,
                    values: display.values(&map),
                }],
            }
        })
        .collect()
}

fn area_rows(trial: &Trial, answers: &Answers) -> Vec<AreaRow> {
    let mut rows = Vec::new();
    for (p, part) in answers.parts.iter().enumerate() {
        let exposure = &trial.scenario.exposures[part.exposure];
        for answer in &part.areas {
            let area = &answer.area;
            let life = words::life_of(answer, End::Colour);
            let end = |f: fn(&Interval) -> f64| life.as_ref().map(f).filter(|v| v.is_finite());
            rows.push(AreaRow {
                exposure: exposure.name.clone(),
                specimen: specimen_name(trial, p),
                rank: area.rank as u32,
                name: match words::catches(&trial.done[p], &area.patches) {
                    true => format!("{} (may catch)", area.words),
                    false => area.words.clone(),
                },
                place_mm: area.middle.map(|x| x * 1e3),
                area_mm2: area.surface * 1e6,
                dose_label: format!("friction work, J/m2 per {}", exposure.unit.singular()),
                dose: area.friction,
                dose_95: [
                    (area.rate.mean - area.rate.half_width).max(0.0),
                    area.rate.mean + area.rate.half_width,
                ],
                dose_share_pct: area.dose_share * 100.0,
                surface_share_pct: area.surface_share * 100.0,
                rank_certainty_pct: area.certainty.map(|c| c * 100.0),
                life: end(|l| l.median),
                life_90: [end(|l| l.low), end(|l| l.high)],
                life_unit: exposure.unit.plural().into(),
            });
        }
    }
    rows
}

/// Footprints, once for specimens that are pressed alike.
fn footprint_rows(trial: &Trial) -> Vec<FootprintRow> {
    let mut rows: Vec<FootprintRow> = Vec::new();
    for (p, done) in trial.done.iter().enumerate() {
        let alike = trial.done[..p].iter().any(|d| {
            d.id.exposure == done.id.exposure && d.outcome.footprints == done.outcome.footprints
        });
        // A picture that cannot be drawn is missing on the page; the folder tells why.
        if let (false, Ok(Some(png))) = (alike, footprints::sheet(trial, p, footprints::SMALL)) {
            let name = trial.name(done.id);
            rows.push(FootprintRow {
                words: format!("{name}: pressure footprints in kPa, {}", words::list(done)),
                png: base64::engine::general_purpose::STANDARD.encode(png),
            });
        }
    }
    rows
}

fn compare_row(c: &crate::study::Comparison) -> CompareRow {
    let interval = c.equal_treatment.interval.unwrap_or((f64::NAN, f64::NAN));
    CompareRow {
        exposure: c.exposure.clone(),
        left: c.left.clone(),
        right: c.right.clone(),
        sentence: c.sentence.clone(),
        ratio: c.equal_treatment.value,
        ratio_95: [interval.0, interval.1],
        spearman: Some(c.rank_correlation),
        spearman_ceiling: c.ceiling,
        overlap_pct: Some(c.top_overlap * 100.0),
    }
}

fn whatif(w: &crate::study::whatif::WhatIf) -> WhatIf {
    let curve = |name: &str, pick: fn(&crate::study::whatif::Row) -> Option<Interval>| Curve {
        name: name.into(),
        points: w
            .rows
            .iter()
            .filter_map(|r| pick(r).map(|i| [r.value, i.median, i.low, i.high]))
            .collect(),
    };
    WhatIf {
        title: format!("{}, {}: {}", w.exposure, w.specimen, w.key),
        sentence: w.sentence.clone(),
        x_label: w.key.clone(),
        y_label: format!(
            "{} until the paint of the hottest area is through",
            w.life_unit
        ),
        now: None,
        curves: vec![
            curve("wear per joule is the constant", |r| r.life_energy_law),
            curve("wear per load and path is the constant", |r| {
                r.life_load_law
            }),
        ],
    }
}

fn ledger_rows(trial: &Trial) -> Vec<LedgerRow> {
    let mut rows = Vec::new();
    for (p, done) in trial.done.iter().enumerate() {
        if done.outcome.ledgers.is_empty() {
            continue;
        }
        let all = Ledger::together(&done.outcome.ledgers);
        let residual = all.residual_share();
        rows.push(LedgerRow {
            exposure: trial.scenario.exposures[done.id.exposure].name.clone(),
            specimen: specimen_name(trial, p),
            replicates: done.outcome.ledgers.len() as u32,
            work_j: all.work_walls + all.work_gravity,
            stored_j: all.stored,
            impact_j: all.impact,
            friction_j: all.friction,
            residual_pct: residual * 100.0,
            verdict: match residual.abs() {
                r if r > contact::rigid::ledger::REFUSE => "refused",
                r if r > contact::rigid::ledger::WARN => "open by more than 1 %",
                _ => "closes",
            }
            .into(),
        });
    }
    rows
}

fn topic(topic: Topic) -> &'static str {
    match topic {
        Topic::Guess => "guess",
        Topic::Prior => "prior",
        Topic::Overruled => "your value",
        Topic::Mended => "mended",
        Topic::Limit => "limit",
        Topic::Caution => "caution",
    }
}

/// Every note of a trial once, each with the part it belongs to.
#[must_use]
pub fn all_notes(trial: &Trial) -> Vec<Note> {
    let mut notes: Vec<Note> = trial.figure.notes.clone();
    notes.extend(trial.scenario.notes.iter().cloned());
    for done in &trial.done {
        let name = trial.name(done.id);
        notes.extend(
            done.outcome
                .rate
                .notes
                .iter()
                .map(|n| Note::new(n.topic, format!("{name}: {}", n.text))),
        );
        notes.extend(done.treatment.notes.iter().cloned());
    }
    let mut seen = Vec::new();
    notes.retain(|n| {
        let new = !seen.contains(n);
        seen.push(n.clone());
        new
    });
    notes
}

fn notes(trial: &Trial) -> Vec<NoteRow> {
    all_notes(trial)
        .into_iter()
        .map(|n| NoteRow {
            topic: topic(n.topic).into(),
            text: n.text,
        })
        .collect()
}

/// Every value of the stock that the trial used.
fn priors(trial: &Trial) -> Vec<PriorRow> {
    let mut used: Vec<(usize, Kind, String)> = Vec::new();
    for (s, plan) in trial.scenario.specimens.iter().enumerate() {
        used.push((s, Kind::Body, plan.specimen.body.name.clone()));
        used.extend(
            plan.specimen
                .films
                .iter()
                .map(|f| (s, Kind::Film, f.material.name.clone())),
        );
    }
    used.extend(
        trial
            .scenario
            .exposures
            .iter()
            .map(|e| (0, Kind::Counterface, e.counterface.clone())),
    );
    let mut names: Vec<(Kind, String)> = Vec::new();
    let mut rows = Vec::new();
    for (s, kind, name) in used {
        if names.contains(&(kind, name.clone())) {
            continue;
        }
        if let Ok(entry) = trial.scenario.specimens[s].stock.entry(kind, &name) {
            for (property, known) in &entry.values {
                rows.push(PriorRow {
                    name: format!("{name}: {}", property.replace('_', " ")),
                    unit: show::unit_of(property).into(),
                    value: known.value,
                    range: [known.low, known.high],
                    grade: format!("{:?}", known.grade),
                    source: known.source.clone(),
                });
            }
        }
        names.push((kind, name));
    }
    rows
}

fn limits(answers: &Answers) -> Vec<String> {
    let mut limits = vec![CAVEAT.to_string()];
    let dented = answers
        .parts
        .iter()
        .flat_map(|p| &p.areas)
        .any(|a| a.regime == Regime::Dent);
    if dented {
        limits.push(SCUFF_NOTE.to_string());
    }
    limits.push(
        "Flat landings on several points at once have no agreed answer: by engine 0.85 to 0.96 of the fall energy is lost. Places are better known than amounts.".into(),
    );
    limits
}

fn cautions(trial: &Trial) -> Vec<String> {
    let mut cautions = Vec::new();
    for plan in &trial.scenario.specimens {
        let films = plan
            .specimen
            .films
            .iter()
            .map(|f| (Kind::Film, f.material.name.as_str()));
        let body = std::iter::once((Kind::Body, plan.specimen.body.name.as_str()));
        for (kind, name) in body.chain(films) {
            if let Ok(entry) = plan.stock.entry(kind, name) {
                cautions.extend(show::cautions(entry).unwrap_or_default());
            }
        }
    }
    let mut seen: Vec<String> = Vec::new();
    cautions.retain(|c| {
        let new = !seen.contains(c);
        seen.push(c.clone());
        new
    });
    cautions
}
