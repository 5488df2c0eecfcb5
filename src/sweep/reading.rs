//! What is read off one exposure of one specimen: median, interval, and the draws themselves.

use super::part::Value;
use super::plan::{Reading, Spot, What};
use crate::scenario::Scenario;
use crate::study::life::{LifeSettings, bootstrap_weights};
use crate::study::{Area, AreaSettings, Exposed, Interval, areas, lives};
use crate::trial::Done;
use crate::wear::Law;
use base::sum::sum;
use base::{Error, Result};
use contact::dose::{Channel, DoseRate};
use mesh::figure::Figure;

/// Reads one finished part of a scenario.
///
/// # Errors
/// A specimen without the end that is asked for.
pub fn read(reading: &Reading, scenario: &Scenario, figure: &Figure, done: &Done) -> Result<Value> {
    let rate = &done.outcome.rate;
    let settings = AreaSettings {
        channel: Channel::Friction,
        seed: scenario.seed,
        // Only the first is read; the second tells how sure its rank is.
        count: 2,
        ..AreaSettings::default()
    };
    let found = areas(figure, rate, &settings);
    let worst = found.first();
    let (patches, place) = match reading.place {
        Spot::WorstArea => (
            worst.map(|a| a.patches.clone()).unwrap_or_default(),
            worst.map_or_else(|| "nothing touches it".into(), |a| a.words.clone()),
        ),
        Spot::WholeFigure => (exposed_patches(figure), "whole figure".to_string()),
    };
    let draws = if worst.is_none() {
        Vec::new()
    } else {
        let names = (
            scenario.exposures[done.id.exposure].name.as_str(),
            scenario.specimens[done.id.specimen].specimen.name.as_str(),
        );
        match reading.what {
            What::Life(_) => life_draws(reading, scenario, (figure, done), (&patches, names.0))?,
            What::FrictionWork => {
                work_draws(reading, (figure, rate), &patches, (scenario.seed, names))
            }
        }
    };
    Ok(value(done, (place, worst), &draws))
}

fn exposed_patches(figure: &Figure) -> Vec<usize> {
    (0..figure.patches.len())
        .filter(|&p| figure.patches[p].exposed)
        .collect()
}

fn value(done: &Done, (place, worst): (String, Option<&Area>), draws: &[f64]) -> Value {
    let interval = Interval::of(draws.iter().map(|d| d.exp()).collect());
    let finite = |v: f64| v.is_finite().then_some(v);
    Value {
        exposure: done.id.exposure,
        specimen: done.id.specimen,
        median: interval.map(|i| i.median),
        low: interval.map(|i| i.low),
        high: interval.and_then(|i| finite(i.high)),
        place,
        certainty: worst.and_then(|a| a.certainty),
        friction_work: done.outcome.rate.mean.total(Channel::Friction),
        mass: done.mass,
        draws: match interval {
            Some(_) => Value::pack(draws),
            None => String::new(),
        },
    }
}

/// ln life in each draw, first under the energy law, then under the load law.
fn life_draws(
    reading: &Reading,
    scenario: &Scenario,
    (figure, done): (&Figure, &Done),
    (patches, exposure): (&[usize], &str),
) -> Result<Vec<f64>> {
    let What::Life(end) = reading.what else {
        return Err(Error::refused("a life was asked of a dose"));
    };
    let exposed = Exposed {
        exposure,
        figure,
        specimen: &scenario.specimens[done.id.specimen].specimen,
        treatment: &done.treatment,
        rates: &done.stages,
    };
    let settings = LifeSettings {
        seed: scenario.seed,
        draws: reading.draws as usize,
        ..LifeSettings::default()
    };
    let found = lives(exposed, end, settings)?;
    Ok(Law::BOTH
        .into_iter()
        .flat_map(|law| found.log_lives_under(law, patches))
        .collect())
}

/// ln friction work per unit in each draw: the replicates reweighted (Rubin 1981); per area for
/// an area, in all for the whole figure. The weights are those of the lives' draws.
fn work_draws(
    reading: &Reading,
    (figure, rate): (&Figure, &DoseRate),
    patches: &[usize],
    (seed, (exposure, specimen)): (u64, (&str, &str)),
) -> Vec<f64> {
    let sizes = figure.patch_areas();
    let area = match reading.place {
        Spot::WorstArea => sum(patches.iter().map(|&p| sizes[p])),
        Spot::WholeFigure => 1.0,
    };
    let each: Vec<f64> = rate
        .replicates
        .iter()
        .map(|dose| sum(patches.iter().map(|&p| dose.totals()[p].friction)) / area)
        .collect();
    let mean = sum(patches.iter().map(|&p| rate.mean.totals()[p].friction)) / area;
    (0..u64::from(reading.draws))
        .map(|draw| {
            if each.len() < 2 {
                return mean.ln();
            }
            let weights = bootstrap_weights(each.len(), seed, &["dose", exposure, specimen], draw);
            sum(each.iter().zip(weights).map(|(v, w)| v * w)).ln()
        })
        .collect()
}
