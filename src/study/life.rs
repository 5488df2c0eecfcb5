//! Life: exposure until a film is through, with its 90 % interval by Monte Carlo over the priors.

use super::draw::{Part, StackDraw};
use super::drawn_dose::DrawnDoses;
use super::neighbours::Neighbours;
use crate::wear::{End, Law, Layer, Regime, Specimen, Treatment, units_through};
use base::random::stream;
use base::stats::{pearson, quantile};
use base::{Error, Result};
use contact::dose::{DoseRate, Unit};
use contact::law::film::lognormal_factor;
use mesh::figure::Figure;
use rand_distr::{Distribution, Exp1, StandardNormal};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

/// To be printed beside every life.
pub const CAVEAT: &str = "Results of abrasion machines do not convert to finger touches or hours of play \
(ASTM F2357 and F3152 say so in their significance clauses). These lives rest on prior wear rates with a \
factor of ten either way: rub two coupons of your own films on your own counterface, count to the first \
change of sheen and to the first undercoat seen, and enter the counts to calibrate.";

/// To be printed beside a life that ends by [`Regime::Dent`].
pub const SCUFF_NOTE: &str = "Hard contacts above film hardness plough grooves instead of thinning the film \
evenly: such a life is the exposure after which, on average, as much film volume has been ploughed away as \
lies on the area. Single scratches and chips show long before; read it as a rank, with its wide interval.";

/// One exposure of one specimen, ready to be asked.
#[derive(Debug, Clone, Copy)]
pub struct Exposed<'a> {
    /// Name of the exposure.
    pub exposure: &'a str,
    /// The figure.
    pub figure: &'a Figure,
    /// Body and films.
    pub specimen: &'a Specimen,
    /// How the films meet the counterface.
    pub treatment: &'a Treatment,
    /// Dose per unit: one for all films, or one per film while it is outermost, body outward.
    pub rates: &'a [DoseRate],
}

impl Exposed<'_> {
    /// The regime in which most of an area's friction work was done on the outer film: tells
    /// which note belongs beside its life.
    #[must_use]
    pub fn regime(&self, patches: &[usize]) -> Regime {
        let outer = self.specimen.outer();
        let hardness = outer.map_or(f64::INFINITY, |f| f.material.hardness.value);
        let mut work: std::collections::BTreeMap<Regime, f64> = std::collections::BTreeMap::new();
        let totals = self.rates.last().map_or(&[][..], |r| r.mean.totals());
        for &p in patches {
            if let Some(a) = totals.get(p) {
                *work.entry(Regime::of(a.peak, hardness)).or_default() += a.friction;
            }
        }
        let most = work.into_iter().max_by(|a, b| a.1.total_cmp(&b.1));
        most.map_or(Regime::Untouched, |(regime, _)| regime)
    }
}

/// How lives are computed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LifeSettings {
    /// The scenario's seed.
    pub seed: u64,
    /// Draws from the priors.
    pub draws: usize,
    /// An area has ended when this share of its surface has.
    pub share_through: f64,
}

impl Default for LifeSettings {
    fn default() -> LifeSettings {
        LifeSettings {
            seed: 1,
            draws: 400,
            share_through: 0.1,
        }
    }
}

/// Median and central 90 %.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// 50 % quantile.
    pub median: f64,
    /// 5 % quantile.
    pub low: f64,
    /// 95 % quantile.
    pub high: f64,
}

impl Interval {
    /// Of a sample; `None` when it is empty or its median is not finite.
    #[must_use]
    pub fn of(mut values: Vec<f64>) -> Option<Interval> {
        values.sort_by(f64::total_cmp);
        if values.is_empty() {
            return None;
        }
        let [low, median, high] = [0.05, 0.5, 0.95].map(|p| quantile(&values, p));
        median.is_finite().then_some(Interval { median, low, high })
    }

    /// Upper over lower end: the width a person feels.
    #[must_use]
    pub fn factor(&self) -> f64 {
        self.high / self.low
    }
}

/// A life in the exposure's own unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Life {
    /// Both wear laws taken as equally likely.
    pub both: Interval,
    /// Wear per joule held.
    pub energy_law: Interval,
    /// Wear per load and path held.
    pub load_law: Interval,
}

impl Life {
    /// One sentence: where, what, when, how sure. [`CAVEAT`] belongs beside it.
    ///
    /// * `area`: the area's words
    #[must_use]
    pub fn sentence(&self, area: &str, end: End, unit: Unit) -> String {
        let count = |v: f64| super::compare::digits(v);
        let Interval { median, low, high } = self.both;
        format!(
            "{area}: {} after {} {unit} (90 %: {} to {}; {} if wear per joule is the constant, {} if \
             wear per load and path is).",
            end.words(),
            count(median),
            count(low),
            count(high),
            count(self.energy_law.median),
            count(self.load_law.median),
            unit = unit.plural(),
        )
    }
}

/// One part's share of the variance of ln life.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PartShare {
    /// Which.
    pub part: Part,
    /// 0 to 1; all sum to 1.
    pub share: f64,
}

