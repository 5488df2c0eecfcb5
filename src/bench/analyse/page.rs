//! The analysis as a page to look at: words, grades over exposure, doses simulated and seen.

use super::simulator::ExpectedRow;
use crate::bench::files::Bench;
use crate::bench::model::Fit;
use crate::bench::sheet::picture;
use base::{Error, Result};
use minijinja::Environment;
use serde::Serialize;

const PAGE: &str = include_str!("../page.html");
/// [px] label column, panel, gap.
const LEFT: f64 = 70.0;
const PANEL: [f64; 2] = [170.0, 84.0];
const GAP: f64 = 10.0;
const TOP: f64 = 26.0;

#[derive(Serialize)]
struct Section {
    head: String,
    lines: Vec<String>,
}

#[derive(Serialize)]
struct Dot {
    x: f64,
    y: f64,
    words: String,
}

#[derive(Serialize)]
struct Panel {
    x: f64,
    y: f64,
    w: f64,
    h: f64,
    band: String,
    middle: String,
    dots: Vec<Dot>,
}

#[derive(Serialize)]
struct Words {
    x: f64,
    y: f64,
    anchor: &'static str,
    text: String,
}

#[derive(Serialize)]
struct Grid {
    width: f64,
    height: f64,
    columns: Vec<Words>,
    rows: Vec<Words>,
    panels: Vec<Panel>,
    ticks: Vec<Words>,
}

#[derive(Serialize)]
struct AreaLine {
    name: String,
    y: f64,
    p: f64,
    p_low: f64,
    p_high: f64,
    s: f64,
    s_low: f64,
    s_high: f64,
}

#[derive(Serialize)]
struct Doses {
    height: f64,
    foot: f64,
    grid: Vec<Words>,
    areas: Vec<AreaLine>,
}

#[derive(Serialize)]
struct Page<'a> {
    title: &'a str,
    unit: &'a str,
    rehearsed: bool,
    first: Vec<Section>,
    rest: Vec<Section>,
    grid: Grid,
    doses: Doses,
    picture: Option<String>,
}

/// The page, self-contained.
///
/// # Errors
/// A picture that cannot be read.
pub(super) fn page(
    bench: &Bench,
    (text, rehearsed): (&str, bool),
    expected: &[ExpectedRow],
    (fitted, areas): (&Fit, &[usize]),
) -> Result<String> {
    let mut sections = sections(text);
    sections
        .retain(|s| !(rehearsed && s.head.starts_with("REHEARSAL")) && s.head != bench.file.title);
    let rest = sections.split_off(sections.len().min(3));
    let values = Page {
        title: &bench.file.title,
        unit: &bench.file.exposure_unit,
        rehearsed,
        first: sections,
        rest,
        grid: grid(bench, expected, areas),
        doses: doses(bench, fitted, areas),
        picture: picture(&bench.folder)?,
    };
    let mut environment = Environment::new();
    let fail = |e: minijinja::Error| Error::refused(format!("cannot write the page: {e}"));
    environment.add_template("page.html", PAGE).map_err(fail)?;
    let template = environment.get_template("page.html").map_err(fail)?;
    template
        .render(minijinja::value::Serde(&values))
        .map_err(fail)
}

/// Blocks between empty lines: a heading and its lines.
fn sections(text: &str) -> Vec<Section> {
    let blocks = text.split("\n\n").map(str::trim).filter(|b| !b.is_empty());
    blocks
        .map(|block| {
            let mut lines = block.lines().map(str::to_owned);
            Section {
                head: lines.next().unwrap_or_default(),
                lines: lines.collect(),
            }
        })
        .collect()
}

fn words(x: f64, y: f64, anchor: &'static str, text: &str) -> Words {
    Words {
        x: tenth(x),
        y: tenth(y),
        anchor,
        text: text.to_owned(),
    }
}

fn tenth(v: f64) -> f64 {
    (10.0 * v).round() / 10.0
}

