//! From grades to what tests and model take: one score per preparation, one reading per look.

use super::files::{Bench, Grade};
use super::model::{Prior, Reading, Trial};
use base::sum::sum;
use base::{Error, Note, Result, Topic};
use std::collections::{BTreeMap, BTreeSet};

/// Score of one preparation: sum over areas and inspections of the graders' mean grade.
#[derive(Debug, Clone, PartialEq)]
pub struct Score {
    /// Number of its system.
    pub system: usize,
    /// Session.
    pub block: u32,
    /// Preparation.
    pub batch: String,
    /// The score.
    pub value: f64,
    /// Codes of its figures at the last inspection graded.
    pub codes: Vec<String>,
}

/// Mean grade of a figure, area and inspection over graders and repeats.
pub type Means = BTreeMap<(usize, usize, usize), f64>;

/// Mean grades; chips and lifts are another channel and stay out.
#[must_use]
pub fn means(grades: &[Grade]) -> Means {
    let mut lists: BTreeMap<(usize, usize, usize), Vec<f64>> = BTreeMap::new();
    for g in grades.iter().filter(|g| g.kind == 'R' || g.kind == 'S') {
        if let Some(grade) = g.grade {
            lists
                .entry((g.specimen, g.area, g.inspection))
                .or_default()
                .push(f64::from(grade));
        }
    }
    let mean = |list: &Vec<f64>| sum(list.iter().copied()) / list.len() as f64;
    lists.iter().map(|(key, list)| (*key, mean(list))).collect()
}

/// Scores of all exposed preparations over the cells that every figure has; a figure retired with
/// half of its areas at 5 carries 5 from then on.
///
/// # Errors
/// No cell that all figures share.
pub fn scores(bench: &Bench, grades: &[Grade], notes: &mut Vec<Note>) -> Result<Vec<Score>> {
    let mut means = means(grades);
    let exposed: Vec<usize> = (0..bench.specimens.len())
        .filter(|s| bench.specimens[*s].row.role != "blank")
        .collect();
    let areas = score_areas(bench);
    let graded: BTreeSet<usize> = grades
        .iter()
        .map(|g| g.inspection)
        .filter(|i| *i > 0)
        .collect();
    carry_retired(&exposed, &areas, &graded, &mut means);
    let mut cells = Vec::new();
    let mut dropped = 0;
    for &inspection in &graded {
        for &area in &areas {
            let all = exposed
                .iter()
                .all(|s| means.contains_key(&(*s, area, inspection)));
            if all {
                cells.push((area, inspection));
            } else {
                dropped += 1;
            }
        }
    }
    if cells.is_empty() {
        return Err(Error::input(
            "no area has a grade for every figure at any inspection: there is no score to test",
        )
        .hint("grade the missing figures, or see bench record for the list of what is missing"));
    }
    if dropped > 0 {
        notes.push(Note::new(Topic::Limit, format!("{dropped} of {} cells (area and inspection) are not graded for every figure and stay out of the score", dropped + cells.len())));
    }
    Ok(by_preparation(bench, &exposed, grades, |s| {
        sum(cells.iter().map(|(a, i)| means[&(s, *a, *i)]))
    }))
}

/// Numbers of the areas that make the score.
#[must_use]
pub fn score_areas(bench: &Bench) -> Vec<usize> {
    let wanted = |i: &usize| bench.file.score_areas.contains(&bench.areas[*i].area_id);
    (0..bench.areas.len()).filter(wanted).collect()
}

fn carry_retired(exposed: &[usize], areas: &[usize], graded: &BTreeSet<usize>, means: &mut Means) {
    for &specimen in exposed {
        let mut retired = false;
        for &inspection in graded {
            let here = areas
                .iter()
                .filter(|a| means.contains_key(&(specimen, **a, inspection)));
            let present: Vec<usize> = here.copied().collect();
            if present.is_empty() && retired {
                for &area in areas {
                    means.insert((specimen, area, inspection), 5.0);
                }
            }
            let worn = present
                .iter()
                .filter(|a| means[&(specimen, **a, inspection)] >= 5.0)
                .count();
            retired |= 2 * worn >= areas.len();
        }
    }
}

/// Figures prepared together count once: their mean.
fn by_preparation(
    bench: &Bench,
    exposed: &[usize],
    grades: &[Grade],
    score: impl Fn(usize) -> f64,
) -> Vec<Score> {
    let mut groups: BTreeMap<(usize, String), Vec<usize>> = BTreeMap::new();
    for &s in exposed {
        let specimen = &bench.specimens[s];
        groups
            .entry((specimen.system, specimen.row.batch.clone()))
            .or_default()
            .push(s);
    }
    let last = |s: usize| {
        let of = grades.iter().filter(|g| g.specimen == s);
        of.max_by_key(|g| g.inspection).map(|g| g.code.clone())
    };
    groups
        .into_iter()
        .map(|((system, batch), figures)| Score {
            system,
            block: bench.specimens[figures[0]].row.block,
            batch,
            value: sum(figures.iter().map(|s| score(*s))) / figures.len() as f64,
            codes: figures.iter().filter_map(|s| last(*s)).collect(),
        })
        .collect()
}

