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
