//! What a sweep found, exposure by exposure: lives under different exposures have different units
//! and are never mixed.

use super::design::Design;
use super::effect::{Effect, TwoWay, effects, two_ways};
use super::part::Part;
use super::plan::{Sweep, What};
use super::rank::{Ranking, rankings};
use super::tally::{Factor, Tally};
use crate::scenario::raw::RawExposure;
use crate::study::Interval;
use base::{Error, Place, Result};
use contact::dose::Unit;
use serde::Serialize;

/// All answers of a sweep.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Findings {
    /// Heading.
    pub title: String,
    /// Number of parts.
    pub parts: u64,
    /// The quantity in words.
    pub quantity: String,
    /// More of it is better.
    pub more_is_better: bool,
    /// Exposure by exposure.
    pub exposures: Vec<ExposureFindings>,
}

/// Answers about one exposure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExposureFindings {
    /// Name.
    pub exposure: String,
    /// Unit of the quantity, plural.
    pub unit: String,
    /// Readings with an end in every draw.
    pub readings: u64,
    /// Readings without an end in some draw: never through, or nothing touches.
    pub never: u64,
    /// Where those are, by factor and level.
    pub never_at: Vec<(String, String, u64)>,
    /// Geometric mean of all readings.
    pub typical: Option<Interval>,
    /// Effects of single factors.
    pub effects: Vec<Effect>,
    /// Effects of two factors together, those that matter first.
    pub two_ways: Vec<TwoWay>,
    /// Share of the variation that no single factor and no pair explains; `None` where effects mix.
    pub rest: Option<f64>,
    /// Every combination of levels is equally often there, so effects do not mix.
    pub balanced: bool,
    /// Levels of each factor, best first.
    pub rankings: Vec<Ranking>,
}

/// Takes parts in order and adds them up.
#[derive(Debug, Clone)]
pub struct Adder<'a> {
    sweep: &'a Sweep,
    tallies: Vec<Tally>,
}

