//! Time of one pad solve on a figure's side, 512 x 512 cells of 0.125 mm, on one core, side by
//! side with the same method in numpy when a Python with numpy is named in `PAD_PYTHON`.
//!
//! `cargo bench --bench pad` prints the times and their ratio; nothing is asserted. Seconds of one
//! core, measured as processor time: 0.10 and 0.13 at 1 and 3 mm against 1.35 and 2.45 of numpy
//! (13 and 18 times); what was tried is in the documentation of `contact::pad`.

use base::{Unwatched, Vec3};
use contact::Body;
use contact::dose::{Channel, DoseRate};
use contact::exposure::Precision;
use contact::exposure::handle::Handle;
use contact::exposure::ride::Ride;
use contact::exposure::rub::{self, Load, Rub};
use contact::law::foam::{Foam, OPEN_CELL};
use contact::law::grip::Hand;
use contact::law::schedule::journey;
use contact::pad::skew::skewed;
use contact::pad::{FINE, Filling, Foundation, Grid, Pad, Pose, Presser, Push, SURVEY, Workspace};
use mesh::figure::{Figure, Settings, sculpt};
use std::time::Instant;

/// [mm] height towards the pad of a made-up figure lying on its back: body, head, shoulders, legs,
/// a sharp-edged pouch, a roof-shaped blade, a thin rod, a spike and the base on edge.
fn height(x: f64, y: f64) -> f64 {
    let mut z = f64::NEG_INFINITY;
    let mut dome = |cx: f64, cy: f64, rx: f64, ry: f64, rz: f64, foot: f64| {
        let q = 1.0 - ((x - cx) / rx).powi(2) - ((y - cy) / ry).powi(2);
        if q > 0.0 {
            z = z.max(foot + rz * q.sqrt());
        }
    };
    dome(0.0, 2.0, 5.0, 8.0, 4.5, -5.4);
    dome(0.2, 12.4, 2.4, 2.9, 2.4, -4.1);
    dome(-5.1, 7.0, 2.6, 2.5, 2.6, -3.0);
    dome(5.3, 7.1, 2.6, 2.5, 2.6, -3.3);
    dome(-2.4, -9.5, 2.0, 5.5, 2.0, -4.6);
    dome(2.6, -9.5, 2.0, 5.5, 2.0, -4.8);
    dome(-6.6, 1.5, 1.4, 4.0, 1.4, -2.0);
    for k in -4..=4 {
        dome(1.1 * f64::from(k), -1.4, 0.42, 0.42, 0.42, -1.6);
    }
    let mut slab = |inside: bool, top: f64| {
        if inside {
            z = z.max(top);
        }
    };
    slab((x + 1.0).abs() < 1.5 && (y + 4.5).abs() < 1.2, -1.4);
    slab(
        (x - 8.5).abs() < 0.8 && (y + 2.0).abs() < 7.0,
        -1.0 - (x - 8.5).abs(),
    );
    let rod = 0.45f64.powi(2) - (x + 8.0).powi(2);
    slab(
        rod > 0.0 && (y - 3.0).abs() < 17.0,
        -0.9 + rod.max(0.0).sqrt(),
    );
    let spike = (x - 3.0).hypot(y - 1.0);
    slab(spike < 1.2, 0.5 - 2.2 * (spike - 0.1).max(0.0));
    slab(
        x.abs() < 12.5 && (y + 17.5).abs() < 1.6,
        0.5 - 9.0 * (x / 12.5).powi(2),
    );
    z
}

/// Area-mean depth per cell over 4 x 4 samples, minus infinity where less than half is covered.
fn gap(grid: &Grid, indentation: f64) -> Vec<f64> {
    (0..grid.cells())
        .map(|c| {
            let [x, y] = grid.middle(c);
            let at = |k: i32| (f64::from(k) - 1.5) * 0.25 * grid.spacing;
            let z: Vec<f64> = (0..16)
                .map(|k| height((x + at(k % 4)) * 1e3, (y + at(k / 4)) * 1e3))
                .filter(|z| z.is_finite())
                .collect();
            match z.len() {
                0..8 => f64::NEG_INFINITY,
                n => indentation + z.iter().sum::<f64>() / n as f64 * 1e-3,
            }
        })
        .collect()
}

