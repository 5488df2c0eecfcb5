//! From SWEEP.toml to a plan: the only place that validates a sweep.

use super::axis::{Axis, FIGURE, Stand, Values};
use super::design::{Design, PRIMES};
use super::plan::{FORMAT, Input, Plan, Reading, Spot, What, own_binary};
use super::raw::{HELP, RawAxis, RawSweep};
use crate::scenario::plan::FigureSource;
use crate::scenario::raw::{RawExposure, RawScenario};
use crate::scenario::{Scenario, Source, lift};
use crate::trial::carry::figure_of;
use crate::trial::part::ENGINES;
use base::error::nearest;
use base::{Error, Place, Result};
use rayon::prelude::*;
use std::path::Path;
use toml::Value;

/// Most draws behind an interval.
const MOST_DRAWS: u32 = 2000;
/// The sculpt that ships.
const SCULPT: &str = "ferry porter";

/// A plan with the content of its inputs, not yet written.
#[derive(Debug, Clone)]
pub struct Draft {
    /// The plan.
    pub plan: Plan,
    /// Content of each of its inputs.
    pub files: Vec<Vec<u8>>,
    /// One scenario for each figure that occurs, with the words of the figure.
    pub figures: Vec<(String, Scenario)>,
}

/// Reads and validates a sweep file, its scenario and every value of every axis.
///
/// # Errors
/// The first thing that is wrong, with its place and a hint.
pub fn draft(path: &Path) -> Result<Draft> {
    let source = Source::read(path)?;
    let raw: RawSweep = source.parse_as(HELP)?;
    let scenario_path = source.folder.join(&raw.scenario);
    let scenario = Source::read(&scenario_path).map_err(|e| told(&source, "scenario", &e))?;
    let base = scenario.parse()?;
    lift(&scenario, &base)?;
    Drafter {
        source: &source,
        scenario: &scenario,
        inputs: Vec::new(),
    }
    .draft(&raw, base)
}

impl Draft {
    /// Makes every figure once, so that a bad mesh is told before anything is planned.
    ///
    /// # Errors
    /// A file that is no usable mesh, with the words of the figure.
    pub fn check_figures(&self) -> Result<()> {
        let folder = tempfile::tempdir()
            .map_err(|cause| Error::system("make a temporary folder", "temporary", &cause))?;
        for (about, bytes) in self.plan.inputs.iter().zip(&self.files) {
            base::atomic::write(folder.path().join(&about.file), bytes)?;
        }
        let made: Vec<Result<()>> = self
            .figures
            .par_iter()
            .map(|(words, scenario)| {
                let mut scenario = scenario.clone();
                if let FigureSource::File(file) = &mut scenario.figure {
                    *file = folder.path().join(&*file);
                }
                figure_of(&scenario)
                    .map(|_| ())
                    .map_err(|e| self.told_of_figure(words, &scenario, &e))
            })
            .collect();
        made.into_iter().collect()
    }

    fn told_of_figure(&self, words: &str, scenario: &Scenario, error: &Error) -> Error {
        let name = match &scenario.figure {
            FigureSource::File(path) => {
                let file = path.file_name().unwrap_or_default().to_string_lossy();
                let input = self.plan.inputs.iter().find(|i| i.file == file);
                input.map_or_else(|| words.to_string(), |i| i.name.clone())
            }
            FigureSource::FerryPorter => SCULPT.into(),
        };
        let told = Error::input(error.what()).at(Place::file(name));
        error
            .hints()
            .iter()
            .fold(told, |e, hint| e.hint(hint.clone()))
    }
}

struct Drafter<'a> {
    source: &'a Source,
    scenario: &'a Source,
    inputs: Vec<(Input, Vec<u8>)>,
}

/// An error of the scenario told at the place in the sweep file that asked for it.
fn told(source: &Source, key: &str, error: &Error) -> Error {
    let told = Error::input(error.what()).at(source.place(key));
    error
        .hints()
        .iter()
        .fold(told, |e, hint| e.hint(hint.clone()))
}

