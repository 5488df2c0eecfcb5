//! Bad input: one clear error with place, value, range and hint; exit 2; nothing half-written.

use super::support::{SMALL, block, complaint, run};
use std::fs;

/// Bytes of a figure file, and what the complaint must say.
fn bad_figures() -> Vec<(&'static str, Vec<u8>, Vec<&'static str>)> {
    let good = block([8.0, 6.0, 10.0], 2);
    let mut nan = good.clone();
    nan[96..100].copy_from_slice(&f32::NAN.to_le_bytes());
    let mut absurd = block([8e6, 6e6, 1e7], 2);
    absurd.truncate(absurd.len());
    vec![
        ("empty.stl", Vec::new(), vec!["empty"]),
        (
            "truncated.stl",
            good[..good.len() - 70].to_vec(),
            vec!["hint"],
        ),
        (
            "letter.stl",
            b"Dear Sir, here is the figure you asked for.".to_vec(),
            vec!["hint"],
        ),
        ("nan.stl", nan, vec!["not a number"]),
        ("flat.stl", block([8.0, 6.0, 0.0], 2), vec!["hint"]),
        ("absurd.stl", absurd, vec!["mm"]),
    ]
}

#[test]
fn a_bad_figure_is_told_and_nothing_is_written() {
    let folder = tempfile::tempdir().expect("folder");
    for (name, bytes, words) in bad_figures() {
        fs::write(folder.path().join(name), bytes).expect("written");
        let output = run(folder.path(), &["inspect", name, "-o", "out"]);
        let said = complaint(&output);
        assert_eq!(output.status.code(), Some(2), "{name}: {said}");
        assert!(said.contains(name), "{name}: {said}");
        for word in words {
            assert!(said.contains(word), "{name} lacks {word}: {said}");
        }
        assert!(!folder.path().join("out").exists(), "{name} left a folder");
    }
}

#[test]
fn missing_things_are_told() {
    let folder = tempfile::tempdir().expect("folder");
    for args in [
        vec!["inspect", "nobody.stl"],
        vec!["run", "nobody.toml"],
        vec!["compare", "nobody", "--left", "a", "--right", "b"],
        vec!["export", "nobody"],
    ] {
        let output = run(folder.path(), &args);
        let said = complaint(&output);
        assert_eq!(output.status.code(), Some(2), "{args:?}: {said}");
        assert!(
            said.contains("nobody") && said.contains("hint"),
            "{args:?}: {said}"
        );
    }
    assert_eq!(fs::read_dir(folder.path()).expect("folder").count(), 0);
}

#[test]
fn a_bad_scenario_is_told_with_line_and_hint_before_anything_is_made() {
    let folder = tempfile::tempdir().expect("folder");
    fs::write(folder.path().join("block.stl"), block([8.0, 6.0, 10.0], 2)).expect("written");
    for (from, to, words) in [
        (
            "minutes = 1",
            "minutes = -1",
            vec!["cannot be negative", "bad.toml"],
        ),
        (
            "strokes = 10",
            "stroks = 10",
            vec!["did you mean `strokes`"],
        ),
        (
            "\"tin pewter\"",
            "\"tin puter\"",
            vec!["did you mean \"tin pewter\""],
        ),
        ("block.stl", "blok.stl", vec!["blok.stl", "hint"]),
        ("[figure]", "[figure", vec!["bad.toml"]),
    ] {
        fs::write(folder.path().join("bad.toml"), SMALL.replacen(from, to, 1)).expect("written");
        let output = run(folder.path(), &["run", "bad.toml", "-o", "out"]);
        let said = complaint(&output);
        assert_eq!(output.status.code(), Some(2), "{to}: {said}");
        for word in words {
            assert!(said.contains(word), "{to} lacks {word}: {said}");
        }
        assert!(!folder.path().join("out").exists(), "{to} left a folder");
    }
}

#[test]
fn a_folder_that_cannot_be_written_is_told() {
    let folder = tempfile::tempdir().expect("folder");
    fs::write(folder.path().join("block.stl"), block([8.0, 6.0, 10.0], 2)).expect("written");
    fs::write(folder.path().join("small.toml"), SMALL).expect("written");
    // A file where a folder is needed fails for every user, root included.
    fs::write(folder.path().join("taken"), "a file").expect("written");
    let output = run(folder.path(), &["run", "small.toml", "-o", "taken/results"]);
    let said = complaint(&output);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("taken"), "{said}");
}
