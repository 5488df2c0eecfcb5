//! The architecture keeps itself: the order of the `pub mod` lines in a crate's `lib.rs` is the order
//! of its rooms; a room uses only rooms above it, and outside crates only through their doors.
//! Between crates cargo forbids circles.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// The crates whose rooms stand in order, and how many rooms each has at least.
const CRATES: &[(&str, usize)] = &[(".", 9), ("crates/mesh", 2), ("crates/contact", 7)];

/// Outside crates and the folders (under `src/`) that may name them. A crate that is not listed
/// may be used anywhere.
const DOORS: &[(&str, &[&str])] = &[
    ("rapier3d_f64", &["rigid"]),
    ("parry3d_f64", &["figure/hull", "figure/pieces", "rigid"]),
    ("ndarray", &["pad"]),
    ("realfft", &["pad", "law/vibration"]),
    ("rustfft", &["pad"]),
    ("stl_io", &["format"]),
    ("tobj", &["format"]),
    ("ply_rs_bw", &["format"]),
    ("threemf2", &["format"]),
    ("gltf", &["format"]),
    (
        "csv",
        &[
            "format",
            "reference",
            "bench",
            "report",
            "exposure",
            "rigid",
        ],
    ),
    ("clap", &["cli"]),
    ("clap_complete", &["cli"]),
    ("clap_mangen", &["cli"]),
    ("indicatif", &["cli"]),
    ("ctrlc", &["cli"]),
    ("miette", &["cli"]),
    ("schemars", &["scenario", "cli"]),
    (
        "toml",
        &["scenario", "trial", "bench", "sweep", "reference", "cli"],
    ),
    ("minijinja", &["report", "bench"]),
    ("png", &["report", "format"]),
    ("colorous", &["report"]),
    ("fast_surface_nets", &["figure/sculpt"]),
];

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn rust_files(folder: &Path, found: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> = fs::read_dir(folder)
        .expect("folder")
        .map(|e| e.expect("entry").path())
        .collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            rust_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// (path under src, text without comment lines)
fn sources(package: &str) -> Vec<(String, String)> {
    let src = root().join(package).join("src");
    let mut files = Vec::new();
    rust_files(&src, &mut files);
    files
        .iter()
        .map(|path| {
            let text = fs::read_to_string(path).expect("source");
            let code: Vec<&str> = text
                .lines()
                .filter(|l| !l.trim_start().starts_with("//"))
                .collect();
            let name = path.strip_prefix(&src).expect("under src");
            (name.to_string_lossy().replace('\\', "/"), code.join("\n"))
        })
        .collect()
}

fn rooms(package: &str) -> Vec<String> {
    let lib = fs::read_to_string(root().join(package).join("src/lib.rs")).expect("lib.rs");
    lib.lines()
        .filter_map(|l| {
            l.strip_prefix("pub mod ")?
                .strip_suffix(';')
                .map(str::to_string)
        })
        .collect()
}

/// Every `crate::NAME` in the text.
fn rooms_used(code: &str) -> Vec<String> {
    code.match_indices("crate::")
        .map(|(at, found)| {
            code[at + found.len()..]
                .chars()
                .take_while(|c| c.is_alphanumeric() || *c == '_')
                .collect()
        })
        .collect()
}

#[test]
fn rooms_use_only_rooms_above_them() {
    let mut arrows = Vec::new();
    for (package, least) in CRATES {
        let rooms = rooms(package);
        assert!(rooms.len() >= *least, "{package}: lib.rs lists the rooms");
        let rank: BTreeMap<&str, usize> = rooms
            .iter()
            .enumerate()
            .map(|(i, r)| (r.as_str(), i))
            .collect();
        for (file, code) in sources(package) {
            let room = file
                .split('/')
                .next()
                .expect("room")
                .trim_end_matches(".rs");
            let Some(&mine) = rank.get(room) else {
                continue;
            };
            for used in rooms_used(&code) {
                if let Some(&theirs) = rank.get(used.as_str())
                    && theirs > mine
                {
                    arrows.push(format!(
                        "{package}/src/{file} uses crate::{used}, which stands below it"
                    ));
                }
            }
        }
    }
    assert!(arrows.is_empty(), "{}", arrows.join("\n"));
}

#[test]
fn outside_crates_enter_through_their_doors() {
    let mut broken = Vec::new();
    for (file, code) in CRATES.iter().flat_map(|(package, _)| sources(package)) {
        for (name, doors) in DOORS {
            let used =
                code.contains(&format!("{name}::")) || code.contains(&format!("use {name};"));
            let own_module = code.contains(&format!("crate::{name}::"))
                || code.contains(&format!("super::{name}::"));
            if used && !own_module && !doors.iter().any(|door| file.starts_with(door)) {
                broken.push(format!("src/{file} uses {name}; its door is {doors:?}"));
            }
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn main_is_a_table_of_contents() {
    let main = fs::read_to_string(root().join("src/main.rs")).expect("main.rs");
    assert!(main.lines().count() <= 40);
}

/// Nothing that ships may carry a path of somebody's machine.
#[test]
fn no_machine_paths_in_the_sources() {
    let markers = ["/home/", "/Users/", "/root/", "C:\\\\Users"];
    for (file, code) in CRATES.iter().flat_map(|(package, _)| sources(package)) {
        for marker in markers {
            assert!(!code.contains(marker), "src/{file} holds {marker}");
        }
    }
}