impl Drafter<'_> {
    fn draft(mut self, raw: &RawSweep, base: RawScenario) -> Result<Draft> {
        if base.budget_min.is_some() {
            return Err(Error::input(
                "a budget in minutes makes results depend on the machine, so parts could not be merged",
            )
            .at(self.scenario.place("budget_min"))
            .hint("delete budget_min from the scenario; precision_pct is the way to cheaper parts"));
        }
        let spread = raw.design == "spread";
        let axes = self.axes(raw, spread)?;
        let design = self.design(raw, &axes)?;
        let parts = design.parts(&axes).ok_or_else(|| {
            Error::input("more parts than can be counted").at(self.source.place("axis"))
        })?;
        let base = self.travelling(base)?;
        let reading = self.reading(raw, &base)?;
        let text = toml::to_string_pretty(&base)
            .map_err(|cause| Error::refused(format!("cannot keep the scenario: {cause}")))?;
        let scenario = self.keep("scenario.toml", text.as_bytes().to_vec());
        self.inputs.sort_by(|a, b| a.0.cmp(&b.0));
        self.inputs.dedup_by(|a, b| a.0.file == b.0.file);
        let (inputs, files) = self.inputs.iter().cloned().unzip();
        let plan = Plan {
            format: FORMAT,
            title: raw.title.clone(),
            version: env!("CARGO_PKG_VERSION").into(),
            engines: ENGINES,
            binary: own_binary()?,
            parts,
            seed: raw.seed.unwrap_or(base.seed),
            design,
            axes,
            reading,
            scenario,
            inputs,
        };
        let figures = self.check_values(&plan, &base)?;
        Ok(Draft {
            plan,
            files,
            figures,
        })
    }

    fn axes(&mut self, raw: &RawSweep, spread: bool) -> Result<Vec<Axis>> {
        if raw.axis.is_empty() {
            return Err(Error::input("nothing is varied")
                .at(self.source.place("axis"))
                .hint("add an [[axis]] with key and values"));
        }
        let mut axes: Vec<Axis> = Vec::new();
        for (i, axis) in raw.axis.iter().enumerate() {
            let at = format!("axis[{i}]");
            let axis = self.figures(axis, &at)?;
            let axis = Axis::lift(&axis, &at, self.source, spread)?;
            if let Some(other) = axes
                .iter()
                .find(|a| a.name == axis.name || a.keys.iter().any(|k| axis.keys.contains(k)))
            {
                return Err(Error::input(format!(
                    "axis \"{}\" and axis \"{}\" are the same",
                    other.name, axis.name
                ))
                .at(self.source.place(&at))
                .hint("every axis needs a name and a key of its own"));
            }
            axes.push(axis);
        }
        Ok(axes)
    }

    /// Figures as tables whose file is one of the inputs.
    fn figures(&mut self, raw: &RawAxis, at: &str) -> Result<RawAxis> {
        let mut axis = raw.clone();
        if raw.figures.is_empty() {
            return Ok(axis);
        }
        let mut labels = Vec::new();
        for (i, figure) in axis.figures.iter_mut().enumerate() {
            let key = format!("{at}.figures[{i}]");
            let mut table = match figure {
                Value::Table(table) => table.clone(),
                Value::String(name) => {
                    let is_sculpt = name.trim().eq_ignore_ascii_case(SCULPT);
                    let kind = if is_sculpt { "sculpt" } else { "file" };
                    let mut table = toml::Table::new();
                    table.insert(kind.into(), Value::from(name.trim()));
                    table
                }
                other => {
                    return Err(Error::input(format!("{other} is not a figure"))
                        .at(self.source.place(&key))
                        .hint("name a mesh file, or \"ferry porter\""));
                }
            };
            let name = match (table.get("file"), table.get("sculpt")) {
                (Some(Value::String(file)), None) => {
                    let path = self.source.folder.join(file);
                    let stem = Path::new(file).file_stem().unwrap_or_default();
                    let words = stem.to_string_lossy().into_owned();
                    let kept = self
                        .keep_file(&path)
                        .map_err(|e| told(self.source, &key, &e))?;
                    table.insert("file".into(), Value::from(kept));
                    words
                }
                (None, Some(Value::String(sculpt))) => sculpt.clone(),
                _ => {
                    return Err(Error::input("a figure needs either a file or a sculpt")
                        .at(self.source.place(&key))
                        .hint("for instance { file = \"my_figure.stl\", height_mm = 38 }"));
                }
            };
            labels.push(name);
            *figure = Value::Table(table);
        }
        if axis.labels.is_empty() {
            axis.labels = labels;
        }
        axis.name.get_or_insert_with(|| FIGURE.into());
        Ok(axis)
    }

    fn design(&self, raw: &RawSweep, axes: &[Axis]) -> Result<Design> {
        let wrong = |key: &str, what: String| Error::input(what).at(self.source.place(key));
        if raw.design != "spread" && raw.points.is_some() {
            return Err(wrong(
                "points",
                format!("a {} design has no number of points", raw.design),
            )
            .hint("delete the line, or write design = \"spread\""));
        }
        match raw.design.as_str() {
            "grid" => Ok(Design::Grid),
            "list" => {
                let count = axes[0].levels();
                match axes.iter().position(|a| a.levels() != count) {
                    None => Ok(Design::List),
                    Some(i) => Err(wrong(
                        &format!("axis[{i}]"),
                        "the axes of a list have the same number of values".into(),
                    )
                    .hint("the first values of all axes are one part, the second ones the next")),
                }
            }
            "spread" => {
                if axes.len() > PRIMES.len() {
                    return Err(wrong(
                        "axis",
                        format!(
                            "{} axes; a spread design takes at most {}",
                            axes.len(),
                            PRIMES.len()
                        ),
                    )
                    .hint("with more axes its points would lie on lines"));
                }
                match raw.points {
                    Some(points) if (1..=1 << 40).contains(&points) => {
                        Ok(Design::Spread { points })
                    }
                    _ => Err(wrong(
                        "design",
                        "a spread design needs its number of points".into(),
                    )
                    .hint("for instance points = 200")),
                }
            }
            typed => {
                let error = wrong("design", format!("unknown design \"{typed}\""));
                Err(match nearest(typed, ["grid", "list", "spread"]) {
                    Some(near) => error.hint(format!("did you mean \"{near}\"?")),
                    None => error.hint("known here: grid, list, spread"),
                })
            }
        }
    }

    /// The scenario without questions of its own, its files among the inputs.
    fn travelling(&mut self, mut base: RawScenario) -> Result<RawScenario> {
        base.compare.clear();
        base.whatif.clear();
        if let Some(i) = base.specimen.iter().position(|s| s.measured.is_some()) {
            return Err(
                Error::input("a sweep does not take wear rates from a bench's file")
                    .at(self.scenario.place(&format!("specimen[{i}].measured")))
                    .hint("give them as [[stock]] or [[coupon]], or delete the line for the sweep"),
            );
        }
        let folder = self.scenario.folder.clone();
        if let Some(file) = &mut base.figure.file {
            *file = self
                .keep_file(&folder.join(&*file))
                .map_err(|e| told(self.scenario, "figure.file", &e))?;
        }
        for (i, exposure) in base.exposure.iter_mut().enumerate() {
            if let RawExposure::Tumble(tumble) = exposure
                && let Some(path) = &mut tumble.path
            {
                *path = self
                    .keep_file(&folder.join(&*path))
                    .map_err(|e| told(self.scenario, &format!("exposure[{i}].path"), &e))?;
            }
        }
        Ok(base)
    }

    fn keep_file(&mut self, path: &Path) -> Result<String> {
        let bytes = std::fs::read(path)
            .map_err(|cause| Error::system("read what the sweep needs", path, &cause))?;
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        Ok(self.keep(&name, bytes))
    }

    fn keep(&mut self, name: &str, bytes: Vec<u8>) -> String {
        let about = Input::of(name, &bytes);
        let file = about.file.clone();
        self.inputs.push((about, bytes));
        file
    }

    fn reading(&self, raw: &RawSweep, base: &RawScenario) -> Result<Reading> {
        let typed = &raw.reading;
        let known: Vec<&str> = What::all().into_iter().map(What::words).collect();
        let what = self.one_of("reading.what", &typed.what, &known)?;
        let places = ["worst area", "whole figure"];
        let place = match self.one_of("reading.place", &typed.place, &places)? {
            0 => Spot::WorstArea,
            _ => Spot::WholeFigure,
        };
        if !(20..=MOST_DRAWS).contains(&typed.draws) {
            return Err(Error::input(format!(
                "{} draws are outside 20 to {MOST_DRAWS}",
                typed.draws
            ))
            .at(self.source.place("reading.draws")));
        }
        let exposures: Vec<&str> = base.exposure.iter().map(RawExposure::name).collect();
        let specimens: Vec<&str> = base.specimen.iter().map(|s| s.name.as_str()).collect();
        Ok(Reading {
            what: What::all()[what],
            place,
            exposures: self.some_of("reading.exposures", &typed.exposures, &exposures)?,
            specimens: self.some_of("reading.specimens", &typed.specimens, &specimens)?,
            draws: typed.draws,
        })
    }

    fn one_of(&self, key: &str, typed: &str, known: &[&str]) -> Result<usize> {
        known.iter().position(|k| *k == typed).ok_or_else(|| {
            let error =
                Error::input(format!("unknown value \"{typed}\"")).at(self.source.place(key));
            match nearest(typed, known.iter().copied()) {
                Some(near) => error.hint(format!("did you mean \"{near}\"?")),
                None => error.hint(format!("known here: {}", known.join(", "))),
            }
        })
    }

    fn some_of(&self, key: &str, typed: &[String], known: &[&str]) -> Result<Vec<usize>> {
        if typed.is_empty() {
            return Ok((0..known.len()).collect());
        }
        let mut found = (0..)
            .zip(typed)
            .map(|(i, name)| self.one_of(&format!("{key}[{i}]"), name, known))
            .collect::<Result<Vec<_>>>()?;
        found.sort_unstable();
        found.dedup();
        Ok(found)
    }

    /// Lifts the scenario with every value of every axis once, so that a wrong one is told now.
    fn check_values(&self, plan: &Plan, base: &RawScenario) -> Result<Vec<(String, Scenario)>> {
        let inputs = Source::embedded(&self.scenario.name, &self.scenario.text);
        let first: Vec<Stand> = plan.axes.iter().map(|axis| axis.at_share(0.0)).collect();
        let mut figures = Vec::new();
        for (a, axis) in plan.axes.iter().enumerate() {
            for (v, stand) in checked(axis).into_iter().enumerate() {
                let mut stands = first.clone();
                match plan.design {
                    Design::List => stands.fill(stand),
                    _ => stands[a] = stand,
                }
                let key = match &axis.values {
                    Values::Span { .. } => format!("axis[{a}].{}", ["from", "to"][v.min(1)]),
                    _ if axis.is_figure() => format!("axis[{a}].figures[{v}]"),
                    _ => format!("axis[{a}].values[{v}]"),
                };
                let scenario = plan
                    .raw(base, &stands)
                    .and_then(|raw| lift(&inputs, &raw))
                    .map_err(|e| self.told_of_value(&key, axis, stand, &e))?;
                if axis.is_figure() {
                    figures.push((axis.label(stand), scenario));
                } else if figures.is_empty() && !plan.axes.iter().any(Axis::is_figure) {
                    figures.push((String::new(), scenario));
                }
            }
        }
        Ok(figures)
    }

    fn told_of_value(&self, key: &str, axis: &Axis, stand: Stand, error: &Error) -> Error {
        // A key that is wrong is wrong for the first value too: point at the key.
        let is_key = error.what().contains("has no key");
        let at = if is_key {
            key.rsplit_once('.').map_or(key, |k| k.0)
        } else {
            key
        };
        let at = if is_key {
            format!("{at}.key")
        } else {
            at.to_string()
        };
        let told = told(self.source, &at, error);
        if is_key {
            return told;
        }
        told.hint(format!(
            "asked by axis \"{}\", value {}",
            axis.name,
            axis.label(stand)
        ))
    }
}

/// The places of an axis that are tried: all levels, or both ends.
fn checked(axis: &Axis) -> Vec<Stand> {
    match &axis.values {
        Values::Levels { values, .. } => (0..values.len()).map(Stand::Level).collect(),
        Values::Span { from, to, .. } => vec![Stand::Number(*from), Stand::Number(*to)],
    }
}
