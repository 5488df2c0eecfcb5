//! Questions about a season of use: the bench mix that imitates it, and what would lengthen life.

use super::carry::{Done, Trial};
use super::part::PartId;
use crate::reference::{FilmMaterial, Softness};
use crate::scenario::Service;
use crate::study::life::LifeSettings;
use crate::study::matching::worn_areas;
use crate::study::{
    Match, Measure, Reinforcement, RubAndKnock, Rung, Season, Wearing, matching, reinforce,
    thick_stacks,
};
use crate::wear::End;
use base::{Error, Result};

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

    /// What more topcoats would do where the season rubs a figure first: later through, but sooner
    /// to chip where it is knocked. `None` if nothing of the run rubs softly there, or nothing knocks.
    ///
    /// # Errors
    /// A coat the stock does not have.
    pub fn stacks(&self, service: &Service, most: usize) -> Result<Option<(String, Vec<Rung>)>> {
        let season = self.season(service)?;
        let plan = &self.scenario.specimens[service.specimen];
        let Some(area) = worn_areas(&self.figure, &plan.specimen, &season)
            .into_iter()
            .next()
        else {
            return Ok(None);
        };
        let parts = || {
            self.done
                .iter()
                .filter(|d| d.id.specimen == service.specimen)
        };
        let dent = |d: &&Done, p: usize| d.outcome.rate.mean.totals()[p].dent;
        let place = |p: usize| parts().map(|d| dent(&d, p)).sum::<f64>();
        let Some(&p) = area
            .patches
            .iter()
            .max_by(|a, b| place(**a).total_cmp(&place(**b)))
        else {
            return Ok(None);
        };
        let knock = parts().max_by(|a, b| dent(a, p).total_cmp(&dent(b, p)));
        let rub = season
            .iter()
            .filter(|w| w.treatment.softness != Softness::Hard)
            .max_by(|a, b| {
                let work = |w: &Wearing<'_>| w.rate.mean.totals()[p].friction * w.amount;
                work(a).total_cmp(&work(b))
            });
        let (Some(knock), Some(rub)) = (knock.filter(|k| dent(k, p) > 0.0), rub) else {
            return Ok(None);
        };
        let coat = match (&service.extra_coat, plan.specimen.outer()) {
            (Some(name), _) => name.clone(),
            (None, Some(outer)) => outer.material.name.clone(),
            (None, None) => return Ok(None),
        };
        let case = RubAndKnock {
            patch: &self.figure.patches[p],
            rubbed_by: rub.treatment,
            rub: &rub.rate.mean.totals()[p],
            knock: &knock.outcome.rate.mean.totals()[p],
        };
        let rungs = thick_stacks(&plan.stock, &plan.specimen, case, (&coat, most))?;
        let words = format!(
            "{}, rubbed by \"{}\", knocked by \"{}\", more coats of {coat}",
            area.words, rub.exposure, self.scenario.exposures[knock.id.exposure].name
        );
        Ok(Some((words, rungs)))
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
