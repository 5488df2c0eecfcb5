//! `bench sheet`: A4 pages to print, for the operator and for every grader and inspection.

use super::files::{Bench, Outcome};
use super::photos::VIEWS;
use super::plan::shuffled;
use base::random::stream;
use base::{Error, Note, Result, Topic};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use minijinja::{Environment, context};
use std::path::Path;

/// Which sheets to make.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetSettings {
    /// The bench folder.
    pub folder: std::path::PathBuf,
}

const CAUTIONS: [&str; 8] = [
    "Spray outdoors or in an extracted booth, away from flames; for solvent aerosols wear a respirator with organic-vapour and particle filters, and gloves. The label and the safety data sheet go before this sheet.",
    "Sand wet, never dry. Bag dust and swabs.",
    "Cast metal, old castings above all, may hold lead, and worn ones shed it: nitrile gloves, no food, drink, smoking or nail-biting at the bench; wipe the bench wet; wash hands and face afterwards; keep these cloths and clothes apart; keep children and pregnant people away. Local rules apply.",
    "Retire a figure that may hold lead at the first bare metal.",
    "Never eat while handling. Grease comes from a weighed smear of synthetic sebum or a non-drying cooking oil (not linseed) on a clean gloved finger.",
    "Lay oily rags flat outdoors to dry: some oils heat themselves.",
    "Uncured resin: gloves, and the safety data sheet.",
    "Rest your hands; stop at pain.",
];

/// The usual cautions, printed on every plan and sheet.
#[must_use]
pub fn cautions() -> Vec<Note> {
    CAUTIONS
        .iter()
        .map(|t| Note::new(Topic::Caution, *t))
        .collect()
}

/// Picture of the places to look at, four views side by side, if the plan came from a run.
pub const PICTURE: &str = "where-to-look.png";

const PAGE: &str = include_str!("sheet.html");

/// Operator's sheets per block and grading sheets per inspection and grader; user text is escaped.
///
/// # Errors
/// As [`Bench::open`].
pub fn sheet(settings: &SheetSettings) -> Result<Outcome> {
    let bench = Bench::open(&settings.folder)?;
    let mut outcome = Outcome::default();
    let picture = picture(&bench.folder)?;
    let blocks = bench.rounds.iter().map(|r| r.block).max().unwrap_or(0);
    for block in 1..=blocks {
        outcome.add(
            format!("sheets/operator-block-{block}.html"),
            operator(&bench, block)?,
        );
    }
    for inspection in 0..bench.file.inspections.len() {
        for grader in 0..bench.file.graders.len() {
            let name = format!("sheets/grading-{inspection}-grader-{}.html", grader + 1);
            outcome.add(
                name,
                grading(&bench, picture.as_deref(), (inspection, grader))?,
            );
        }
    }
    outcome.text = format!(
        "{} sheets to print. Grades go into a table with the columns code, inspection_units, area_id, grader, grade, kind, note; the guesses of the last look into guesses.csv in the bench folder with the columns code, grader, system_id.\n",
        outcome.files.len()
    );
    outcome.notes = cautions();
    Ok(outcome)
}

/// The picture of the places in base64, if there is one.
pub(super) fn picture(folder: &Path) -> Result<Option<String>> {
    let path = folder.join(PICTURE);
    match std::fs::read(&path) {
        Ok(bytes) => Ok(Some(STANDARD.encode(bytes))),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(Error::system("read", &path, &e)),
    }
}

fn page(values: minijinja::Value) -> Result<String> {
    let mut environment = Environment::new();
    let fail = |e: minijinja::Error| Error::refused(format!("cannot write a sheet: {e}"));
    environment.add_template("sheet.html", PAGE).map_err(fail)?;
    let template = environment.get_template("sheet.html").map_err(fail)?;
    template.render(values).map_err(fail)
}

fn operator(bench: &Bench, block: u32) -> Result<String> {
    let rows: Vec<_> = bench.rounds.iter().filter(|r| r.block == block).collect();
    let passes: Vec<minijinja::Value> = rows
        .chunk_by(|a, b| a.pass == b.pass)
        .map(|run| {
            let codes: Vec<String> = run.iter().map(|r| r.code.clone()).collect();
            let seconds = f64::from(run[0].units) / 1.3;
            context! { pass => run[0].pass, units => run[0].units, seconds => seconds.round(), codes => codes }
        })
        .collect();
    page(context! {
        kind => "operator",
        title => bench.file.title.clone(),
        block => block,
        passes => passes,
        unit => bench.file.exposure_unit.clone(),
        exposure => bench.file.exposure_kind.clone(),
        grease_mg => bench.file.grease_mg,
        grease_every => bench.file.grease_every_units,
        stop_rules => bench.file.stop_rules.clone(),
        key => bench.file.key_sha256.clone(),
        cautions => CAUTIONS.to_vec(),
    })
}

fn grading(
    bench: &Bench,
    picture: Option<&str>,
    (inspection, grader): (usize, usize),
) -> Result<String> {
    let at = bench.key.iter().filter(|(_, (_, i))| *i == inspection);
    let codes: Vec<&String> = at.map(|(code, _)| code).collect();
    let names = ["bench", "sheet order"];
    let number = (inspection * 100 + grader) as u64;
    let mut random = stream(bench.file.seed, &names, number);
    let order = shuffled(codes.len(), &mut random);
    let ordered: Vec<String> = order.iter().map(|i| codes[*i].clone()).collect();
    let areas: Vec<minijinja::Value> = bench
        .areas
        .iter()
        .map(|a| {
            let view = VIEWS.get((a.view as usize).wrapping_sub(1)).unwrap_or(&"");
            context! { id => a.area_id.clone(), words => a.words.clone(), view => *view }
        })
        .collect();
    page(context! {
        kind => "grading",
        title => bench.file.title.clone(),
        units => format!("{}", bench.file.inspections[inspection]),
        unit => bench.file.exposure_unit.clone(),
        grader => bench.file.graders[grader].clone(),
        codes => ordered,
        areas => areas,
        views => VIEWS.to_vec(),
        picture => picture,
        guess => inspection + 1 == bench.file.inspections.len(),
        systems => bench.systems.iter().map(|s| s.system_id.clone()).collect::<Vec<_>>(),
        cautions => CAUTIONS.to_vec(),
    })
}
