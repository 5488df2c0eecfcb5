//! What the plan tells before anyone paints.

use super::PlanSettings;
use super::outlook::{FACTORS, OutlookRow, RUNS};
use crate::bench::design::{imbalance, smallest_n_for_holm};
use crate::bench::exact::Side;
use crate::bench::files::{BenchFile, Comparison, RoundRow, SpecimenRow};
use std::fmt::Write;

/// \[h\] handling a day that hands stand (common practice, no source).
const HANDLING_A_DAY: f64 = 1.5;
/// A chance from which a plan is worth painting for (usual in the design of trials).
const ENOUGH: f64 = 80.0;

/// \[s\] of one unit of exposure: 1.3 pick-ups a second, a stroke a second, machine minutes.
fn seconds_per_unit(unit: &str) -> Option<f64> {
    match unit {
        "pick-ups" => Some(1.0 / 1.3),
        "strokes" => Some(1.0),
        "minutes" => Some(60.0),
        _ => None,
    }
}

/// \[h\] exposing, grading at a minute a sheet and photographs, with `n` figures per system.
pub(super) fn hours(settings: &PlanSettings, grid: &[f64], n: usize) -> [f64; 3] {
    let exposed = (settings.systems.len() * n) as f64;
    let mut bodies: Vec<&str> = settings.systems.iter().map(|s| s.body.as_str()).collect();
    bodies.sort_unstable();
    bodies.dedup();
    let looks = grid.len() as f64 * (exposed + bodies.len() as f64);
    let again = 1.0 + settings.repeats_pct / 100.0;
    let last = grid.last().copied().unwrap_or(0.0);
    let seconds = seconds_per_unit(&settings.exposure_unit).unwrap_or(1.0);
    [
        exposed * last * seconds / 3600.0,
        looks * again * settings.graders.len() as f64 / 60.0,
        looks / 60.0,
    ]
}

/// The plan in words.
pub(super) fn said(
    settings: &PlanSettings,
    file: &BenchFile,
    specimens: &[SpecimenRow],
    rounds: &[RoundRow],
    outlook: &[OutlookRow],
) -> String {
    let mut text = String::new();
    let blanks = specimens.iter().filter(|s| s.role == "blank").count();
    let n = settings.figures_per_system;
    let looks: Vec<String> = file.inspections.iter().map(|i| format!("{i}")).collect();
    let _ = writeln!(
        text,
        "{}\n{} systems, {n} figure{} each, and {blanks} blank{}; looks at {} {}.",
        settings.title,
        settings.systems.len(),
        plural(n),
        plural(blanks),
        looks.join(", "),
        settings.exposure_unit
    );
    let [handling, grading, photos] = hours(settings, &file.inspections, n);
    let known = seconds_per_unit(&settings.exposure_unit).is_some();
    let _ = writeln!(
        text,
        "Time: about {handling:.1} h of exposure{}, {grading:.1} h of grading at a minute a sheet, {photos:.1} h of photographs.",
        if known {
            ""
        } else {
            " if one unit takes a second"
        }
    );
    if settings.exposure_kind == "handle" && handling > HANDLING_A_DAY {
        let _ = writeln!(
            text,
            "Hands stand about {HANDLING_A_DAY} h of it a day, with ten minutes of rest in every thirty: {:.0} days.",
            (handling / HANDLING_A_DAY).ceil()
        );
    }
    let passes = rounds.iter().map(|r| r.pass).max().unwrap_or(0) as usize;
    let uneven = imbalance(settings.systems.len(), 0, passes);
    let _ = writeln!(
        text,
        "{passes} passes of up to {} {} per block; positions uneven by {uneven} at most.",
        file.units_per_pass, settings.exposure_unit
    );
    questions(settings, outlook, &mut text);
    let _ = writeln!(
        text,
        "Key: SHA-256 {}. Keep key.csv closed until the grades are frozen.",
        file.key_sha256
    );
    spread_of_areas(settings, &mut text);
    text
}

fn plural(n: usize) -> &'static str {
    if n == 1 { "" } else { "s" }
}

/// What the benches of an outlook assume, in words.
fn assumed(c: &Comparison, ratio: f64) -> String {
    if c.test.of_any() {
        format!("if one wears {ratio} times as fast as the rest")
    } else if c.systems.len() == 2 {
        format!("if \"{}\" wears {ratio} times as fast", c.systems[1])
    } else {
        format!("if each wears {ratio} times as fast as the one before")
    }
}

