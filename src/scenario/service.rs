//! The service file: what one season of use does to a figure, in units of the exposures of a
//! finished run, and what could be done instead.

use super::plan::Scenario;
use super::source::Source;
use base::error::nearest;
use base::{Error, Result};
use serde::Deserialize;

/// A service file as typed.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawService {
    /// For people.
    #[serde(default)]
    pub title: String,
    /// Name of a specimen of the run; the first without it.
    #[serde(default)]
    pub specimen: Option<String>,
    /// What a season does.
    #[serde(default, rename = "use")]
    pub uses: Vec<RawUse>,
    /// Exposures of the run that can be done on the bench; all that no `[[use]]` names without it.
    #[serde(default)]
    pub bench: Vec<String>,
    /// Coat that could be added; the outer coat of the specimen without it.
    #[serde(default)]
    pub extra_coat: Option<String>,
    /// Exposures that could take the place of one in use: another hold, another foam.
    #[serde(default)]
    pub instead: Vec<RawInstead>,
}

/// One exposure of a season.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawUse {
    /// Name of an exposure of the run.
    pub exposure: String,
    /// Its units (strokes, pick-ups, minutes, drops, km) in one season.
    pub per_season: f64,
}

/// One exposure done another way.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawInstead {
    /// Name of an exposure in use.
    pub of: String,
    /// Name of the exposure of the run that takes its place.
    pub exposure: String,
    /// What one does, in words; the two names without it.
    #[serde(default)]
    pub words: Option<String>,
}

/// A season, by places in the scenario of the run.
#[derive(Debug, Clone, PartialEq)]
pub struct Service {
    /// Index of the specimen.
    pub specimen: usize,
    /// Index of the exposure and its units in one season.
    pub uses: Vec<(usize, f64)>,
    /// Indices of the exposures of the bench.
    pub bench: Vec<usize>,
    /// Coat that could be added.
    pub extra_coat: Option<String>,
    /// What could be done another way.
    pub instead: Vec<Instead>,
}

/// One exposure done another way.
#[derive(Debug, Clone, PartialEq)]
pub struct Instead {
    /// Place in [`Service::uses`].
    pub of: usize,
    /// Index of the exposure that takes its place.
    pub exposure: usize,
    /// What one does.
    pub words: String,
}

impl Service {
    /// Reads and validates a service file against the scenario of a run.
    ///
    /// # Errors
    /// Anything that is not a service file, a name that the run does not have, an amount out of
    /// range; with its place and the nearest name.
    pub fn read(source: &Source, run: &Scenario) -> Result<Service> {
        let raw: RawService = source.parse_as("scenarios/service/ holds an example")?;
        let exposures: Vec<&str> = run.exposures.iter().map(|e| e.name.as_str()).collect();
        let specimens: Vec<&str> = run
            .specimens
            .iter()
            .map(|s| s.specimen.name.as_str())
            .collect();
        let specimen = match &raw.specimen {
            Some(name) => named(source, "specimen", name, &specimens)?,
            None => 0,
        };
        if raw.uses.is_empty() {
            return Err(Error::input("the service file has no use")
                .at(source.place("use"))
                .hint("add [[use]] with exposure = \"...\" and per_season = 200"));
        }
        let mut uses = Vec::new();
        for (i, typed) in raw.uses.iter().enumerate() {
            let key = format!("use[{i}]");
            let exposure = named(
                source,
                &format!("{key}.exposure"),
                &typed.exposure,
                &exposures,
            )?;
            let amount = typed.per_season;
            if !(amount > 0.0 && amount <= 1e9) {
                let unit = run.exposures[exposure].unit.plural();
                return Err(Error::input(format!(
                    "{amount} {unit} per season is not between 0 and 1e9"
                ))
                .at(source.place(&format!("{key}.per_season")))
                .hint("leave a use out that does not happen"));
            }
            uses.push((exposure, amount));
        }
        let bench = if raw.bench.is_empty() {
            let unused = |e: &usize| uses.iter().all(|(u, _)| u != e);
            (0..exposures.len()).filter(unused).collect()
        } else {
            let found = raw.bench.iter().enumerate();
            found
                .map(|(i, name)| named(source, &format!("bench[{i}]"), name, &exposures))
                .collect::<Result<_>>()?
        };
        let mut instead = Vec::new();
        for (i, typed) in raw.instead.iter().enumerate() {
            let key = format!("instead[{i}]");
            let in_use: Vec<&str> = uses.iter().map(|(e, _)| exposures[*e]).collect();
            let of = named(source, &format!("{key}.of"), &typed.of, &in_use)?;
            let exposure = named(
                source,
                &format!("{key}.exposure"),
                &typed.exposure,
                &exposures,
            )?;
            if run.exposures[exposure].unit != run.exposures[uses[of].0].unit {
                return Err(Error::input(format!(
                    "\"{}\" is counted in {}, \"{}\" in {}: one cannot take the other's place",
                    typed.exposure,
                    run.exposures[exposure].unit.plural(),
                    typed.of,
                    run.exposures[uses[of].0].unit.plural()
                ))
                .at(source.place(&format!("{key}.exposure")))
                .hint("name an exposure of the same kind"));
            }
            let words = typed.words.clone();
            instead.push(Instead {
                of,
                exposure,
                words: words.unwrap_or_else(|| {
                    format!("\"{}\" instead of \"{}\"", typed.exposure, typed.of)
                }),
            });
        }
        Ok(Service {
            specimen,
            uses,
            bench,
            extra_coat: raw.extra_coat,
            instead,
        })
    }

