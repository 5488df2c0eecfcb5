//! One bench from plan to wear rates, and the slips a tired person makes at midnight.

use super::analyse::{AnalyseSettings, analyse};
use super::calibrate::{CalibrateSettings, calibrate};
use super::design::Test;
use super::exact::Side;
use super::files::{Bench, Comparison, GradeRow, KeyRow, SystemRow, read_rows, write_rows};
use super::model::FitSettings;
use super::plan::{AreaDose, PlanSettings, plan};
use super::record::{RecordSettings, record};
use super::sheet::{SheetSettings, sheet};
use crate::reference::Calibration;
use base::Unwatched;
use base::random::stream;
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};
use std::collections::BTreeMap;
use std::path::Path;

/// Truth, from least to most wear: ln of k_E over the planned value.
const TRUTH: [f64; 5] = [-1.2, -0.6, 0.0, 0.6, 1.2];
const PLANNED: f64 = 0.04;

fn system(i: usize) -> SystemRow {
    SystemRow {
        system_id: format!("S{}", i + 1),
        body: if i.is_multiple_of(2) {
            "metal".into()
        } else {
            "hard plastic".into()
        },
        primer_kind: "acrylic".into(),
        primer_method: if i < 3 {
            "aerosol".into()
        } else {
            "brush".into()
        },
        paint_method: "brush".into(),
        topcoat_kind: ["PU", "satin", "satin", "none", "none"][i].into(),
        topcoat_coats: [2, 2, 1, 0, 0][i],
        film_um_median: 13.0,
        film_um_source: "gauge".into(),
        note: "=not a formula <b>".into(),
    }
}

fn area(i: usize) -> AreaDose {
    let dose = [60.0, 40.0, 24.0, 12.0, 6.0, 0.0][i];
    AreaDose {
        area_id: format!("A{}", i + 1),
        words: [
            "tip, front left",
            "shoulder <script>",
            "back edge",
            "belly",
            "base rim",
            "hollow",
        ][i]
            .into(),
        dose_J_m2_per_unit: dose,
        dose_lo90: dose * 0.9,
        dose_hi90: dose * 1.1,
        rank_certainty_pct: 95.0,
        area_mm2: 3.0,
        view: None,
    }
}

pub(super) fn settings(figures: usize) -> PlanSettings {
    PlanSettings {
        title: "Five coats, greasy fingers".into(),
        seed: 5,
        systems: (0..5).map(system).collect(),
        choose: None,
        figures_per_system: figures,
        reference_system: "S3".into(),
        areas: (0..6).map(area).collect(),
        spread_inside_ln: 0.95,
        simulator_run: "0123abcd".into(),
        exposure_kind: "handle".into(),
        counterface: "greasy skin".into(),
        friction: None,
        exposure_unit: "pick-ups".into(),
        inspections: vec![0.0, 125.0, 250.0, 500.0, 1000.0, 2000.0],
        fit_inspections: false,
        graders: vec!["Ada".into(), "Ben".into()],
        alpha: 0.05,
        family: vec![Comparison {
            name: "more topcoat, less wear".into(),
            test: Test::DeclaredOrder,
            systems: (1..6).map(|i| format!("S{i}")).collect(),
            side: Side::Higher,
            grade: None,
            by_look: None,
        }],
        k_e_mm3_per_j: Some(PLANNED),
        prior: Vec::new(),
        repeats_pct: 15.0,
        units_per_pass: 25,
    }
}

