//! A page with a made-up field on the demo figure, for `tests/browser/check.mjs`: the values are not
//! results, only easy to check. `cargo run --example page -- FOLDER [TRIANGLES]`.

use base::Error;
use base::atomic;
use mesh::figure::sculpt::porter;
use thumbworn::report::page::{data::*, render};
use thumbworn::report::picture::{Scale, Sheet, Spread, Surface, four_views, turntable};

/// Places the made-up wear is centred on, mm.
const TIPS: [(&str, [f32; 3], f32); 6] = [
    (
        "tip of the spike, front left, 39 mm up",
        [8.0, -4.3, 38.9],
        1.0,
    ),
    (
        "bend of the hook, front left, 37 mm up",
        [9.6, -4.3, 37.2],
        0.72,
    ),
    (
        "hat brim \"front\", right, 28 mm up",
        [-3.6, -4.6, 27.6],
        0.5,
    ),
    (
        "roof of the lantern, front right, 16 mm up",
        [-9.1, -7.0, 15.5],
        0.38,
    ),
    ("knuckles, front right, 22 mm up", [-9.0, -5.6, 21.9], 0.27),
    ("rim of the base, back, 2 mm up", [0.0, 12.3, 1.8], 0.2),
];

fn field(p: &[f32; 3], power: f32) -> f32 {
    let near = |(_, c, w): &(&str, [f32; 3], f32)| {
        let d2: f32 = p.iter().zip(c).map(|(a, b)| (a - b).powi(2)).sum();
        w * (-d2 / 4.5).exp()
    };
    let high = TIPS.iter().map(near).sum::<f32>() * 180.0 * power;
    if high < 0.05 { 0.0 } else { high }
}

fn scale(label: &str, unit: &str, range: [f64; 2], spread: Spread) -> Scale {
    Scale {
        label: label.into(),
        unit: unit.into(),
        low: range[0],
        high: range[1],
        spread,
    }
}

fn pane(name: &str, areas: Option<usize>, values: Vec<f32>) -> Pane {
    Pane {
        name: name.into(),
        areas,
        values,
    }
}

fn area_rows(exposure: &str, specimen: &str, power: f64, unit: &str) -> Vec<AreaRow> {
    let rows = TIPS.iter().enumerate();
    rows.map(|(i, (name, at, w))| {
        let dose = 180.0 * f64::from(*w) * power;
        let life = 5200.0 / dose;
        AreaRow {
            exposure: exposure.into(),
            specimen: specimen.into(),
            rank: i as u32 + 1,
            name: (*name).into(),
            place_mm: at.map(f64::from),
            area_mm2: 3.1 + 0.4 * i as f64,
            dose_label: "J/m2 friction work".into(),
            dose,
            dose_95: [0.93 * dose, 1.07 * dose],
            dose_share_pct: 31.0 / (1.0 + i as f64),
            surface_share_pct: 0.1 + 0.02 * i as f64,
            rank_certainty_pct: Some(if i == 3 { 54.0 } else { 99.0 - 6.0 * i as f64 }),
            life: (i < 5).then_some(life),
            life_90: [Some(life * 0.3), (i < 5).then_some(life * 3.4)],
            life_unit: unit.into(),
        }
    })
    .collect()
}

fn view(
    shape: &FigureShape,
    name: &str,
    first_row: usize,
    power: f32,
    specimens: [&str; 2],
) -> HeatView {
    let on =
        |power: f32| -> Vec<f32> { shape.vertices_mm.iter().map(|v| field(v, power)).collect() };
    let (heavy, light) = (on(power), on(power / 7.1));
    let ratio = heavy
        .iter()
        .zip(&light)
        .map(|(a, b)| if *b > 0.0 { a / b } else { f32::NAN })
        .collect();
    let height = || shape.vertices_mm.iter().map(|v| v[2]).collect::<Vec<f32>>();
    let areas = |start: usize| -> Vec<u32> {
        shape
            .vertices_mm
            .iter()
            .map(|v| {
                let near =
                    |c: &[f32; 3]| v.iter().zip(c).map(|(a, b)| (a - b).powi(2)).sum::<f32>() < 3.2;
                TIPS.iter()
                    .position(|t| near(&t.1))
                    .map_or(0, |i| (start + i + 1) as u32)
            })
            .collect()
    };
    let list = |i: usize, start| SpecimenAreas {
        specimen: specimens[i].into(),
        of_vertex: areas(start),
    };
    HeatView {
        exposure: name.into(),
        layers: vec![
            Layer {
                scale: scale("Friction work", "J/m2", [0.1, 200.0], Spread::Log),
                panes: vec![
                    pane(specimens[0], Some(0), heavy),
                    pane(specimens[1], Some(1), light),
                ],
            },
            Layer {
                scale: scale("Height", "mm", [0.0, 40.0], Spread::Linear),
                panes: vec![
                    pane(specimens[0], Some(0), height()),
                    pane(specimens[1], Some(1), height()),
                ],
            },
            Layer {
                scale: scale("Ratio, left to right", "", [0.1, 10.0], Spread::Ratio),
                panes: vec![pane(
                    &format!("{} / {}", specimens[0], specimens[1]),
                    Some(0),
                    ratio,
                )],
            },
        ],
        areas_of: vec![list(0, first_row), list(1, first_row + TIPS.len())],
    }
}

fn curve(name: &str, power: f64) -> Curve {
    let points = (0..=9).map(|i| {
        let mu = 0.15 + 0.05 * f64::from(i);
        let y = (mu / 0.35).powf(power);
        [mu, y, y * 0.82, y * 1.21]
    });
    Curve {
        name: name.into(),
        points: points.collect(),
    }
}

