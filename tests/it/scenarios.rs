//! The scenarios that ship parse and lift, and are carried out on a small figure at low precision.

use super::support::{block, complaint, result, run};
use std::fs;
use std::path::{Path, PathBuf};
use thumbworn::scenario::{Source, lift};

fn scenarios() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let mut found: Vec<PathBuf> = fs::read_dir(folder)
        .expect("scenarios")
        .map(|e| e.expect("entry").path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    found.sort();
    found
}

#[test]
fn every_scenario_that_ships_is_valid() {
    let found = scenarios();
    for path in &found {
        let source = Source::read(path).expect("reads");
        let raw = source.parse().unwrap_or_else(|e| panic!("{e}"));
        lift(&source, &raw).unwrap_or_else(|e| panic!("{e}"));
    }
    assert!(found.len() >= 4, "{} scenarios", found.len());
}

fn summary(folder: &Path) -> serde_json::Value {
    let text = fs::read_to_string(folder.join("summary.json")).expect("summary");
    serde_json::from_str(&text).expect("JSON")
}

/// Each one from the scenario to the report, with a block of 20 mm in place of the sculpt: every
/// part gets a dose, every pad its footprint.
#[test]
fn every_scenario_that_ships_is_carried_out() {
    let folder = tempfile::tempdir().expect("folder");
    fs::write(folder.path().join("block.stl"), block([8.0, 6.0, 10.0], 2)).expect("written");
    for path in scenarios() {
        let text = fs::read_to_string(&path).expect("reads");
        let head = text.find("[figure]").expect("a figure");
        let rest = text[head..]
            .replace("sculpt = \"ferry porter\"", "file = \"block.stl\"")
            .replace("patch_mm = 0.5\n", "");
        let rest = rest.replacen(
            "file = \"block.stl\"",
            "file = \"block.stl\"\npatch_mm = 2",
            1,
        );
        let text = format!("title = \"small\"\nseed = 1\nprecision_pct = 90\n{rest}");
        let name = path
            .file_name()
            .expect("name")
            .to_string_lossy()
            .into_owned();
        fs::write(folder.path().join(&name), &text).expect("written");
        let output = run(folder.path(), &["run", &name, "-o", "out"]);
        assert!(output.status.success(), "{name}: {}", complaint(&output));
        let out = folder.path().join("out");
        let summary = summary(&out);
        let parts = summary["parts"].as_array().expect("parts");
        assert!(!parts.is_empty());
        for part in parts {
            let mean = |key: &str| part[key]["mean"].as_f64().expect("number");
            let energy = mean("friction_J_per_unit") + mean("impact_J_per_unit");
            assert!(energy > 0.0, "{name}: {}", part["exposure"]);
            assert!(part["replicates"].as_u64() >= Some(10), "{name}");
        }
        let pads = ["rub", "handle", "ride"];
        let kinds = pads
            .iter()
            .map(|k| text.matches(&format!("kind = \"{k}\"")).count());
        let expected = kinds.sum::<usize>() * text.matches("[[specimen]]").count();
        let footprints = fs::read_dir(out.join("pictures"))
            .expect("pictures")
            .filter(|e| {
                let name = e.as_ref().expect("entry").file_name();
                name.to_string_lossy().ends_with("--footprint.png")
            })
            .count();
        assert_eq!(footprints, expected, "{name}");
        let page = fs::read_to_string(out.join("report.html")).expect("page");
        assert_eq!(page.contains("What presses where"), expected > 0, "{name}");
        fs::remove_dir_all(out).expect("removed");
    }
}

/// Readings a disc of 50 mm gives on 20 mm of foam of 3.5 kPa, by the factors 1.248, 1.458 and
/// 1.729 of the disc table (an independent Python program): F = S pi a2 sigma.
const SCALED: &str = r#"
title = "A measured pad"
seed = 3
precision_pct = 90
[figure]
file = "block.stl"
patch_mm = 2
[[specimen]]
name = "metal"
body = "tin pewter"
coats = ["acrylic primer, aerosol", "acrylic paint, brush"]
[[exposure]]
name = "wipe"
kind = "rub"
pad = { like = "soft foam", thickness_mm = 20, disc_mm = 50, scale_g = [649, 929, 1212] }
load = "own weight"
strokes = 10
stroke_mm = 50
faces = ["top"]
"#;

#[test]
fn three_kitchen_scale_readings_make_a_pad() {
    let folder = tempfile::tempdir().expect("folder");
    fs::write(folder.path().join("block.stl"), block([8.0, 6.0, 10.0], 2)).expect("written");
    fs::write(folder.path().join("scaled.toml"), SCALED).expect("written");
    let output = run(folder.path(), &["run", "scaled.toml", "-o", "out"]);
    assert!(output.status.success(), "{}", complaint(&output));
    let notes = summary(&folder.path().join("out"))["notes"].to_string();
    let before = notes
        .find(" kPa at 40 % by your scale readings")
        .expect("told");
    let number = notes[..before].rsplit(' ').next().expect("a number");
    let cld40: f64 = number.parse().expect("a number");
    assert!((cld40 / 3.5 - 1.0).abs() < 0.02, "{cld40}");
    // The skew of friction is told with its size.
    assert!(notes.contains("of this rub's work would lie on other patches"));
}

#[test]
fn the_stock_tells_how_to_measure_a_foam() {
    let folder = tempfile::tempdir().expect("folder");
    let said = result(&run(folder.path(), &["stock", "foam"]));
    for words in [
        "scale_g = [reading at 10 %, at 25 %, at 40 %]",
        "flat, stiff disc",
        "tan(angle)",
        "soft foam",
    ] {
        assert!(said.contains(words), "no {words}: {said}");
    }
}

#[test]
fn every_sweep_that_ships_can_be_planned() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/sweeps");
    let mut count = 0;
    for entry in fs::read_dir(folder).expect("sweeps") {
        let path = entry.expect("entry").path();
        let draft = thumbworn::sweep::draft::draft(&path).unwrap_or_else(|e| panic!("{e}"));
        assert!(
            draft.plan.parts >= 2 && draft.plan.axes.len() >= 2,
            "{path:?}"
        );
        count += 1;
    }
    assert!(count >= 1);
}
