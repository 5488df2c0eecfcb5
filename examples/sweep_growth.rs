//! How plan, parts and merge grow with the number of parts: a dry run with the real writer and
//! reader, and readings by a formula instead of an engine.
//!
//! ```text
//! cargo run --release --example sweep_growth -- 1000 10000 100000
//! ```
//!
//! Prints, for each number of parts: bytes of the plan, seconds to plan, to write the parts and to
//! merge, and the peak of memory of a merge of its own process (Linux).

use base::{Result, Unwatched};
use std::path::Path;
use std::time::Instant;
use thumbworn::report::sweep as report;
use thumbworn::sweep::Sweep;
use thumbworn::sweep::draft::draft;
use thumbworn::sweep::gather::gather;
use thumbworn::sweep::part::{Part, Value};
use thumbworn::sweep::plan::{FORMAT, write};
use thumbworn::trial::part::ENGINES;

/// Draws of a reading: as many as a life with `draws = 200` has, under two laws.
const DRAWS: usize = 400;

const SCENARIO: &str = include_str!("../scenarios/off_the_table.toml");

fn main() -> Result<()> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    if let [command, folder] = args.as_slice()
        && command == "merge"
    {
        return merge(Path::new(folder));
    }
    println!("parts,plan_bytes,plan_s,write_s,merge_s,merge_peak_MB,csv_MB");
    for parts in args.iter().filter_map(|a| a.parse::<u64>().ok()) {
        let folder = tempfile::tempdir().expect("a temporary folder");
        grow(folder.path(), parts)?;
    }
    Ok(())
}

/// 10 coats by 10 figures (the same sculpt in ten sizes) by heights.
fn sweep_file(parts: u64) -> String {
    let sizes: Vec<String> = (0..10)
        .map(|i| format!("{{ sculpt = \"ferry porter\", height_mm = {} }}", 30 + i))
        .collect();
    let labels: Vec<String> = (0..10).map(|i| format!("\"size {i}\"")).collect();
    format!(
        "title = \"Growth\"\nscenario = \"scenario.toml\"\n[reading]\nspecimens = [\"metal\"]\n\
         [[axis]]\nname = \"body\"\nkey = \"specimen.metal.mass_g\"\nfrom = 5\nto = 50\nsteps = 10\n\
         [[axis]]\nname = \"height\"\nkey = \"exposure.table edge.height_mm\"\nfrom = 100\nto = 1000\nsteps = {}\n\
         [[axis]]\nfigures = [{}]\nlabels = [{}]\n",
        parts / 100,
        sizes.join(", "),
        labels.join(", ")
    )
}

fn grow(folder: &Path, parts: u64) -> Result<()> {
    for (name, text) in [
        ("sweep.toml", sweep_file(parts)),
        ("scenario.toml", SCENARIO.into()),
    ] {
        std::fs::write(folder.join(name), text).expect("written");
    }
    let began = Instant::now();
    let draft = draft(&folder.join("sweep.toml"))?;
    let planned = folder.join("planned");
    write(&planned, &draft.plan, &draft.files)?;
    let plan_s = began.elapsed().as_secs_f64();
    let sweep = Sweep::open(&planned)?;
    assert_eq!(sweep.plan.parts, parts);
    let began = Instant::now();
    for k in 0..parts {
        sweep.keep(k, &invented(&sweep, k).bytes()?)?;
    }
    let write_s = began.elapsed().as_secs_f64();
    let began = Instant::now();
    let own = std::env::current_exe().expect("this program");
    let merged = std::process::Command::new(own)
        .arg("merge")
        .arg(&planned)
        .output()
        .expect("starts");
    assert!(
        merged.status.success(),
        "{}",
        String::from_utf8_lossy(&merged.stderr)
    );
    let merge_s = began.elapsed().as_secs_f64();
    let size = |name: &str| std::fs::metadata(planned.join(name)).map_or(0, |m| m.len());
    println!(
        "{parts},{},{plan_s:.2},{write_s:.1},{merge_s:.2},{},{:.1}",
        size("plan.json"),
        String::from_utf8_lossy(&merged.stdout).trim(),
        size("sweep.csv") as f64 / 1e6
    );
    Ok(())
}

/// A part as the workshop makes it, its numbers by a formula of its place.
fn invented(sweep: &Sweep, k: u64) -> Part {
    let plan = &sweep.plan;
    let groups = plan.axes.iter().zip(plan.stands(k));
    let y: f64 = groups
        .map(|(axis, stand)| (1.0 + axis.group(stand) as f64).ln())
        .sum();
    let draws: Vec<f64> = (0..DRAWS).map(|d| y + (d as f64 * 0.7).sin()).collect();
    Part {
        format: FORMAT,
        plan: sweep.hash.clone(),
        binary: plan.binary.clone(),
        version: plan.version.clone(),
        engines: ENGINES,
        part: k,
        readings: vec![Value {
            exposure: plan.reading.exposures[0],
            specimen: plan.reading.specimens[0],
            median: Some(y.exp()),
            low: Some(y.exp() / 10.0),
            high: Some(y.exp() * 10.0),
            place: "hat brim, front left".into(),
            certainty: Some(0.9),
            friction_work: y,
            mass: 0.02,
            draws: Value::pack(&draws),
        }],
    }
}

fn merge(folder: &Path) -> Result<()> {
    let sweep = Sweep::open(folder)?;
    let findings = report::table(&sweep, |each| gather(&sweep, &Unwatched, each))?;
    report::write(&sweep, &findings)?;
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status
        .lines()
        .find_map(|l| l.strip_prefix("VmHWM:"))
        .and_then(|l| l.trim().strip_suffix(" kB")?.trim().parse::<f64>().ok());
    println!("{:.1}", peak.unwrap_or(f64::NAN) / 1e3);
    Ok(())
}
