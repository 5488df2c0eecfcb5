//! Coupons: two counts from a rubbed card become the wear rate of a pair and the depth at which
//! its sheen turns.

use crate::reference::{Kind, Overrule, Stock};
use base::known::Z95;
use base::{Error, Known, Result};
use contact::law::wear::pad_pass;
use serde::{Deserialize, Serialize};

/// What was done to one kind of card, and what was counted. End points as in ASTM F2357: wear
/// limit and breakthrough.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Coupon {
    /// Film on the card.
    pub film: String,
    /// What rubbed it.
    pub counterface: String,
    /// [Pa] load over pad area.
    pub pressure: f64,
    /// [m] length of the pad along the stroke, or the stroke where the pad is the longer.
    pub contact_length: f64,
    /// Crossings of a point per counted stroke: 1 one way, 2 to and fro.
    pub passes: f64,
    /// Friction, from a tilt test; `None` takes the stock's.
    pub friction: Option<f64>,
    /// [m] film on the card; `None` takes the stock's with its spread.
    pub thickness: Option<Known>,
    /// Strokes to the first change of sheen, one per card.
    pub to_sheen: Vec<f64>,
    /// Strokes to the first undercoat seen, one per card.
    pub to_undercoat: Vec<f64>,
}

/// Scatter of ln strokes between cards of one kind (engineering prior; abraders scatter by 25-70 %
/// between laboratories, from memory).
pub const CARD_SCATTER: f64 = 0.4;

/// The values to overrule, ready for [`Stock::overrule`].
///
/// First undercoat is seen where the film is thin: at about its 5 % quantile on the card, which
/// the film's own scatter gives.
///
/// # Errors
/// When names are not in the stock, or there is no count, or a number is not above 0.
pub fn calibrate(stock: &Stock, coupon: &Coupon) -> Result<Vec<Overrule>> {
    let film = stock.film(&coupon.film)?;
    let face = stock.counterface(&coupon.counterface)?;
    let friction = match coupon.friction {
        Some(own) => own,
        None => face.friction(&film)?.value,
    };
    let work = pad_pass(
        friction,
        coupon.pressure,
        coupon.contact_length,
        coupon.passes,
    );
    let mut counts = coupon.to_sheen.iter().chain(&coupon.to_undercoat);
    let sound = work > 0.0 && work.is_finite() && counts.all(|n| *n > 0.0);
    if !sound {
        return Err(Error::input(
            "a coupon's pressure, length, friction and counts must be above 0",
        ));
    }
    let thickness = coupon
        .thickness
        .clone()
        .unwrap_or_else(|| film.thickness.clone());
    let (strokes, scatter) = mean(&coupon.to_undercoat).ok_or_else(|| {
        Error::input("a coupon needs at least one count to the first undercoat seen")
            .hint("go on rubbing until the layer below shows: the rate cannot be told before")
    })?;
    let thin = (1.0 + film.cv.value.powi(2)).ln().sqrt();
    let rate = thickness.value * (-Z95 * thin).exp() / (work * strokes);
    let sigma = scatter.hypot(thickness.sigma_ln());
    let mut list = vec![
        overrule(
            Kind::Counterface,
            &face.name,
            format!("rate on {}", film.name),
            (rate, sigma),
        ),
        overrule(
            Kind::Counterface,
            &face.name,
            format!("coupon friction on {}", film.name),
            (friction, 0.0),
        ),
    ];
    if let Some((strokes, scatter)) = mean(&coupon.to_sheen) {
        // half of the gloss change is what an eye sees first
        let depth = rate * work * strokes / std::f64::consts::LN_2;
        let sigma = scatter.hypot(sigma);
        list.push(overrule(
            Kind::Film,
            &film.name,
            "burnish_depth".into(),
            (depth, sigma),
        ));
    }
    Ok(list)
}