/// Lives of all patches in all draws.
#[derive(Debug, Clone)]
pub struct Lives {
    /// What one unit is.
    pub unit: Unit,
    /// When a life ends.
    pub end: End,
    settings: LifeSettings,
    areas: Vec<f64>,
    /// Draw by draw: life of each patch, energy law and load law.
    draws: Vec<[Vec<f32>; 2]>,
    numbers: Vec<Vec<(Part, f64)>>,
}

/// Lives of every patch of an exposed specimen.
///
/// # Errors
/// When the dose is of another figure, or the specimen has no such end (no topcoat).
pub fn lives(exposed: Exposed<'_>, end: End, settings: LifeSettings) -> Result<Lives> {
    let coats = exposed.specimen.coats_to(end).ok_or_else(|| {
        Error::input(format!(
            "specimen \"{}\" has no {}",
            exposed.specimen.name,
            end.words()
        ))
    })?;
    let films = exposed.specimen.films.len();
    let Some(first) = exposed.rates.first() else {
        return Err(Error::input(format!(
            "exposure \"{}\" has no dose",
            exposed.exposure
        )));
    };
    let patches = exposed.figure.patches.len();
    let same_figure = exposed
        .rates
        .iter()
        .all(|r| r.mean.totals().len() == patches);
    if !same_figure || !(exposed.rates.len() == 1 || exposed.rates.len() == films) {
        return Err(Error::input(format!(
            "exposure \"{}\": the dose does not belong to this figure and these {films} films",
            exposed.exposure
        )));
    }
    let doses = DrawnDoses::of(exposed.rates);
    let declared = exposed.treatment.undermining.is_some();
    let peeling = declared.then(|| Neighbours::of(exposed.figure));
    let sampled: Vec<_> = (0..settings.draws as u64)
        .into_par_iter()
        .map(|draw| {
            one_draw(
                (&exposed, &doses),
                (end, coats),
                peeling.as_ref(),
                (settings.seed, draw),
            )
        })
        .collect();
    let (draws, numbers) = sampled.into_iter().unzip();
    Ok(Lives {
        unit: first.unit,
        end,
        settings,
        areas: exposed.figure.patch_areas(),
        draws,
        numbers,
    })
}

type Draw = ([Vec<f32>; 2], Vec<(Part, f64)>);

