//! Values to colours, and the numbers beside the bar.
//!
//! One channel: pale (little) to dark purple (much), perceptually even and safe for colour-blind
//! eyes (inferno of Smith and van der Walt 2015, from `colorous`, reversed and without its black
//! end, so that an unworn figure looks like a pale cast and shading stays visible). Ratios: the
//! diverging red-blue of ColorBrewer (Brewer 2002), white where the two are equal.

use serde::{Deserialize, Serialize};

/// An sRGB colour.
pub type Rgb = [u8; 3];

/// Colour of a place that has no value or, on a logarithmic scale, nothing at all.
pub const BARE: Rgb = [214, 211, 204];

/// How values spread over the bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Spread {
    /// In proportion.
    Linear,
    /// By decades; zero and below are shown as bare.
    Log,
    /// A ratio by decades about 1; `low` and `high` should be reciprocal.
    Ratio,
}

/// One fixed scale: pictures that share it can be compared.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Scale {
    /// What is shown, for people: "Friction work".
    pub label: String,
    /// Its unit, "J/m2"; empty for ratios.
    pub unit: String,
    /// Value at the pale end.
    pub low: f64,
    /// Value at the dark end.
    pub high: f64,
    /// How values spread between.
    pub spread: Spread,
}

impl Scale {
    /// Where `value` lies on the bar, 0 to 1; `None` where nothing is to be shown.
    #[must_use]
    pub fn place(&self, value: f64) -> Option<f64> {
        if !value.is_finite() {
            return None;
        }
        let t = match self.spread {
            Spread::Linear => (value - self.low) / (self.high - self.low),
            _ if value <= 0.0 => return None,
            _ => (value / self.low).ln() / (self.high / self.low).ln(),
        };
        Some(if t.is_finite() {
            t.clamp(0.0, 1.0)
        } else {
            0.0
        })
    }

    /// The value at `t` of the bar: the inverse of [`Scale::place`].
    #[must_use]
    pub fn value(&self, t: f64) -> f64 {
        match self.spread {
            Spread::Linear => self.low + t * (self.high - self.low),
            _ => self.low * (self.high / self.low).powf(t),
        }
    }

    /// The colour at `t` of the bar, 0 to 1.
    #[must_use]
    pub fn colour_at(&self, t: f64) -> Rgb {
        let colour = match self.spread {
            Spread::Ratio => colorous::RED_BLUE.eval_continuous(1.0 - t.clamp(0.0, 1.0)),
            _ => colorous::INFERNO.eval_continuous(1.0 - 0.8 * t.clamp(0.0, 1.0)),
        };
        [colour.r, colour.g, colour.b]
    }

    /// The colour of `value`.
    #[must_use]
    pub fn colour(&self, value: f64) -> Rgb {
        self.place(value).map_or(BARE, |t| self.colour_at(t))
    }

    /// Round numbers along the bar with their places, lowest first: 3 to 7 of them.
    #[must_use]
    pub fn ticks(&self) -> Vec<(f64, String)> {
        let values = match self.spread {
            Spread::Linear => linear_ticks(self.low, self.high),
            _ => log_ticks(self.low, self.high),
        };
        let placed = values.into_iter().filter_map(|v| {
            let t = self.place(v)?;
            Some((t, plain_number(v)))
        });
        placed.collect()
    }

    /// Label and unit in one line: "Friction work, J/m²".
    #[must_use]
    pub fn heading(&self) -> String {
        if self.unit.is_empty() {
            return self.label.clone();
        }
        format!("{}, {}", self.label, with_powers(&self.unit))
    }
}

fn linear_ticks(low: f64, high: f64) -> Vec<f64> {
    let width = high - low;
    if width <= 0.0 || !width.is_finite() {
        return vec![low];
    }
    let rough = width / 5.0;
    let decade = 10_f64.powf(rough.log10().floor());
    let steps = [1.0, 2.0, 2.5, 5.0, 10.0];
    let step = decade
        * steps
            .iter()
            .find(|s| **s * decade >= rough * 0.999)
            .unwrap_or(&10.0);
    let first = (low / step - 1e-9).ceil() as i64;
    let last = (high / step + 1e-9).floor() as i64;
    (first..=last).map(|i| i as f64 * step).collect()
}