fn made_up(triangles: usize) -> Page {
    let mesh = porter(triangles);
    let shape = FigureShape {
        name: "Ferry porter".into(),
        vertices_mm: mesh
            .vertices
            .iter()
            .map(|v| [v.x as f32, v.y as f32, v.z as f32])
            .collect(),
        triangles: mesh.triangles,
    };
    let specimens = ["metal, satin", "<img src=x onerror=alert(1)>"];
    let exposures = [
        ("lunch box, 3 min", 1.0_f32, "minutes"),
        ("foam wipe, 100 strokes", 0.4, "strokes"),
    ];
    let mut page = Page {
        title: "Made-up field on the ferry porter".into(),
        lead: "The figure that ships, 39 mm tall, as pewter and as plastic under the same four coats. The numbers on this page are made up to try the page itself.".into(),
        questions: ["Which places wear first, and how soon?", "How much worse does the heavy one fare?", "Would a slicker topcoat help?"].map(String::from).to_vec(),
        answers: [
            "In the lunch box the tip of the spike wears first: bare after 29 minutes (90 % between 9 and 98).",
            "The pewter figure takes 7.1 times the friction work of the plastic one (95 % between 6.6 and 7.7), on the same places.",
            "Halving the topcoat's friction cuts wear to 0.52 of today's by the energy law; by the load law it only moves.",
        ].map(String::from).to_vec(),
        limits: ["Lives from rubbing machines do not convert to finger touches: calibrate with two coupons.", "Flat landings on several points have no agreed answer: losses there are uncertain by a tenth."].map(String::from).to_vec(),
        cautions: ["Old castings may hold lead: no dry sanding, wash hands, keep dust off food. The label, the safety data sheet and local rules come first."].map(String::from).to_vec(),
        provenance: [("Program", "thumbworn 0.1.0"), ("Random stream", "1"), ("Figure", "blake3 6f1e..."), ("Date", "2026-01-01")].map(|(a, b)| (a.to_string(), b.to_string())).to_vec(),
        reproduce: "thumbworn run scenarios/porter.toml --seed 1".into(),
        ..Page::default()
    };
    for (number, (name, power, unit)) in exposures.iter().enumerate() {
        let first = page.areas.len();
        for (i, specimen) in specimens.iter().enumerate() {
            let p = f64::from(*power) / [1.0, 7.1][i];
            page.areas.extend(area_rows(name, specimen, p, unit));
            page.ledger.push(LedgerRow {
                exposure: (*name).into(),
                specimen: (*specimen).into(),
                replicates: 24,
                work_j: 3.21 * p,
                stored_j: 0.002 * p,
                impact_j: 2.18 * p,
                friction_j: 1.03 * p,
                residual_pct: 0.04,
                verdict: "closes".into(),
            });
        }
        page.compare.push(CompareRow {
            exposure: (*name).into(),
            left: specimens[0].into(),
            right: specimens[1].into(),
            sentence: format!("{name}: the left one takes 7.1 times the dose (95 % between 6.6 and 7.7), on the same places."),
            ratio: 7.1,
            ratio_95: [6.6, 7.7],
            spearman: Some(0.93),
            spearman_ceiling: Some(0.94),
            overlap_pct: (number == 0).then_some(88.0),
        });
        page.views
            .push(view(&shape, name, first, *power, specimens));
    }
    page.whatif.push(WhatIf {
        title: "Friction of the topcoat, foam wipe".into(),
        sentence: "Halving friction cuts wear to 0.52 of today's by the energy law; the load law sees almost no change.".into(),
        x_label: "friction of the topcoat".into(),
        y_label: "wear, relative to now".into(),
        now: Some(0.35),
        curves: vec![curve("energy law", 0.95), curve("load law", 0.15)],
    });
    page.notes.push(NoteRow {
        topic: "up axis guessed".into(),
        text: "z: the flattest large base lies there.".into(),
    });
    page.priors.push(PriorRow {
        name: "friction, satin topcoat on soft foam".into(),
        unit: String::new(),
        value: 0.55,
        range: [0.35, 0.85],
        grade: "D".into(),
        source: "engineering judgement".into(),
    });
    page.figure = shape;
    page
}

fn main() -> Result<(), Error> {
    let mut words = std::env::args().skip(1);
    let folder = words.next().unwrap_or_else(|| ".".into());
    let triangles = words.next().and_then(|w| w.parse().ok()).unwrap_or(50_000);
    let page = made_up(triangles);
    let start = std::time::Instant::now();
    let html = render(&page)?;
    println!(
        "report.html {} kB in {:.2?}",
        html.len() / 1000,
        start.elapsed()
    );
    atomic::write(format!("{folder}/report.html"), html.as_bytes())?;
    let layer = &page.views[0].layers[0];
    let surface = Surface {
        vertices_mm: &page.figure.vertices_mm,
        triangles: &page.figure.triangles,
        values: Some(&layer.panes[0].values),
    };
    let sheet = Sheet {
        title: "Ferry porter, metal, satin: made-up field".into(),
        subtitle: "lunch box, 3 min".into(),
        scale: Some(layer.scale.clone()),
    };
    let start = std::time::Instant::now();
    let (views, turn) = (four_views(&surface, &sheet)?, turntable(&surface, &sheet)?);
    println!("pictures in {:.2?}", start.elapsed());
    atomic::write(format!("{folder}/heat-views.png"), &views.to_png()?)?;
    atomic::write(format!("{folder}/heat-turn.png"), &turn.to_png()?)
}