/// Lives of all patches in one draw.
fn one_draw(
    (exposed, doses): (&Exposed<'_>, &DrawnDoses),
    (end, coats): (End, usize),
    neighbours: Option<&Neighbours>,
    (seed, draw): (u64, u64),
) -> Draw {
    let stack = StackDraw::new(exposed.specimen, exposed.treatment, seed, draw);
    let names = ["dose", exposed.exposure, &exposed.specimen.name];
    let drawn = doses.drawn(&names, seed, draw);
    let stages: Vec<&[(f64, f64)]> = (0..stack.films.len())
        .map(|f| drawn[doses.of_stage(f)].as_slice())
        .collect();
    let mut local = stream(seed, &["place", &exposed.specimen.name], draw);
    let mut lives = [Vec::new(), Vec::new()];
    let mut layers: Vec<Layer> = Vec::with_capacity(stack.films.len());
    for (p, patch) in exposed.figure.patches.iter().enumerate() {
        layers.clear();
        for (f, film) in stack.films.iter().enumerate() {
            let (work, peak) = stages[f][p];
            let here = lognormal_factor(film.cv, StandardNormal.sample(&mut local));
            let follows = film
                .friction_factor
                .powf(exposed.treatment.work_follows_friction);
            let share = stack.ploughed_share;
            let treatment = exposed.treatment;
            layers.push(Layer {
                thickness: film.laid.on(patch) * here,
                rate: treatment.rate_on(film.rate, share, (peak, film.hardness)),
                reference_friction: film.reference_friction,
                friction: film.friction,
                work: if patch.area > 0.0 {
                    work * follows / patch.area
                } else {
                    0.0
                },
            });
        }
        layers.reverse();
        if let (End::Sheen, Some(outer)) = (end, layers.first_mut()) {
            outer.thickness = stack.sheen_depth.min(outer.thickness);
        }
        for (column, law) in lives.iter_mut().zip(Law::BOTH) {
            column.push(units_through(&layers, coats.max(1), law) as f32);
        }
    }
    if let Some(neighbours) = neighbours {
        for column in &mut lives {
            super::undermine::peel(column, neighbours, stack.undermining);
        }
    }
    (lives, stack.numbers)
}

/// Weights of the replicates in one draw: uniform on the simplex, summing to 1.
#[must_use]
pub fn bootstrap_weights(n: usize, seed: u64, names: &[&str], draw: u64) -> Vec<f64> {
    let mut random = stream(seed, names, draw);
    let raw: Vec<f64> = (0..n).map(|_| Exp1.sample(&mut random)).collect();
    let total: f64 = raw.iter().sum();
    raw.into_iter().map(|w| w / total).collect()
}

impl Lives {
    /// Life of one patch; `None` when it gets no dose.
    #[must_use]
    pub fn patch(&self, patch: usize) -> Option<Life> {
        self.life(|column| f64::from(column[patch]))
    }

    /// Life of an area: exposure until the set share of its surface has ended.
    #[must_use]
    pub fn area(&self, patches: &[usize]) -> Option<Life> {
        self.life(|column| self.first_share(column, patches))
    }

    /// Life of the whole figure: exposure until the set share of its exposed surface has ended.
    #[must_use]
    pub fn figure(&self, figure: &Figure) -> Option<Life> {
        let all: Vec<usize> = (0..figure.patches.len())
            .filter(|&p| figure.patches[p].exposed)
            .collect();
        self.area(&all)
    }

    /// [exposure units] area-weighted quantile of the patches' lives.
    fn first_share(&self, column: &[f32], patches: &[usize]) -> f64 {
        let mut order = patches.to_vec();
        order.sort_by(|&a, &b| column[a].total_cmp(&column[b]).then(a.cmp(&b)));
        let total: f64 = patches.iter().map(|&p| self.areas[p]).sum();
        let mut through = 0.0;
        for &p in &order {
            through += self.areas[p];
            if through >= total * self.settings.share_through {
                return f64::from(column[p]);
            }
        }
        f64::INFINITY
    }

    fn life(&self, of: impl Fn(&[f32]) -> f64) -> Option<Life> {
        let under = |law: usize| -> Vec<f64> { self.draws.iter().map(|d| of(&d[law])).collect() };
        let (energy, load) = (under(0), under(1));
        let pooled = energy.iter().chain(&load).copied().collect();
        Some(Life {
            both: Interval::of(pooled)?,
            energy_law: Interval::of(energy)?,
            load_law: Interval::of(load)?,
        })
    }

    /// What the interval of an area's ln life is made of (energy law), largest share first: the
    /// squared correlation with each prior's own number, which add up because they are drawn
    /// independently and ln life is nearly their sum.
    #[must_use]
    pub fn parts(&self, patches: &[usize]) -> Vec<PartShare> {
        let logs: Vec<f64> = self
            .draws
            .iter()
            .map(|d| self.first_share(&d[0], patches).ln())
            .collect();
        if logs.is_empty() || logs.iter().any(|v| !v.is_finite()) {
            return Vec::new();
        }
        let noise = 1.0 / self.draws.len() as f64;
        let mut shares: std::collections::BTreeMap<Part, f64> = std::collections::BTreeMap::new();
        for (i, (part, _)) in self.numbers[0].iter().enumerate() {
            let column: Vec<f64> = self.numbers.iter().map(|n| n[i].1).collect();
            let r = pearson(&column, &logs);
            // a number without influence still correlates by chance, on average by 1/n
            let square = if r.is_finite() {
                (r * r - noise).max(0.0)
            } else {
                0.0
            };
            *shares.entry(*part).or_default() += square;
        }
        let explained: f64 = shares.values().sum();
        let scale = if explained > 1.0 {
            1.0 / explained
        } else {
            1.0
        };
        shares.insert(Part::Rest, (1.0 - explained).max(0.0));
        let mut list: Vec<PartShare> = shares
            .into_iter()
            .map(|(part, s)| PartShare {
                part,
                share: if part == Part::Rest { s } else { s * scale },
            })
            .filter(|s| s.share > 0.0)
            .collect();
        list.sort_by(|a, b| b.share.total_cmp(&a.share));
        list
    }

    /// ln life of an area in each draw under one wear law; infinite where it never ends.
    #[must_use]
    pub fn log_lives_under(&self, law: Law, patches: &[usize]) -> Vec<f64> {
        let column = Law::BOTH.iter().position(|l| *l == law).unwrap_or(0);
        self.draws
            .iter()
            .map(|d| self.first_share(&d[column], patches).ln())
            .collect()
    }

    /// ln life of an area in each draw (energy law): for ratios of two lives with shared priors.
    #[must_use]
    pub fn log_lives(&self, patches: &[usize]) -> Vec<f64> {
        self.draws
            .iter()
            .map(|d| self.first_share(&d[0], patches).ln())
            .collect()
    }
}

/// Ratio of two lives of the same area, left over right, with its 90 % interval (energy law).
/// Draws are shared by name, so what both sides have in common cancels: ratios are far better
/// known than lives. Both must have been drawn with the same seed.
///
/// # Errors
/// When the numbers of draws or the figures differ.
pub fn life_ratio(left: &Lives, right: &Lives, patches: &[usize]) -> Result<Option<Interval>> {
    if left.settings != right.settings || left.areas.len() != right.areas.len() {
        return Err(Error::input(
            "lives of different seeds or figures cannot be divided",
        ));
    }
    let pairs = left
        .log_lives(patches)
        .into_iter()
        .zip(right.log_lives(patches));
    Ok(Interval::of(pairs.map(|(l, r)| (l - r).exp()).collect()))
}

#[cfg(test)]
mod tests;
