//! Reinforce: where an extra coat, another hold or another foam buys most life.

use super::compare::digits;
use super::matching::Wearing;
use super::matching::lost_volume;
use crate::reference::FilmMaterial;
use crate::wear::{End, Laid, Specimen};
use base::{Error, Result};
use contact::law::film::edge_retention;
use mesh::figure::Figure;
use serde::{Deserialize, Serialize};

/// Something that could be done.
#[derive(Debug, Clone)]
pub enum Measure<'a> {
    /// One more topcoat on an area.
    Coat {
        /// Name of the area.
        words: String,
        /// Its patches.
        patches: &'a [usize],
    },
    /// One exposure done another way: another hold, another foam.
    Swap {
        /// What changes, in words: "hold by the base".
        words: String,
        /// Number of the exposure in the season.
        exposure: usize,
        /// What it becomes.
        with: Wearing<'a>,
    },
}

impl Measure<'_> {
    /// In words.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Measure::Coat { words, .. } => format!("one more topcoat on: {words}"),
            Measure::Swap { words, .. } => words.clone(),
        }
    }
}

/// What is asked.
#[derive(Debug, Clone, Copy)]
pub struct Season<'a> {
    /// The figure.
    pub figure: &'a Figure,
    /// Body and films.
    pub specimen: &'a Specimen,
    /// Exposures of one season with their amounts.
    pub wearing: &'a [Wearing<'a>],
    /// When life ends.
    pub end: End,
    /// The coat that can be added.
    pub coat: &'a FilmMaterial,
    /// Groups of patches whose life counts: the areas. The figure ends when the first of them has.
    pub areas: &'a [Vec<usize>],
    /// Share of an area's surface that has to be through.
    pub share_through: f64,
}

/// One step of the plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// What to do.
    pub measure: String,
    /// [seasons] life with this and all earlier steps, at the medians.
    pub seasons: f64,
    /// Over the life without the step.
    pub gain: f64,
    /// [m2] coated by the step.
    pub surface: f64,
    /// [seasons/m2] life gained per area coated; `None` where nothing is coated.
    pub gain_per_surface: Option<f64>,
}

/// The plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reinforcement {
    /// [seasons] life as it is, at the medians.
    pub seasons_now: f64,
    /// Best single step, then best next, and so on.
    pub greedy: Vec<Step>,
    /// Best set of at most as many measures, by trying all; `None` when there are too many.
    pub exact: Option<ExactSet>,
    /// The answer.
    pub sentence: String,
}

/// The best set found by trying all.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ExactSet {
    /// What to do.
    pub measures: Vec<String>,
    /// [seasons]
    pub seasons: f64,
}

/// Sets tried at most in the exact search.
const MOST_SETS: usize = 20_000;