impl<'a> Adder<'a> {
    /// Nothing yet.
    #[must_use]
    pub fn new(sweep: &'a Sweep) -> Adder<'a> {
        let plan = &sweep.plan;
        let mut factors: Vec<Factor> = plan
            .axes
            .iter()
            .map(|axis| Factor {
                name: axis.name.clone(),
                levels: axis.groups(),
                is_figure: axis.is_figure(),
            })
            .collect();
        if plan.reading.specimens.len() > 1 {
            let names = plan.reading.specimens.iter();
            let levels = names.map(|s| sweep.base().specimen[*s].name.clone());
            factors.push(Factor {
                name: "specimen".into(),
                levels: levels.collect(),
                is_figure: false,
            });
        }
        let tallies = plan.reading.exposures.iter();
        Adder {
            tallies: tallies.map(|_| Tally::new(factors.clone())).collect(),
            sweep,
        }
    }

    /// Adds one part.
    ///
    /// # Errors
    /// A part whose readings are not those the plan asks for.
    pub fn add(&mut self, part: &Part) -> Result<()> {
        let plan = &self.sweep.plan;
        let asked = &plan.reading;
        let stands = plan.stands(part.part);
        let groups: Vec<usize> = plan
            .axes
            .iter()
            .zip(stands)
            .map(|(axis, stand)| axis.group(stand))
            .collect();
        let wrong = || {
            Error::refused(format!(
                "part {} does not hold what the plan asks for",
                part.part
            ))
            .at(Place::file(super::part::path(
                &self.sweep.folder,
                part.part,
            )))
            .hint("move this file away and run the sweep again")
        };
        if part.readings.len() != asked.exposures.len() * asked.specimens.len() {
            return Err(wrong());
        }
        for reading in &part.readings {
            let e = asked.exposures.iter().position(|e| *e == reading.exposure);
            let s = asked.specimens.iter().position(|s| *s == reading.specimen);
            let (Some(e), Some(s)) = (e, s) else {
                return Err(wrong());
            };
            let draws = reading.unpack()?;
            let tally = &mut self.tallies[e];
            if !draws.is_empty() && tally.draws() > 0 && draws.len() != tally.draws() {
                return Err(wrong());
            }
            let mut at = groups.clone();
            if asked.specimens.len() > 1 {
                at.push(s);
            }
            tally.add(&at, &draws);
        }
        Ok(())
    }

    /// Which level leads so far, for a line of progress; `None` before there is one.
    #[must_use]
    pub fn leader(&self) -> Option<String> {
        let tally = self.tallies.first().filter(|t| t.all.count > 1)?;
        let ranking = rankings(tally, self.more_is_better())
            .into_iter()
            .find(|r| !r.is_figure)?;
        let first = ranking.places.first()?;
        Some(format!(
            "{} {} leads so far (best with {:.0} % chance)",
            ranking.factor,
            first.level,
            first.chance_best * 100.0
        ))
    }

    fn more_is_better(&self) -> bool {
        self.sweep.plan.reading.what != What::FrictionWork
    }

    /// The answers.
    #[must_use]
    pub fn findings(&self) -> Findings {
        let plan = &self.sweep.plan;
        Findings {
            title: plan.title.clone(),
            parts: plan.parts,
            quantity: plan.reading.what.words().into(),
            more_is_better: self.more_is_better(),
            exposures: plan
                .reading
                .exposures
                .iter()
                .zip(&self.tallies)
                .map(|(e, tally)| self.of_exposure(*e, tally))
                .collect(),
        }
    }

    fn of_exposure(&self, exposure: usize, tally: &Tally) -> ExposureFindings {
        let raw = &self.sweep.base().exposure[exposure];
        let balanced = tally.is_balanced() && self.sweep.plan.design != Design::List;
        let (effects, two_ways) = (effects(tally), two_ways(tally));
        let told: f64 = effects.iter().map(|e| e.share.median).sum::<f64>()
            + two_ways.iter().map(|t| t.share.median).sum::<f64>();
        let never_at = tally
            .factors
            .iter()
            .zip(&tally.never)
            .flat_map(|(f, counts)| {
                let each = f.levels.iter().zip(counts).filter(|(_, n)| **n > 0);
                each.map(|(level, n)| (f.name.clone(), level.clone(), *n))
            });
        ExposureFindings {
            exposure: raw.name().into(),
            unit: unit_words(self.sweep, raw),
            readings: tally.all.count,
            never: tally.never_all,
            never_at: never_at.collect(),
            typical: Interval::of(tally.all.means().iter().map(|m| m.exp()).collect()),
            rest: balanced.then_some((1.0 - told).max(0.0)),
            effects,
            two_ways,
            balanced,
            rankings: rankings(tally, self.more_is_better()),
        }
    }
}

/// The unit of an exposure.
#[must_use]
pub fn unit_of(exposure: &RawExposure) -> Unit {
    match exposure {
        RawExposure::Tumble(_) => Unit::Minute,
        RawExposure::Drop(_) => Unit::Drop,
        RawExposure::Rub(_) => Unit::Stroke,
        RawExposure::Handle(_) => Unit::PickUp,
        RawExposure::Ride(_) => Unit::Kilometre,
    }
}

/// The unit of the quantity under an exposure.
#[must_use]
pub fn unit_words(sweep: &Sweep, exposure: &RawExposure) -> String {
    let unit = unit_of(exposure);
    match (sweep.plan.reading.what, sweep.plan.reading.place) {
        (What::Life(_), _) => unit.plural().into(),
        (What::FrictionWork, super::plan::Spot::WorstArea) => {
            format!("J/m2 per {}", unit.singular())
        }
        (What::FrictionWork, super::plan::Spot::WholeFigure) => {
            format!("J per {}", unit.singular())
        }
    }
}
