//! Which level of a factor is best, how sure that is, and on which figures it is not so.

use super::tally::{Cell, Tally};
use crate::study::Interval;
use serde::Serialize;

/// Below this chance two neighbours in the list cannot be told apart; the value of areas.
const SURE: f64 = 0.8;
/// A figure disagrees when the order of two is reversed on it with at least this chance.
const REVERSED: f64 = 0.95;

/// The levels of one factor, best first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Ranking {
    /// Name of the factor.
    pub factor: String,
    /// It is the figure.
    pub is_figure: bool,
    /// Best first.
    pub places: Vec<Placed>,
    /// The order on each figure; empty without several figures.
    pub by_figure: Vec<OnFigure>,
    /// Where a figure reverses two of them.
    pub disagreements: Vec<Disagreement>,
}

/// One level in the list.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Placed {
    /// From 1.
    pub rank: usize,
    /// Words of the level.
    pub level: String,
    /// Geometric mean of the quantity over the parts at this level.
    pub typical: Interval,
    /// Over the first in the list.
    pub of_best: Interval,
    /// Chance that it is the best, 0 to 1.
    pub chance_best: f64,
    /// Chance that it is really better than the next; `None` for the last.
    pub certainty: Option<f64>,
    /// It cannot be told apart from the next.
    pub tied_with_next: bool,
}

/// The order on one figure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OnFigure {
    /// Words of the figure.
    pub figure: String,
    /// Best first: level and geometric mean of the quantity.
    pub order: Vec<(String, Interval)>,
}

/// Two levels whose order is reversed on a figure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Disagreement {
    /// Words of the figure.
    pub figure: String,
    /// Better here.
    pub better: String,
    /// Worse here, better overall.
    pub worse: String,
    /// Quantity of the better over the worse, here.
    pub times: Interval,
    /// Chance of the reversed order here, 0 to 1.
    pub chance: f64,
}

/// Ranks the levels of every factor that has several.
///
/// * `more_is_better`: true for lives, false for doses
#[must_use]
pub fn rankings(tally: &Tally, more_is_better: bool) -> Vec<Ranking> {
    (0..tally.factors.len())
        .filter_map(|f| {
            Ranker {
                tally,
                sign: if more_is_better { 1.0 } else { -1.0 },
            }
            .ranking(f)
        })
        .collect()
}

struct Ranker<'a> {
    tally: &'a Tally,
    sign: f64,
}

/// A level and its mean in every draw.
type Level = (usize, Vec<f64>);

impl Ranker<'_> {
    fn ranking(&self, f: usize) -> Option<Ranking> {
        let factor = &self.tally.factors[f];
        let levels = self.ordered(factor.levels.len(), |l| Some(self.tally.level(f, l)));
        if levels.len() < 2 {
            return None;
        }
        let figure = self
            .tally
            .factors
            .iter()
            .position(|g| g.is_figure && g.levels.len() > 1)
            .filter(|g| *g != f);
        Some(Ranking {
            factor: factor.name.clone(),
            is_figure: factor.is_figure,
            places: self.places(f, &levels)?,
            by_figure: figure.map_or_else(Vec::new, |g| self.by_figure(f, g)),
            disagreements: figure.map_or_else(Vec::new, |g| self.disagreements((f, &levels), g)),
        })
    }

    /// Levels that have parts, best mean over all draws first.
    fn ordered<'c>(&self, count: usize, cell: impl Fn(usize) -> Option<&'c Cell>) -> Vec<Level> {
        let mut levels: Vec<(f64, Level)> = (0..count)
            .filter_map(|l| {
                let cell = cell(l).filter(|c| c.count > 0)?;
                let means = cell.means();
                let mean = base::sum::sum(means.iter().copied());
                Some((self.sign * mean, (l, means)))
            })
            .collect();
        levels.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.0.cmp(&b.1.0)));
        levels.into_iter().map(|(_, level)| level).collect()
    }

    /// Chance that `a` is better than `b`; equal counts half.
    fn chance(&self, a: &[f64], b: &[f64]) -> f64 {
        let wins: f64 = a
            .iter()
            .zip(b)
            .map(|(x, y)| match (self.sign * (x - y)).partial_cmp(&0.0) {
                Some(std::cmp::Ordering::Greater) => 1.0,
                Some(std::cmp::Ordering::Equal) => 0.5,
                _ => 0.0,
            })
            .sum();
        wins / a.len().max(1) as f64
    }

    fn places(&self, f: usize, levels: &[Level]) -> Option<Vec<Placed>> {
        let best = self.chances_best(levels);
        levels
            .iter()
            .enumerate()
            .map(|(i, (level, means))| {
                let certainty = levels.get(i + 1).map(|next| self.chance(means, &next.1));
                Some(Placed {
                    rank: i + 1,
                    level: self.tally.factors[f].levels[*level].clone(),
                    typical: interval(means)?,
                    of_best: ratio(means, &levels[0].1)?,
                    chance_best: best[i],
                    certainty,
                    tied_with_next: certainty.is_some_and(|c| c < SURE),
                })
            })
            .collect()
    }

    /// Chance of each to be the best; equals share it.
    fn chances_best(&self, levels: &[Level]) -> Vec<f64> {
        let draws = self.tally.draws();
        let mut chances = vec![0.0; levels.len()];
        for d in 0..draws {
            let value = |l: &Level| self.sign * l.1[d];
            let top = levels.iter().map(value).fold(f64::NEG_INFINITY, f64::max);
            let winners: Vec<usize> = (0..levels.len())
                .filter(|i| value(&levels[*i]) == top)
                .collect();
            for w in &winners {
                chances[*w] += 1.0 / winners.len() as f64;
            }
        }
        chances
            .into_iter()
            .map(|wins| wins / draws as f64)
            .collect()
    }

    fn on_figure(&self, f: usize, (g, figure): (usize, usize)) -> Vec<Level> {
        let count = self.tally.factors[f].levels.len();
        self.ordered(count, |l| self.tally.both((f, l), (g, figure)))
    }

    fn by_figure(&self, f: usize, g: usize) -> Vec<OnFigure> {
        let words = &self.tally.factors[f].levels;
        self.tally.factors[g]
            .levels
            .iter()
            .enumerate()
            .map(|(figure, name)| OnFigure {
                figure: name.clone(),
                order: self
                    .on_figure(f, (g, figure))
                    .iter()
                    .filter_map(|(level, means)| Some((words[*level].clone(), interval(means)?)))
                    .collect(),
            })
            .filter(|on| !on.order.is_empty())
            .collect()
    }

    /// The clearest reversal of each figure, clearest first.
    fn disagreements(&self, (f, overall): (usize, &[Level]), g: usize) -> Vec<Disagreement> {
        let words = &self.tally.factors[f].levels;
        let mut found = Vec::new();
        for (figure, name) in self.tally.factors[g].levels.iter().enumerate() {
            let here = self.on_figure(f, (g, figure));
            let means = |level: usize| here.iter().find(|l| l.0 == level).map(|l| &l.1);
            let mut clearest: Option<Disagreement> = None;
            for (i, (first, over_first)) in overall.iter().enumerate() {
                for (second, over_second) in &overall[i + 1..] {
                    let (Some(a), Some(b)) = (means(*first), means(*second)) else {
                        continue;
                    };
                    let chance = self.chance(b, a);
                    if chance < REVERSED || self.chance(over_first, over_second) < SURE {
                        continue;
                    }
                    let Some(times) = ratio(b, a) else { continue };
                    let gap = |t: &Interval| t.median.ln().abs();
                    if clearest
                        .as_ref()
                        .is_none_or(|c| gap(&times) > gap(&c.times))
                    {
                        clearest = Some(Disagreement {
                            figure: name.clone(),
                            better: words[*second].clone(),
                            worse: words[*first].clone(),
                            times,
                            chance,
                        });
                    }
                }
            }
            found.extend(clearest);
        }
        found.sort_by(|a, b| {
            let gap = |d: &Disagreement| d.times.median.ln().abs();
            gap(b).total_cmp(&gap(a))
        });
        found
    }
}

