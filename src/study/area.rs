//! Areas: where the dose is high, found as hills of the dose map, named in words and ranked.

use super::life::bootstrap_weights;
use super::neighbours::Neighbours;
use base::Vec3;
use base::stats::Estimate;
use contact::dose::{Channel, DoseRate};
use mesh::figure::{Figure, Shape};
use serde::{Deserialize, Serialize};

/// How areas are found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct AreaSettings {
    /// What they are found and ranked by.
    pub channel: Channel,
    /// At most this many.
    pub count: usize,
    /// An area reaches down to this share of its own peak.
    pub reach: f64,
    /// Two hills are one area when the lower peak is less than this many times the saddle.
    pub persistence: f64,
    /// Below this chance two neighbours in the list cannot be told apart.
    pub sure: f64,
    /// The scenario's seed.
    pub seed: u64,
}

impl Default for AreaSettings {
    fn default() -> AreaSettings {
        AreaSettings {
            channel: Channel::Friction,
            count: 10,
            reach: 0.5,
            persistence: 1.5,
            sure: 0.8,
            seed: 1,
        }
    }
}

/// One area; doses are per unit of exposure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Area {
    /// From 1.
    pub rank: usize,
    /// Where it is, in words.
    pub words: String,
    /// [m] middle, weighted by dose.
    pub middle: [f64; 3],
    /// Most common shape, by dose.
    pub shape: Shape,
    /// [m2]
    pub surface: f64,
    /// [J/m2]
    pub friction: f64,
    /// [J/m2]
    pub impact: f64,
    /// [J/m2]
    pub dent: f64,
    /// [Pa]
    pub peak: f64,
    /// The ranking channel's mean over the area, with its 95 % interval over replicates.
    pub rate: Estimate,
    /// Share of the figure's dose, 0 to 1.
    pub dose_share: f64,
    /// Share of the figure's exposed surface, 0 to 1.
    pub surface_share: f64,
    /// Chance that it really gets more than the next in the list; `None` for the last one and
    /// where there are no replicates to tell from.
    pub certainty: Option<f64>,
    /// True when it cannot be told apart from the next.
    pub tied_with_next: bool,
    /// Its patches.
    pub patches: Vec<usize>,
}

/// The areas of a dose map, highest dose first.
#[must_use]
pub fn areas(figure: &Figure, rate: &DoseRate, settings: &AreaSettings) -> Vec<Area> {
    let sizes = figure.patch_areas();
    let map = rate.mean.map(settings.channel, &sizes);
    let neighbours = Neighbours::of(figure);
    let smooth = smoothed(&map, &sizes, &neighbours);
    let exposed: f64 = figure
        .patches
        .iter()
        .filter(|p| p.exposed)
        .map(|p| p.area)
        .sum();
    let mean = base::sum::sum(map.iter().zip(&sizes).map(|(v, a)| v * a)) / exposed;
    let mut found: Vec<Vec<usize>> = hills(&smooth, &neighbours, settings)
        .into_iter()
        .filter(|hill| density(rate, settings.channel, hill, &sizes).mean > mean)
        .collect();
    found.sort_by(|a, b| {
        let value = |hill: &[usize]| density(rate, settings.channel, hill, &sizes).mean;
        value(b).total_cmp(&value(a)).then(a.cmp(b))
    });
    let certainty = certainties(rate, settings, &found, &sizes);
    found.truncate(settings.count);
    let mut list: Vec<Area> = found
        .into_iter()
        .enumerate()
        .map(|(i, patches)| describe(figure, rate, settings, (i, patches)))
        .collect();
    for (area, sure) in list.iter_mut().zip(certainty) {
        area.certainty = sure;
        area.tied_with_next = sure.is_some_and(|s| s < settings.sure);
    }
    tell_apart(&mut list);
    list
}

/// Area-weighted mean of each patch and its neighbours: a single noisy patch is no hill.
fn smoothed(map: &[f64], sizes: &[f64], neighbours: &Neighbours) -> Vec<f64> {
    (0..map.len())
        .map(|p| {
            let around = neighbours.of_patch(p).iter().chain(std::iter::once(&p));
            let (dose, area) = around.fold((0.0, 0.0), |(d, a), &q| {
                (d + map[q] * sizes[q], a + sizes[q])
            });
            if area > 0.0 { dose / area } else { 0.0 }
        })
        .collect()
}

