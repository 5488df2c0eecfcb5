//! Questions about a season of use: the bench mix that imitates it, and what would lengthen life.

use super::carry::Trial;
use super::part::PartId;
use crate::base::{Error, Result};
use crate::reference::FilmMaterial;
use crate::scenario::Service;
use crate::study::life::LifeSettings;
use crate::study::matching::worn_areas;
use crate::study::{Match, Measure, Reinforcement, Season, Wearing, matching, reinforce};
use crate::wear::End;

impl Trial {
    /// The mix of bench exposures that imitates one season.
    ///
    /// # Errors
    /// No bench exposure, or a season that wears nothing.
    pub fn matched(&self, service: &Service) -> Result<Match> {
        let season = self.season(service)?;
        let bench = service
            .bench
            .iter()
            .map(|&exposure| self.wearing(exposure, service.specimen, 1.0))
            .collect::<Result<Vec<_>>>()?;
        let specimen = &self.scenario.specimens[service.specimen].specimen;
        matching(&self.figure, specimen, &season, &bench)
    }

    /// What would lengthen the life of a season's first worn area, in up to `steps` steps.
    ///
    /// # Errors
    /// A coat the stock does not have, or a season that wears nothing.
    pub fn reinforced(&self, service: &Service, steps: usize) -> Result<Reinforcement> {
        let season = self.season(service)?;
        let plan = &self.scenario.specimens[service.specimen];
        let areas = worn_areas(&self.figure, &plan.specimen, &season);
        let coat: FilmMaterial = match &service.extra_coat {
            Some(name) => plan.stock.film(name)?,
            None => plan
                .specimen
                .outer()
                .map(|film| film.material.clone())
                .ok_or_else(|| Error::input("the specimen has no coat to add another like it"))?,
        };
        let patches: Vec<Vec<usize>> = areas.iter().map(|a| a.patches.clone()).collect();
        let mut measures: Vec<Measure<'_>> = areas
            .iter()
            .map(|area| Measure::Coat {
                words: area.words.clone(),
                patches: &area.patches,
            })
            .collect();
        for other in &service.instead {
            measures.push(Measure::Swap {
                words: other.words.clone(),
                exposure: other.of,
                with: self.wearing(other.exposure, service.specimen, 1.0)?,
            });
        }
        reinforce(
            &Season {
                figure: &self.figure,
                specimen: &plan.specimen,
                wearing: &season,
                end: End::Colour,
                coat: &coat,
                areas: &patches,
                share_through: LifeSettings::default().share_through,
            },
            &measures,
            steps,
        )
    }

    fn season(&self, service: &Service) -> Result<Vec<Wearing<'_>>> {
        let uses = service.uses.iter();
        uses.map(|(exposure, amount)| self.wearing(*exposure, service.specimen, *amount))
            .collect()
    }

    fn wearing(&self, exposure: usize, specimen: usize, amount: f64) -> Result<Wearing<'_>> {
        let done = self.part(PartId { exposure, specimen })?;
        Ok(Wearing {
            exposure: &self.scenario.exposures[exposure].name,
            treatment: &done.treatment,
            rate: &done.outcome.rate,
            amount,
        })
    }
}