fn interval(logs: &[f64]) -> Option<Interval> {
    Interval::of(logs.iter().map(|v| v.exp()).collect())
}

fn ratio(a: &[f64], b: &[f64]) -> Option<Interval> {
    Interval::of(a.iter().zip(b).map(|(a, b)| (a - b).exp()).collect())
}

#[cfg(test)]
mod tests {
    use super::super::tally::Factor;
    use super::*;

    /// Coat B doubles A's life on two figures and halves it on the third; C is a thousandth
    /// better than A with noise of a tenth.
    fn tally() -> Tally {
        let factor = |name: &str, levels: &[&str], is_figure| Factor {
            name: name.into(),
            levels: levels.iter().map(|l| (*l).to_string()).collect(),
            is_figure,
        };
        let mut tally = Tally::new(vec![
            factor("coat", &["A", "B", "C"], false),
            factor("figure", &["one", "two", "odd"], true),
        ]);
        for coat in 0..3 {
            for figure in 0..3 {
                let effect = match (coat, figure) {
                    (1, 2) => -(2f64.ln()),
                    (1, _) => 2f64.ln(),
                    (2, _) => 0.001,
                    _ => 0.0,
                };
                let noise = |d: i32| {
                    if coat == 2 && d % 2 == 0 {
                        0.1
                    } else if coat == 2 {
                        -0.1
                    } else {
                        0.0
                    }
                };
                let draws: Vec<f64> = (0..40).map(|d| effect + noise(d) + f64::from(d)).collect();
                tally.add(&[coat, figure], &draws);
            }
        }
        tally
    }

    #[test]
    fn the_best_is_found_and_the_odd_figure_named() {
        let coats = &rankings(&tally(), true)[0];
        let order: Vec<&str> = coats.places.iter().map(|p| p.level.as_str()).collect();
        assert_eq!(order[0], "B");
        // ln B = (2 - 1) ln 2 / 3 above A.
        let times = coats
            .places
            .iter()
            .find(|p| p.level == "A")
            .expect("A")
            .of_best;
        assert!((times.median - 2f64.powf(-1.0 / 3.0)).abs() < 1e-9);
        assert_eq!(coats.places[0].chance_best, 1.0);
        assert!(
            coats.places[1].tied_with_next,
            "A and C cannot be told apart"
        );
        assert_eq!(coats.disagreements.len(), 1);
        let odd = &coats.disagreements[0];
        assert_eq!((odd.figure.as_str(), odd.worse.as_str()), ("odd", "B"));
        assert!(odd.times.median > 1.9);
    }

    #[test]
    fn less_is_better_for_a_dose() {
        let coats = &rankings(&tally(), false)[0];
        assert_eq!(coats.places[2].level, "B");
        assert_eq!(coats.places[2].chance_best, 0.0);
    }
}
