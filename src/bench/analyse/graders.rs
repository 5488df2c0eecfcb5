//! Graders: do they agree, do they know what they hold, do they see wear where there is none?

use crate::bench::files::{Bench, Grade};
use crate::bench::judge::{self, Level};
use crate::bench::scores::Means;
use base::Result;
use std::collections::BTreeMap;
use std::fmt::Write;

/// Agreement of graders, and whether they knew.
pub(super) fn agreement(bench: &Bench, grades: &[Grade], text: &mut String) -> Result<()> {
    let _ = writeln!(text, "GRADERS");
    let mut units: BTreeMap<(usize, String, usize), Vec<Option<f64>>> = BTreeMap::new();
    let count = bench.file.graders.len();
    for g in grades {
        let cells = units
            .entry((g.specimen, g.code.clone(), g.area))
            .or_insert_with(|| vec![None; count]);
        cells[g.grader] = g.grade.map(f64::from);
    }
    let mut specimens: BTreeMap<usize, Vec<Vec<Option<f64>>>> = BTreeMap::new();
    for ((specimen, _, _), cells) in &units {
        specimens.entry(*specimen).or_default().push(cells.clone());
    }
    if count >= 2 {
        let lists: Vec<Vec<Vec<Option<f64>>>> = specimens.into_values().collect();
        match judge::alpha_bootstrap(&lists, Level::Ordinal, 1000, bench.file.seed) {
            Ok(a) => {
                let word = match a.alpha {
                    v if v >= 0.80 => "good enough",
                    v if v >= 0.667 => "tentative: train with the reference strip",
                    _ => "too low: train with the reference strip and grade again",
                };
                let _ = writeln!(
                    text,
                    "Agreement (Krippendorff's alpha, ordinal) {:.3} (90 % over figures: {:.3} to {:.3}): {word}.",
                    a.alpha, a.low90, a.high90
                );
            }
            Err(e) => {
                let _ = writeln!(text, "Agreement: {}.", e.what());
            }
        }
        kappa(&units, text);
    }
    if let Some((right, made)) = bench.guesses()? {
        let b = judge::blinding(right, made, bench.systems.len())?;
        let _ = writeln!(
            text,
            "Blinding: {right} of {made} guesses right, {:.0} % by chance (exact p = {:.3}).{}",
            100.0 * b.chance,
            b.p_high,
            if b.p_high <= 0.05 {
                " The graders knew more than they should."
            } else {
                ""
            }
        );
    } else {
        let _ = writeln!(
            text,
            "Blinding: no guesses.csv (code, grader, system_id): whether the graders knew what they held is not known."
        );
    }
    text.push('\n');
    Ok(())
}

fn kappa(units: &BTreeMap<(usize, String, usize), Vec<Option<f64>>>, text: &mut String) {
    let mut table = vec![vec![0.0; 6]; 6];
    for cells in units.values() {
        if let (Some(a), Some(b)) = (cells[0], cells[1]) {
            table[a as usize][b as usize] += 1.0;
        }
    }
    if let Ok(k) = judge::weighted_kappa(&table, judge::Weights::Quadratic) {
        let _ = writeln!(
            text,
            "First two graders: quadratic weighted kappa {:.3} (standard error {:.3}, as if cells were independent).",
            k.kappa, k.ase
        );
    }
}

/// Blanks and the shadow area: they should read 0.
pub(super) fn controls(bench: &Bench, means: &Means, text: &mut String) {
    let _ = writeln!(text, "CONTROLS");
    let worst = |keep: &dyn Fn(usize, usize) -> bool| {
        let chosen = means.iter().filter(|((s, a, _), _)| keep(*s, *a));
        chosen.fold((0, 0.0_f64), |(n, m), (_, v)| (n + 1, m.max(*v)))
    };
    let blank = worst(&|s, _| bench.specimens[s].row.role == "blank");
    let shadow =
        worst(&|s, a| bench.areas[a].shadow == 1 && bench.specimens[s].row.role != "blank");
    for (name, (n, most)) in [("Blanks", blank), ("Areas that should get nothing", shadow)] {
        let word = match (n, most) {
            (0, _) => "none graded".to_owned(),
            (n, m) if m < 1.0 => format!("{n} cells, all below grade 1"),
            (n, m) => format!(
                "{n} cells, up to grade {m:.1}: light, graders or simulator see wear that is not there"
            ),
        };
        let _ = writeln!(text, "{name}: {word}.");
    }
    text.push('\n');
}
