//! A scenario carried out: the figure made, every part computed or found again.

use super::part::{Outcome, Part, PartId};
use super::store::Store;
use crate::scenario::Scenario;
use crate::scenario::plan::FigureSource;
use crate::wear::Treatment;
use base::{Error, Result, Watch};
use contact::dose::DoseRate;
use mesh::figure::{Figure, sculpt};

/// Triangles of the sculpt that ships, enough for its 0.5 mm tips.
pub const SCULPT_TRIANGLES: usize = 50_000;

/// Who watches over the parts.
pub trait Foreman {
    /// A watcher for one part.
    fn part(&self, name: &str) -> Box<dyn Watch + '_>;
    /// One line of talk.
    fn say(&self, text: &str);
}

/// One finished part.
#[derive(Debug, Clone)]
pub struct Done {
    /// Which.
    pub id: PartId,
    /// What it gave.
    pub outcome: Outcome,
    /// Dose per unit with each film outermost, body outward.
    pub stages: Vec<DoseRate>,
    /// How the films meet the counterface.
    pub treatment: Treatment,
    /// [kg] of the specimen.
    pub mass: f64,
}

/// All parts of a scenario.
#[derive(Debug)]
pub struct Trial {
    /// What was asked.
    pub scenario: Scenario,
    /// The figure.
    pub figure: Figure,
    /// Parts, exposure by exposure and within it specimen by specimen.
    pub done: Vec<Done>,
}

/// Makes the figure of a scenario.
///
/// # Errors
/// A file that is no usable mesh.
pub fn figure_of(scenario: &Scenario) -> Result<Figure> {
    match &scenario.figure {
        FigureSource::File(path) => Figure::load(path, &scenario.settings),
        FigureSource::FerryPorter => Figure::from_mesh(
            "ferry porter",
            &sculpt::porter(SCULPT_TRIANGLES),
            &scenario.settings,
        ),
    }
}

impl Trial {
    /// Carries out every part of a scenario; finished parts are found again.
    ///
    /// # Errors
    /// Bad input, a refused ledger, a full disk, or the user's wish to stop; what was finished
    /// stays in the store.
    pub fn carry_out(scenario: Scenario, store: &Store, foreman: &dyn Foreman) -> Result<Trial> {
        foreman.say("making the figure");
        let figure = figure_of(&scenario)?;
        let mut done = Vec::new();
        for exposure in 0..scenario.exposures.len() {
            for specimen in 0..scenario.specimens.len() {
                done.push(one(
                    &scenario,
                    &figure,
                    PartId { exposure, specimen },
                    (store, foreman),
                )?);
            }
        }
        Ok(Trial {
            scenario,
            figure,
            done,
        })
    }

    /// One part, by its place in the scenario.
    ///
    /// # Errors
    /// If there is no such part, which is a defect of the program.
    pub fn part(&self, id: PartId) -> Result<&Done> {
        self.done
            .iter()
            .find(|d| d.id == id)
            .ok_or_else(|| Error::refused("a part is missing from the results"))
    }
}

/// Carries out one part.
///
/// # Errors
/// As [`Trial::carry_out`].
pub fn one(
    scenario: &Scenario,
    figure: &Figure,
    id: PartId,
    (store, foreman): (&Store, &dyn Foreman),
) -> Result<Done> {
    let part = Part::new(scenario, figure, id)?;
    let watch = foreman.part(&part.name());
    let outcome = part.outcome(store, watch.as_ref())?;
    let stages = part.stages(store, watch.as_ref())?;
    Ok(Done {
        id,
        outcome,
        stages,
        mass: part.body().mass,
        treatment: part.treatment,
    })
}
