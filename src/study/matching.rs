//! Match: the mix of bench exposures that imitates a declared service life.

use super::area::{Area, AreaSettings, areas};
use super::compare::digits;
use super::nnls::nnls;
use crate::wear::{Specimen, Treatment};
use base::{Error, Result};
use contact::dose::{Amounts, Dose, DoseRate, Imprint, Mark, Unit};
use mesh::figure::{Figure, PatchId};
use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};

/// One exposure, in service or on the bench.
#[derive(Debug, Clone, Copy)]
pub struct Wearing<'a> {
    /// Name of the exposure.
    pub exposure: &'a str,
    /// How the films meet its counterface.
    pub treatment: &'a Treatment,
    /// Dose per unit with the outer film on top.
    pub rate: &'a DoseRate,
    /// Units per season in service; ignored for bench exposures.
    pub amount: f64,
}

/// One bench exposure in the mix.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ingredient {
    /// Name of the exposure.
    pub exposure: String,
    /// Units that stand for one season.
    pub units: f64,
    /// What one unit is.
    pub unit: Unit,
    /// Its share of the mix's wear, 0 to 1.
    pub share: f64,
}

/// How well one area of the service wear is imitated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reached {
    /// Where.
    pub words: String,
    /// [m] nominal depth per season in service.
    pub service: f64,
    /// [m] nominal depth of the mix.
    pub bench: f64,
}

impl Reached {
    /// Bench over service.
    #[must_use]
    pub fn ratio(&self) -> f64 {
        self.bench / self.service
    }
}

/// The mix and what it misses.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Match {
    /// Bench exposures with units above 0.
    pub mix: Vec<Ingredient>,
    /// Distance of the mix's wear map from the service's, relative to the latter, weighted by
    /// surface: 0 perfect, 1 nothing imitated.
    pub misfit: f64,
    /// Areas of the service wear, worst worn first.
    pub areas: Vec<Reached>,
    /// Areas that get less than half from the mix.
    pub unreached: Vec<String>,
    /// Areas of the mix that service wears less than half as much: damage the bench makes up.
    pub invented: Vec<String>,
    /// The answer.
    pub sentence: String,
}

/// [m3] volume the outer film loses per unit on each patch: friction work times the pair's rate,
/// or the ploughed volume above film hardness.
#[must_use]
pub fn lost_volume(specimen: &Specimen, wearing: &Wearing<'_>) -> Vec<f64> {
    let share = wearing.treatment.ploughed_share.value;
    let outer = specimen.outer().zip(wearing.treatment.films.last());
    let volume = |a: &Amounts| {
        outer.map_or(0.0, |(film, contact)| {
            let here = (a.peak, film.material.hardness.value);
            wearing.treatment.rate_on(contact.rate.rate, share, here) * a.friction
        })
    };
    wearing.rate.mean.totals().iter().map(volume).collect()
}

