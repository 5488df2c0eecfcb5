//! The bench commands: plan and sheets come out, nothing is overwritten, a slip is told.

use super::support::{complaint, result, run};
use std::fs;
use std::path::Path;

#[test]
fn a_bench_is_planned_printed_and_never_overwritten() {
    let folder = tempfile::tempdir().expect("folder");
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/bench/five_coats.toml");
    let text = fs::read_to_string(example).expect("example");
    fs::write(folder.path().join("five.toml"), &text).expect("written");
    let planned = run(
        folder.path(),
        &["bench", "plan", "five.toml", "-o", "bench"],
    );
    assert!(planned.status.success(), "{}", complaint(&planned));
    // 5 systems x 2 figures, declared order: 1 over 10!/(2!)^5 arrangements (counting).
    let said = result(&planned);
    assert!(said.contains("8.8e-6"), "{said}");
    assert!(complaint(&planned).contains("Never eat while handling"));
    let printed = run(folder.path(), &["bench", "sheet", "bench"]);
    assert!(printed.status.success(), "{}", complaint(&printed));
    assert!(
        folder
            .path()
            .join("bench/sheets/operator-block-1.html")
            .is_file()
    );

    fs::write(
        folder.path().join("five.toml"),
        text.replace("seed = 5", "seed = 6"),
    )
    .expect("written");
    let key = fs::read(folder.path().join("bench/key.csv")).expect("key");
    let again = run(
        folder.path(),
        &["bench", "plan", "five.toml", "-o", "bench"],
    );
    assert!(
        !again.status.success(),
        "another plan must not replace this one"
    );
    assert_eq!(
        fs::read(folder.path().join("bench/key.csv")).expect("key"),
        key
    );

    fs::write(
        folder.path().join("five.toml"),
        text.replace("alpha", "alfa"),
    )
    .expect("written");
    let wrong = run(
        folder.path(),
        &["bench", "plan", "five.toml", "-o", "other"],
    );
    assert_eq!(wrong.status.code(), Some(2));
    assert!(complaint(&wrong).contains("alfa"), "{}", complaint(&wrong));
    assert!(!folder.path().join("other").exists());
}

/// Ten of the combinations people would paint, the present one among them, and what they tell.
#[test]
fn systems_are_chosen_when_none_are_named() {
    let folder = tempfile::tempdir().expect("folder");
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/bench/chosen_systems.toml");
    let example = example.to_string_lossy().into_owned();
    let planned = run(folder.path(), &["bench", "plan", &example, "-o", "bench"]);
    assert!(planned.status.success(), "{}", complaint(&planned));
    let said = result(&planned);
    assert!(
        said.contains("S1: metal, aerosol, brush, matt aerosol"),
        "{said}"
    );
    assert!(said.contains("alias matrix"), "{said}");
    let table = fs::read_to_string(folder.path().join("bench/systems.csv")).expect("systems");
    assert_eq!(table.lines().count(), 11, "{table}");
}

const RUN: &str = r#"
title = "A block, wiped"
seed = 3
precision_pct = 60
[figure]
file = "block.stl"
patch_mm = 1.5
[[specimen]]
name = "metal"
body = "tin pewter"
coats = ["acrylic primer, aerosol", "acrylic paint, brush", "satin topcoat, aerosol"]
[[exposure]]
name = "wipe"
kind = "rub"
pad = { like = "soft foam", thickness_mm = 15 }
load = "hand 1 N"
strokes = 500
stroke_mm = 50
faces = ["top"]
"#;

/// Median and 90 % of the first area's life.
fn life(folder: &Path, results: &str) -> [f64; 3] {
    let table = fs::read(folder.join(results).join("areas.csv")).expect("areas");
    let mut reader = csv::Reader::from_reader(table.as_slice());
    let heading = reader.headers().expect("heading").clone();
    let row = reader.records().next().expect("row").expect("record");
    ["life_median", "life_lo90", "life_hi90"].map(|name| {
        let at = heading.iter().position(|h| h == name).expect("column");
        row[at].parse().expect("number")
    })
}

