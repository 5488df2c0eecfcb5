//! One axis of a sweep: its keys and the values they take.

use super::raw::{RawAxis, RawKeys};
use crate::scenario::Source;
use base::{Error, Result};
use serde::{Deserialize, Serialize};
use toml::Value;

/// The key that stands for the figure as a whole.
pub const FIGURE: &str = "figure";
/// Most values of one axis.
const MOST_VALUES: usize = 10_000;
/// Bands into which a range is cut where effects are told.
pub const BANDS: usize = 5;

/// Ends of keys that are units, and the unit as people write it.
const UNITS: [(&str, &str); 12] = [
    ("mm", "mm"),
    ("g", "g"),
    ("kpa", "kPa"),
    ("hz", "Hz"),
    ("deg", "degrees"),
    ("pct", "%"),
    ("days", "days"),
    ("n", "N"),
    ("km", "km"),
    ("gpa", "GPa"),
    ("mpa", "MPa"),
    ("cm3", "g/cm3"),
];

/// What is varied and how.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Axis {
    /// Name for tables and the page.
    pub name: String,
    /// Keys of the scenario that are set to the same value; `figure` alone for the figure.
    pub keys: Vec<String>,
    /// The values.
    pub values: Values,
}

/// Values of an axis.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Values {
    /// One by one.
    Levels {
        /// Words for each.
        labels: Vec<String>,
        /// The values as TOML.
        values: Vec<Value>,
    },
    /// Anywhere in a range; only in a spread design.
    Span {
        /// Lower end.
        from: f64,
        /// Upper end.
        to: f64,
        /// Even in the logarithm.
        ratio: bool,
    },
}

/// Where a part stands on an axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stand {
    /// At a level, counted from 0.
    Level(usize),
    /// At a number.
    Number(f64),
}

impl Axis {
    /// True for the figure.
    #[must_use]
    pub fn is_figure(&self) -> bool {
        self.keys == [FIGURE]
    }

    /// Number of levels; `None` for a range.
    #[must_use]
    pub fn levels(&self) -> Option<usize> {
        match &self.values {
            Values::Levels { values, .. } => Some(values.len()),
            Values::Span { .. } => None,
        }
    }

    /// The place of a share `u` of the axis, 0 to below 1.
    #[must_use]
    pub fn at_share(&self, u: f64) -> Stand {
        match &self.values {
            Values::Levels { values, .. } => {
                let level = (u * values.len() as f64) as usize;
                Stand::Level(level.min(values.len().saturating_sub(1)))
            }
            Values::Span { from, to, ratio } => Stand::Number(between(*from, *to, *ratio, u)),
        }
    }

    /// The value to set.
    #[must_use]
    pub fn value(&self, stand: Stand) -> Value {
        match (&self.values, stand) {
            (Values::Levels { values, .. }, Stand::Level(level)) => {
                values.get(level).cloned().unwrap_or(Value::Boolean(false))
            }
            (_, Stand::Number(number)) => Value::Float(number),
            (Values::Span { from, .. }, Stand::Level(_)) => Value::Float(*from),
        }
    }

    /// Unit of its numbers, from the end of its first key, such as "mm" of `stroke_mm`.
    #[must_use]
    pub fn unit(&self) -> Option<&'static str> {
        let key = self.keys.first()?.split('[').next()?;
        let (_, end) = key.rsplit('.').next()?.rsplit_once('_')?;
        UNITS
            .iter()
            .find(|(typed, _)| *typed == end)
            .map(|(_, unit)| *unit)
    }

    /// The words of a place; numbers without their unit.
    #[must_use]
    pub fn label(&self, stand: Stand) -> String {
        match (&self.values, stand) {
            (Values::Levels { labels, .. }, Stand::Level(level)) => {
                labels.get(level).cloned().unwrap_or_default()
            }
            (_, Stand::Number(number)) => base::table::number(number),
            (Values::Span { .. }, Stand::Level(_)) => String::new(),
        }
    }

    /// Words of the groups in which effects are told: the levels, or bands of a range.
    #[must_use]
    pub fn groups(&self) -> Vec<String> {
        match &self.values {
            Values::Levels { labels, values } => labels
                .iter()
                .zip(values)
                .map(|(label, value)| match self.unit() {
                    Some(unit) if value.is_float() || value.is_integer() => {
                        format!("{label} {unit}")
                    }
                    _ => label.clone(),
                })
                .collect(),
            Values::Span { from, to, ratio } => (0..BANDS)
                .map(|band| {
                    let edge = |b: usize| {
                        let share = b as f64 / BANDS as f64;
                        short(between(*from, *to, *ratio, share))
                    };
                    let unit = self.unit().map_or_else(String::new, |u| format!(" {u}"));
                    format!("{} to {}{unit}", edge(band), edge(band + 1))
                })
                .collect(),
        }
    }

    /// The group of a place.
    #[must_use]
    pub fn group(&self, stand: Stand) -> usize {
        match (&self.values, stand) {
            (_, Stand::Level(level)) => level,
            (Values::Span { from, to, ratio }, Stand::Number(number)) => {
                let share = if *ratio {
                    (number / from).ln() / (to / from).ln()
                } else {
                    (number - from) / (to - from)
                };
                ((share * BANDS as f64) as usize).min(BANDS - 1)
            }
            (Values::Levels { .. }, Stand::Number(_)) => 0,
        }
    }

    /// The axis as typed, checked in itself.
    ///
    /// * `at`: its key in the file, such as `axis[1]`
    /// * `spread`: whether the design is a spread one
    ///
    /// # Errors
    /// Contradictory or missing keys, with their place.
    pub(super) fn lift(raw: &RawAxis, at: &str, source: &Source, spread: bool) -> Result<Axis> {
        let wrong = |key: &str, what: String| {
            let key = if key.is_empty() {
                at.into()
            } else {
                format!("{at}.{key}")
            };
            Error::input(what).at(source.place(&key))
        };
        let keys = keys_of(raw, &wrong)?;
        let name = raw.name.clone().unwrap_or_else(|| keys[0].clone());
        let ways = usize::from(!raw.values.is_empty())
            + usize::from(!raw.figures.is_empty())
            + usize::from(raw.from.is_some() || raw.to.is_some());
        if ways != 1 {
            return Err(
                wrong("", format!("axis \"{name}\" needs its values in one way"))
                    .hint("give values = [...], or figures = [...], or from and to"),
            );
        }
        let values = if raw.from.is_some() || raw.to.is_some() {
            range(raw, &wrong, spread)?
        } else {
            let values = if raw.figures.is_empty() {
                &raw.values
            } else {
                &raw.figures
            };
            levels(raw, values, &wrong)?
        };
        Ok(Axis { name, keys, values })
    }
}

