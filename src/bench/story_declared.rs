//! Benches that declare pairs in blocks and who is worn through by when, from plan to verdict.

use super::analyse::{AnalyseSettings, analyse};
use super::design::Test;
use super::exact::Side;
use super::files::{Comparison, Outcome};
use super::model::{FitSettings, NutsSettings};
use super::plan::{PlanSettings, plan};
use super::story::{grade_table, settings, taken_in};
use base::Unwatched;
use std::path::Path;

fn comparison(name: &str, test: Test, systems: &[&str], side: Side) -> Comparison {
    Comparison {
        name: name.into(),
        test,
        systems: systems.iter().map(|s| (*s).to_owned()).collect(),
        side,
        grade: (test == Test::WornThrough).then_some(3),
        by_look: (test == Test::WornThrough).then_some(4),
    }
}

fn family() -> Vec<Comparison> {
    let all = ["S1", "S2", "S3", "S4", "S5"];
    let ends = ["S1", "S5"];
    vec![
        comparison("in blocks", Test::TwoGroupsInBlocks, &ends, Side::Higher),
        comparison("through", Test::WornThrough, &ends, Side::Higher),
        comparison("any through", Test::WornThrough, &all, Side::Two),
    ]
}

/// The tests do not wait for a fit that passes its gates.
fn analysed(folder: &Path) -> Outcome {
    let fit = FitSettings {
        chains: 2,
        nuts: NutsSettings {
            warmup: 100,
            draws: 50,
            ..NutsSettings::default()
        },
        doublings: 0,
        ..FitSettings::default()
    };
    let folder = folder.to_owned();
    let outcome = analyse(&AnalyseSettings { folder, fit }, &Unwatched).unwrap();
    super::analyse::claims_no_more(&outcome.text);
    outcome
}

fn planned(figures: usize) -> (tempfile::TempDir, String) {
    let folder = tempfile::tempdir().unwrap();
    let wish = PlanSettings {
        family: family(),
        ..settings(figures)
    };
    let outcome = plan(&wish).unwrap();
    outcome.write_into(folder.path()).unwrap();
    (folder, outcome.text)
}

#[test]
fn pairs_and_worn_through_from_plan_to_verdict() {
    let (folder, said) = planned(4);
    // 2^-4 for pairs in four blocks; 1 of C(8, 4) and 10 of C(20, 8) tables, by counting.
    for floor in ["0.0625", "0.0143", "7.9e-5"] {
        assert!(said.contains(floor), "{floor} in {said}");
    }
    for inspection in 1..6 {
        let table = grade_table(folder.path(), inspection, 4);
        taken_in(folder.path(), &format!("typed-{inspection}.csv"), &table).unwrap();
    }
    let outcome = analysed(folder.path());
    let text = &outcome.text;
    for said in [
        "in blocks: signed rank of pairs in blocks, S1 < S5: statistic 10.0000, exact p = 0.0625",
        "No outcome of these grades could have gone below 0.05",
        "In all 4 blocks S1 wore less than S5; by luck that happens 1 time in 16.",
        "through: Fisher's exact test of figures worn through, S1 < S5: statistic 0.0000, exact p = 0.0143",
        "The difference was shown at the declared level 0.05.",
        "Preparations that had reached grade 3 in at least one area by 1000 pick-ups: S1 0 of 4 (90 %: 0 to 53 %), S5 4 of 4 (90 %: 47 to 100 %).",
        "any through: Fisher's exact test of figures worn through, any of S1, S2, S3, S4, S5: statistic",
        "Which systems differ is not told by it.",
        "Order of 5 areas, predicted dose against mean grade over all exposed figures: rank correlation 1.000",
    ] {
        assert!(text.contains(said), "{said}\nin {text}");
    }
    for said in [
        "LIVES TO GRADE 3 (worst scored area",
        "S1: more than 2000; more than 2000; more than 2000; more than 2000.",
        "Weibull lives, one shape for all:",
        "times as long as S3; a first look from 4 preparations.",
        "1 system is bounded on one side only",
    ] {
        assert!(text.contains(said), "{said}\nin {text}");
    }
    let lives = outcome.files.iter().find(|f| f.name.contains("lives-"));
    let table = String::from_utf8(lives.unwrap().bytes.clone()).unwrap();
    assert!(
        table.starts_with(
            "system_id,batch,block,grade,over_units,up_to_units\nS1,S1-1,1,3.0,2000.0,\n"
        ),
        "{table}"
    );
    assert_eq!(table.lines().count(), 1 + 5 * 4);
    let tests = outcome.files.iter().find(|f| f.name.contains("tests-"));
    let table = String::from_utf8(tests.unwrap().bytes.clone()).unwrap();
    assert!(
        table.contains(
            "declared,through: Fisher's exact test of figures worn through,S1 < S5,0.0,0.0142857"
        ),
        "{table}"
    );
}

/// After the first look nobody can be judged at 1000 yet: that is said, and the rest goes on.
#[test]
fn an_early_look_waits_for_the_declared_inspection() {
    let (folder, _) = planned(2);
    let table = grade_table(folder.path(), 1, 4);
    taken_in(folder.path(), "typed-1.csv", &table).unwrap();
    let text = analysed(folder.path()).text;
    let waits = "No figure of S1 can be judged at 1000 pick-ups yet: nothing can be told.";
    assert!(text.contains(waits), "{text}");
    assert!(
        text.contains("this design cannot decide it either way"),
        "{text}"
    );
    assert!(text.contains("2 blocks cannot bound it at 90 %"), "{text}");
}

#[test]
fn a_plan_refuses_what_its_tests_cannot_use() {
    let error = |change: &dyn Fn(&mut PlanSettings)| {
        let mut wish = PlanSettings {
            family: family(),
            ..settings(2)
        };
        change(&mut wish);
        plan(&wish).unwrap_err().to_string()
    };
    let third = |wish: &mut PlanSettings| wish.family[0].systems.push("S2".into());
    assert!(error(&third).contains("\"in blocks\" is a test of two systems and names 3"));
    assert!(error(&|wish| wish.family[1].by_look = Some(6)).contains("by_look from 1 to 5"));
    assert!(error(&|wish| wish.family[1].grade = None).contains("grade from 1 to 5"));
    assert!(error(&|wish| wish.family[0].grade = Some(3)).contains("only worn_through"));
    assert!(error(&|wish| wish.family[2].side = Side::Higher).contains("knows no direction"));
}