fn grid(bench: &Bench, expected: &[ExpectedRow], areas: &[usize]) -> Grid {
    let looks = &bench.file.inspections[1..];
    let logs: Vec<f64> = looks.iter().map(|n| n.ln()).collect();
    let (low, high) = (logs[0], logs[logs.len() - 1]);
    let across = |n: f64| match high > low {
        true => 12.0 + (PANEL[0] - 24.0) * (n.ln() - low) / (high - low),
        false => 0.5 * PANEL[0],
    };
    let up = |grade: f64| PANEL[1] - 8.0 - (PANEL[1] - 16.0) * grade / 5.0;
    let corner = |column: usize, row: usize| {
        [
            LEFT + column as f64 * (PANEL[0] + GAP),
            TOP + row as f64 * (PANEL[1] + GAP),
        ]
    };
    let mut panels = Vec::new();
    for (row, system) in bench.systems.iter().enumerate() {
        for (column, &area) in areas.iter().enumerate() {
            let [x, y] = corner(column, row);
            let own: Vec<&ExpectedRow> = expected
                .iter()
                .filter(|e| {
                    e.system_id == system.system_id && e.area_id == bench.areas[area].area_id
                })
                .collect();
            let point = |e: &ExpectedRow, grade: f64| {
                let at = [x + across(e.inspection_units), y + up(grade)].map(tenth);
                format!("{},{}", at[0], at[1])
            };
            let lower = own.iter().map(|e| point(e, e.lo90));
            let upper = own.iter().rev().map(|e| point(e, e.hi90));
            let middle = own.iter().map(|e| point(e, e.expected));
            let dot = |e: &&ExpectedRow| Dot {
                x: tenth(x + across(e.inspection_units)),
                y: tenth(y + up(e.observed)),
                words: format!(
                    "{} {} at {}: graded {:.2}, expected {:.2} ({:.2} to {:.2})",
                    e.system_id,
                    e.area_id,
                    e.inspection_units,
                    e.observed,
                    e.expected,
                    e.lo90,
                    e.hi90
                ),
            };
            panels.push(Panel {
                x: tenth(x),
                y: tenth(y),
                w: PANEL[0],
                h: PANEL[1],
                band: lower.chain(upper).collect::<Vec<_>>().join(" "),
                middle: middle.collect::<Vec<_>>().join(" "),
                dots: own.iter().map(dot).collect(),
            });
        }
    }
    let [width, height] = corner(areas.len(), bench.systems.len());
    let mut ticks = Vec::new();
    for column in 0..areas.len() {
        let x = corner(column, 0)[0];
        for (n, anchor) in [(looks[0], "start"), (looks[looks.len() - 1], "end")] {
            let place = if anchor == "start" {
                x + 4.0
            } else {
                x + PANEL[0] - 4.0
            };
            ticks.push(words(place, height + 8.0, anchor, &format!("{n}")));
        }
    }
    for row in 0..bench.systems.len() {
        let y = corner(0, row)[1];
        ticks.push(words(LEFT - 5.0, y + up(5.0) + 4.0, "end", "5"));
        ticks.push(words(LEFT - 5.0, y + up(0.0) + 4.0, "end", "0"));
    }
    let name = |(i, a): (usize, &usize)| {
        let x = corner(i, 0)[0] + 0.5 * PANEL[0];
        words(x, 16.0, "middle", &bench.areas[*a].area_id)
    };
    let system = |(i, s): (usize, &crate::bench::files::SystemRow)| {
        words(8.0, corner(0, i)[1] + 0.5 * PANEL[1], "start", &s.system_id)
    };
    Grid {
        width,
        height: height + 14.0,
        columns: areas.iter().enumerate().map(name).collect(),
        rows: bench.systems.iter().enumerate().map(system).collect(),
        panels,
        ticks,
    }
}

fn doses(bench: &Bench, fitted: &Fit, areas: &[usize]) -> Doses {
    let lines: Vec<(usize, [f64; 6])> = areas
        .iter()
        .enumerate()
        .map(|(i, &a)| {
            let row = &bench.areas[a];
            let dose = row.dose_j_m2_per_unit;
            let seen = fitted.of(|w| w.area[i].exp());
            let all = [
                dose,
                row.dose_lo90,
                row.dose_hi90,
                dose * seen.median,
                dose * seen.lo90,
                dose * seen.hi90,
            ];
            (a, all)
        })
        .collect();
    let values = || lines.iter().flat_map(|l| l.1).filter(|v| *v > 0.0);
    let low = values().fold(f64::INFINITY, f64::min).ln() - 0.1;
    let high = values().fold(0.0, f64::max).ln() + 0.1;
    let across =
        |v: f64| tenth(380.0 + 600.0 * (v.max(f64::MIN_POSITIVE).ln() - low) / (high - low));
    let ticks = (-6..9).flat_map(|p| [1.0, 2.0, 5.0].map(|m| m * 10_f64.powi(p)));
    let inside = ticks.filter(|v| v.ln() > low && v.ln() < high);
    let foot = 40.0 + 34.0 * lines.len() as f64;
    let line = |(i, (a, v)): (usize, &(usize, [f64; 6]))| {
        let row = &bench.areas[*a];
        AreaLine {
            name: format!("{} {}", row.area_id, row.words),
            y: 48.0 + 34.0 * i as f64,
            p: across(v[0]),
            p_low: across(v[1]),
            p_high: across(v[2]),
            s: across(v[3]),
            s_low: across(v[4]),
            s_high: across(v[5]),
        }
    };
    Doses {
        height: foot + 4.0,
        foot,
        grid: inside
            .map(|v| words(across(v), 16.0, "middle", &format!("{v}")))
            .collect(),
        areas: lines.iter().enumerate().map(line).collect(),
    }
}