/// The non-negative mix of bench exposures nearest to the service wear of one season.
///
/// # Errors
/// When there is no service, no bench exposure, or no wear in service.
pub fn matching(
    figure: &Figure,
    specimen: &Specimen,
    service: &[Wearing<'_>],
    bench: &[Wearing<'_>],
) -> Result<Match> {
    let sizes = figure.patch_areas();
    let n = sizes.len();
    let mut wanted = vec![0.0; n];
    for use_ in service {
        for (sum, volume) in wanted.iter_mut().zip(lost_volume(specimen, use_)) {
            *sum += volume * use_.amount;
        }
    }
    if bench.is_empty() || !wanted.iter().any(|v| *v > 0.0) {
        return Err(
            Error::input("match needs at least one bench exposure and service that wears")
                .hint("declare how many units of each exposure make up a season"),
        );
    }
    let columns: Vec<Vec<f64>> = bench.iter().map(|b| lost_volume(specimen, b)).collect();
    // depth times root of surface, so that the squared sum is an integral over the surface
    let weigh = |volume: f64, size: f64| {
        if size > 0.0 {
            volume / size.sqrt()
        } else {
            0.0
        }
    };
    let target = DVector::from_fn(n, |p, _| weigh(wanted[p], sizes[p]));
    // columns differ by powers of ten (a minute, a stroke): scale them to the target first
    let norms: Vec<f64> = columns
        .iter()
        .map(|c| {
            let square = c.iter().zip(&sizes).map(|(v, s)| weigh(*v, *s).powi(2));
            let norm = base::sum::sum(square).sqrt() / target.norm();
            if norm > 0.0 { norm } else { 1.0 }
        })
        .collect();
    let matrix = DMatrix::from_fn(n, bench.len(), |p, j| {
        weigh(columns[j][p], sizes[p]) / norms[j]
    });
    let solution = nnls(&matrix, &target);
    let units: Vec<f64> = solution
        .x
        .iter()
        .zip(&norms)
        .map(|(x, norm)| x / norm)
        .collect();
    let mixed: Vec<f64> = (0..n)
        .map(|p| columns.iter().zip(&units).map(|(c, u)| c[p] * u).sum())
        .collect();
    let misfit = solution.residual / target.norm();
    Ok(told(
        figure,
        bench,
        (&wanted, &mixed),
        (&columns, &units),
        misfit,
    ))
}

fn told(
    figure: &Figure,
    bench: &[Wearing<'_>],
    (wanted, mixed): (&[f64], &[f64]),
    (columns, units): (&[Vec<f64>], &[f64]),
    misfit: f64,
) -> Match {
    let total: f64 = mixed.iter().sum();
    let mix: Vec<Ingredient> = bench
        .iter()
        .zip(columns.iter().zip(units))
        .filter(|(_, (_, units))| **units > 0.0)
        .map(|(b, (column, units))| Ingredient {
            exposure: b.exposure.to_owned(),
            units: *units,
            unit: b.rate.unit,
            share: column.iter().sum::<f64>() * units / total,
        })
        .collect();
    let areas = compared(figure, wanted, mixed);
    let unreached = areas
        .iter()
        .filter(|a| a.ratio() < 0.5)
        .map(|a| a.words.clone())
        .collect();
    let invented = compared(figure, mixed, wanted)
        .into_iter()
        .filter(|a| a.ratio() < 0.5)
        .map(|a| a.words)
        .collect();
    let mut result = Match {
        mix,
        misfit,
        areas,
        unreached,
        invented,
        sentence: String::new(),
    };
    result.sentence = sentence(&result);
    result
}

/// Areas of what one season wears, most worn first: the outer film's lost depth is what they are
/// found and ranked by.
#[must_use]
pub fn worn_areas(figure: &Figure, specimen: &Specimen, season: &[Wearing<'_>]) -> Vec<Area> {
    let mut lost = vec![0.0; figure.patches.len()];
    for wearing in season {
        for (sum, volume) in lost.iter_mut().zip(lost_volume(specimen, wearing)) {
            *sum += volume * wearing.amount;
        }
    }
    areas_of(figure, &lost)
}

/// Areas of a map of volumes per patch.
fn areas_of(figure: &Figure, from: &[f64]) -> Vec<Area> {
    let marks = from
        .iter()
        .enumerate()
        .map(|(p, volume)| Mark {
            patch: PatchId(p as u32),
            // the area finder reads maps per area: volume per area is depth
            amounts: Amounts {
                friction: *volume,
                ..Amounts::default()
            },
        })
        .collect();
    let mut dose = Dose::none(from.len());
    dose.add(&Imprint { marks }, 1.0);
    let map = DoseRate::from_replicates(Unit::Stroke, vec![dose], Vec::new());
    areas(figure, &map, &AreaSettings::default())
}

/// Areas of one wear map, with the other's wear beside them.
fn compared(figure: &Figure, from: &[f64], other: &[f64]) -> Vec<Reached> {
    areas_of(figure, from)
        .into_iter()
        .map(|area| {
            let depth = |v: &[f64]| area.patches.iter().map(|&p| v[p]).sum::<f64>() / area.surface;
            Reached {
                service: depth(from),
                bench: depth(other),
                words: area.words.clone(),
            }
        })
        .collect()
}

fn sentence(m: &Match) -> String {
    let parts: Vec<String> = m
        .mix
        .iter()
        .map(|i| {
            format!(
                "{} {} of \"{}\"",
                digits(i.units),
                i.unit.plural(),
                i.exposure
            )
        })
        .collect();
    let fit = match m.misfit {
        f if f < 0.15 => "closely",
        f if f < 0.4 => "roughly",
        _ => "badly",
    };
    let missed = match m.unreached.first() {
        Some(first) if m.unreached.len() == 1 => format!("; it does not reach {first}"),
        Some(first) => format!(
            "; it does not reach {} areas, among them {first}",
            m.unreached.len()
        ),
        None => String::new(),
    };
    let mix = if parts.is_empty() {
        "no bench exposure".to_owned()
    } else {
        parts.join(" and ")
    };
    format!(
        "One season is imitated {fit} by {mix} (misfit {:.0} %){missed}.",
        100.0 * m.misfit
    )
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{plate, rate};
    use super::*;
    use crate::reference::{Modifiers, Stock};

    const N: usize = 16;

    fn hill(x0: f64, y0: f64) -> Vec<f64> {
        (0..N * N)
            .map(|i| {
                let (x, y) = ((i % N) as f64, (i / N) as f64);
                100.0 * (-((x - x0).powi(2) + (y - y0).powi(2)) / 6.0).exp()
            })
            .collect()
    }

    fn setting() -> (Figure, Specimen, Treatment) {
        let stock = Stock::load().unwrap();
        let s = Specimen::from_stock(&stock, "s", "ABS", &["acrylic paint, brush"]).unwrap();
        let t = Treatment::new(&stock, &s, "soft foam", Modifiers::default()).unwrap();
        (plate(N, &[]), s, t)
    }

    /// Service made of known amounts of the bench exposures gives these amounts back.
    #[test]
    fn a_known_mix_is_found() {
        let (figure, s, t) = setting();
        let (a, b) = (
            rate(&hill(4.0, 4.0), 1e5, (1, 0.0), 1),
            rate(&hill(11.0, 10.0), 1e5, (1, 0.0), 1),
        );
        let on = |exposure, rate, amount| Wearing {
            exposure,
            treatment: &t,
            rate,
            amount,
        };
        let service = [on("play", &a, 300.0), on("tray", &b, 40.0)];
        let bench = [on("finger", &a, 0.0), on("foam", &b, 0.0)];
        let m = matching(&figure, &s, &service, &bench).unwrap();
        assert!((m.mix[0].units - 300.0).abs() < 1e-6 && (m.mix[1].units - 40.0).abs() < 1e-6);
        assert!(m.misfit < 1e-9 && m.unreached.is_empty() && m.invented.is_empty());
        assert!(m.sentence.contains("closely"), "{}", m.sentence);
    }

    #[test]
    fn what_no_bench_exposure_reaches_is_named() {
        let (figure, s, t) = setting();
        let (a, b) = (
            rate(&hill(4.0, 4.0), 1e5, (1, 0.0), 1),
            rate(&hill(11.0, 10.0), 1e5, (1, 0.0), 1),
        );
        let on = |exposure, rate, amount| Wearing {
            exposure,
            treatment: &t,
            rate,
            amount,
        };
        let service = [on("play", &a, 300.0), on("tray", &b, 200.0)];
        let m = matching(&figure, &s, &service, &[on("finger", &a, 0.0)]).unwrap();
        assert_eq!(m.unreached.len(), 1, "{m:?}");
        // two hills alike in shape, 300 and 200: what is left is 200 / hypot(300, 200)
        assert!(
            (m.misfit - 200.0 / 300.0f64.hypot(200.0)).abs() < 1e-3,
            "{}",
            m.misfit
        );
        assert!(matching(&figure, &s, &[], &[on("finger", &a, 0.0)]).is_err());
    }

    /// Another counterface wears at another rate: felt at twice the foam's needs half the strokes.
    #[test]
    fn units_account_for_the_counterface() {
        let (figure, s, t) = setting();
        let stock = Stock::load().unwrap();
        let felt = Treatment::new(&stock, &s, "felt", Modifiers::default()).unwrap();
        let a = rate(&hill(4.0, 4.0), 1e5, (1, 0.0), 1);
        let service = [Wearing {
            exposure: "tray",
            treatment: &t,
            rate: &a,
            amount: 100.0,
        }];
        let bench = [Wearing {
            exposure: "felt",
            treatment: &felt,
            rate: &a,
            amount: 0.0,
        }];
        let m = matching(&figure, &s, &service, &bench).unwrap();
        assert!((m.mix[0].units - 50.0).abs() < 0.01, "{m:?}");
    }
}
