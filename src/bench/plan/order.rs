//! Who is exposed when and under which name: blocks, codes, rotation.

use super::PlanSettings;
use crate::bench::design::{draw_codes, williams};
use crate::bench::files::{KeyRow, RoundRow, SpecimenRow, SystemRow};
use base::Result;
use base::random::Stream;
use rand::seq::SliceRandom;

/// One figure of every system in each block, in random order, and one blank per body material.
pub(super) fn allocate(settings: &PlanSettings, random: &mut Stream) -> Vec<SpecimenRow> {
    let mut rows = Vec::new();
    let blank_row = |system: &SystemRow, block: u32, role: &str, batch: String| SpecimenRow {
        specimen_id: String::new(),
        system_id: system.system_id.clone(),
        batch,
        block,
        role: role.into(),
        mass_g: None,
        cure_days: None,
        sprayed_on: String::new(),
    };
    for block in 1..=settings.figures_per_system as u32 {
        let mut order: Vec<&SystemRow> = settings.systems.iter().collect();
        order.shuffle(random);
        for system in order {
            let role = if system.system_id == settings.reference_system {
                "reference"
            } else {
                "test"
            };
            rows.push(blank_row(
                system,
                block,
                role,
                format!("{}-{block}", system.system_id),
            ));
        }
    }
    let mut bodies: Vec<&str> = Vec::new();
    for system in &settings.systems {
        if !bodies.contains(&system.body.as_str()) {
            bodies.push(&system.body);
            rows.push(blank_row(
                system,
                1,
                "blank",
                format!("{}-blank", system.system_id),
            ));
        }
    }
    for (i, row) in rows.iter_mut().enumerate() {
        row.specimen_id = format!("F{:02}", i + 1);
    }
    rows
}

/// A new code for every figure at every inspection, and second codes for the repeats.
pub(super) fn keys(
    settings: &PlanSettings,
    specimens: &[SpecimenRow],
    inspections: usize,
    random: &mut Stream,
) -> Result<Vec<KeyRow>> {
    let repeats = (specimens.len() as f64 * settings.repeats_pct / 100.0).ceil() as usize;
    let codes = draw_codes((specimens.len() + repeats) * inspections, random)?;
    let mut codes = codes.into_iter();
    let mut key = Vec::new();
    for inspection in 0..inspections {
        let mut again: Vec<usize> = (0..specimens.len()).collect();
        again.shuffle(random);
        let twice = again.into_iter().take(repeats);
        for specimen in (0..specimens.len()).chain(twice) {
            key.push(KeyRow {
                code: format!("c-{}", codes.next().unwrap_or_default()),
                specimen_id: specimens[specimen].specimen_id.clone(),
                inspection,
            });
        }
    }
    Ok(key)
}

/// Passes in Williams order, each interval starting at the next row of the design.
pub(super) fn rounds(
    settings: &PlanSettings,
    specimens: &[SpecimenRow],
    (inspections, units_per_pass): (&[f64], u32),
    key: &[KeyRow],
) -> Vec<RoundRow> {
    let mut rounds = Vec::new();
    for block in 1..=settings.figures_per_system as u32 {
        let of_block = |s: &&SpecimenRow| s.block == block && s.role != "blank";
        let members: Vec<&SpecimenRow> = specimens.iter().filter(of_block).collect();
        let design = williams(members.len());
        let mut pass = 0;
        for (i, step) in inspections.windows(2).enumerate() {
            let units = (step[1] - step[0]).round() as u32;
            let passes = units.div_ceil(units_per_pass);
            for p in 0..passes {
                let done = p * units_per_pass;
                let row = &design[pass as usize % design.len()];
                pass += 1;
                for (position, &member) in row.iter().enumerate() {
                    let id = &members[member].specimen_id;
                    let worn = key
                        .iter()
                        .find(|k| k.inspection == i + 1 && k.specimen_id == *id);
                    rounds.push(RoundRow {
                        block,
                        pass,
                        position: position as u32 + 1,
                        code: worn.map_or(String::new(), |k| k.code.clone()),
                        exposure_kind: settings.exposure_kind.clone(),
                        units: units_per_pass.min(units - done),
                        started: String::new(),
                        minutes: None,
                        operator: String::new(),
                        witness_loss_pct: None,
                        remark: String::new(),
                    });
                }
            }
        }
    }
    rounds
}

/// A random order of `count` things.
pub fn shuffled(count: usize, random: &mut Stream) -> Vec<usize> {
    let mut order: Vec<usize> = (0..count).collect();
    order.shuffle(random);
    order
}