/// Plans up to `steps` measures.
///
/// # Errors
/// When nothing wears or the specimen has no such end.
pub fn reinforce(
    season: &Season<'_>,
    measures: &[Measure<'_>],
    steps: usize,
) -> Result<Reinforcement> {
    let coats = season.specimen.coats_to(season.end).ok_or_else(|| {
        Error::input(format!(
            "specimen \"{}\" has no {}",
            season.specimen.name,
            season.end.words()
        ))
    })?;
    let life = |set: &[usize]| seasons(season, coats.max(1), measures, set);
    let now = life(&[]);
    if !now.is_finite() {
        return Err(Error::input(
            "nothing in this season wears the chosen areas",
        ));
    }
    let mut chosen: Vec<usize> = Vec::new();
    let mut greedy = Vec::new();
    let mut before = now;
    for _ in 0..steps.min(measures.len()) {
        let best = (0..measures.len())
            .filter(|m| !chosen.contains(m))
            .map(|m| (m, life(&[chosen.as_slice(), &[m]].concat())))
            .fold(None, |best: Option<(usize, f64)>, next| match best {
                Some(b) if b.1 >= next.1 => Some(b),
                _ => Some(next),
            });
        let Some((m, after)) = best.filter(|(_, after)| *after > before * (1.0 + 1e-9)) else {
            break;
        };
        chosen.push(m);
        greedy.push(step(season, &measures[m], (before, after)));
        before = after;
    }
    let exact = exact(measures, steps, &life);
    let sentence = sentence(now, &greedy, exact.as_ref());
    Ok(Reinforcement {
        seasons_now: now,
        greedy,
        exact,
        sentence,
    })
}

fn step(season: &Season<'_>, measure: &Measure<'_>, (before, after): (f64, f64)) -> Step {
    let surface: f64 = match measure {
        Measure::Coat { patches, .. } => {
            patches.iter().map(|&p| season.figure.patches[p].area).sum()
        }
        Measure::Swap { .. } => 0.0,
    };
    Step {
        measure: measure.words(),
        seasons: after,
        gain: after / before,
        surface,
        gain_per_surface: (surface > 0.0).then(|| (after - before) / surface),
    }
}

/// All sets of up to `steps` measures, smaller sets first so that no needless measure is named.
fn exact(
    measures: &[Measure<'_>],
    steps: usize,
    life: &impl Fn(&[usize]) -> f64,
) -> Option<ExactSet> {
    let mut sets: Vec<Vec<usize>> = vec![Vec::new()];
    let mut from = 0;
    for _ in 0..steps.min(measures.len()) {
        let until = sets.len();
        for i in from..until {
            let next = sets[i].last().map_or(0, |l| l + 1);
            for m in next..measures.len() {
                sets.push([sets[i].as_slice(), &[m]].concat());
            }
            if sets.len() > MOST_SETS {
                return None;
            }
        }
        from = until;
    }
    let mut best: (f64, &[usize]) = (0.0, &[]);
    for set in &sets {
        let seasons = life(set);
        if seasons > best.0 * (1.0 + 1e-9) {
            best = (seasons, set);
        }
    }
    Some(ExactSet {
        measures: best.1.iter().map(|&m| measures[m].words()).collect(),
        seasons: best.0,
    })
}

/// [seasons] until the first area has ended, at the medians of all values and by the energy law.
fn seasons(season: &Season<'_>, coats: usize, measures: &[Measure<'_>], set: &[usize]) -> f64 {
    let mut wearing: Vec<Wearing<'_>> = season.wearing.to_vec();
    let patches = &season.figure.patches;
    let mut extra = vec![0.0; patches.len()];
    for &m in set {
        match &measures[m] {
            Measure::Swap { exposure, with, .. } => {
                if let Some(old) = wearing.get_mut(*exposure) {
                    *old = Wearing {
                        amount: old.amount,
                        ..*with
                    };
                }
            }
            Measure::Coat { patches: list, .. } => {
                for &p in *list {
                    let kept = edge_retention(patches[p].radius, season.coat.edge_radius.value);
                    extra[p] += season.coat.thickness.value * kept;
                }
            }
        }
    }
    let lost: Vec<Vec<f64>> = wearing
        .iter()
        .map(|w| lost_volume(season.specimen, w))
        .collect();
    let life = |p: usize| -> f64 {
        let own = patch_seasons(season, coats, &wearing, p);
        // the extra coat wears as the outer film of the season does, scaled by its own level
        let depth: f64 = lost
            .iter()
            .zip(&wearing)
            .map(|(v, w)| v[p] * w.amount)
            .sum::<f64>()
            / patches[p].area;
        let level = season.specimen.outer().map_or(1.0, |f| {
            season.coat.wear_level.value / f.material.wear_level.value
        });
        own + if extra[p] > 0.0 {
            extra[p] / (depth * level)
        } else {
            0.0
        }
    };
    season
        .areas
        .iter()
        .map(|area| first_share(season, area, &life))
        .fold(f64::INFINITY, f64::min)
}

/// [seasons] of one patch under its own films.
fn patch_seasons(season: &Season<'_>, coats: usize, wearing: &[Wearing<'_>], p: usize) -> f64 {
    let patch = &season.figure.patches[p];
    let films = season.specimen.films.iter().enumerate().rev().take(coats);
    films
        .map(|(f, film)| {
            let depth: f64 = wearing
                .iter()
                .map(|w| {
                    let a = &w.rate.mean.totals()[p];
                    let here = (a.peak, film.material.hardness.value);
                    let share = w.treatment.ploughed_share.value;
                    let pair = w.treatment.films[f].rate.rate;
                    let rate = w.treatment.rate_on(pair, share, here);
                    rate * a.friction * w.amount / patch.area
                })
                .sum();
            Laid::median(film).on(patch) / depth
        })
        .sum()
}

fn first_share(season: &Season<'_>, area: &[usize], life: &impl Fn(usize) -> f64) -> f64 {
    let mut lives: Vec<(f64, f64)> = area
        .iter()
        .map(|&p| (life(p), season.figure.patches[p].area))
        .collect();
    lives.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = lives.iter().map(|l| l.1).sum();
    let mut through = 0.0;
    for (life, surface) in lives {
        through += surface;
        if through >= total * season.share_through {
            return life;
        }
    }
    f64::INFINITY
}