/// Grades of the stated truth: thresholds from the words of the grades at s_in 0.95.
pub(super) fn grade_table(folder: &Path, inspection: usize, seed: u64) -> String {
    let bench = Bench::open(folder).unwrap();
    let tau = [-2.61, -2.21, -1.79, -1.22, -0.50];
    let mut rows = Vec::new();
    for (code, (specimen, at)) in bench.key.iter().filter(|(_, (_, at))| *at == inspection) {
        for (a, area) in bench.areas.iter().enumerate() {
            let cell = |kind: &str, number: u64| -> f64 {
                StandardNormal.sample(&mut stream(seed, &["story", kind], number))
            };
            let of = &bench.specimens[*specimen];
            let units = bench.file.inspections[*at];
            let x = (units * area.dose_j_m2_per_unit * PLANNED * 1e-9 / 13e-6).ln()
                + TRUTH[of.system]
                + 0.2 * cell("specimen", *specimen as u64)
                + 0.3 * cell("cell", (specimen * 100 + a) as u64);
            for (g, grader) in bench.file.graders.iter().enumerate() {
                let mut random = stream(seed, &["story", code, grader], a as u64);
                let u: f64 = random.random::<f64>().clamp(1e-9, 1.0 - 1e-9);
                let seen = x + 0.1 * g as f64 + 0.12 * (u / (1.0 - u)).ln();
                let worn = tau.iter().filter(|t| seen > **t).count() as u8;
                rows.push(GradeRow {
                    code: format!("c-{code}"),
                    inspection_units: units,
                    area_id: area.area_id.clone(),
                    grader: grader.clone(),
                    grade: Some(if of.row.role == "blank" { 0 } else { worn }),
                    kind: "R".into(),
                    note: String::new(),
                });
            }
        }
    }
    write_rows(&rows).unwrap()
}

pub(super) fn taken_in(
    folder: &Path,
    name: &str,
    table: &str,
) -> base::Result<super::files::Outcome> {
    let filled = folder.join(name);
    std::fs::write(&filled, table).unwrap();
    let outcome = record(&RecordSettings {
        folder: folder.to_owned(),
        filled,
        accept_falling: true,
    })?;
    outcome.write_into(folder)?;
    Ok(outcome)
}

#[test]
fn from_plan_to_a_narrower_wear_rate() {
    let folder = tempfile::tempdir().unwrap();
    let planned = plan(&settings(2)).unwrap();
    assert!(
        planned.text.contains("smallest p this design can give"),
        "{}",
        planned.text
    );
    assert!(planned.notes.iter().any(|n| n.text.contains("lead")));
    planned.write_into(folder.path()).unwrap();
    for inspection in 0..6 {
        let table = grade_table(folder.path(), inspection, 1);
        let outcome = taken_in(folder.path(), &format!("typed-{inspection}.csv"), &table).unwrap();
        assert!(outcome.text.contains("Frozen"));
    }
    let fit = FitSettings::default();
    let analysis = analyse(
        &AnalyseSettings {
            folder: folder.path().to_owned(),
            fit,
        },
        &Unwatched,
    )
    .unwrap();
    let text = &analysis.text;
    assert!(
        text.contains("Wear rises in the declared order taken as a whole"),
        "{text}"
    );
    assert!(text.contains("LOOKED AT AFTERWARDS") && text.contains("Nothing here is evidence"));
    assert!(
        text.contains("all below grade 1"),
        "blanks and shadow area are clean: {text}"
    );
    super::analyse::claims_no_more(text);
    let page = analysis
        .files
        .iter()
        .find(|f| f.name.ends_with(".html"))
        .unwrap();
    let html = String::from_utf8(page.bytes.clone()).unwrap();
    assert_eq!(html.matches("<polygon").count(), 5 * 5);
    assert_eq!(html.matches("<circle").count(), 5 * 5 * 5 + 2 * 5);
    assert!(!html.contains("<script>") && html.contains("shoulder &lt;script"));
    let expected = analysis
        .files
        .iter()
        .find(|f| f.name.contains("expected"))
        .unwrap();
    let table = String::from_utf8(expected.bytes.clone()).unwrap();
    let rows: Vec<Vec<f64>> = table
        .lines()
        .skip(1)
        .map(|l| l.split(',').skip(3).map(|c| c.parse().unwrap()).collect())
        .collect();
    let held = rows.iter().filter(|r| r[2] <= r[0] && r[0] <= r[3]).count();
    assert_eq!(rows.len(), 5 * 5 * 5);
    assert!(
        held * 10 >= rows.len() * 9,
        "{held} of {} inside",
        rows.len()
    );
    analysis.write_into(folder.path()).unwrap();
    let outcome = calibrate(
        &CalibrateSettings {
            folder: folder.path().to_owned(),
            fit,
        },
        &Unwatched,
    )
    .unwrap();
    let toml = String::from_utf8(outcome.files[0].bytes.clone()).unwrap();
    let calibration: Calibration = toml::from_str(&toml).unwrap();
    // What the plan knew: level x/: 5.2, effects and rests on top.
    let prior_sd = (1.0_f64 + 0.7 * 0.7 + 0.3 * 0.3).sqrt();
    let mut inside = 0;
    for (rate, truth) in calibration.wear_rate.iter().zip(TRUTH) {
        let known = PLANNED * truth.exp();
        inside += usize::from(rate.low <= known && known <= rate.high);
        assert!(
            rate.sd_ln < 0.75 * prior_sd,
            "{} {}",
            rate.system_id,
            rate.sd_ln
        );
    }
    assert!(inside >= 4, "{calibration:?}");
    let ratio_sd = |i: usize, j: usize| {
        let c = &calibration.covariance_ln;
        (c[i][i] + c[j][j] - 2.0 * c[i][j]).sqrt()
    };
    assert!(
        ratio_sd(0, 4) < 0.6,
        "ratios are what a bench tells: {}",
        ratio_sd(0, 4)
    );
}

