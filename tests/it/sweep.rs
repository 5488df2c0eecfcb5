//! A sweep from plan to page: any number of jobs, any order, twice, in pieces, from two folders.

use super::support::{SMALL, block, complaint, result, run};
use std::fs;
use std::path::{Path, PathBuf};

const SWEEP: &str = r#"
title = "Two foams, two coats, two blocks"
scenario = "small.toml"
seed = 5
[reading]
exposures = ["wipe"]
draws = 40
[[axis]]
name = "coat"
key = ["specimen.metal.coats", "specimen.plastic.coats"]
labels = ["plain", "satin"]
values = [
  ["acrylic primer, aerosol", "acrylic paint, brush"],
  ["acrylic primer, aerosol", "acrylic paint, brush", "satin topcoat, aerosol"],
]
[[axis]]
name = "stroke"
key = "exposure.wipe.stroke_mm"
from = 20
to = 80
steps = 2
[[axis]]
figures = ["block.stl", "tall.stl"]
"#;

fn prepared() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("folder");
    let write =
        |name: &str, bytes: &[u8]| fs::write(folder.path().join(name), bytes).expect("written");
    write("block.stl", &block([8.0, 6.0, 10.0], 3));
    write("tall.stl", &block([5.0, 6.0, 14.0], 3));
    write("small.toml", SMALL.as_bytes());
    write("sweep.toml", SWEEP.as_bytes());
    folder
}

fn good(folder: &Path, args: &[&str]) -> String {
    let output = run(folder, args);
    assert!(output.status.success(), "{args:?}: {}", complaint(&output));
    result(&output)
}

fn refused(folder: &Path, args: &[&str], code: i32) -> String {
    let output = run(folder, args);
    let said = complaint(&output);
    assert_eq!(output.status.code(), Some(code), "{args:?}: {said}");
    said
}

fn merged(folder: &Path) -> Vec<Vec<u8>> {
    ["sweep.csv", "sweep.json", "sweep.html"]
        .iter()
        .map(|name| fs::read(folder.join(name)).unwrap_or_else(|e| panic!("{name}: {e}")))
        .collect()
}

fn part(folder: &Path, sweep: &str, k: u64) -> PathBuf {
    folder.join(sweep).join(format!("parts/000000/{k:09}.part"))
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("folder");
    for entry in fs::read_dir(from).expect("folder") {
        let path = entry.expect("entry").path();
        let at = to.join(path.file_name().expect("name"));
        if path.is_dir() {
            copy(&path, &at);
        } else {
            fs::copy(&path, &at).expect("copied");
        }
    }
}

#[test]
fn the_merged_bytes_do_not_depend_on_who_computed_the_parts() {
    let temp = prepared();
    let folder = temp.path();
    let said = good(folder, &["sweep", "plan", "sweep.toml", "-o", "a"]);
    assert!(
        said.contains("8 parts over coat (2), stroke (2), figure (2)"),
        "{said}"
    );
    assert!(part(folder, "a", 0).is_file(), "the timed part is kept");
    // A copy of the planned folder is the sweep on another machine: nothing else is needed.
    copy(&folder.join("a"), &folder.join("elsewhere/b"));
    for name in ["block.stl", "tall.stl", "small.toml", "sweep.toml"] {
        fs::remove_file(folder.join(name)).expect("removed");
    }
    good(folder, &["sweep", "run", "a", "--jobs", "1"]);
    let before = fs::read(part(folder, "a", 3)).expect("part");
    let said = good(folder, &["sweep", "merge", "a"]);
    assert!(said.contains("coat: \"satin\" lasts longest"), "{said}");
    let whole = merged(&folder.join("a"));

    // One by one, backwards, one of them twice, one by way of stdout, one half-written.
    let b = folder.join("elsewhere");
    let missing = refused(&b, &["sweep", "merge", "b"], 1);
    assert!(missing.contains("7 parts are missing: 1-7"), "{missing}");
    assert!(
        !b.join("b/sweep.csv").exists(),
        "a refused merge writes nothing"
    );
    for k in ["7", "5", "5", "3", "2", "1"] {
        good(&b, &["sweep", "part", "b", k]);
    }
    assert_eq!(fs::read(part(&b, "b", 3)).expect("part"), before);
    let sent = run(&b, &["sweep", "part", "b", "4", "--stdout"]);
    fs::write(part(&b, "b", 4), &sent.stdout).expect("written");
    fs::write(part(&b, "b", 7), &before[..before.len() / 2]).expect("half a part");
    let missing = refused(&b, &["sweep", "merge", "b"], 1);
    assert!(missing.contains("2 parts are missing: 6-7"), "{missing}");
    good(&b, &["sweep", "run", "b", "--jobs", "3"]);
    good(&b, &["sweep", "merge", "b"]);
    assert!(whole == merged(&b.join("b")), "merged bytes differ");

    // From two folders that hold half each, and a third that holds both.
    copy(&folder.join("a"), &folder.join("c"));
    copy(&folder.join("a"), &folder.join("d"));
    for k in 0..8 {
        let gone = if k % 2 == 0 { "c" } else { "d" };
        fs::remove_file(part(folder, gone, k)).expect("removed");
    }
    fs::remove_file(folder.join("c/sweep.csv")).expect("removed");
    good(
        folder,
        &["sweep", "merge", "c", "--from", "d", "--from", "a"],
    );
    assert!(whole == merged(&folder.join("c")), "merged bytes differ");
    told_on_the_page(&whole);
    strangers(folder);
}

