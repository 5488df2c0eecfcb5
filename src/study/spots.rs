//! Places for graders to look at: spread over the doses, large enough to see, told apart by the
//! replicates, and one that should get nothing.
//!
//! Unlike [`super::areas`], which follows the hills of the dose, these are small round places of
//! nearly one dose each, seen well in one of the fixed views.

use super::neighbours::Neighbours;
use base::stats::Estimate;
use base::sum::sum;
use contact::dose::{Channel, DoseRate};
use contact::exposure::replicate::rank_certainty;
use mesh::figure::Figure;

/// Views from which a figure is photographed: front, right, back, left.
pub const VIEWS: usize = 4;

/// How places are chosen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpotSettings {
    /// What they are ranked by.
    pub channel: Channel,
    /// How many, besides the one that should get nothing.
    pub count: usize,
    /// \[ln units\] from the highest dose to the lowest.
    pub span: f64,
    /// \[m2\] least surface seen in one view.
    pub smallest: f64,
    /// \[m\] how far a place reaches from its middle.
    pub radius: f64,
    /// \[m\] least distance between two middles.
    pub apart: f64,
    /// Chance wanted that each gets more than the next.
    pub sure: f64,
}

impl Default for SpotSettings {
    /// Five places over a factor of ten, of 1 mm2 and more, told apart to 80 %.
    fn default() -> SpotSettings {
        SpotSettings {
            channel: Channel::Friction,
            count: 5,
            span: std::f64::consts::LN_10,
            smallest: 1e-6,
            radius: 1.2e-3,
            apart: 3e-3,
            sure: 0.8,
        }
    }
}

/// One place to look at.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// Where it is, in words.
    pub words: String,
    /// Its patches.
    pub patches: Vec<usize>,
    /// \[m2\]
    pub surface: f64,
    /// The view that shows it best, 0 to 3.
    pub view: usize,
    /// \[J/m2\] per unit of exposure, 95 % over replicates; 0 for the place that should get nothing.
    pub rate: Estimate,
    /// \[ln units\] standard deviation of its patches' doses.
    pub spread: f64,
    /// Chance that it gets more than the next one in the list; `None` for the last two (the next
    /// of the last is the place without dose) and without replicates.
    pub certainty: Option<f64>,
    /// True for the place that should get nothing.
    pub shadow: bool,
}

/// Below this share of the lowest place's dose a place counts as untouched.
const UNTOUCHED: f64 = 0.01;
/// Patches that face further away than this from the middle one are another side: cosine of 60
/// degrees.
const SAME_SIDE: f64 = 0.5;
/// \[ln units\] least step from one place to the next: a factor of 1.4.
const LEAST_STEP: f64 = 0.35;
/// Candidates looked at closely for each place.
const SHORT_LIST: usize = 60;

/// A possible place.
struct Candidate {
    middle: usize,
    patches: Vec<usize>,
    view: usize,
    seen: f64,
    dose: f64,
    spread: f64,
}

/// Chooses places, highest dose first, the untouched one last.
///
/// * `seen`: \[m2\] what each view sees of each patch
///
/// Gives fewer than asked for where the figure has no more that are large enough.
#[must_use]
pub fn spots(
    figure: &Figure,
    rate: &DoseRate,
    seen: &[[f64; VIEWS]],
    settings: &SpotSettings,
) -> Vec<Spot> {
    let areas = figure.patch_areas();
    let map = rate.mean.map(settings.channel, &areas);
    let all = candidates(figure, (&map, &areas), seen, settings);
    let chosen = choose((figure, &areas), rate, &all, settings);
    let mut list: Vec<Spot> = chosen
        .iter()
        .map(|c| describe((figure, &areas), rate, c, settings))
        .collect();
    let values: Vec<Vec<f64>> = chosen
        .iter()
        .map(|c| per_replicate(&areas, rate, c, settings.channel))
        .collect();
    for (place, pair) in list.iter_mut().zip(values.windows(2)) {
        place.certainty = (rate.replicates.len() >= 2).then(|| rank_certainty(&pair[0], &pair[1]));
    }
    if let Some(shadow) = untouched(figure, &map, &all, &chosen, settings) {
        let mut place = describe((figure, &areas), rate, shadow, settings);
        place.rate = Estimate {
            mean: 0.0,
            half_width: 0.0,
        };
        place.shadow = true;
        list.push(place);
    }
    list
}

