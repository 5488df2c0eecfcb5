//! Two specimens of the same figure under the same exposure: how much more, and in the same places?

use super::area::{AreaSettings, areas};
use base::stats::{Estimate, spearman};
use base::sum::sum;
use base::{Error, Result};
use contact::dose::{Channel, Dose, DoseRate};
use mesh::figure::Figure;
use serde::{Deserialize, Serialize};

/// One side of a comparison.
#[derive(Debug, Clone, Copy)]
pub struct Side<'a> {
    /// Name of the specimen.
    pub specimen: &'a str,
    /// Its dose per unit.
    pub rate: &'a DoseRate,
}

/// Left over right, with a 95 % interval where there are replicates.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Ratio {
    /// Left over right.
    pub value: f64,
    /// 95 % interval; `None` without replicates.
    pub interval: Option<(f64, f64)>,
}

/// An area that gains or loses rank between the sides.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mover {
    /// Where.
    pub words: String,
    /// Left over right of the area's dose, each relative to its own figure's mean.
    pub ratio: Ratio,
}

/// A comparison in one channel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// Name of the exposure.
    pub exposure: String,
    /// Left specimen.
    pub left: String,
    /// Right specimen.
    pub right: String,
    /// What is compared.
    pub channel: Channel,
    /// Totals per unit of exposure: equal treatment.
    pub equal_treatment: Ratio,
    /// Totals per joule dissipated (friction work and impact loss): equal energy.
    pub equal_energy: Ratio,
    /// Left over right per patch; `None` where the right side gets nothing.
    pub patches: Vec<Option<Ratio>>,
    /// Rank correlation over patches either side touches.
    pub rank_correlation: f64,
    /// The most that seed noise lets it be: each side's half-against-half correlation, projected to
    /// all replicates (Spearman 1910, Brown 1910), root of the product (Spearman 1904); `None` with
    /// fewer than four replicates on a side.
    pub ceiling: Option<f64>,
    /// Shared surface of each side's top 5 %, 0 to 1.
    pub top_overlap: f64,
    /// The same between halves of one side's replicates, mean of both sides.
    pub top_overlap_ceiling: Option<f64>,
    /// Areas that gain or lose, strongest first.
    pub movers: Vec<Mover>,
    /// The answer.
    pub sentence: String,
}

/// Compares two specimens of one figure.
///
/// # Errors
/// When the doses are not of this figure, or the right side gets nothing.
pub fn compare(
    figure: &Figure,
    exposure: &str,
    (left, right): (Side<'_>, Side<'_>),
    channel: Channel,
) -> Result<Comparison> {
    let n = figure.patches.len();
    if [left, right]
        .iter()
        .any(|s| s.rate.mean.totals().len() != n)
    {
        return Err(Error::input("the two specimens are not of the same figure")
            .hint("compare doses of one figure at one patch size"));
    }
    let total = |side: Side<'_>| side.rate.total(channel);
    let equal_treatment = ratio(total(left), total(right)).ok_or_else(|| {
        Error::input(format!(
            "exposure \"{exposure}\" leaves no dose on \"{}\": there is nothing to compare with",
            right.specimen
        ))
    })?;
    let equal_energy =
        ratio(per_joule(left, channel), per_joule(right, channel)).unwrap_or(Ratio {
            value: f64::NAN,
            interval: None,
        });
    let sizes = figure.patch_areas();
    let (maps, halves) = maps(left, right, channel, &sizes);
    let touched: Vec<usize> = (0..n)
        .filter(|&p| maps[0][p] > 0.0 || maps[1][p] > 0.0)
        .collect();
    let pick = |map: &[f64]| -> Vec<f64> { touched.iter().map(|&p| map[p]).collect() };
    let rank_correlation = spearman(&pick(&maps[0]), &pick(&maps[1]));
    let movers = movers(figure, (left, right), channel);
    let mut result = Comparison {
        exposure: exposure.to_owned(),
        left: left.specimen.to_owned(),
        right: right.specimen.to_owned(),
        channel,
        equal_treatment,
        equal_energy,
        patches: patch_ratios(left, right, channel, n),
        rank_correlation,
        ceiling: ceiling(&halves, &touched),
        top_overlap: top_overlap(&maps[0], &maps[1], &sizes),
        top_overlap_ceiling: overlap_ceiling(&halves, &sizes),
        movers,
        sentence: String::new(),
    };
    result.sentence = sentence(&result);
    Ok(result)
}