fn told_on_the_page(whole: &[Vec<u8>]) {
    let csv = String::from_utf8(whole[0].clone()).expect("text");
    let lines: Vec<&str> = csv.lines().collect();
    assert_eq!(lines.len(), 1 + 8 * 2, "8 parts, 2 specimens");
    assert!(
        lines[0].starts_with("part,coat,stroke_mm,figure,exposure,specimen,"),
        "{}",
        lines[0]
    );
    assert!(lines[0].contains("mass_g"));
    let json: serde_json::Value = serde_json::from_slice(&whole[1]).expect("JSON");
    let exposure = &json["findings"]["exposures"][0];
    let share = |v: &serde_json::Value| v["share"]["median"].as_f64().expect("share");
    let effects = exposure["effects"].as_array().expect("effects");
    let pairs = exposure["two_ways"].as_array().expect("pairs");
    let total: f64 = effects.iter().chain(pairs).map(share).sum();
    let rest = exposure["rest"].as_f64().expect("rest");
    assert!(
        (total + rest - 1.0).abs() < 0.02,
        "shares add up: {total} + {rest}"
    );
    // Life in strokes is exactly in proportion to one over the stroke: 20 against 80 mm is 4 times,
    // whatever the wear rates.
    let stroke = &exposure["rankings"][1]["places"][1]["of_best"];
    for end in ["low", "median", "high"] {
        let ratio = stroke[end].as_f64().expect("ratio");
        assert!((ratio - 0.25).abs() < 1e-4, "{end}: {ratio}");
    }
    let page = String::from_utf8(whole[2].clone()).expect("text");
    assert!(page.contains("Which coat lasts longest") && page.contains("<svg"));
    for outside in ["http:", "https:", "<script", "src="] {
        assert!(!page.contains(outside), "the page holds {outside}");
    }
}