/// The trial the model is fitted to, and its prior.
///
/// # Errors
/// As [`Trial::check`].
pub fn trial(
    bench: &Bench,
    grades: &[Grade],
    notes: &mut Vec<Note>,
) -> Result<(Trial, Prior, Vec<usize>)> {
    let exposed: Vec<usize> = (0..bench.specimens.len())
        .filter(|s| bench.specimens[*s].row.role != "blank")
        .collect();
    let areas: Vec<usize> = (0..bench.areas.len())
        .filter(|a| bench.areas[*a].dose_j_m2_per_unit > 0.0)
        .collect();
    let chips = grades
        .iter()
        .filter(|g| matches!(g.kind, 'C' | 'L'))
        .count();
    if chips > 0 {
        notes.push(Note::new(Topic::Limit, format!("{chips} readings of chipped or lifted paint stay out of the wear fit: another cause")));
    }
    let place = |list: &[usize], v: usize| list.iter().position(|x| *x == v);
    let mut readings = Vec::new();
    for g in grades.iter().filter(|g| g.kind == 'R' && g.inspection > 0) {
        let cell = place(&exposed, g.specimen).zip(place(&areas, g.area));
        if let (Some((specimen, area)), Some(grade)) = (cell, g.grade) {
            readings.push(Reading {
                specimen,
                area,
                inspection: g.inspection - 1,
                grader: g.grader,
                grade,
            });
        }
    }
    let mut prior = Prior {
        pivot: pivot(&bench.file.inspections),
        ..Prior::default()
    };
    if bench.file.spread_inside_ln > 0.0 {
        prior = prior.with_spread_inside(bench.file.spread_inside_ln);
    }
    let log_sd = |a: &usize| {
        let row = &bench.areas[*a];
        let ratio = row.dose_hi90 / row.dose_lo90;
        if row.dose_lo90 > 0.0 && ratio > 1.0 {
            ratio.ln() / (2.0 * base::known::Z95)
        } else {
            0.0
        }
    };
    let trial = Trial {
        centre: centres(bench)?,
        factors: factors(bench),
        system_of: exposed.iter().map(|s| bench.specimens[*s].system).collect(),
        ln_dose: areas
            .iter()
            .map(|a| bench.areas[*a].dose_j_m2_per_unit.ln())
            .collect(),
        ln_dose_sd: areas.iter().map(log_sd).collect(),
        exposure: bench.file.inspections[1..].to_vec(),
        graders: bench.file.graders.len(),
        readings,
    };
    trial.check()?;
    Ok((trial, prior, areas))
}

/// The middle of the inspections on the logarithmic scale.
fn pivot(inspections: &[f64]) -> f64 {
    let logs = inspections[1..].iter().map(|n| n.ln());
    (sum(logs) / (inspections.len() - 1) as f64).exp()
}

fn centres(bench: &Bench) -> Result<Vec<f64>> {
    bench
        .systems
        .iter()
        .map(|s| {
            let prior = bench.file.prior.iter().find(|p| p.system_id == s.system_id);
            let prior = prior.ok_or_else(|| {
                Error::input(format!(
                    "bench.toml has no prior wear rate for system {}",
                    s.system_id
                ))
            })?;
            let (k, h) = (prior.k_e_mm3_per_j * 1e-9, s.film_um_median * 1e-6);
            if !(k > 0.0 && h > 0.0) {
                return Err(Error::input(format!(
                    "system {} needs a wear rate and a film thickness above 0",
                    s.system_id
                )));
            }
            Ok((k / h).ln())
        })
        .collect()
}

/// What may differ between systems, in words.
fn traits(s: &super::files::SystemRow) -> [String; 4] {
    let words = |what: &str, rest: &[&str]| {
        let rest: Vec<&str> = rest.iter().filter(|r| !r.is_empty()).copied().collect();
        format!("{what} {}", rest.join(" "))
    };
    let coats = match s.topcoat_coats {
        0 => String::new(),
        n => format!("x{n}"),
    };
    [
        words("body", &[&s.body]),
        words("primer", &[&s.primer_kind, &s.primer_method]),
        words("paint", &[&s.paint_method]),
        words("topcoat", &[&s.topcoat_kind, &coats]),
    ]
}

/// The levels that are not the first system's, each with the level it stands against.
#[must_use]
pub fn factor_levels(bench: &Bench) -> Vec<(String, String)> {
    let all: Vec<[String; 4]> = bench.systems.iter().map(traits).collect();
    let mut levels: Vec<(String, String)> = Vec::new();
    for system in &all {
        for (base, level) in all[0].iter().zip(system) {
            let pair = (base.clone(), level.clone());
            if base != level && !levels.contains(&pair) {
                levels.push(pair);
            }
        }
    }
    levels
}

/// Factor columns: one per level that is not the first system's.
fn factors(bench: &Bench) -> Vec<Vec<f64>> {
    let levels = factor_levels(bench);
    let row = |s: &super::files::SystemRow| {
        let own = traits(s);
        let has = |(_, level): &(String, String)| f64::from(u8::from(own.contains(level)));
        levels.iter().map(has).collect()
    };
    bench.systems.iter().map(row).collect()
}
