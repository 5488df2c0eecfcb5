//! Advise: which measurement at home would narrow the life interval most for its effort.

use super::draw::Part;
use super::life::Lives;
use base::known::Z95;
use serde::{Deserialize, Serialize};

/// Something a painter can measure at home.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measurement {
    /// Short name.
    pub name: &'static str,
    /// How it is done.
    pub how: &'static str,
    /// Parts of the spread it settles, taken together.
    pub parts: &'static [Part],
    /// Standard deviation of ln life that is left by the measurement itself.
    pub error: f64,
    /// [h] work, waiting not counted.
    pub hours: f64,
}

/// Home measurements. Errors and hours are engineering priors; the coupon's error follows the
/// small-bench simulations (one specimen leaves the level of a system a factor of 2.5 at 90 %, of
/// which anchors and gauges take half away).
pub const MEASUREMENTS: [Measurement; 6] = [
    Measurement {
        name: "weigh between coats",
        how: "weigh the figure, or a card of known size, before and after each coat on a scale of \
              10 mg or better; enter gain and painted area",
        parts: &[Part::Thickness],
        error: 0.15,
        hours: 0.3,
    },
    Measurement {
        name: "tilt test",
        how: "coat a card, lay the counterface on it under a small weight, tilt until it slides; \
              friction is the tangent of the angle; five times",
        parts: &[Part::Friction],
        error: 0.12,
        hours: 0.3,
    },
    Measurement {
        name: "two coupons",
        how: "rub two coated cards with your own counterface under a known weight; count strokes to \
              the first change of sheen and to the first undercoat; enter both",
        parts: &[
            Part::Level,
            Part::Film,
            Part::Counterface,
            Part::Friction,
            Part::Burnish,
        ],
        error: 0.4,
        hours: 2.0,
    },
    Measurement {
        name: "two greased coupons",
        how: "as two coupons, after two weeks under a thin smear of skin-like oil; never taste, \
              gloves on, oily rags in a lidded tin",
        parts: &[
            Part::Level,
            Part::Film,
            Part::Counterface,
            Part::Friction,
            Part::Burnish,
            Part::Modifiers,
        ],
        error: 0.4,
        hours: 2.5,
    },
    Measurement {
        name: "edge coupon",
        how: "coat a scrap with an edge as sharp as the figure's and rub edge and flat alike; the \
              ratio of the counts to undercoat gives what the edge keeps",
        parts: &[Part::Edges],
        error: 0.3,
        hours: 1.0,
    },
    Measurement {
        name: "rub and knock a spare casting",
        how: "tumble a painted spare with the same box for a counted time and compare bare share; \
              closed box, wet-wipe the dust, wash hands: old castings may hold lead",
        parts: &[Part::Level, Part::Film, Part::Counterface, Part::Ploughing],
        error: 0.6,
        hours: 2.0,
    },
];

/// What one measurement would do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Advice {
    /// Short name.
    pub name: String,
    /// How it is done.
    pub how: String,
    /// Upper over lower end of the 90 % life interval now.
    pub factor_now: f64,
    /// The same after the measurement, on average.
    pub factor_after: f64,
    /// [h]
    pub hours: f64,
    /// Cut of the interval's ln width per hour of work: the ranking.
    pub cut_per_hour: f64,
}

impl Advice {
    /// One sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        format!(
            "{}: about {} h of work narrows the life interval from a factor of {} to {}.",
            self.name,
            super::compare::digits(self.hours),
            super::compare::digits(self.factor_now),
            super::compare::digits(self.factor_after)
        )
    }
}

/// Ranks the measurements for an area by cut per hour; those that change nothing are left out.
///
/// Parts are normal in ln life and independent, so a block of variance V measured with error s
/// keeps V s2 / (V + s2), whatever the outcome: the expectation is exact for these priors.
#[must_use]
pub fn advise(lives: &Lives, patches: &[usize]) -> Vec<Advice> {
    let logs = lives.log_lives(patches);
    let parts = lives.parts(patches);
    if parts.is_empty() {
        return Vec::new();
    }
    let n = logs.len() as f64;
    let mean = base::sum::sum(logs.iter().copied()) / n;
    let total = base::sum::sum(logs.iter().map(|v| (v - mean).powi(2))) / (n - 1.0);
    let mut list: Vec<Advice> = MEASUREMENTS
        .iter()
        .map(|m| {
            let block: f64 = parts
                .iter()
                .filter(|p| m.parts.contains(&p.part))
                .map(|p| p.share * total)
                .sum();
            let left = total - block + after(block, m.error);
            let width = |variance: f64| 2.0 * Z95 * variance.sqrt();
            Advice {
                name: m.name.to_owned(),
                how: m.how.to_owned(),
                factor_now: width(total).exp(),
                factor_after: width(left).exp(),
                hours: m.hours,
                cut_per_hour: (width(total) - width(left)) / m.hours,
            }
        })
        .filter(|a| a.factor_after < 0.98 * a.factor_now)
        .collect();
    list.sort_by(|a, b| b.cut_per_hour.total_cmp(&a.cut_per_hour));
    list
}

