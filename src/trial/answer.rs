//! The answers of a trial: areas with lives, wear of every patch, comparisons, what-ifs.

use super::carry::{Done, Foreman, Trial, one};
use super::part::PartId;
use super::store::Store;
use crate::scenario::plan::{ComparePlan, WhatIfPlan};
use crate::scenario::raw::RawScenario;
use crate::scenario::vary::vary;
use crate::scenario::{Source, lift};
use crate::study::advise::{Advice, advise};
use crate::study::life::{Life, LifeSettings, Lives, PartShare, lives};
use crate::study::whatif::{Case, Question, WhatIf, whatif};
use crate::study::{Area, AreaSettings, Comparison, Exposed, Side, areas, compare};
use crate::wear::{End, PatchWear, assess};
use base::{Error, Result};
use contact::dose::Channel;
use rayon::prelude::*;
use serde::Serialize;

/// Draws from the priors behind every life.
const DRAWS: usize = 400;

/// A life of something, by end point.
#[derive(Debug, Clone, Serialize)]
pub struct EndLife {
    /// When the life ends.
    pub end: End,
    /// How long it lasts; `None` if nothing reaches it or it never ends.
    pub life: Option<Life>,
}

/// An area and how long it lasts.
#[derive(Debug, Clone, Serialize)]
pub struct AreaAnswer {
    /// The area.
    pub area: Area,
    /// Its lives by end point, in the order the ends come.
    pub lives: Vec<EndLife>,
    /// What the interval of the paint's life is made of.
    pub parts: Vec<PartShare>,
    /// The kind of contact most of its work was done in.
    pub regime: crate::wear::Regime,
}

/// Answers about one exposure of one specimen.
#[derive(Debug, Clone, Serialize)]
pub struct PartAnswer {
    /// Index of the exposure.
    pub exposure: usize,
    /// Index of the specimen.
    pub specimen: usize,
    /// Areas, most dose first.
    pub areas: Vec<AreaAnswer>,
    /// Lives of the whole figure by end point.
    pub figure: Vec<EndLife>,
    /// Wear of each patch after the asked amount of exposure.
    #[serde(skip)]
    pub wear: Vec<PatchWear>,
    /// Median life of each patch until the paint is through, in units of the exposure.
    #[serde(skip)]
    pub patch_life: Vec<Option<f64>>,
}

/// All answers of a trial.
#[derive(Debug, Clone, Serialize)]
pub struct Answers {
    /// One for each part, in the trial's order.
    pub parts: Vec<PartAnswer>,
    /// Comparisons asked for, exposure by exposure.
    pub compares: Vec<Comparison>,
    /// What-ifs asked for, exposure by exposure.
    pub whatifs: Vec<WhatIf>,
}

/// What the areas of every map are ranked by.
pub const RANKED_BY: Channel = Channel::Friction;

impl Trial {
    /// Answers the what-ifs of the scenario.
    ///
    /// * `raw`, `source`: the scenario as typed, for what-ifs on its keys
    ///
    /// # Errors
    /// Whatever a part of a what-if refuses.
    pub fn add_whatifs(
        &self,
        answers: &mut Answers,
        (raw, source): (&RawScenario, &Source),
        (store, foreman): (&Store, &dyn Foreman),
    ) -> Result<()> {
        for plan in &self.scenario.whatifs {
            let found = self.whatif(plan, (raw, source), (store, foreman))?;
            answers.whatifs.extend(found);
        }
        Ok(())
    }

    /// Areas, lives and comparisons, from what is finished.
    ///
    /// # Errors
    /// When there is nothing to compare.
    pub fn answers_without_whatifs(&self, foreman: &dyn Foreman) -> Result<Answers> {
        let mut parts = Vec::new();
        for done in &self.done {
            foreman.say(&format!("wear and life: {}", self.name(done.id)));
            parts.push(self.answer(done)?);
        }
        let mut compares = Vec::new();
        for plan in &self.scenario.compares {
            compares.extend(self.compare(plan)?);
        }
        Ok(Answers {
            parts,
            compares,
            whatifs: Vec::new(),
        })
    }

    /// "exposure / specimen" for people.
    #[must_use]
    pub fn name(&self, id: PartId) -> String {
        format!(
            "{} / {}",
            self.scenario.exposures[id.exposure].name,
            self.scenario.specimens[id.specimen].specimen.name
        )
    }

    /// What would narrow the life of the first area of a part most, and the area's words.
    ///
    /// # Errors
    /// A part that nothing touches.
    pub fn advice(&self, part: usize) -> Result<(String, Vec<Advice>)> {
        let done = &self.done[part];
        let found = lives(self.exposed(done), End::Colour, self.life_settings())?;
        let areas = areas(&self.figure, &done.outcome.rate, &self.area_settings());
        let first = areas.first().ok_or_else(|| {
            Error::input("nothing touches this specimen: there is nothing to measure")
        })?;
        Ok((first.words.clone(), advise(&found, &first.patches)))
    }