fn sentence(now: f64, greedy: &[Step], exact: Option<&ExactSet>) -> String {
    let Some(first) = greedy.first() else {
        return match exact.filter(|e| e.seasons > now * 1.000_001) {
            Some(e) => format!(
                "No single measure lengthens the life of {} seasons, but together these give {}: {}.",
                digits(now),
                digits(e.seasons),
                e.measures.join("; ")
            ),
            None => format!(
                "None of the measures lengthens the life of {} seasons.",
                digits(now)
            ),
        };
    };
    let begin = format!(
        "Life to the first worn area is {} seasons at the medians; first do: {} ({} seasons)",
        digits(now),
        first.measure,
        digits(first.seasons),
    );
    match greedy {
        [.., last] if greedy.len() > 1 => format!(
            "{begin}; with all {} steps it is {}.",
            greedy.len(),
            digits(last.seasons)
        ),
        _ => format!("{begin}; no other step adds to it."),
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{plate, rate};
    use super::*;
    use crate::reference::{Modifiers, Stock};
    use crate::wear::Treatment;

    struct Bench {
        figure: Figure,
        specimen: Specimen,
        treatment: Treatment,
        coat: FilmMaterial,
    }

    fn bench() -> Bench {
        let stock = Stock::load().unwrap();
        let coats = ["acrylic paint, brush", "satin topcoat, aerosol"];
        let specimen = Specimen::from_stock(&stock, "s", "ABS", &coats).unwrap();
        let treatment =
            Treatment::new(&stock, &specimen, "soft foam", Modifiers::default()).unwrap();
        Bench {
            figure: plate(4, &[]),
            specimen,
            treatment,
            coat: stock.film("satin topcoat, aerosol").unwrap(),
        }
    }

    fn season<'a>(b: &'a Bench, wearing: &'a [Wearing<'a>], areas: &'a [Vec<usize>]) -> Season<'a> {
        Season {
            figure: &b.figure,
            specimen: &b.specimen,
            wearing,
            end: End::Topcoat,
            coat: &b.coat,
            areas,
            share_through: 0.1,
        }
    }

    /// Three areas at 100, 80, 40: one more equal coat doubles an area's life, so the worst is coated
    /// first, then the second; the life is then the least of 2/100, 2/80, 1/40 of a film's worth.
    #[test]
    fn the_worst_area_is_coated_first() {
        let b = bench();
        let mut map = [0.0; 16];
        let areas = [vec![0, 1], vec![5, 6], vec![10, 11]];
        for (area, w) in areas.iter().zip([100.0, 80.0, 40.0]) {
            for &p in area {
                map[p] = w;
            }
        }
        let dose = rate(&map, 1e5, (1, 0.0), 1);
        let wearing = [Wearing {
            exposure: "foam",
            treatment: &b.treatment,
            rate: &dose,
            amount: 1.0,
        }];
        let season = season(&b, &wearing, &areas);
        let measures: Vec<Measure<'_>> = areas
            .iter()
            .enumerate()
            .map(|(i, a)| Measure::Coat {
                words: format!("area {i}"),
                patches: a,
            })
            .collect();
        let plan = reinforce(&season, &measures, 2).unwrap();
        assert!(
            plan.greedy[0].measure.contains("area 0") && plan.greedy[1].measure.contains("area 1")
        );
        assert!((plan.greedy[0].gain - 100.0 / 80.0).abs() < 1e-9);
        assert!(
            (plan.greedy[1].seasons / plan.seasons_now - 2.0).abs() < 1e-9,
            "{plan:?}"
        );
        let exact = plan.exact.unwrap();
        assert!((exact.seasons - plan.greedy[1].seasons).abs() < 1e-9);
        assert!(plan.greedy[0].gain_per_surface.unwrap() > 0.0);
    }

    /// Two areas worn alike: neither coat alone helps, so greedy stops and only trying all finds
    /// the pair. The sentence says so.
    #[test]
    fn the_exact_search_sees_what_greedy_cannot() {
        let b = bench();
        let mut map = [0.0; 16];
        let areas = [vec![0, 1], vec![10, 11]];
        for p in [0, 1, 10, 11] {
            map[p] = 50.0;
        }
        let dose = rate(&map, 1e5, (1, 0.0), 1);
        let wearing = [Wearing {
            exposure: "foam",
            treatment: &b.treatment,
            rate: &dose,
            amount: 1.0,
        }];
        let season = season(&b, &wearing, &areas);
        let measures: Vec<Measure<'_>> = areas
            .iter()
            .map(|a| Measure::Coat {
                words: "area".into(),
                patches: a,
            })
            .collect();
        let plan = reinforce(&season, &measures, 2).unwrap();
        assert!(plan.greedy.is_empty());
        let exact = plan.exact.as_ref().unwrap();
        assert!((exact.seasons / plan.seasons_now - 2.0).abs() < 1e-9 && exact.measures.len() == 2);
        assert!(plan.sentence.contains("together"), "{}", plan.sentence);
    }

    #[test]
    fn another_hold_can_beat_a_coat() {
        let b = bench();
        let mut map = [0.0; 16];
        map[0] = 100.0;
        let body = rate(&map, 1e5, (1, 0.0), 1);
        map[0] = 10.0;
        let base = rate(&map, 1e5, (1, 0.0), 1);
        let on = |rate| Wearing {
            exposure: "hand",
            treatment: &b.treatment,
            rate,
            amount: 1.0,
        };
        let wearing = [on(&body)];
        let areas = [vec![0]];
        let season = season(&b, &wearing, &areas);
        let measures = [
            Measure::Coat {
                words: "nose".into(),
                patches: &areas[0],
            },
            Measure::Swap {
                words: "hold by the base".into(),
                exposure: 0,
                with: on(&base),
            },
        ];
        let plan = reinforce(&season, &measures, 1).unwrap();
        assert_eq!(plan.greedy[0].measure, "hold by the base");
        assert!((plan.greedy[0].gain - 10.0).abs() < 1e-9);
    }
}