fn candidates(
    figure: &Figure,
    (map, areas): (&[f64], &[f64]),
    seen: &[[f64; VIEWS]],
    settings: &SpotSettings,
) -> Vec<Candidate> {
    let neighbours = Neighbours::of(figure);
    let reach = |middle: usize| -> Vec<usize> {
        let from = &figure.patches[middle];
        let mut found = vec![middle];
        let mut next = 0;
        while let Some(&p) = found.get(next) {
            next += 1;
            for &q in neighbours.of_patch(p) {
                let patch = &figure.patches[q];
                let near = (patch.centroid - from.centroid).norm() <= settings.radius
                    && patch.normal.dot(&from.normal) >= SAME_SIDE;
                if near && patch.exposed && !found.contains(&q) {
                    found.push(q);
                }
            }
        }
        found.sort_unstable();
        found
    };
    let candidate = |middle: usize| {
        let patches = reach(middle);
        let by_view: [f64; VIEWS] =
            std::array::from_fn(|v| sum(patches.iter().map(|&p| seen[p][v])));
        let view = (0..VIEWS).fold(0, |a, b| if by_view[b] > by_view[a] { b } else { a });
        if by_view[view] < settings.smallest {
            return None;
        }
        let surface = sum(patches.iter().map(|&p| areas[p]));
        let dose = sum(patches.iter().map(|&p| map[p] * areas[p])) / surface;
        let log = |p: usize| (map[p].max(UNTOUCHED * dose) / dose).ln();
        let mean = sum(patches.iter().map(|&p| log(p) * areas[p])) / surface;
        let square = sum(patches.iter().map(|&p| (log(p) - mean).powi(2) * areas[p])) / surface;
        Some(Candidate {
            middle,
            view,
            seen: by_view[view],
            spread: if dose > 0.0 { square.sqrt() } else { 0.0 },
            patches,
            dose,
        })
    };
    (0..figure.patches.len())
        .filter(|&p| figure.patches[p].exposed && seen[p].iter().any(|s| *s > 0.0))
        .filter_map(candidate)
        .collect()
}

fn per_replicate(areas: &[f64], rate: &DoseRate, c: &Candidate, channel: Channel) -> Vec<f64> {
    let surface = sum(c.patches.iter().map(|&p| areas[p]));
    let value = |dose: &contact::dose::Dose| {
        sum(c.patches.iter().map(|&p| dose.totals()[p].get(channel))) / surface
    };
    rate.replicates.iter().map(value).collect()
}

fn clear_of(figure: &Figure, taken: &[&Candidate], c: &Candidate, apart: f64) -> bool {
    let at = |c: &Candidate| figure.patches[c.middle].centroid;
    taken.iter().all(|t| (at(t) - at(c)).norm() >= apart)
}

/// One after the other, from the highest dose down in even steps of the logarithm: each the
/// candidate nearest to its step that is also of one dose and surely below the one before it.
fn choose<'a>(
    (figure, areas): (&Figure, &[f64]),
    rate: &DoseRate,
    all: &'a [Candidate],
    settings: &SpotSettings,
) -> Vec<&'a Candidate> {
    let top = |c: &Candidate| c.dose.ln() - 0.5 * c.spread;
    let touched = all.iter().filter(|c| c.dose > 0.0);
    let Some(first) = touched.reduce(|a, b| if top(b) > top(a) { b } else { a }) else {
        return Vec::new();
    };
    let mut chosen = vec![first];
    while chosen.len() < settings.count {
        let last = chosen[chosen.len() - 1];
        // What is left of the span in even steps: a gap in the doses does not bunch the rest.
        let left = last.dose.ln() - (first.dose.ln() - settings.span);
        let step = left / (settings.count - chosen.len()) as f64;
        let wanted = last.dose.ln() - step.max(LEAST_STEP);
        let miss = |c: &Candidate| (c.dose.ln() - wanted).abs() + 0.5 * c.spread;
        let mut list: Vec<&Candidate> = all
            .iter()
            .filter(|c| c.dose > 0.0 && c.dose < last.dose)
            .filter(|c| clear_of(figure, &chosen, c, settings.apart))
            .collect();
        list.sort_by(|a, b| miss(a).total_cmp(&miss(b)).then(a.middle.cmp(&b.middle)));
        list.truncate(SHORT_LIST);
        let above = per_replicate(areas, rate, last, settings.channel);
        let cost = |c: &Candidate| {
            let own = per_replicate(areas, rate, c, settings.channel);
            let sure = rank_certainty(&above, &own);
            miss(c) + 4.0 * (settings.sure - sure).max(0.0)
        };
        let costs: Vec<f64> = list.iter().map(|c| cost(c)).collect();
        let best = (0..list.len()).min_by(|a, b| costs[*a].total_cmp(&costs[*b]));
        let Some(best) = best else { break };
        chosen.push(list[best]);
    }
    chosen
}