/// Hills by flooding from the top: patches join the highest neighbouring hill; where two hills meet,
/// they are merged unless the lower peak stands out from the saddle by the set ratio (0-dimensional
/// persistence, Edelsbrunner, Letscher & Zomorodian 2002).
fn hills(map: &[f64], neighbours: &Neighbours, settings: &AreaSettings) -> Vec<Vec<usize>> {
    let mut order: Vec<usize> = (0..map.len()).filter(|&p| map[p] > 0.0).collect();
    order.sort_by(|&a, &b| map[b].total_cmp(&map[a]).then(a.cmp(&b)));
    let mut peak_of: Vec<Option<usize>> = vec![None; map.len()];
    let mut merged_into: Vec<usize> = (0..map.len()).collect();
    let root = |merged: &[usize], mut peak: usize| {
        while merged[peak] != peak {
            peak = merged[peak];
        }
        peak
    };
    for &p in &order {
        let mut touching: Vec<usize> = neighbours
            .of_patch(p)
            .iter()
            .filter_map(|&q| peak_of[q])
            .map(|peak| root(&merged_into, peak))
            .collect();
        touching.sort_by(|&a, &b| map[b].total_cmp(&map[a]).then(a.cmp(&b)));
        touching.dedup();
        let highest = touching.first().copied().unwrap_or(p);
        peak_of[p] = Some(highest);
        for &lower in touching.iter().skip(1) {
            if map[lower] < settings.persistence * map[p] {
                merged_into[lower] = highest;
            }
        }
    }
    let mut members: std::collections::BTreeMap<usize, Vec<usize>> = Default::default();
    for &p in &order {
        let Some(peak) = peak_of[p].map(|peak| root(&merged_into, peak)) else {
            continue;
        };
        if map[p] >= settings.reach * map[peak] {
            members.entry(peak).or_default().push(p);
        }
    }
    members
        .into_values()
        .map(|mut hill| {
            hill.sort_unstable();
            hill
        })
        .collect()
}

fn density(rate: &DoseRate, channel: Channel, patches: &[usize], sizes: &[f64]) -> Estimate {
    rate.over_patches(channel, patches, sizes)
}

/// Chance that each area gets more than the next, over bootstrapped replicates.
fn certainties(
    rate: &DoseRate,
    settings: &AreaSettings,
    found: &[Vec<usize>],
    sizes: &[f64],
) -> Vec<Option<f64>> {
    let n = rate.replicates.len();
    let shown = found.len().min(settings.count + 1);
    let per_replicate: Vec<Vec<f64>> = found[..shown]
        .iter()
        .map(|hill| {
            let area: f64 = hill.iter().map(|&p| sizes[p]).sum();
            let value = |dose: &contact::dose::Dose| -> f64 {
                hill.iter()
                    .map(|&p| dose.totals()[p].get(settings.channel))
                    .sum::<f64>()
                    / area
            };
            rate.replicates.iter().map(value).collect()
        })
        .collect();
    (0..shown)
        .map(|i| {
            let next = per_replicate.get(i + 1)?;
            (n >= 2).then(|| chance_above(&per_replicate[i], next, settings.seed))
        })
        .collect()
}

/// Chance that the mean of `a` is above the mean of `b`; ties count half.
pub(super) fn chance_above(a: &[f64], b: &[f64], seed: u64) -> f64 {
    let draws = 1000;
    let wins: f64 = (0..draws)
        .map(|draw| {
            let w = bootstrap_weights(a.len(), seed, &["rank"], draw);
            let gap: f64 = w
                .iter()
                .zip(a.iter().zip(b))
                .map(|(w, (x, y))| w * (x - y))
                .sum();
            match gap.total_cmp(&0.0) {
                std::cmp::Ordering::Greater => 1.0,
                std::cmp::Ordering::Equal => 0.5,
                std::cmp::Ordering::Less => 0.0,
            }
        })
        .sum();
    wins / draws as f64
}