fn log_ticks(low: f64, high: f64) -> Vec<f64> {
    if low <= 0.0 || high <= low {
        return vec![low];
    }
    let inside = |v: &f64| *v >= low * 0.999 && *v <= high * 1.001;
    let (first, last) = (low.log10().floor() as i32, high.log10().ceil() as i32);
    let by = |mantissas: &[f64]| -> Vec<f64> {
        let decades =
            (first..=last).flat_map(|d| mantissas.iter().map(move |m| m * 10_f64.powi(d)));
        decades.filter(inside).collect()
    };
    let decades = by(&[1.0]);
    match decades.len() {
        0..=2 => {
            let fine = by(&[1.0, 2.0, 5.0]);
            if fine.len() >= 2 {
                fine
            } else {
                vec![low, high]
            }
        }
        3..=7 => decades,
        many => decades.into_iter().step_by(many.div_ceil(6)).collect(),
    }
}

/// A number as a person writes it: three significant digits, no needless zeros.
#[must_use]
pub fn plain_number(value: f64) -> String {
    if value == 0.0 {
        return "0".into();
    }
    let size = value.abs();
    if !(1e-3..1e5).contains(&size) {
        let text = format!("{value:.2e}");
        let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
        let mantissa = mantissa.trim_end_matches('0').trim_end_matches('.');
        return format!("{mantissa}e{exponent}");
    }
    let digits = (2 - size.log10().floor() as i32).max(0) as usize;
    let text = format!("{value:.digits$}");
    if text.contains('.') {
        return text.trim_end_matches('0').trim_end_matches('.').into();
    }
    text
}

/// A unit with raised powers: "J/m2" becomes "J/m²".
#[must_use]
pub fn with_powers(unit: &str) -> String {
    let mut text = String::new();
    let mut after_letter = false;
    for c in unit.chars() {
        match c {
            '2' if after_letter => text.push('²'),
            '3' if after_letter => text.push('³'),
            _ => text.push(c),
        }
        after_letter = c.is_alphabetic();
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scale(low: f64, high: f64, spread: Spread) -> Scale {
        Scale {
            label: "Friction work".into(),
            unit: "J/m2".into(),
            low,
            high,
            spread,
        }
    }

    #[test]
    fn values_and_places_are_inverse() {
        for s in [
            scale(0.0, 40.0, Spread::Linear),
            scale(0.3, 3000.0, Spread::Log),
            scale(0.1, 10.0, Spread::Ratio),
        ] {
            for t in [0.0, 0.2, 0.5, 1.0] {
                let back = s.place(s.value(t)).unwrap();
                assert!((back - t).abs() < 1e-12);
            }
        }
        assert_eq!(scale(0.1, 10.0, Spread::Ratio).place(1.0), Some(0.5));
    }

    /// Even steps look even: lightness (CIE L*, CIE 15) falls steadily from low to high.
    #[test]
    fn more_is_always_darker_and_by_even_steps() {
        let s = scale(0.0, 1.0, Spread::Linear);
        let lightness = |[r, g, b]: Rgb| {
            let linear = |c: u8| {
                let c = f64::from(c) / 255.0;
                if c <= 0.04045 {
                    c / 12.92
                } else {
                    ((c + 0.055) / 1.055).powf(2.4)
                }
            };
            let y = 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
            116.0 * y.cbrt() - 16.0
        };
        let l: Vec<f64> = (0..=10)
            .map(|i| lightness(s.colour(f64::from(i) / 10.0)))
            .collect();
        for pair in l.windows(2) {
            let step = pair[0] - pair[1];
            assert!(step > 5.0 && step < 12.0, "{l:?}");
        }
    }

    #[test]
    fn ticks_are_round_and_few() {
        let text = |s: Scale| -> Vec<String> { s.ticks().into_iter().map(|t| t.1).collect() };
        assert_eq!(
            text(scale(0.0, 43.0, Spread::Linear)),
            ["0", "10", "20", "30", "40"]
        );
        assert_eq!(
            text(scale(0.01, 100.0, Spread::Log)),
            ["0.01", "0.1", "1", "10", "100"]
        );
        assert_eq!(text(scale(0.25, 4.0, Spread::Ratio)), ["0.5", "1", "2"]);
    }

    #[test]
    fn numbers_and_units_read_well() {
        assert_eq!(plain_number(0.0425), "0.0425");
        assert_eq!(plain_number(1234.0), "1234");
        assert_eq!(plain_number(2.50), "2.5");
        assert_eq!(plain_number(3.0e-5), "3e-5");
        assert_eq!(with_powers("J/m2"), "J/m²");
    }
}