/// Of the places that get next to nothing and lie well away from anything touched, the one seen
/// best: a place that was merely missed by the few contacts of a simulation lies beside one that
/// was not.
fn untouched<'a>(
    figure: &Figure,
    map: &[f64],
    all: &'a [Candidate],
    chosen: &[&Candidate],
    settings: &SpotSettings,
) -> Option<&'a Candidate> {
    let limit = UNTOUCHED * chosen.last()?.dose;
    let touched: Vec<base::Vec3> = (0..map.len())
        .filter(|&p| map[p] > limit)
        .map(|p| figure.patches[p].centroid)
        .collect();
    let clearance = |c: &Candidate| {
        let at = figure.patches[c.middle].centroid;
        let near = touched.iter().map(|t| (t - at).norm_squared());
        near.fold(f64::INFINITY, f64::min).sqrt()
    };
    let clear: Vec<(f64, &Candidate)> = all
        .iter()
        .filter(|c| c.dose <= limit)
        .filter(|c| clear_of(figure, chosen, c, settings.apart))
        .map(|c| (clearance(c), c))
        .collect();
    let most = clear.iter().map(|(far, _)| *far).fold(0.0, f64::max);
    clear
        .into_iter()
        .filter(|(far, _)| *far >= most.min(2.0 * settings.radius))
        .reduce(|a, b| if b.1.seen > a.1.seen { b } else { a })
        .map(|(_, c)| c)
}

fn describe(
    (figure, areas): (&Figure, &[f64]),
    rate: &DoseRate,
    c: &Candidate,
    settings: &SpotSettings,
) -> Spot {
    let patch = &figure.patches[c.middle];
    Spot {
        words: figure.place_words(&patch.centroid, patch.shape),
        surface: sum(c.patches.iter().map(|&p| areas[p])),
        rate: rate.over_patches(settings.channel, &c.patches, areas),
        patches: c.patches.clone(),
        view: c.view,
        spread: c.spread,
        certainty: None,
        shadow: false,
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{SIDE, plate, rate};
    use super::*;

    /// A plate whose dose falls tenfold every 8 mm, its last quarter untouched.
    fn slope() -> (Figure, DoseRate, Vec<[f64; VIEWS]>) {
        let n = 40;
        let map: Vec<f64> = (0..n * n)
            .map(|i| {
                let x = (i % n) as f64 * SIDE;
                if i % n < 30 {
                    100.0 * 10_f64.powf(-x / 8e-3)
                } else {
                    0.0
                }
            })
            .collect();
        let seen = vec![[0.0, SIDE * SIDE, 0.0, 0.0]; n * n];
        (plate(n, &[]), rate(&map, 1e5, (16, 0.1), 3), seen)
    }

    #[test]
    fn places_span_the_doses_and_one_gets_nothing() {
        let (figure, rate, seen) = slope();
        let list = spots(&figure, &rate, &seen, &SpotSettings::default());
        assert_eq!(list.len(), 6);
        let doses: Vec<f64> = list.iter().map(|p| p.rate.mean).collect();
        assert!(doses.windows(2).all(|w| w[0] > w[1]), "{doses:?}");
        let span = (doses[0] / doses[4]).ln();
        assert!((span - std::f64::consts::LN_10).abs() < 0.35, "{span}");
        assert!(list[5].shadow && doses[5] == 0.0);
        assert!(
            list[5]
                .patches
                .iter()
                .all(|p| rate.mean.totals()[*p].friction == 0.0)
        );
        for place in &list {
            assert!(place.view == 1 && place.surface >= 1e-6);
            assert!(place.certainty.is_none_or(|c| c > 0.8));
        }
        let middle = |p: &Spot| {
            let all = p.patches.iter().map(|i| figure.patches[*i].centroid);
            all.sum::<base::Vec3>() / p.patches.len() as f64
        };
        for (i, a) in list.iter().enumerate() {
            for b in &list[i + 1..] {
                assert!((middle(a) - middle(b)).norm() > 2e-3);
            }
        }
    }

    /// What no view sees is never chosen, and too small a figure gives none.
    #[test]
    fn only_what_can_be_seen() {
        let (figure, rate, mut seen) = slope();
        for (i, view) in seen.iter_mut().enumerate() {
            if i % 40 < 10 {
                *view = [0.0; VIEWS];
            }
        }
        let list = spots(&figure, &rate, &seen, &SpotSettings::default());
        for place in &list {
            let visible = place.patches.iter().filter(|p| **p % 40 >= 10).count();
            assert!(visible as f64 * SIDE * SIDE >= 1e-6 - 1e-12);
        }
        let none = vec![[0.0; VIEWS]; 1600];
        assert!(spots(&figure, &rate, &none, &SpotSettings::default()).is_empty());
    }
}