/// Left over right; the interval by error propagation on logarithms.
fn ratio(left: Estimate, right: Estimate) -> Option<Ratio> {
    if !(left.mean > 0.0 && right.mean > 0.0) {
        return None;
    }
    let value = left.mean / right.mean;
    let half = (left.half_width / left.mean).hypot(right.half_width / right.mean);
    let interval = half
        .is_finite()
        .then(|| (value / half.exp(), value * half.exp()));
    Some(Ratio { value, interval })
}

/// Channel total per joule dissipated, replicate by replicate.
fn per_joule(side: Side<'_>, channel: Channel) -> Estimate {
    side.rate.over_replicates(|dose| {
        let energy = dose.total(Channel::Friction) + dose.total(Channel::Impact);
        if energy > 0.0 {
            dose.total(channel) / energy
        } else {
            0.0
        }
    })
}

fn patch_ratios(l: Side<'_>, r: Side<'_>, channel: Channel, n: usize) -> Vec<Option<Ratio>> {
    let at = |side: Side<'_>, p: usize| {
        side.rate
            .over_replicates(|dose| dose.totals()[p].get(channel))
    };
    (0..n).map(|p| ratio(at(l, p), at(r, p))).collect()
}

type Halves = [Option<[Vec<f64>; 2]>; 2];

/// Mean maps of both sides, and maps of each side's even and odd replicates.
fn maps(l: Side<'_>, r: Side<'_>, channel: Channel, sizes: &[f64]) -> ([Vec<f64>; 2], Halves) {
    let mean = [l, r].map(|s| s.rate.mean.map(channel, sizes));
    let halves = [l, r].map(|s| {
        (s.rate.replicates.len() >= 4).then(|| {
            [0, 1].map(|odd| {
                let mut half = Dose::none(sizes.len());
                for dose in s.rate.replicates.iter().skip(odd).step_by(2) {
                    half.add_dose(dose, 1.0);
                }
                half.map(channel, sizes)
            })
        })
    });
    (mean, halves)
}

fn ceiling(halves: &Halves, touched: &[usize]) -> Option<f64> {
    let pick = |map: &[f64]| -> Vec<f64> { touched.iter().map(|&p| map[p]).collect() };
    let [left, right] = halves;
    let reliability = |half: &[Vec<f64>; 2]| {
        let r = spearman(&pick(&half[0]), &pick(&half[1])).max(0.0);
        2.0 * r / (1.0 + r)
    };
    Some((reliability(left.as_ref()?) * reliability(right.as_ref()?)).sqrt())
}

fn overlap_ceiling(halves: &Halves, sizes: &[f64]) -> Option<f64> {
    let [left, right] = halves;
    let own = |h: &[Vec<f64>; 2]| top_overlap(&h[0], &h[1], sizes);
    Some((own(left.as_ref()?) + own(right.as_ref()?)) / 2.0)
}

/// Surface in both maps' top 5 %, as a share of either's (Dice 1945 where they differ in size).
pub(super) fn top_overlap(a: &[f64], b: &[f64], sizes: &[f64]) -> f64 {
    let (top_a, top_b) = (top(a, sizes), top(b, sizes));
    let over = |f: &dyn Fn(usize) -> f64| sum((0..sizes.len()).map(|p| f(p) * sizes[p]));
    let shared = over(&|p| top_a[p].min(top_b[p]));
    2.0 * shared / over(&|p| top_a[p] + top_b[p])
}