#[test]
fn one_figure_each_is_worded_as_a_first_look() {
    let folder = tempfile::tempdir().unwrap();
    let mut wish = settings(1);
    wish.family.push(Comparison {
        name: "any difference".into(),
        test: Test::AnyDifference,
        systems: (1..6).map(|i| format!("S{i}")).collect(),
        side: Side::Two,
        grade: None,
        by_look: None,
    });
    let planned = plan(&wish).unwrap();
    assert!(
        planned
            .text
            .contains("It cannot be shown at 0.05 with 1 figure each, whatever comes out"),
        "{}",
        planned.text
    );
    planned.write_into(folder.path()).unwrap();
    for inspection in 3..5 {
        taken_in(
            folder.path(),
            &format!("typed-{inspection}.csv"),
            &grade_table(folder.path(), inspection, 2),
        )
        .unwrap();
    }
    let fit = FitSettings::default();
    let analysis = analyse(
        &AnalyseSettings {
            folder: folder.path().to_owned(),
            fit,
        },
        &Unwatched,
    )
    .unwrap();
    assert!(
        analysis
            .text
            .contains("One figure each: no test can tell this from figure-to-figure luck"),
        "{}",
        analysis.text
    );
    assert!(
        analysis
            .text
            .contains("this design cannot decide it either way"),
        "{}",
        analysis.text
    );
}

/// Pairs in blocks, and figures worn through or not: declared, told beforehand, tested exactly.
#[test]
fn pairs_and_worn_through_can_be_declared() {
    let folder = tempfile::tempdir().unwrap();
    let mut wish = settings(4);
    let ask = |name: &str, test, ids: &[&str]| Comparison {
        name: name.into(),
        test,
        systems: ids.iter().map(|s| (*s).to_owned()).collect(),
        side: Side::Higher,
        grade: (test == Test::WornThrough).then_some(3),
        by_look: (test == Test::WornThrough).then_some(4),
    };
    wish.family = vec![
        ask(
            "bare against double",
            Test::TwoGroupsInBlocks,
            &["S1", "S5"],
        ),
        ask("through early", Test::WornThrough, &["S1", "S5"]),
    ];
    let planned = plan(&wish).unwrap();
    // 4 pairs: 1/16; 4 against 4 all or nothing: 1/C(8,4) = 1/70; two questions share 0.05.
    for words in [
        "0.0625",
        "0.0143",
        "It cannot be shown at 0.05 with 4 figures",
    ] {
        assert!(planned.text.contains(words), "{words}: {}", planned.text);
    }
    planned.write_into(folder.path()).unwrap();
    for inspection in 0..6 {
        let table = grade_table(folder.path(), inspection, 1);
        taken_in(folder.path(), &format!("typed-{inspection}.csv"), &table).unwrap();
    }
    let settings = AnalyseSettings {
        folder: folder.path().to_owned(),
        fit: FitSettings::default(),
    };
    let analysis = analyse(&settings, &Unwatched).unwrap();
    let text = &analysis.text;
    assert!(text.contains("signed rank of pairs in blocks") && text.contains("worn through"));
    assert!(
        text.contains("exact p = 0.0625 (the smallest possible with these grades is 0.0625)"),
        "{text}"
    );
    assert!(text.contains("exact p = 0.0143"), "{text}");
    assert!(
        text.contains("Order of 5 areas") && text.contains("LIVES TO GRADE 3"),
        "{text}"
    );
    let mut broken = wish.clone();
    broken.family[1].by_look = Some(6);
    assert!(
        plan(&broken)
            .unwrap_err()
            .to_string()
            .contains("by_look from 1 to 5")
    );
    broken.family[1].by_look = None;
    assert!(plan(&broken).is_err());
    broken.family = vec![ask("three", Test::TwoGroupsInBlocks, &["S1", "S2", "S5"])];
    assert!(
        plan(&broken)
            .unwrap_err()
            .to_string()
            .contains("two systems")
    );
}

