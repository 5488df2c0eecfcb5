//! When each preparation reached a grade, as far as the looks can tell.

use crate::bench::files::{Bench, Grade};
use crate::bench::scores::{Means, means, score_areas};
use std::collections::{BTreeMap, BTreeSet};

/// A preparation and the looks between which its worst scored area first reached a grade.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Preparation {
    /// Number of its system.
    pub system: usize,
    /// Session.
    pub block: u32,
    /// Its name.
    pub batch: String,
    /// Nothing if it was at that grade before the first move.
    pub life: Option<Life>,
}

/// Between which looks something first was there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Life {
    /// \[units of exposure\] the last look before; 0 if it was there at the first.
    pub over: f64,
    /// \[units of exposure\] the first look at which it was there, or never.
    pub up_to: Option<f64>,
}

/// What one look says about one preparation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Look {
    /// Every scored area was graded, all below the grade.
    Below,
    /// An area was at the grade or beyond.
    There,
    /// No area was seen at the grade, and not all were graded.
    Unknown,
}

/// All exposed preparations, by system and name.
///
/// Rubbed paint only: a chipped, lifted or sticky reading counts as not graded. An area's grade is
/// the mean over graders and repeats, and over the figures of the preparation. Areas that nobody
/// graded on any figure are no part of it.
///
/// * `grade`: 1 to 5
pub(super) fn preparations(bench: &Bench, grades: &[Grade], grade: f64) -> Vec<Preparation> {
    let rubbed: Vec<Grade> = grades.iter().filter(|g| g.kind == 'R').cloned().collect();
    let means = means(&rubbed);
    let seen: BTreeSet<usize> = means.keys().map(|(_, area, _)| *area).collect();
    let areas: Vec<usize> = score_areas(bench)
        .into_iter()
        .filter(|a| seen.contains(a))
        .collect();
    let mut figures: BTreeMap<(usize, &str), Vec<usize>> = BTreeMap::new();
    for (i, s) in bench.specimens.iter().enumerate() {
        if s.row.role != "blank" {
            let of = (s.system, s.row.batch.as_str());
            figures.entry(of).or_default().push(i);
        }
    }
    let told = |((system, batch), own): ((usize, &str), Vec<usize>)| {
        let looks = bench.file.inspections.iter().enumerate();
        let looks: Vec<(f64, Look)> = looks
            .map(|(i, units)| (*units, look(&means, (&own, &areas), i, grade)))
            .collect();
        Preparation {
            system,
            block: bench.specimens[own[0]].row.block,
            batch: batch.to_owned(),
            life: life(&looks),
        }
    };
    figures.into_iter().map(told).collect()
}

fn look(
    means: &Means,
    (figures, areas): (&[usize], &[usize]),
    inspection: usize,
    grade: f64,
) -> Look {
    let mean = |area: &usize| -> Option<f64> {
        let cells = figures.iter().map(|f| means.get(&(*f, *area, inspection)));
        let whole: Option<Vec<f64>> = cells.map(Option::<&f64>::copied).collect();
        whole.map(|list| base::sum::sum(list.iter().copied()) / list.len() as f64)
    };
    let seen: Vec<Option<f64>> = areas.iter().map(mean).collect();
    // A mean of thirds may fall short of a whole grade in the last bit.
    if seen.iter().flatten().any(|g| *g >= grade - 1e-9) {
        Look::There
    } else if !seen.is_empty() && seen.iter().all(Option::is_some) {
        Look::Below
    } else {
        Look::Unknown
    }
}

/// The first time counts: grades that fall again later change nothing. A look that did not see
/// everything cannot say "not yet", so the interval widens.
fn life(looks: &[(f64, Look)]) -> Option<Life> {
    let mut over = 0.0;
    for (units, look) in looks {
        match look {
            Look::There if *units <= 0.0 => return None,
            Look::There => {
                return Some(Life {
                    over,
                    up_to: Some(*units),
                });
            }
            Look::Below => over = *units,
            Look::Unknown => {}
        }
    }
    Some(Life { over, up_to: None })
}

#[cfg(test)]
mod tests {
    use super::Look::{Below, There, Unknown};
    use super::*;

    const UNITS: [f64; 6] = [0.0, 125.0, 250.0, 500.0, 1000.0, 2000.0];

    fn between(looks: [Look; 6]) -> Option<(f64, Option<f64>)> {
        let looks: Vec<(f64, Look)> = UNITS.into_iter().zip(looks).collect();
        life(&looks).map(|l| (l.over, l.up_to))
    }

    #[test]
    fn a_life_lies_between_two_looks() {
        for (looks, life) in [
            // reached between two looks, and at the first
            (
                [Below, Below, Below, Below, There, There],
                (500.0, Some(1000.0)),
            ),
            (
                [Below, There, There, There, There, There],
                (0.0, Some(125.0)),
            ),
            // never
            ([Below; 6], (2000.0, None)),
            // a look that saw less than all widens the interval, at either end
            (
                [Below, Below, Below, Unknown, There, There],
                (250.0, Some(1000.0)),
            ),
            ([Below, Below, Below, Below, Below, Unknown], (1000.0, None)),
            (
                [Unknown, Unknown, Below, There, There, There],
                (250.0, Some(500.0)),
            ),
            // below again after a look without an answer
            (
                [Below, Unknown, Below, There, There, There],
                (250.0, Some(500.0)),
            ),
            // grades that fall: the first time counts
            (
                [Below, Below, There, Below, Below, There],
                (125.0, Some(250.0)),
            ),
            // nobody looked
            ([Unknown; 6], (0.0, None)),
        ] {
            assert_eq!(between(looks), Some(life), "{looks:?}");
        }
        let spoilt = between([There, There, There, There, There, There]);
        assert_eq!(spoilt, None, "worn before the first move");
    }

    #[test]
    fn a_look_is_the_worst_area_by_the_mean() {
        let figures = [0, 1];
        let cell = |figure, area, grade| ((figure, area, 3), grade);
        let mut means = Means::from([
            cell(0, 0, 2.5),
            cell(1, 0, 3.5),
            cell(0, 1, 0.0),
            cell(1, 1, 5.0),
        ]);
        let seen = |means: &Means, grade| look(means, (&figures, &[0, 1]), 3, grade);
        assert_eq!(seen(&means, 3.0), There, "mean of the two figures is 3");
        assert_eq!(seen(&means, 3.5), Below);
        means.remove(&(1, 1, 3));
        assert_eq!(seen(&means, 3.0), There, "the area that was graded decides");
        assert_eq!(seen(&means, 3.5), Unknown, "the other one may be worse");
        assert_eq!(look(&means, (&figures, &[]), 3, 3.0), Unknown);
    }
}