type Wrong<'a> = dyn Fn(&str, String) -> Error + 'a;

fn keys_of(raw: &RawAxis, wrong: &Wrong<'_>) -> Result<Vec<String>> {
    if !raw.figures.is_empty() {
        return match &raw.key {
            None => Ok(vec![FIGURE.into()]),
            Some(_) => Err(wrong("key", "an axis of figures has no key".into())
                .hint("delete the line with key")),
        };
    }
    let keys = match &raw.key {
        Some(RawKeys::One(key)) => vec![key.clone()],
        Some(RawKeys::Several(keys)) => keys.clone(),
        None => Vec::new(),
    };
    if keys.is_empty() {
        return Err(wrong("", "an axis needs a key".into())
            .hint("for instance key = \"exposure.NAME.stroke_mm\", or figures = [\"a.stl\"]"));
    }
    Ok(keys)
}

fn levels(raw: &RawAxis, values: &[Value], wrong: &Wrong<'_>) -> Result<Values> {
    if values.len() > MOST_VALUES {
        return Err(wrong(
            "values",
            format!("{} values; at most {MOST_VALUES}", values.len()),
        ));
    }
    if raw.steps.is_some() {
        return Err(wrong("steps", "steps belong to a range".into())
            .hint("delete the line, or give from and to instead of values"));
    }
    let labels = if raw.labels.is_empty() {
        values
            .iter()
            .map(|value| match value {
                Value::String(text) => Ok(text.clone()),
                Value::Array(_) | Value::Table(_) => Err(wrong(
                    "",
                    "values that are lists or tables need words".into(),
                )
                .hint("add labels = [\"...\", \"...\"], one for each value")),
                other => Ok(other.to_string()),
            })
            .collect::<Result<Vec<_>>>()?
    } else {
        raw.labels.clone()
    };
    if labels.len() != values.len() {
        return Err(wrong(
            "labels",
            format!("{} labels for {} values", labels.len(), values.len()),
        ));
    }
    for (i, label) in labels.iter().enumerate() {
        if labels[..i].contains(label) {
            return Err(wrong("", format!("\"{label}\" stands twice on this axis"))
                .hint("every value needs words of its own: labels = [...]"));
        }
    }
    Ok(Values::Levels {
        labels,
        values: values.to_vec(),
    })
}

fn range(raw: &RawAxis, wrong: &Wrong<'_>, spread: bool) -> Result<Values> {
    let (Some(from), Some(to)) = (raw.from, raw.to) else {
        return Err(wrong("", "a range needs both ends: from and to".into()));
    };
    if !(from.is_finite() && to.is_finite() && from < to) {
        return Err(
            wrong("to", format!("{from} to {to} is not a range")).hint("from must be below to")
        );
    }
    if raw.ratio && from <= 0.0 {
        return Err(
            wrong("from", format!("equal ratios cannot start at {from}"))
                .hint("start above 0, or delete ratio"),
        );
    }
    if spread && raw.steps.is_none() {
        return Ok(Values::Span {
            from,
            to,
            ratio: raw.ratio,
        });
    }
    let Some(steps) = raw.steps.filter(|s| (2..=1000).contains(s)) else {
        return Err(wrong(
            "steps",
            "a range in a grid or a list needs 2 to 1000 steps".into(),
        )
        .hint("for instance steps = 4, ends included"));
    };
    let numbers: Vec<f64> = (0..steps)
        .map(|i| {
            tidy(between(
                from,
                to,
                raw.ratio,
                f64::from(i) / f64::from(steps - 1),
            ))
        })
        .collect();
    Ok(Values::Levels {
        labels: numbers.iter().map(|n| base::table::number(*n)).collect(),
        values: numbers.into_iter().map(Value::Float).collect(),
    })
}

fn between(from: f64, to: f64, ratio: bool, share: f64) -> f64 {
    if ratio {
        from * (to / from).powf(share)
    } else {
        from + (to - from) * share
    }
}

/// Without the last digits that only rounding put there.
fn tidy(value: f64) -> f64 {
    format!("{value:.12e}").parse().unwrap_or(value)
}

fn short(value: f64) -> String {
    let rounded: f64 = format!("{value:.2e}").parse().unwrap_or(value);
    base::table::number(rounded)
}