/// Parts, folders and programs that do not belong.
fn strangers(folder: &Path) {
    let own = fs::read(part(folder, "a", 2)).expect("part");
    // Another number.
    fs::copy(part(folder, "a", 1), part(folder, "a", 2)).expect("copied");
    let said = refused(folder, &["sweep", "merge", "a"], 1);
    assert!(
        said.contains("000000002.part") && said.contains("this is part 1"),
        "{said}"
    );
    // Another plan, version and program: the line is changed and its check made anew.
    for (from, to, words) in [
        ("\"plan\":\"", "\"plan\":\"0", "another plan"),
        ("\"version\":\"", "\"version\":\"9", "version 9"),
        ("\"binary\":\"", "\"binary\":\"0", "another program file"),
    ] {
        fs::write(part(folder, "a", 2), forged(&own, from, to)).expect("written");
        for command in ["merge", "run"] {
            let said = refused(folder, &["sweep", command, "a"], 1);
            assert!(
                said.contains(words) && said.contains("000000002.part"),
                "{said}"
            );
        }
    }
    fs::write(part(folder, "a", 2), &own).expect("written");
    let beyond = part(folder, "a", 8);
    fs::write(&beyond, &own).expect("written");
    let said = refused(folder, &["sweep", "merge", "a"], 1);
    assert!(
        said.contains("no part of this sweep") && said.contains("000000008.part"),
        "{said}"
    );
    fs::remove_file(beyond).expect("removed");
    let said = refused(folder, &["sweep", "part", "a", "8"], 2);
    assert!(
        said.contains("there is no part 8") && said.contains("0 to 7"),
        "{said}"
    );

    // The plan of another program: refused before anything is computed.
    let plan = folder.join("a/plan.json");
    let text = fs::read_to_string(&plan).expect("plan");
    fs::write(&plan, text.replacen("\"binary\": \"", "\"binary\": \"0", 1)).expect("written");
    let said = refused(folder, &["sweep", "part", "a", "1"], 1);
    assert!(said.contains("not the one that made the plan"), "{said}");
    fs::write(&plan, text.replacen("\"engines\": ", "\"engines\": 9", 1)).expect("written");
    let said = refused(folder, &["sweep", "run", "a"], 1);
    assert!(said.contains("plan again"), "{said}");
    fs::write(&plan, &text).expect("written");
    // A changed input.
    let input = fs::read_dir(folder.join("a/inputs"))
        .expect("inputs")
        .next()
        .expect("one");
    let input = input.expect("entry").path();
    let bytes = fs::read(&input).expect("input");
    fs::write(&input, &bytes[1..]).expect("written");
    let said = refused(folder, &["sweep", "run", "a"], 1);
    assert!(said.contains("was changed"), "{said}");
}

/// A part with something replaced and a check that fits.
fn forged(part: &[u8], from: &str, to: &str) -> Vec<u8> {
    use sha2::Digest;
    let text = String::from_utf8(part.to_vec()).expect("text");
    let line = text.lines().next().expect("line").replacen(from, to, 1);
    let check: String = sha2::Sha256::digest(&line)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect();
    format!("{line}\n{check}\n").into_bytes()
}

#[test]
fn a_bad_sweep_is_told_with_its_place_before_anything_is_made() {
    let temp = prepared();
    let folder = temp.path();
    fs::write(folder.join("letter.stl"), "Dear Sir").expect("written");
    for (from, to, words) in [
        (
            "draws = 40",
            "drawz = 40",
            vec!["did you mean `draws`", "bad.toml"],
        ),
        ("draws = 40", "draws = 4", vec!["outside 20 to 2000"]),
        ("small.toml", "smal.toml", vec!["bad.toml", "scenario"]),
        (
            "stroke_mm",
            "strok_mm",
            vec!["did you mean \"stroke_mm\"", "bad.toml"],
        ),
        ("exposure.wipe.", "exposure.wype.", vec!["wipe", "bad.toml"]),
        ("from = 20", "from = 90", vec!["not a range"]),
        ("steps = 2", "", vec!["2 to 1000 steps"]),
        ("from = 20", "from = -20", vec!["outside", "bad.toml"]),
        (
            "satin topcoat, aerosol\"],\n]",
            "satin topcoat\"],\n]",
            vec!["no film", "value satin"],
        ),
        ("\"satin\"]", "\"plain\"]", vec!["stands twice"]),
        ("labels = [\"plain\", \"satin\"]", "", vec!["labels"]),
        ("[\"wipe\"]", "[\"wip\"]", vec!["did you mean \"wipe\""]),
        ("tall.stl", "tal.stl", vec!["tal.stl"]),
        ("tall.stl", "letter.stl", vec!["letter.stl"]),
        (
            "seed = 5",
            "seed = 5\ndesign = \"gird\"",
            vec!["did you mean \"grid\""],
        ),
        (
            "seed = 5",
            "seed = 5\ndesign = \"spread\"",
            vec!["points = 200"],
        ),
    ] {
        assert!(SWEEP.contains(from), "{from}");
        fs::write(folder.join("bad.toml"), SWEEP.replacen(from, to, 1)).expect("written");
        let said = refused(folder, &["sweep", "plan", "bad.toml", "-o", "out"], 2);
        for word in words {
            assert!(said.contains(word), "{to} lacks {word}: {said}");
        }
        assert!(!folder.join("out").exists(), "{to} left a folder");
    }
    let budget = format!("budget_min = 5\n{SMALL}");
    fs::write(folder.join("small.toml"), budget).expect("written");
    let said = refused(folder, &["sweep", "plan", "sweep.toml", "-o", "out"], 2);
    assert!(said.contains("depend on the machine"), "{said}");
}