/// Share of each patch that belongs to the highest 5 % of the surface; patches without dose never
/// do, so the set is smaller where less than 5 % is touched.
fn top(map: &[f64], sizes: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..map.len()).collect();
    order.sort_by(|&a, &b| map[b].total_cmp(&map[a]).then(a.cmp(&b)));
    let mut left = 0.05 * sum(sizes.iter().copied());
    let mut share = vec![0.0; map.len()];
    for p in order {
        if left <= 0.0 || sizes[p] <= 0.0 || map[p] <= 0.0 {
            continue;
        }
        share[p] = (left / sizes[p]).min(1.0);
        left -= sizes[p];
    }
    share
}

/// Areas of either side whose dose relative to the figure's mean changes by a quarter or more, and
/// by more than noise.
fn movers(figure: &Figure, (l, r): (Side<'_>, Side<'_>), channel: Channel) -> Vec<Mover> {
    let settings = AreaSettings {
        channel,
        ..AreaSettings::default()
    };
    let relative = |side: Side<'_>, patches: &[usize]| {
        side.rate.over_replicates(|dose| {
            let own = sum(patches.iter().map(|&p| dose.totals()[p].get(channel)));
            let total = dose.total(channel);
            if total > 0.0 { own / total } else { 0.0 }
        })
    };
    let mut list: Vec<Mover> = Vec::new();
    for side in [l, r] {
        for area in areas(figure, side.rate, &settings) {
            let Some(ratio) = ratio(relative(l, &area.patches), relative(r, &area.patches)) else {
                continue;
            };
            let beyond = ratio
                .interval
                .is_none_or(|(low, high)| low > 1.0 || high < 1.0);
            let known = list.iter().any(|m| m.words == area.words);
            if ratio.value.ln().abs() >= 1.25_f64.ln() && beyond && !known {
                list.push(Mover {
                    words: area.words,
                    ratio,
                });
            }
        }
    }
    list.sort_by(|a, b| {
        b.ratio
            .value
            .ln()
            .abs()
            .total_cmp(&a.ratio.value.ln().abs())
    });
    list.truncate(6);
    list
}

/// What a channel is, for a sentence.
pub(super) fn channel_words(channel: Channel) -> &'static str {
    match channel {
        Channel::Friction => "friction work",
        Channel::Impact => "impact loss",
        Channel::Dent => "dent energy",
        Channel::Peak => "peak pressure",
        Channel::Slip => "sliding",
        Channel::Touches => "touches",
    }
}

/// A number with two or three digits for a sentence.
#[must_use]
pub fn digits(value: f64) -> String {
    match value.abs() {
        v if !v.is_finite() || v == 0.0 => format!("{value}"),
        v if v >= 100.0 => {
            let step = 10f64.powf(v.log10().floor() - 1.0);
            format!("{:.0}", (value / step).round() * step)
        }
        v if v >= 10.0 => format!("{value:.0}"),
        v if v >= 0.995 => format!("{value:.1}"),
        v if v >= 0.1 => format!("{value:.2}"),
        v if v >= 1e-4 => {
            let places = (1.0 - v.log10().floor()) as usize;
            format!("{value:.places$}")
        }
        _ => format!("{value:.1e}"),
    }
}