/// Guesses of the last look: counted against chance, and none made twice.
#[test]
fn guesses_tell_whether_the_blinding_held() {
    let (folder, table) = midnight();
    taken_in(folder.path(), "typed.csv", &table).unwrap();
    let settings = AnalyseSettings {
        folder: folder.path().to_owned(),
        fit: FitSettings::default(),
    };
    let told = |rows: &str| {
        let head = "code,grader,system_id\n";
        std::fs::write(folder.path().join("guesses.csv"), format!("{head}{rows}")).unwrap();
        analyse(&settings, &Unwatched).map(|o| o.text)
    };
    let bench = Bench::open(folder.path()).unwrap();
    let right: String = bench
        .key
        .iter()
        .filter(|(_, (_, at))| *at == 2)
        .take(5)
        .map(|(code, (s, _))| {
            let system = &bench.specimens[*s].row.system_id;
            format!("c-{code},Ada,{system}\n")
        })
        .collect();
    let text = told(&right).unwrap();
    assert!(
        text.contains("5 of 5 guesses right") && text.contains("knew more"),
        "{text}"
    );
    let again = format!("{right}{}\n", right.lines().next().unwrap());
    assert!(told(&again).unwrap_err().to_string().contains("twice"));
    std::fs::remove_file(folder.path().join("guesses.csv")).unwrap();
    assert!(
        analyse(&settings, &Unwatched)
            .unwrap()
            .text
            .contains("no guesses.csv")
    );
}

/// A folder with a plan and the first graded look as typed.
fn midnight() -> (tempfile::TempDir, String) {
    let folder = tempfile::tempdir().unwrap();
    plan(&settings(1))
        .unwrap()
        .write_into(folder.path())
        .unwrap();
    let table = grade_table(folder.path(), 2, 3);
    (folder, table)
}

#[test]
fn slips_are_refused_with_their_place() {
    let (folder, table) = midnight();
    let lines: Vec<&str> = table.lines().collect();
    let code = lines[3].split(',').next().unwrap();
    let mut symbols: Vec<char> = code.chars().collect();
    symbols.swap(3, 4);
    let swapped: String = symbols.iter().collect();
    let wrong = |old: &str, new: &str| {
        let mut changed: Vec<String> = lines.iter().map(|l| (*l).to_owned()).collect();
        changed[3] = changed[3].replacen(old, new, 1);
        let text = changed.join("\n") + "\n";
        taken_in(folder.path(), "typed.csv", &text)
            .unwrap_err()
            .to_string()
    };
    if swapped != code {
        let error = wrong(code, &swapped);
        assert!(
            error.contains("line 4") && error.contains("mistyped") && error.contains(code),
            "{error}"
        );
    }
    assert!(wrong(",A", ",B").contains("not on the plan"));
    assert!(wrong(",R,", ",Q,").contains("kind \"Q\" does not exist"));
    assert!(
        wrong(",Ada,", ",Adda,").contains("did you mean \"Ada\"")
            || wrong(",Ben,", ",Benn,").contains("did you mean \"Ben\"")
    );
    let field: Vec<&str> = lines[3].split(',').collect();
    let seven = lines[3].replacen(&format!("{},R", field[4]), "7,R", 1);
    assert!(wrong(lines[3], &seven).contains("grade 7 does not exist"));
    let word = lines[3].replacen(&format!("{},R", field[4]), "two,R", 1);
    let error = wrong(lines[3], &word);
    assert!(error.contains(":4:") && error.contains("grade"), "{error}");
    assert!(wrong("250", "500").contains("belongs to the inspection at 250"));
    let twice = format!("{table}{}\n", lines[5]);
    assert!(
        taken_in(folder.path(), "typed.csv", &twice)
            .unwrap_err()
            .to_string()
            .contains("twice")
    );
    assert!(
        !folder.path().join("recorded").exists(),
        "nothing was frozen"
    );
}