fn describe(
    figure: &Figure,
    rate: &DoseRate,
    settings: &AreaSettings,
    (index, patches): (usize, Vec<usize>),
) -> Area {
    let sizes = figure.patch_areas();
    let totals = rate.mean.totals();
    let dose = |p: usize| totals[p].get(settings.channel);
    let sum = |f: &dyn Fn(usize) -> f64| base::sum::sum(patches.iter().map(|&p| f(p)));
    let own = sum(&dose);
    let middle = patches.iter().fold(Vec3::zeros(), |m, &p| {
        m + figure.patches[p].centroid * (dose(p) / own)
    });
    let mut by_shape: Vec<(Shape, f64)> = Vec::new();
    for &p in &patches {
        let shape = figure.patches[p].shape;
        match by_shape.iter_mut().find(|(s, _)| *s == shape) {
            Some((_, d)) => *d += dose(p),
            None => by_shape.push((shape, dose(p))),
        }
    }
    let shape = by_shape
        .iter()
        .fold((Shape::Face, f64::NEG_INFINITY), |best, &next| {
            if next.1 > best.1 { next } else { best }
        });
    let surface = sum(&|p| sizes[p]);
    let exposed: f64 = figure
        .patches
        .iter()
        .filter(|p| p.exposed)
        .map(|p| p.area)
        .sum();
    Area {
        rank: index + 1,
        words: figure.place_words(&middle, shape.0),
        middle: [middle.x, middle.y, middle.z],
        shape: shape.0,
        surface,
        friction: sum(&|p| totals[p].friction) / surface,
        impact: sum(&|p| totals[p].impact) / surface,
        dent: sum(&|p| totals[p].dent) / surface,
        peak: patches.iter().map(|&p| totals[p].peak).fold(0.0, f64::max),
        rate: density(rate, settings.channel, &patches, &sizes),
        dose_share: own / rate.mean.total(settings.channel),
        surface_share: surface / exposed,
        certainty: None,
        tied_with_next: false,
        patches,
    }
}

/// Areas with the same words get a number.
fn tell_apart(list: &mut [Area]) {
    for i in 0..list.len() {
        let earlier = list[..i]
            .iter()
            .filter(|a| a.words == list[i].words)
            .count();
        if earlier > 0 {
            let words = format!("{} ({})", list[i].words, earlier + 1);
            list[i].words = words;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{plate, rate};
    use super::*;

    const N: usize = 20;

    /// Round hills of given height at given columns and rows on a low plain.
    fn hills_at(list: &[(f64, f64, f64)]) -> Vec<f64> {
        (0..N * N)
            .map(|i| {
                let (x, y) = ((i % N) as f64, (i / N) as f64);
                list.iter()
                    .map(|(cx, cy, h)| h * (-((x - cx).powi(2) + (y - cy).powi(2)) / 8.0).exp())
                    .fold(0.5, f64::max)
            })
            .collect()
    }

    #[test]
    fn two_hills_are_two_areas_in_order() {
        let figure = plate(N, &[]);
        let map = hills_at(&[(4.0, 4.0, 100.0), (15.0, 14.0, 60.0)]);
        let list = areas(
            &figure,
            &rate(&map, 50e3, (8, 0.1), 1),
            &AreaSettings::default(),
        );
        assert_eq!(list.len(), 2, "{list:#?}");
        assert!(list[0].middle[0] < 0.0 && list[1].middle[0] > 0.0);
        assert!(list[0].certainty.unwrap() > 0.99 && !list[0].tied_with_next);
        assert_eq!(list[1].certainty, None);
        assert!(list[0].dose_share > list[1].dose_share && list[0].surface_share < 0.1);
        assert!((list[0].friction - list[0].rate.mean).abs() < 1e-9);
    }

    #[test]
    fn equal_hills_cannot_be_told_apart() {
        let figure = plate(N, &[]);
        let map = hills_at(&[(4.0, 4.0, 100.0), (15.0, 14.0, 100.0)]);
        let list = areas(
            &figure,
            &rate(&map, 50e3, (6, 0.5), 2),
            &AreaSettings::default(),
        );
        assert_eq!(list.len(), 2);
        assert!(list[0].tied_with_next, "{:?}", list[0].certainty);
        // one replicate: nothing to tell from, and it says so
        let one = areas(
            &figure,
            &rate(&map, 50e3, (1, 0.0), 2),
            &AreaSettings::default(),
        );
        assert_eq!(one[0].certainty, None);
    }

    #[test]
    fn a_shallow_saddle_does_not_split_an_area() {
        let figure = plate(N, &[]);
        let map = hills_at(&[(8.0, 8.0, 100.0), (11.0, 8.0, 95.0)]);
        let list = areas(
            &figure,
            &rate(&map, 50e3, (8, 0.05), 3),
            &AreaSettings::default(),
        );
        assert_eq!(list.len(), 1);
    }

    #[test]
    fn no_dose_no_area() {
        let figure = plate(N, &[]);
        let none = rate(&[0.0; N * N], 0.0, (4, 0.0), 1);
        assert!(areas(&figure, &none, &AreaSettings::default()).is_empty());
    }
}