/// Geometric mean of the counts and the spread of its logarithm.
fn mean(counts: &[f64]) -> Option<(f64, f64)> {
    let n = counts.len() as f64;
    let log = base::sum::sum(counts.iter().map(|c| c.ln())) / n;
    (!counts.is_empty()).then(|| (log.exp(), CARD_SCATTER / n.sqrt()))
}

fn overrule(kind: Kind, name: &str, property: String, (value, sigma): (f64, f64)) -> Overrule {
    let reach = (Z95 * sigma).exp();
    Overrule {
        kind,
        name: name.to_owned(),
        property,
        value,
        range: (sigma > 0.0).then(|| (value / reach, value * reach)),
        source: "your own coupons".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{plate, rate};
    use super::super::life::{Exposed, LifeSettings, lives};
    use super::*;
    use crate::reference::Modifiers;
    use crate::wear::{End, Specimen, Treatment};

    fn coupon() -> Coupon {
        Coupon {
            film: "satin topcoat, aerosol".into(),
            counterface: "soft foam".into(),
            pressure: 5e3,
            contact_length: 0.05,
            passes: 2.0,
            friction: Some(0.6),
            thickness: Some(Known {
                low: 12e-6,
                high: 15e-6,
                ..Known::exact(13.4e-6, "weighed")
            }),
            to_sheen: vec![40.0, 60.0],
            to_undercoat: vec![3000.0, 4000.0],
        }
    }

    /// By hand: work 0.6 x 5 kPa x 50 mm x 2 = 300 J/m2; thin place 13.4 um x exp(-1.645 x 0.246) =
    /// 8.94 um; over 3464 strokes: 8.6e-12 m3/J.
    #[test]
    fn counts_become_a_rate_and_a_sheen_depth() {
        let stock = Stock::load().unwrap();
        let list = calibrate(&stock, &coupon()).unwrap();
        assert!(
            (list[0].value / 8.60e-12 - 1.0).abs() < 0.01,
            "{}",
            list[0].value
        );
        let depth = 8.60e-12 * 300.0 * 2400f64.sqrt() / 2f64.ln();
        assert!((list[2].value / depth - 1.0).abs() < 0.01);
        let none = Coupon {
            to_undercoat: Vec::new(),
            ..coupon()
        };
        assert!(
            calibrate(&stock, &none)
                .unwrap_err()
                .to_string()
                .contains("undercoat")
        );
    }

    /// The loop closes: with the coupon entered, the life interval is a fraction of what it was, and
    /// both laws agree at the coupon's own friction.
    #[test]
    fn a_coupon_narrows_the_life() {
        let mut stock = Stock::load().unwrap();
        let life = |stock: &Stock| {
            let coats = ["acrylic paint, brush", "satin topcoat, aerosol"];
            let s = Specimen::from_stock(stock, "s", "ABS", &coats).unwrap();
            let t = Treatment::new(stock, &s, "soft foam", Modifiers::default()).unwrap();
            let (figure, rates) = (plate(2, &[]), [rate(&[100.0; 4], 5e4, (4, 0.0), 1)]);
            let exposed = Exposed {
                exposure: "wipe",
                figure: &figure,
                specimen: &s,
                treatment: &t,
                rates: &rates,
            };
            let settings = LifeSettings {
                draws: 1000,
                ..LifeSettings::default()
            };
            lives(exposed, End::Topcoat, settings)
                .unwrap()
                .patch(1)
                .unwrap()
        };
        let before = life(&stock).energy_law.factor();
        let mut list = calibrate(&stock, &coupon()).unwrap();
        list.push(Overrule {
            value: 0.6,
            range: None,
            property: "friction_satin topcoat, aerosol".into(),
            ..list[0].clone()
        });
        for with in &list {
            stock.overrule(with).unwrap();
        }
        let after = life(&stock);
        assert!(
            after.energy_law.factor() < before / 8.0,
            "{before} {}",
            after.energy_law.factor()
        );
        assert!((after.load_law.median / after.energy_law.median - 1.0).abs() < 1e-6);
    }
}