#[test]
fn frozen_grades_stay_frozen_and_a_changed_key_is_seen() {
    let (folder, table) = midnight();
    taken_in(folder.path(), "typed.csv", &table).unwrap();
    let again = taken_in(folder.path(), "typed.csv", &table).unwrap();
    assert!(again.text.contains("recorded already") && again.files.is_empty());
    let lines: Vec<&str> = table.lines().collect();
    let part = format!("{}\n{}\n", lines[0], lines[4]);
    let error = taken_in(folder.path(), "part.csv", &part)
        .unwrap_err()
        .to_string();
    assert!(error.contains("recorded before"), "{error}");
    let key = folder.path().join("key.csv");
    let mut rows: Vec<KeyRow> = read_rows(&key)
        .unwrap()
        .into_iter()
        .map(|(_, r)| r)
        .collect();
    let (a, b) = (rows[0].specimen_id.clone(), rows[1].specimen_id.clone());
    (rows[0].specimen_id, rows[1].specimen_id) = (b, a);
    std::fs::write(&key, write_rows(&rows).unwrap()).unwrap();
    assert!(
        Bench::open(folder.path())
            .unwrap_err()
            .to_string()
            .contains("hash")
    );
}

#[test]
fn photos_are_frozen_with_their_hash() {
    let (folder, _) = midnight();
    let bench = Bench::open(folder.path()).unwrap();
    let (code, (_, at)) = bench.key.iter().next().unwrap();
    let units = bench.file.inspections[*at];
    std::fs::write(folder.path().join("p1.jpg"), b"light").unwrap();
    let heading = "code,inspection_units,view,file\n";
    let row = format!("c-{code},{units},front,p1.jpg\n");
    let taken = taken_in(folder.path(), "photos.csv", &format!("{heading}{row}")).unwrap();
    let frozen = String::from_utf8(taken.files[0].bytes.clone()).unwrap();
    // sha256sum of the five letters
    let known = "99a7026172d42714d0293e5598ec1c8e8260d7d0c4b8582ad002c1883494e216";
    assert!(frozen.contains(known), "{frozen}");
    let error = |rows: &str| {
        taken_in(folder.path(), "photos.csv", &format!("{heading}{rows}"))
            .unwrap_err()
            .to_string()
    };
    assert!(error(&format!("{row}{row}")).contains("twice"));
    assert!(error(&row.replace("front", "frnt")).contains("did you mean front"));
    assert!(error(&row.replace("p1.jpg", "p2.jpg")).contains("p2.jpg"));
    assert!(
        error(&row.replace(&format!(",{units},"), ",77,")).contains("belongs to the inspection")
    );
    assert!(
        Bench::open(folder.path())
            .unwrap()
            .recorded()
            .unwrap()
            .is_empty()
    );
}

#[test]
fn paint_that_grows_back_is_asked_about() {
    let (folder, early) = midnight();
    let rise = early.replace(",0,R,", ",4,R,").replace(",1,R,", ",4,R,");
    taken_in(folder.path(), "early.csv", &rise).unwrap();
    let late = grade_table(folder.path(), 3, 3).replace(",1,R,", ",0,R,");
    let filled = folder.path().join("late.csv");
    std::fs::write(&filled, &late).unwrap();
    let ask = |accept_falling| {
        record(&RecordSettings {
            folder: folder.path().to_owned(),
            filled: filled.clone(),
            accept_falling,
        })
    };
    assert!(
        ask(false)
            .unwrap_err()
            .to_string()
            .contains("paint does not grow back")
    );
    assert!(!ask(true).unwrap().notes.is_empty());
}