fn sentence(c: &Comparison) -> String {
    let interval = c
        .equal_treatment
        .interval
        .map_or_else(String::new, |(low, high)| {
            format!(" ({} to {})", digits(low), digits(high))
        });
    let limit = c.ceiling.unwrap_or(1.0);
    let place = match c.rank_correlation {
        r if r.is_nan() => "and nothing can be said of the places",
        r if r >= limit - 0.05 => "in the same places, as far as the seeds can tell",
        r if r >= 0.8 * limit => "mostly in the same places",
        _ => "in other places",
    };
    let seeds = c.ceiling.map_or_else(
        || "too few replicates for a ceiling".to_owned(),
        |v| format!("at most {v:.2} with these seeds"),
    );
    let moved = match c.movers.first() {
        Some(m) if m.ratio.value > 1.0 => {
            format!("; \"{}\" stands out more on \"{}\"", m.words, c.left)
        }
        Some(m) => format!("; \"{}\" stands out more on \"{}\"", m.words, c.right),
        None => String::new(),
    };
    format!(
        "{}: treated alike, \"{}\" takes {}{interval} times the {} of \"{}\", {place} (rank correlation {:.2}, {seeds}){moved}.",
        c.exposure,
        c.left,
        digits(c.equal_treatment.value),
        channel_words(c.channel),
        c.right,
        c.rank_correlation,
    )
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{plate, rate};
    use super::*;

    const N: usize = 20;

    fn hill(x0: f64) -> Vec<f64> {
        (0..N * N)
            .map(|i| {
                let (x, y) = ((i % N) as f64, (i / N) as f64);
                1.0 + 50.0 * (-((x - x0).powi(2) + (y - 9.0).powi(2)) / 12.0).exp()
            })
            .collect()
    }

    fn compared(left: &[f64], right: &[f64], cv: f64) -> Comparison {
        let figure = plate(N, &[]);
        let (l, r) = (rate(left, 1e5, (8, cv), 1), rate(right, 1e5, (8, cv), 2));
        let sides = (
            Side {
                specimen: "metal",
                rate: &l,
            },
            Side {
                specimen: "plastic",
                rate: &r,
            },
        );
        compare(&figure, "box", sides, Channel::Friction).unwrap()
    }

    /// Seven times everywhere: ratio 7 within its interval, the same places, nothing moves.
    #[test]
    fn a_scaled_dose_is_seven_times_in_the_same_places() {
        let map = hill(6.0);
        let heavy: Vec<f64> = map.iter().map(|v| v * 7.0).collect();
        let c = compared(&heavy, &map, 0.3);
        let (low, high) = c.equal_treatment.interval.unwrap();
        assert!(
            low < 7.0 && 7.0 < high && high / low < 1.2,
            "{:?}",
            c.equal_treatment
        );
        assert!(
            (c.equal_energy.value - 1.0).abs() < 1e-9,
            "per joule nothing differs"
        );
        assert!(c.rank_correlation > c.ceiling.unwrap() - 0.07, "{c:?}");
        assert!(c.top_overlap > 0.7 && c.movers.is_empty(), "{:?}", c.movers);
        assert!(c.sentence.contains("same places"), "{}", c.sentence);
    }

    /// The ceiling follows theory: a signal of variance s2 with noise n2/R over R replicates has
    /// reliability s2/(s2 + n2/R) (Spearman 1904).
    #[test]
    fn the_ceiling_is_the_reliability() {
        let map: Vec<f64> = (0..N * N)
            .map(|i| 100.0 + 10.0 * ((i * 7919) % 13) as f64 / 13.0)
            .collect();
        let c = compared(&map, &map, 0.06);
        let mean = map.iter().sum::<f64>() / map.len() as f64;
        let s2 = map.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / map.len() as f64;
        let n2 = (0.06 * mean).powi(2) / 8.0;
        let expected = s2 / (s2 + n2);
        assert!(
            (c.ceiling.unwrap() - expected).abs() < 0.08,
            "{:?} {expected}",
            c.ceiling
        );
        assert!((c.rank_correlation - c.ceiling.unwrap()).abs() < 0.1);
    }

    #[test]
    fn a_moved_hill_is_a_mover() {
        let c = compared(&hill(4.0), &hill(15.0), 0.1);
        assert!(c.top_overlap < 0.1 && c.movers.len() == 2, "{:?}", c.movers);
        assert!(c.sentence.contains("in other places"), "{}", c.sentence);
    }

    #[test]
    fn nothing_cannot_be_compared_with() {
        let figure = plate(2, &[]);
        let (some, none) = (
            rate(&[1.0; 4], 1e5, (4, 0.1), 1),
            rate(&[0.0; 4], 1e5, (4, 0.1), 1),
        );
        let sides = (
            Side {
                specimen: "a",
                rate: &some,
            },
            Side {
                specimen: "b",
                rate: &none,
            },
        );
        assert!(compare(&figure, "x", sides, Channel::Friction).is_err());
    }

    #[test]
    fn sentences_round_numbers() {
        assert_eq!(digits(6.949), "6.9");
        assert_eq!(digits(12345.0), "12000");
        assert_eq!(digits(0.123), "0.12");
        assert_eq!(digits(0.00123), "0.0012");
    }
}