/// The same gap solved by the same method in numpy: seconds and newtons.
fn numpy(grid: &Grid, gap: &[f64]) -> Option<(f64, f64)> {
    let python = std::env::var("PAD_PYTHON").ok()?;
    let file = std::env::temp_dir().join(format!("thumbworn-gap-{}.f64", grid.columns));
    let bytes: Vec<u8> = (gap.iter())
        .flat_map(|g| g.max(-1.0).to_le_bytes())
        .collect();
    std::fs::write(&file, bytes).ok()?;
    let out = std::process::Command::new(python)
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/benches/pad_numpy.py"))
        .arg(&file)
        .args([grid.columns.to_string(), grid.spacing.to_string()])
        .output()
        .ok()?;
    let _ = std::fs::remove_file(&file);
    let text = String::from_utf8_lossy(&out.stdout).into_owned();
    let mut numbers = text.split_whitespace().filter_map(|w| w.parse().ok());
    Some((numbers.next()?, numbers.next()?))
}

/// The figure that ships under a hand, a sheet of foam and 1 N: what one pose of `rub` costs.
fn figure(pad: &Pad) {
    let settings = Settings {
        height: Some(0.034),
        ..Settings::default()
    };
    let figure = match Figure::from_mesh("porter", &sculpt::porter(50_000), &settings) {
        Ok(figure) => figure,
        Err(error) => return println!("{error}"),
    };
    for (spacing, name) in [(SURVEY, "0.25 mm"), (FINE, "0.125 mm")] {
        let presser = Presser::new(&figure, pad, spacing);
        for (face, side) in [
            ("top", Vec3::z()),
            ("front", -Vec3::y()),
            ("right", Vec3::x()),
        ] {
            for force in [0.2, 1.0] {
                let start = Instant::now();
                let press = match presser.press(&Pose::facing(&side), Push::Force(force)) {
                    Ok(press) => press,
                    Err(error) => return println!("{error}"),
                };
                let pressed = start.elapsed().as_secs_f64();
                let forces = press.patch_forces(&figure);
                println!(
                    "{name} {face} {force} N: pressed {pressed:.3} s, booked {:.3} s, {} x {}, {:.2} mm deep, strain {:.2}, {} patches, last solve {} steps",
                    start.elapsed().as_secs_f64() - pressed,
                    press.relief.grid.columns,
                    press.relief.grid.rows,
                    press.settled.indentation * 1e3,
                    press.settled.pressed.strain,
                    forces.iter().filter(|f| **f > 0.0).count(),
                    press.settled.pressed.iterations,
                );
            }
        }
    }
    skew(pad, &figure);
    exposures(pad, &figure);
}

/// Fore and aft: how much of the force moves to other patches when the pad slides.
fn skew(pad: &Pad, figure: &Figure) {
    let presser = Presser::new(figure, pad, FINE);
    for (face, side) in [("front", -Vec3::y()), ("right", Vec3::x())] {
        for friction in [0.0, 0.3, 0.6] {
            let press = presser.press(&Pose::facing(&side), Push::Force(1.0));
            let skewed = press.and_then(|press| {
                let skewed = skewed(pad, &press, friction)?;
                Ok((press, skewed))
            });
            match skewed {
                Ok((still, moving)) => {
                    let (a, b) = (still.patch_forces(figure), moving.patch_forces(figure));
                    let moved: f64 =
                        a.iter().zip(&b).map(|(a, b)| (a - b).abs()).sum::<f64>() / 2.0;
                    println!(
                        "skew {face}, 1 N, friction {friction}: {:.1} % of the dose on other patches",
                        moved * 100.0
                    );
                }
                Err(error) => println!("{error}"),
            }
        }
    }
}

fn up_to(budget: u64) -> Precision {
    Precision {
        relative: 0.1,
        budget,
        groups: Vec::new(),
    }
}