/// Variance left of a normal prior after one normal measurement.
fn after(variance: f64, error: f64) -> f64 {
    variance * error * error / (variance + error * error)
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{plate, rate};
    use super::super::life::{Exposed, LifeSettings, lives};
    use super::*;
    use crate::reference::{Kind, Modifiers, Overrule, Stock};
    use crate::wear::{End, Specimen, Treatment};
    use base::random::stream;
    use base::{Grade, Known};
    use rand_distr::{Distribution, StandardNormal};

    const COAT: &str = "acrylic paint, brush";

    fn lives_with(stock: &Stock, thickness: Option<Known>) -> Lives {
        let mut specimen = Specimen::from_stock(stock, "s", "ABS", &[COAT]).unwrap();
        if let Some(known) = thickness {
            specimen.films[0].thickness = known;
        }
        let treatment =
            Treatment::new(stock, &specimen, "soft foam", Modifiers::default()).unwrap();
        let figure = plate(2, &[0]);
        let rates = [rate(&[100.0; 4], 5e4, (4, 0.0), 1)];
        let exposed = Exposed {
            exposure: "wipe",
            figure: &figure,
            specimen: &specimen,
            treatment: &treatment,
            rates: &rates,
        };
        let settings = LifeSettings {
            draws: 3000,
            ..LifeSettings::default()
        };
        lives(exposed, End::Colour, settings).unwrap()
    }

    #[test]
    fn coupons_cut_most_and_cheap_tests_are_worth_their_minutes() {
        let stock = Stock::load().unwrap();
        let list = advise(&lives_with(&stock, None), &[3]);
        let find = |name: &str| list.iter().find(|a| a.name == name).unwrap();
        let coupons = find("two coupons");
        assert!(
            list.iter()
                .filter(|a| a.name != "two greased coupons")
                .all(|a| coupons.factor_after <= a.factor_after + 1e-9)
        );
        assert!(find("weigh between coats").factor_after < coupons.factor_now);
        assert!(
            list.iter().all(|a| a.name != "edge coupon"),
            "a flat has no edges"
        );
        assert!(
            list.windows(2)
                .all(|w| w[0].cut_per_hour >= w[1].cut_per_hour)
        );
    }

    /// Checked by simulation: a truth is drawn, measured with the stated error, the prior updated,
    /// and the whole Monte Carlo run again with the updated value. Thickness by weighing, and the
    /// rate by two coupons.
    #[test]
    fn the_expected_cut_is_what_simulated_measurements_give() {
        let stock = Stock::load().unwrap();
        let now = lives_with(&stock, None);
        let list = advise(&now, &[3]);
        let ln_width = |l: &Lives| {
            let life = l.patch(3).unwrap().energy_law;
            life.factor().ln()
        };
        let mut random = stream(5, &["simulated measurements"], 0);
        let mut z = || -> f64 { StandardNormal.sample(&mut random) };
        let mut updated = |prior: &Known, error: f64| {
            let (sigma, truth) = (prior.sigma_ln(), prior.at(z()));
            let seen = truth * (error * z()).exp();
            let trust = sigma * sigma / (sigma * sigma + error * error);
            let value = prior.value * (seen / prior.value).powf(trust);
            let reach = (Z95 * after(sigma * sigma, error).sqrt()).exp();
            Known {
                value,
                low: value / reach,
                high: value * reach,
                grade: Grade::User,
                source: String::new(),
            }
        };
        let film = stock.film(COAT).unwrap();
        let repeats = 6;
        let weighed: f64 = (0..repeats)
            .map(|_| ln_width(&lives_with(&stock, Some(updated(&film.thickness, 0.15)))))
            .sum::<f64>()
            / f64::from(repeats);
        let expected = |name: &str| {
            list.iter()
                .find(|a| a.name == name)
                .unwrap()
                .factor_after
                .ln()
        };
        assert!(
            (weighed - expected("weigh between coats")).abs() < 0.15,
            "{weighed} {}",
            expected("weigh between coats")
        );
        // the coupon settles rate and friction together: friction is taken as settled with it
        let coupon: f64 = (0..repeats)
            .map(|_| {
                let mut own = stock.clone();
                let rate = updated(&film.wear_level, 0.4);
                for (property, value, range) in [
                    (
                        format!("rate on {COAT}"),
                        rate.value,
                        Some((rate.low, rate.high)),
                    ),
                    (format!("friction_{COAT}"), 0.75, None),
                ] {
                    own.overrule(&Overrule {
                        kind: Kind::Counterface,
                        name: "soft foam".into(),
                        property,
                        value,
                        range,
                        source: "coupon".into(),
                    })
                    .unwrap();
                }
                ln_width(&lives_with(&own, None))
            })
            .sum::<f64>()
            / f64::from(repeats);
        assert!(
            (coupon - expected("two coupons")).abs() < 0.2,
            "{coupon} {}",
            expected("two coupons")
        );
    }
}
