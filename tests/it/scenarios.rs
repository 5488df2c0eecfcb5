//! The scenarios that ship parse and lift.

use std::fs;
use std::path::Path;
use thumbworn::scenario::{Source, lift};

#[test]
fn every_scenario_that_ships_is_valid() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let mut count = 0;
    for entry in fs::read_dir(folder).expect("scenarios") {
        let path = entry.expect("entry").path();
        if path.extension().is_some_and(|e| e == "toml") {
            let source = Source::read(&path).expect("reads");
            let raw = source.parse().unwrap_or_else(|e| panic!("{e}"));
            lift(&source, &raw).unwrap_or_else(|e| panic!("{e}"));
            count += 1;
        }
    }
    assert!(count >= 4, "{count} scenarios");
}