    fn exposed<'a>(&'a self, done: &'a Done) -> Exposed<'a> {
        Exposed {
            exposure: &self.scenario.exposures[done.id.exposure].name,
            figure: &self.figure,
            specimen: &self.scenario.specimens[done.id.specimen].specimen,
            treatment: &done.treatment,
            rates: &done.stages,
        }
    }

    fn life_settings(&self) -> LifeSettings {
        LifeSettings {
            seed: self.scenario.seed,
            draws: DRAWS,
            ..LifeSettings::default()
        }
    }

    fn area_settings(&self) -> AreaSettings {
        AreaSettings {
            channel: RANKED_BY,
            seed: self.scenario.seed,
            ..AreaSettings::default()
        }
    }

    fn answer(&self, done: &Done) -> Result<PartAnswer> {
        let exposed = self.exposed(done);
        let exposure = &self.scenario.exposures[done.id.exposure];
        let by_end = End::ALL
            .into_iter()
            .filter(|end| exposed.specimen.coats_to(*end).is_some())
            .map(|end| Ok((end, lives(exposed, end, self.life_settings())?)))
            .collect::<Result<Vec<(End, Lives)>>>()?;
        let colour = by_end
            .iter()
            .find(|(end, _)| *end == End::Colour)
            .map(|(_, lives)| lives)
            .ok_or_else(|| Error::refused("a specimen without an end of its paint"))?;
        let areas = areas(&self.figure, &done.outcome.rate, &self.area_settings())
            .into_iter()
            .map(|area| AreaAnswer {
                lives: by_end
                    .iter()
                    .map(|(end, lives)| EndLife {
                        end: *end,
                        life: lives.area(&area.patches),
                    })
                    .collect(),
                parts: colour.parts(&area.patches),
                regime: exposed.regime(&area.patches),
                area,
            })
            .collect();
        let totals = done.outcome.rate.mean.totals();
        let patches = self.figure.patches.iter().zip(totals);
        Ok(PartAnswer {
            exposure: done.id.exposure,
            specimen: done.id.specimen,
            areas,
            figure: by_end
                .iter()
                .map(|(end, lives)| EndLife {
                    end: *end,
                    life: lives.figure(&self.figure),
                })
                .collect(),
            wear: patches
                .map(|(patch, amounts)| {
                    assess(
                        exposed.specimen,
                        exposed.treatment,
                        patch,
                        (amounts, exposure.amount),
                    )
                })
                .collect(),
            patch_life: (0..self.figure.patches.len())
                .into_par_iter()
                .map(|p| colour.patch(p).map(|life| life.both.median))
                .collect(),
        })
    }

    /// Compares two specimens, exposure by exposure.
    ///
    /// # Errors
    /// When there is nothing to compare.
    pub fn compare(&self, plan: &ComparePlan) -> Result<Vec<Comparison>> {
        let exposures = match plan.exposure {
            Some(one) => one..one + 1,
            None => 0..self.scenario.exposures.len(),
        };
        exposures
            .map(|exposure| {
                let side = |specimen: usize| -> Result<Side<'_>> {
                    Ok(Side {
                        specimen: &self.scenario.specimens[specimen].specimen.name,
                        rate: &self.part(PartId { exposure, specimen })?.outcome.rate,
                    })
                };
                compare(
                    &self.figure,
                    &self.scenario.exposures[exposure].name,
                    (side(plan.left)?, side(plan.right)?),
                    RANKED_BY,
                )
            })
            .collect()
    }

    /// Answers a what-if, exposure by exposure. Parts that do not depend on the key are found again.
    ///
    /// # Errors
    /// A key that is not there, a value out of range, or whatever a part refuses.
    pub fn whatif(
        &self,
        plan: &WhatIfPlan,
        (raw, source): (&RawScenario, &Source),
        (store, foreman): (&Store, &dyn Foreman),
    ) -> Result<Vec<WhatIf>> {
        let exposures = match plan.exposure {
            Some(one) => one..one + 1,
            None => 0..self.scenario.exposures.len(),
        };
        let mut answers = Vec::new();
        for exposure in exposures {
            let question = Question {
                exposure: &self.scenario.exposures[exposure].name,
                key: &plan.vary,
                values: &plan.values,
                end: End::Colour,
                channel: RANKED_BY,
                life: self.life_settings(),
            };
            let id = PartId {
                exposure,
                specimen: plan.specimen,
            };
            answers.push(whatif(&self.figure, question, |value| {
                let varied = lift(source, &vary(raw, &plan.vary, value, plan.specimen)?)?;
                let done = one(&varied, &self.figure, id, (store, foreman))?;
                Ok(Case {
                    specimen: varied.specimens[plan.specimen].specimen.clone(),
                    treatment: done.treatment,
                    rates: done.stages,
                })
            })?);
        }
        Ok(answers)
    }
}
