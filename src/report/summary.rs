//! `summary.json`: every number of the report, units in the keys.

use super::fill::all_notes;
use super::words;
use crate::trial::{Answers, EndLife, PartAnswer, Trial};
use base::stats::Estimate;
use contact::dose::Channel;
use contact::rigid::Ledger;
use serde_json::{Value, json};

/// Raised when a key changes its meaning.
pub const SCHEMA: u32 = 1;

/// The summary as a JSON value.
#[must_use]
pub fn summary(trial: &Trial, answers: &Answers, provenance: &[(String, String)]) -> Value {
    let figure = &trial.figure;
    let from: serde_json::Map<String, Value> = provenance
        .iter()
        .map(|(name, value)| (name.clone(), json!(value)))
        .collect();
    let parts: Vec<Value> = answers
        .parts
        .iter()
        .enumerate()
        .map(|(p, part)| part_value(trial, p, part))
        .collect();
    json!({
        "schema": SCHEMA,
        "title": trial.scenario.title,
        "provenance": from,
        "figure": {
            "name": figure.name,
            "height_mm": figure.height() * 1e3,
            "triangles": figure.mesh.triangles.len(),
            "patches": figure.patches.len(),
            "hull_corners": figure.hull.len(),
            "volume_mm3": figure.solid.volume * 1e9,
            "volume_found_by": figure.solid.method,
            "surface_mm2": figure.surface.area() * 1e6,
        },
        "answers": words::answers(trial, answers),
        "parts": parts,
        "compares": answers.compares.iter().map(|c| json!({
            "exposure": c.exposure, "left": c.left, "right": c.right,
            "equal_treatment_ratio": c.equal_treatment.value,
            "equal_treatment_interval95": c.equal_treatment.interval,
            "equal_energy_ratio": c.equal_energy.value,
            "rank_correlation": c.rank_correlation,
            "seed_noise_ceiling": c.ceiling,
            "top5_overlap": c.top_overlap,
            "movers": c.movers,
            "sentence": c.sentence,
        })).collect::<Vec<_>>(),
        "whatifs": answers.whatifs,
        "notes": all_notes(trial),
    })
}

fn estimate(e: Estimate) -> Value {
    json!({ "mean": e.mean, "half_width95": e.half_width })
}

fn part_value(trial: &Trial, p: usize, part: &PartAnswer) -> Value {
    let done = &trial.done[p];
    let exposure = &trial.scenario.exposures[part.exposure];
    let rate = &done.outcome.rate;
    let ledger = (!done.outcome.ledgers.is_empty()).then(|| {
        let all = Ledger::together(&done.outcome.ledgers);
        json!({
            "simulated_s": all.seconds,
            "work_walls_J": all.work_walls,
            "work_gravity_J": all.work_gravity,
            "stored_J": all.stored,
            "impact_J": all.impact,
            "friction_J": all.friction,
            "projection_J": all.projection,
            "residual_pct": all.residual_share() * 100.0,
        })
    });
    json!({
        "exposure": exposure.name,
        "specimen": trial.scenario.specimens[part.specimen].specimen.name,
        "mass_g": done.mass * 1e3,
        "amount": exposure.amount,
        "unit": exposure.unit.plural(),
        "friction_coefficient": done.treatment.outer_friction().map(|f| f.value),
        "replicates": rate.replicates.len(),
        "friction_J_per_unit": estimate(rate.total(Channel::Friction)),
        "impact_J_per_unit": estimate(rate.total(Channel::Impact)),
        "dent_J_per_unit": estimate(rate.total(Channel::Dent)),
        "figure_lives": lives(&part.figure),
        "areas": part.areas.iter().map(|a| json!({
            "rank": a.area.rank,
            "area": a.area.words,
            "middle_mm": a.area.middle.map(|x| x * 1e3),
            "surface_mm2": a.area.surface * 1e6,
            "friction_J_m2": a.area.friction,
            "impact_J_m2": a.area.impact,
            "dent_J_m2": a.area.dent,
            "peak_MPa": a.area.peak * 1e-6,
            "dose_share": a.area.dose_share,
            "surface_share": a.area.surface_share,
            "rank_certainty": a.area.certainty,
            "cannot_be_told_apart_from_next": a.area.tied_with_next,
            "kind_of_contact": a.regime.words(),
            "lives": lives(&a.lives),
            "life_interval_made_of": a.parts.iter()
                .map(|s| json!({ "part": s.part.words(), "share": s.share })).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "energy_ledger": ledger,
    })
}

fn lives(lives: &[EndLife]) -> Value {
    lives
        .iter()
        .map(|l| json!({ "end": l.end.words(), "life": l.life }))
        .collect()
}