/// Run, plan from it, grades of a stated truth, record, analyse, calibrate, run again: the life is
/// known better, and moved to where the truth is.
#[test]
fn a_bench_narrows_the_life_of_the_next_run() {
    let home = tempfile::tempdir().expect("folder");
    let folder = home.path();
    let ok = |args: &[&str]| {
        let done = run(folder, args);
        assert!(done.status.success(), "{args:?}: {}", complaint(&done));
        result(&done)
    };
    fs::write(
        folder.join("block.stl"),
        super::support::block([8.0, 6.0, 10.0], 3),
    )
    .expect("written");
    fs::write(folder.join("run.toml"), RUN).expect("written");
    ok(&["run", "run.toml", "-o", "before"]);
    let areas = fs::read(folder.join("before/areas.csv")).expect("areas");
    let mut reader = csv::Reader::from_reader(areas.as_slice());
    let at = reader
        .headers()
        .expect("heading")
        .iter()
        .position(|h| h == "friction_J_m2");
    let row = reader.records().next().expect("row").expect("record");
    let dose: f64 = row[at.expect("column")].parse().expect("number");
    // half worn through in the middle of the bench
    let (film, middle) = (35.0, 700.0);
    let rate = film * 1e-6 * (-1.0_f64).exp() / (dose * middle) * 1e9;

    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/bench/five_coats.toml");
    let text = fs::read_to_string(example).expect("example");
    let text = text
        .replace("fit_inspections = true", "fit_inspections = false")
        .replace("k_e_mm3_per_j = 0.0011", &format!("k_e_mm3_per_j = {rate}"));
    fs::write(folder.join("plan.toml"), text).expect("written");
    ok(&[
        "bench",
        "plan",
        "plan.toml",
        "-o",
        "bench",
        "--from",
        "before",
    ]);
    let truth: String = (1..=5)
        .map(|i| {
            let k = rate * (0.6 * f64::from(i - 3)).exp();
            format!("[[system]]\nsystem_id = \"S{i}\"\nk_e_mm3_per_j = {k}\n")
        })
        .collect();
    fs::write(folder.join("truth.toml"), truth).expect("written");
    ok(&["bench", "rehearse", "bench", "--truth", "truth.toml"]);
    for entry in fs::read_dir(folder.join("bench/rehearsal")).expect("tables") {
        let path = entry.expect("entry").path();
        let filled = path.to_string_lossy().into_owned();
        ok(&["bench", "record", "bench", &filled, "--accept-falling"]);
    }
    let verdict = ok(&["bench", "analyse", "bench"]);
    assert!(verdict.contains("REHEARSAL"), "{verdict}");
    let said = ok(&["bench", "calibrate", "bench", "--json"]);
    let json: serde_json::Value =
        serde_json::from_str(said.lines().last().expect("JSON")).expect("one object");
    let file = json["files"][0].as_str().expect("file").to_owned();

    let measured = format!("measured = {{ file = \"{file}\", system = \"S3\" }}\n[[exposure]]");
    fs::write(
        folder.join("again.toml"),
        RUN.replace("[[exposure]]", &measured),
    )
    .expect("written");
    let again = ok(&["run", "again.toml", "-o", "after"]);
    assert!(!again.is_empty());
    let (before, after) = (life(folder, "before"), life(folder, "after"));
    let width = |l: [f64; 3]| (l[2] / l[1]).ln();
    assert!(width(after) < 0.75 * width(before), "{before:?} {after:?}");
    let report = fs::read_to_string(folder.join("after/report.html")).expect("report");
    assert!(
        report.contains("REHEARSAL"),
        "the report says where the rate is from"
    );

    let wrong = RUN.replace("[[exposure]]", &measured.replace("S3", "S9"));
    fs::write(folder.join("wrong.toml"), wrong).expect("written");
    let refused = run(folder, &["run", "wrong.toml", "-o", "none"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(
        complaint(&refused).contains("no system \"S9\""),
        "{}",
        complaint(&refused)
    );
}