#[test]
fn sheets_hold_every_code_once_and_no_raw_user_text() {
    let folder = tempfile::tempdir().unwrap();
    let mut wish = settings(1);
    wish.title = "<script>alert(1)</script>".into();
    plan(&wish).unwrap().write_into(folder.path()).unwrap();
    let sheets = sheet(&SheetSettings {
        folder: folder.path().to_owned(),
    })
    .unwrap();
    assert_eq!(sheets.files.len(), 1 + 6 * 2);
    let bench = Bench::open(folder.path()).unwrap();
    let mut orders: BTreeMap<usize, Vec<Vec<usize>>> = BTreeMap::new();
    for file in &sheets.files {
        let html = String::from_utf8(file.bytes.clone()).unwrap();
        assert!(!html.contains("<script>"), "{}", file.name);
        assert!(html.contains("Never eat while handling") && html.contains("size: A4"));
        if let Some(rest) = file.name.strip_prefix("sheets/grading-") {
            let asked = html.matches("Which system do you think").count();
            assert_eq!(asked > 0, rest.starts_with('5'), "only at the last look");
            let inspection: usize = rest[..1].parse().unwrap();
            let at = bench.key.iter().filter(|(_, (_, i))| *i == inspection);
            let places: Vec<usize> = at
                .map(|(code, _)| {
                    assert_eq!(html.matches(&format!("c-{code}<")).count(), 1);
                    html.find(&format!("c-{code}<")).unwrap()
                })
                .collect();
            orders.entry(inspection).or_default().push(places);
        }
    }
    assert!(
        orders.values().any(|o| o[0] != o[1]),
        "graders go in different orders"
    );
    let csv = std::fs::read_to_string(folder.path().join("systems.csv")).unwrap();
    assert!(csv.contains("'=not a formula"));
}

/// Same settings, same bytes.
#[test]
fn a_plan_is_reproducible_and_rotates_evenly() {
    let (a, b) = (plan(&settings(2)).unwrap(), plan(&settings(2)).unwrap());
    assert!(a == b);
    let rounds = a.files.iter().find(|f| f.name == "rounds.csv").unwrap();
    let text = String::from_utf8(rounds.bytes.clone()).unwrap();
    let units: u32 = text
        .lines()
        .skip(1)
        .filter(|l| l.starts_with("1,"))
        .filter(|l| l.split(',').nth(2) == Some("1"))
        .map(|l| l.split(',').nth(5).unwrap().parse::<u32>().unwrap())
        .sum();
    assert_eq!(units, 2000, "a position is filled 2000 units long");
}

/// Doses far too high or low for the usual inspections move them.
#[test]
fn inspections_move_to_where_the_prior_expects_grades() {
    // Scaling the dose by 16 or 256 asks for looks 4 times or more as early.
    for (factor, first) in [(1.0, 500.0), (16.0, 125.0), (256.0, 31.25)] {
        let mut wish = settings(1);
        wish.fit_inspections = true;
        for a in &mut wish.areas {
            a.dose_J_m2_per_unit *= factor;
        }
        let planned = plan(&wish).unwrap();
        let note = planned
            .notes
            .iter()
            .find(|n| n.text.contains("by the priors"));
        let file = planned
            .files
            .iter()
            .find(|f| f.name == "bench.toml")
            .unwrap();
        let text = String::from_utf8(file.bytes.clone()).unwrap();
        let file: super::files::BenchFile = toml::from_str(&text).unwrap();
        assert!(file.inspections[1] <= first, "{note:?}");
        assert!(factor > 1.0 || file.inspections[1] == first, "{note:?}");
    }
}

/// The user's present system stays in, and weak contrasts are said in words.
#[test]
fn chosen_systems_keep_the_present_one_and_say_what_is_mixed() {
    let (factors, rules) = (super::choose::usual_factors(), super::choose::usual_rules());
    let present: Vec<String> = ["metal", "aerosol", "brush", "matt aerosol"]
        .iter()
        .map(|s| (*s).to_owned())
        .collect();
    let (systems, text) =
        super::choose::choose_systems((&factors, &rules), 10, std::slice::from_ref(&present), 1)
            .unwrap();
    assert_eq!((systems.len(), &systems[0]), (10, &present));
    assert!(
        text.contains("No scatter can be seen from one figure each"),
        "{text}"
    );
    assert!(
        text.contains("primer: none against airbrush is told only weakly"),
        "{text}"
    );
    assert!(text.contains("alias matrix"), "{text}");
    let banned: Vec<String> = ["metal", "none", "brush", "none"]
        .iter()
        .map(|s| (*s).to_owned())
        .collect();
    let error = super::choose::choose_systems((&factors, &rules), 10, &[banned], 1).unwrap_err();
    assert!(error.to_string().contains("left out by the rules"));
}