/// A table per declared question: figures, smallest p, chances, hours; and what would do.
fn questions(settings: &PlanSettings, outlook: &[OutlookRow], text: &mut String) {
    if settings.family.is_empty() {
        let _ = writeln!(
            text,
            "No comparison is declared: everything will be labelled as looked at afterwards."
        );
        return;
    }
    let family = settings.family.len();
    let level = settings.alpha / family as f64;
    let _ = writeln!(
        text,
        "\nWHAT IT COULD SHOW ({RUNS} benches simulated for each chance, levels as planned, scatter by the priors; give or take 7 points)"
    );
    for c in &settings.family {
        let own: Vec<&OutlookRow> = outlook.iter().filter(|r| r.question == c.name).collect();
        let first: Vec<&&OutlookRow> = own.iter().filter(|r| r.wear_ratio == FACTORS[0]).collect();
        let _ = writeln!(
            text,
            "{}: the smallest p this design can give is {}; it must be at most {}{}.",
            c.name,
            small(floor_at(&own, settings.figures_per_system)),
            small(level),
            if family > 1 {
                format!(" ({} shared among {family} questions)", settings.alpha)
            } else {
                String::new()
            }
        );
        let line = |head: &str, cell: &dyn Fn(&OutlookRow) -> String, rows: &[&&OutlookRow]| {
            let cells: String = rows.iter().map(|r| format!("{:>9}", cell(r))).collect();
            format!("  {head:<66}{cells}\n")
        };
        text.push_str(&line(
            "figures of each system",
            &|r| r.figures_per_system.to_string(),
            &first,
        ));
        text.push_str(&line("smallest p", &|r| small(r.smallest_p), &first));
        for ratio in FACTORS {
            let rows: Vec<&&OutlookRow> = own.iter().filter(|r| r.wear_ratio == ratio).collect();
            let head = format!("chance to show it {}", assumed(c, ratio));
            text.push_str(&line(&head, &|r| format!("{:.0} %", r.chance_pct), &rows));
        }
        text.push_str(&line(
            "hours in all",
            &|r| format!("{:.1}", r.hours),
            &first,
        ));
        let _ = writeln!(text, "  {}", advice(settings, c, &own, level));
    }
    text.push('\n');
}

fn floor_at(rows: &[&OutlookRow], n: usize) -> f64 {
    let found = rows.iter().find(|r| r.figures_per_system == n);
    found.map_or(f64::NAN, |r| r.smallest_p)
}

/// Is it worth painting for, and what would be cheaper?
fn advice(settings: &PlanSettings, c: &Comparison, rows: &[&OutlookRow], level: f64) -> String {
    let n = settings.figures_per_system;
    let mut text = String::new();
    if floor_at(rows, n) > level {
        let need = smallest_n_for_holm(settings.family.len(), settings.alpha, c.side == Side::Two);
        let _ = write!(
            text,
            "It cannot be shown at {} with {n} figure{} each, whatever comes out. A pair of systems would need {need} each; one declared order of 4 or more systems needs 1. ",
            settings.alpha,
            plural(n)
        );
    }
    let enough = |ratio: f64| {
        let mut own = rows.iter().filter(|r| r.wear_ratio == ratio);
        own.find(|r| r.chance_pct >= ENOUGH)
    };
    match (enough(FACTORS[0]), enough(FACTORS[1])) {
        (Some(r), _) => {
            let _ = write!(
                text,
                "Cheapest with a chance of {ENOUGH} % {}: {} each, {:.1} h in all.",
                assumed(c, FACTORS[0]),
                r.figures_per_system,
                r.hours
            );
        }
        (None, Some(r)) => {
            let _ = write!(
                text,
                "A ratio of {} is out of reach here; {} {} each do, {:.1} h in all.",
                FACTORS[0],
                assumed(c, FACTORS[1]),
                r.figures_per_system,
                r.hours
            );
        }
        (None, None) => {
            let _ = write!(
                text,
                "None of these sizes has a chance of {ENOUGH} %: expose longer, declare an order instead of any difference, or ask fewer questions."
            );
        }
    }
    text
}

fn small(p: f64) -> String {
    if p >= 0.001 {
        format!("{p:.4}")
    } else {
        format!("{p:.1e}")
    }
}

fn spread_of_areas(settings: &PlanSettings, text: &mut String) {
    let doses: Vec<f64> = settings
        .areas
        .iter()
        .map(|a| a.dose_J_m2_per_unit)
        .filter(|d| *d > 0.0)
        .collect();
    let (low, high) = doses
        .iter()
        .fold((f64::INFINITY, 0.0_f64), |(l, h), d| (l.min(*d), h.max(*d)));
    let span = (high / low).ln();
    if span < 1.5 {
        let _ = writeln!(
            text,
            "The areas' doses span a factor of {:.1} only; 4.5 or more tells dose from luck.",
            span.exp()
        );
    }
    if doses.len() == settings.areas.len() {
        let _ = writeln!(
            text,
            "There is no area that should get nothing: add one (dose 0) as a check of light, graders and simulator."
        );
    }
    for a in settings
        .areas
        .iter()
        .filter(|a| a.area_mm2 < 1.0 || a.rank_certainty_pct < 80.0)
    {
        let _ = writeln!(
            text,
            "Area {} ({}): {:.1} mm2, rank certain to {:.0} %: 1 mm2 and 80 % are asked for.",
            a.area_id, a.words, a.area_mm2, a.rank_certainty_pct
        );
    }
}
