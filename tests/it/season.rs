//! A season of use: imitated on the bench, and made to last longer.

use super::support::{block, complaint, result, run};
use std::fs;

const SCENARIO: &str = r#"
title = "A block and a season"
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
name = "soft"
kind = "rub"
pad = { like = "soft foam", thickness_mm = 15 }
load = "hand 1 N"
strokes = 10
stroke_mm = 50
faces = ["top"]
[[exposure]]
name = "twice as far"
kind = "rub"
pad = { like = "soft foam", thickness_mm = 15 }
load = "hand 1 N"
strokes = 10
stroke_mm = 100
faces = ["top"]
[[exposure]]
name = "under"
kind = "rub"
pad = { like = "soft foam", thickness_mm = 15 }
load = "hand 1 N"
strokes = 10
stroke_mm = 50
faces = ["front"]
"#;

const SEASON: &str = r#"
bench = ["twice as far"]
[[use]]
exposure = "soft"
per_season = 300
[[instead]]
of = "soft"
exposure = "under"
"#;

/// On a long sheet the work of a stroke is in proportion to its length: 300 strokes of 50 mm are
/// some 150 of 100 mm (each exposure draws its own poses, so not exactly), and exactly 300 of
/// themselves, with nothing left over.
#[test]
fn a_season_is_matched_and_reinforced() {
    let folder = tempfile::tempdir().expect("folder");
    fs::write(folder.path().join("block.stl"), block([8.0, 6.0, 10.0], 3)).expect("written");
    fs::write(folder.path().join("s.toml"), SCENARIO).expect("written");
    fs::write(folder.path().join("season.toml"), SEASON).expect("written");
    let done = run(folder.path(), &["run", "s.toml", "-o", "r"]);
    assert!(done.status.success(), "{}", complaint(&done));

    let matched = run(
        folder.path(),
        &["match", "r", "--service", "season.toml", "--json"],
    );
    assert!(matched.status.success(), "{}", complaint(&matched));
    let said = result(&matched);
    let json: serde_json::Value =
        serde_json::from_str(said.lines().last().expect("JSON")).expect("one object");
    let mix = &json["match"]["mix"];
    let units = mix[0]["units"].as_f64().expect("units");
    assert!((units / 150.0 - 1.0).abs() < 0.15, "{said}");
    let table = fs::read_to_string(folder.path().join("r/match.csv")).expect("table");
    assert!(table.starts_with("kind,name,units_per_season"), "{table}");

    let same = SEASON.replace("\"twice as far\"", "\"soft\", \"twice as far\"");
    fs::write(folder.path().join("same.toml"), same).expect("written");
    let matched = run(
        folder.path(),
        &["match", "r", "--service", "same.toml", "--json"],
    );
    let said = result(&matched);
    let json: serde_json::Value =
        serde_json::from_str(said.lines().last().expect("JSON")).expect("one object");
    let mix = json["match"]["mix"].as_array().expect("mix");
    assert_eq!(mix.len(), 1, "{said}");
    assert!(
        (mix[0]["units"].as_f64().expect("units") / 300.0 - 1.0).abs() < 1e-6,
        "{said}"
    );
    assert!(
        json["match"]["misfit"].as_f64().expect("misfit") < 1e-6,
        "{said}"
    );

    let better = run(
        folder.path(),
        &["reinforce", "r", "--service", "season.toml", "--json"],
    );
    assert!(better.status.success(), "{}", complaint(&better));
    let said = result(&better);
    let json: serde_json::Value =
        serde_json::from_str(said.lines().last().expect("JSON")).expect("one object");
    let steps = json["reinforce"]["greedy"].as_array().expect("steps");
    let now = json["reinforce"]["seasons_now"].as_f64().expect("life");
    assert!(!steps.is_empty(), "{said}");
    assert!(steps[0]["seasons"].as_f64().expect("life") > now, "{said}");
    assert!(folder.path().join("r/reinforce.csv").is_file());

    fs::write(
        folder.path().join("wrong.toml"),
        SEASON.replace("\"under\"", "\"undr\""),
    )
    .expect("written");
    let wrong = run(folder.path(), &["match", "r", "--service", "wrong.toml"]);
    assert_eq!(wrong.status.code(), Some(2));
    let told = complaint(&wrong);
    assert!(
        told.contains("did you mean \"under\"") && told.contains("wrong.toml:8"),
        "{told}"
    );
}