    /// The season that a run's own amounts make up, for one specimen.
    #[must_use]
    pub fn of_run(run: &Scenario, specimen: usize) -> Service {
        Service {
            specimen,
            uses: run
                .exposures
                .iter()
                .enumerate()
                .map(|(e, plan)| (e, plan.amount))
                .collect(),
            bench: Vec::new(),
            extra_coat: None,
            instead: Vec::new(),
        }
    }
}

fn named(source: &Source, key: &str, name: &str, known: &[&str]) -> Result<usize> {
    known.iter().position(|k| *k == name).ok_or_else(|| {
        let error = Error::input(format!("the run has no \"{name}\"")).at(source.place(key));
        match nearest(name, known.iter().copied()) {
            Some(near) => error.hint(format!("did you mean \"{near}\"?")),
            None => error.hint(format!("there is: {}", known.join("; "))),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::super::lift;
    use super::*;

    const RUN: &str = r#"
title = "t"
[figure]
sculpt = "ferry porter"
[[specimen]]
name = "a"
body = "tin pewter"
coats = ["acrylic primer, aerosol", "acrylic paint, brush"]
[[exposure]]
name = "wipe"
kind = "rub"
pad = "soft foam"
load = "hand 1 N"
strokes = 100
stroke_mm = 100
faces = ["top"]
[[exposure]]
name = "lift"
kind = "handle"
pick_ups = 50
skin = "greasy skin"
"#;

    fn read(text: &str) -> Result<Service> {
        let source = Source::embedded("run", RUN);
        let run = lift(&source, &source.parse().unwrap()).unwrap();
        Service::read(&Source::embedded("season", text), &run)
    }

    #[test]
    fn a_season_is_found_in_the_run_and_the_rest_is_the_bench() {
        let service = read("[[use]]\nexposure = \"lift\"\nper_season = 400\n").unwrap();
        assert_eq!(service.uses, vec![(1, 400.0)]);
        assert_eq!(service.bench, vec![0]);
    }

    #[test]
    fn mistakes_are_told_with_place_and_nearest_name() {
        let told = |text: &str| read(text).unwrap_err().to_string();
        let shown = told("[[use]]\nexposure = \"lifts\"\nper_season = 400\n");
        assert!(
            shown.contains("season:2") && shown.contains("did you mean \"lift\""),
            "{shown}"
        );
        let shown = told("[[use]]\nexposure = \"lift\"\nper_season = -4\n");
        assert!(
            shown.contains("season:3") && shown.contains("pick-ups"),
            "{shown}"
        );
        let shown = told("[[use]]\nexposure = \"lift\"\nper_seson = 4\n");
        assert!(shown.contains("did you mean `per_season`"), "{shown}");
        let other = "[[use]]\nexposure = \"lift\"\nper_season = 4\n[[instead]]\nof = \"lift\"\nexposure = \"wipe\"\n";
        assert!(told(other).contains("cannot take the other's place"));
        assert!(told("title = \"x\"\n").contains("no use"));
    }
}