/// One exposure of each kind for a light and a heavy body.
fn exposures(pad: &Pad, figure: &Figure) {
    for (name, density) in [("plastic", 1050.0), ("metal", 7300.0)] {
        let body = Body::homogeneous(&figure.solid, density);
        println!("{name}: {:.1} g", body.mass * 1e3);
        for load in [Load::Hand(1.0), Load::OwnWeight] {
            let rub = Rub {
                name: "wipe".into(),
                pad: pad.clone(),
                friction: 0.55,
                load,
                stroke: 0.1,
                pad_length: None,
                faces: ["top", "front"]
                    .iter()
                    .filter_map(|f| rub::side(f))
                    .collect(),
                tilt: 8f64.to_radians(),
                precision: up_to(6),
                spacing: SURVEY,
            };
            let start = Instant::now();
            match rub.run(figure, &body, 1, &Unwatched) {
                Ok(r) => tell(&format!("  rub {load:?}"), &r.rate, start, &r.reason),
                Err(error) => println!("{error}"),
            }
        }
        for friction in [0.6, 0.3] {
            let handle = Handle {
                name: "evening".into(),
                friction,
                hand: Hand::default(),
                fingers: 2,
                holds: [0.3, 0.5, 0.2],
                slip: 4e-3,
                twist: 0.0,
                table_friction: 0.3,
                table_slip: 3e-3,
                precision: up_to(6),
                spacing: SURVEY,
            };
            let start = Instant::now();
            match handle.run(figure, &body, 1, &Unwatched) {
                Ok(h) => tell(
                    &format!(
                        "  handle friction {friction}, grip {:.2} N, slipping {:.2}",
                        h.force, h.slipping
                    ),
                    &h.rate,
                    start,
                    &h.reason,
                ),
                Err(error) => println!("{error}"),
            }
        }
        for (interference, road) in [
            (1.5e-3, "car boot"),
            (1.5e-3, "truck, mixed levels"),
            (-1e-3, "truck, mixed levels"),
        ] {
            let Some(schedule) = journey(road) else {
                continue;
            };
            let ride = Ride {
                name: "tray".into(),
                pad: pad.clone(),
                friction: 0.7,
                interference,
                floor: Vec3::y(),
                schedule,
                speed: 50.0 / 3.6,
                insertions: 2.0 / 20e3,
                tilt: 3f64.to_radians(),
                precision: up_to(2),
                spacing: SURVEY,
            };
            let start = Instant::now();
            match ride.run(figure, &body, 1, &Unwatched) {
                Ok(r) => tell(
                    &format!(
                        "  ride {:.1} mm {road}: insertion {:.0} %, slip {:?} m/km",
                        interference * 1e3,
                        r.insertion_share * 100.0,
                        r.road_slip
                    ),
                    &r.rate,
                    start,
                    &r.reason,
                ),
                Err(error) => println!("{error}"),
            }
        }
    }
}

fn tell(what: &str, rate: &DoseRate, start: Instant, reason: &str) {
    let (work, peak) = (rate.total(Channel::Friction), rate.total(Channel::Peak));
    println!(
        "{what}: {:.4} +- {:.4} mJ, sum of peaks {:.2} MPa, {:.2} s\n    {reason}",
        work.mean * 1e3,
        work.half_width * 1e3,
        peak.mean * 1e-6,
        start.elapsed().as_secs_f64()
    );
    for note in &rate.notes {
        println!("    {:?}: {}", note.topic, note.text);
    }
}

fn main() {
    let pad = Pad {
        filling: Filling::Foam(Foam::new(OPEN_CELL, 3500.0)),
        thickness: 0.02,
    };
    for n in [256, 512] {
        let grid = Grid::centred(n, n, 0.064 / n as f64);
        let start = Instant::now();
        let foundation = Foundation::new(&pad, n, n, grid.spacing);
        let mut workspace = Workspace::new(&foundation);
        println!(
            "{n} x {n}: prepared in {:.3} s",
            start.elapsed().as_secs_f64()
        );
        for indentation in [1e-3, 3e-3] {
            let gap = gap(&grid, indentation);
            let start = Instant::now();
            match foundation.press(&gap, None, &mut workspace) {
                Ok(p) => {
                    let seconds = start.elapsed().as_secs_f64();
                    println!(
                        "{n} x {n}, {:.0} mm: {seconds:.3} s, {} steps, {:.0} transforms, {:.5} N",
                        indentation * 1e3,
                        p.iterations,
                        p.transforms,
                        p.force,
                    );
                    if let Some((theirs, force)) = numpy(&grid, &gap) {
                        println!(
                            "    numpy {theirs:.2} s, {force:.5} N: {:.1} times as long",
                            theirs / seconds
                        );
                    }
                }
                Err(e) => println!("{e}"),
            }
        }
    }
    figure(&pad);
}