#[test]
fn a_list_and_a_spread_run_too_and_two_plans_do_not_mix() {
    let temp = prepared();
    let folder = temp.path();
    let list = SWEEP.replace("seed = 5", "seed = 5\ndesign = \"list\"");
    fs::write(folder.join("list.toml"), list).expect("written");
    let said = good(
        folder,
        &["sweep", "plan", "list.toml", "-o", "list", "--no-pilot"],
    );
    assert!(
        said.contains("2 parts over") && said.contains("a guess"),
        "{said}"
    );
    good(folder, &["sweep", "run", "list"]);
    good(folder, &["sweep", "merge", "list"]);

    let spread = SWEEP
        .replace("seed = 5", "seed = 5\ndesign = \"spread\"\npoints = 6")
        .replace("steps = 2", "")
        .replace(
            "[reading]",
            "[reading]\nwhat = \"friction work\"\nplace = \"whole figure\"",
        );
    fs::write(folder.join("spread.toml"), spread).expect("written");
    good(
        folder,
        &["sweep", "plan", "spread.toml", "-o", "spread", "--no-pilot"],
    );
    good(
        folder,
        &["sweep", "plan", "spread.toml", "-o", "spread", "--no-pilot"],
    );
    good(folder, &["sweep", "run", "spread"]);
    let said = good(folder, &["sweep", "merge", "spread"]);
    assert!(
        said.contains("takes least") && said.contains("J per stroke"),
        "{said}"
    );

    let said = refused(folder, &["sweep", "plan", "list.toml", "-o", "spread"], 1);
    assert!(said.contains("another plan"), "{said}");
    let said = refused(folder, &["sweep", "merge", "list", "--from", "spread"], 1);
    assert!(said.contains("another plan"), "{said}");
}

#[test]
fn every_step_of_a_sweep_helps_with_an_example() {
    let folder = tempfile::tempdir().expect("folder");
    for step in ["plan", "part", "run", "merge"] {
        let help = good(folder.path(), &["sweep", step, "--help"]);
        assert!(help.contains(&format!("thumbworn sweep {step}")), "{help}");
    }
}

/// A worker's conversation: numbers in, parts out, an error does not end it.
#[test]
fn parts_are_served_line_by_line() {
    use std::io::{Read, Write};
    let temp = prepared();
    good(temp.path(), &["sweep", "plan", "sweep.toml", "-o", "a"]);
    let kept = fs::read(part(temp.path(), "a", 0)).expect("part");
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_thumbworn"))
        .current_dir(temp.path())
        .args(["--quiet", "sweep", "part", "a", "--serve"])
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped())
        .spawn()
        .expect("starts");
    let mut numbers = child.stdin.take().expect("stdin");
    numbers.write_all(b"0\n99\n0\n").expect("asked");
    drop(numbers);
    let mut given = Vec::new();
    child
        .stdout
        .take()
        .expect("stdout")
        .read_to_end(&mut given)
        .expect("read");
    assert!(child.wait().expect("ends").success());
    let head = format!("part 0 {}\n", kept.len()).into_bytes();
    let one = [head.as_slice(), &kept].concat();
    assert!(
        given.starts_with(&one) && given.ends_with(&one),
        "the same bytes twice"
    );
    let between = String::from_utf8_lossy(&given[one.len()..given.len() - one.len()]).into_owned();
    assert!(
        between.starts_with("error 99 ") && between.contains("there is no part 99"),
        "{between}"
    );
}
