//! A whole small trial: files, determinism, resuming, later questions.

use super::support::{SMALL, block, complaint, result, run};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

fn prepared() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("folder");
    fs::write(folder.path().join("block.stl"), block([8.0, 6.0, 10.0], 3)).expect("written");
    fs::write(folder.path().join("small.toml"), SMALL).expect("written");
    folder
}

/// Every file below a folder but the store's lock, by relative path.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(next) = open.pop() {
        for entry in fs::read_dir(next).expect("folder") {
            let path = entry.expect("entry").path();
            let name = path
                .strip_prefix(folder)
                .expect("below")
                .to_string_lossy()
                .into_owned();
            if path.is_dir() {
                open.push(path);
            } else if !name.ends_with("in-use") {
                found.insert(name, fs::read(&path).expect("file"));
            }
        }
    }
    found
}

fn column(csv: &str, row: usize, name: &str) -> String {
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let at = reader
        .headers()
        .expect("heading")
        .iter()
        .position(|h| h == name)
        .unwrap_or_else(|| panic!("no column {name}"));
    let record = reader.records().nth(row).expect("row").expect("record");
    record[at].to_string()
}

/// The same bytes from one thread and two, and again from what is kept; the folder holds what the
/// documentation names; the heavy block takes more in proportion to its density.
#[test]
fn a_trial_gives_the_same_bytes_for_any_threads_and_holds_what_it_says() {
    let folder = prepared();
    let one = run(
        folder.path(),
        &["run", "small.toml", "-o", "one", "--threads", "1"],
    );
    assert!(one.status.success(), "{}", complaint(&one));
    let two = run(
        folder.path(),
        &["run", "small.toml", "-o", "two", "--threads", "2"],
    );
    assert!(two.status.success(), "{}", complaint(&two));
    let (a, b) = (
        files(&folder.path().join("one")),
        files(&folder.path().join("two")),
    );
    assert_eq!(a.keys().collect::<Vec<_>>(), b.keys().collect::<Vec<_>>());
    for (name, bytes) in &a {
        assert_eq!(bytes, &b[name], "{name} differs between 1 and 2 threads");
    }
    for name in [
        "areas.csv",
        "patches.csv",
        "ledger.csv",
        "compare.csv",
        "whatif.csv",
        "summary.json",
        "report.html",
        "heat/tin--metal.ply",
        "heat/wipe--plastic.glb",
        "pictures/tin--metal.png",
    ] {
        assert!(a.contains_key(name), "no {name}");
    }

    let text = |name: &str| String::from_utf8(a[name].clone()).expect("text");
    // Rigid impact does not know mass: equal treatment and equal restitution give loss in
    // proportion to density, 7300 / 1045 = 6.986 (densities of the stock).
    let ratio: f64 = column(&text("compare.csv"), 0, "equal_treatment_ratio")
        .parse()
        .expect("number");
    let low: f64 = column(&text("compare.csv"), 0, "ratio_lo95")
        .parse()
        .expect("number");
    let high: f64 = column(&text("compare.csv"), 0, "ratio_hi95")
        .parse()
        .expect("number");
    let half = 0.5 * (high - low);
    assert!(
        (ratio - 7300.0 / 1045.0).abs() < 1.6 * half,
        "{ratio} ({low} to {high})"
    );
    // Own weight on a pad: the force is the weight, the work in proportion.
    let pad: f64 = column(&text("compare.csv"), 1, "equal_treatment_ratio")
        .parse()
        .expect("number");
    assert!((pad / (7300.0 / 1045.0) - 1.0).abs() < 0.01, "{pad}");
    // The books of every replicate close.
    let mut books = csv::Reader::from_reader(a["ledger.csv"].as_slice());
    for record in books.records() {
        let residual: f64 = record.expect("record")[11].parse().expect("number");
        assert!(residual.abs() < 1.0, "residual {residual} %");
    }
    let again = run(folder.path(), &["run", "small.toml", "-o", "one"]);
    assert!(again.status.success());
    assert_eq!(
        files(&folder.path().join("one")),
        a,
        "an unchanged run changes nothing"
    );

    questions(folder.path());
}

fn questions(folder: &Path) {
    let compared = run(
        folder,
        &[
            "compare", "one", "--left", "metal", "--right", "plastic", "--json",
        ],
    );
    let said = result(&compared);
    assert!(compared.status.success(), "{}", complaint(&compared));
    let last = said.lines().last().expect("JSON");
    let json: serde_json::Value = serde_json::from_str(last).expect("one JSON object");
    assert_eq!(json["compares"].as_array().map(Vec::len), Some(2));
    let exported = run(folder, &["export", "one", "--format", "vtu", "-o", "out"]);
    assert!(exported.status.success(), "{}", complaint(&exported));
    assert!(folder.join("out/tin--metal.vtu").is_file());
    let wrong = run(
        folder,
        &["compare", "one", "--left", "metl", "--right", "plastic"],
    );
    assert_eq!(wrong.status.code(), Some(2));
    assert!(complaint(&wrong).contains("did you mean \"metal\""));
}
