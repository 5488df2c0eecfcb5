//! A key of a scenario set to another value: what a what-if and a sweep ask for.

use super::raw::{RawExposure, RawScenario};
use base::error::nearest;
use base::{Error, Result};
use toml::Value;

/// The key that stands for the friction of the outer film on whatever touches it.
pub const TOPCOAT_FRICTION: &str = "topcoat.friction";

/// A copy of the scenario with `key` set to `value`.
///
/// * `key`: `topcoat.friction`, or a dotted path such as `exposure.lunch box.minutes`,
///   `specimen[0].mass_g`, `exposure[1].shake.frequency_hz[0]`
/// * `specimen`: index of the specimen whose topcoat is meant
///
/// # Errors
/// A key that is not in the scenario or is not a number, with the nearest that is.
pub fn vary(raw: &RawScenario, key: &str, value: f64, specimen: usize) -> Result<RawScenario> {
    if key == TOPCOAT_FRICTION {
        return Ok(topcoat_friction(raw, value, specimen));
    }
    let mut document = Value::try_from(raw)
        .map_err(|cause| Error::refused(format!("cannot vary the scenario: {cause}")))?;
    let place = find(&mut document, key, false)?;
    match place {
        Value::Float(old) => *old = value,
        Value::Integer(old) => *old = value.round() as i64,
        _ => {
            return Err(Error::input(format!("{key} is not a number"))
                .hint("vary a numeric key, such as topcoat.friction or exposure.NAME.stroke_mm"));
        }
    }
    document.try_into().map_err(|cause| {
        Error::input(format!(
            "{key} = {value} does not fit the scenario: {cause}"
        ))
    })
}

/// A copy of the scenario with `key` set to a value of any kind: a number, a name, a whole list of
/// coats, the shares of holds.
///
/// * `key`: as in [`vary`]; `topcoat.friction` is set for every specimen; a key of the schema that
///   was not written is added
///
/// # Errors
/// A key the scenario cannot have, with the nearest that it can, or a value of another kind.
pub fn assign(raw: &RawScenario, key: &str, value: &Value) -> Result<RawScenario> {
    if key == TOPCOAT_FRICTION {
        let number = value
            .as_float()
            .or_else(|| value.as_integer().map(|n| n as f64))
            .ok_or_else(|| Error::input(format!("{key} is a number, not {value}")))?;
        return Ok(
            (0..raw.specimen.len()).fold(raw.clone(), |varied, specimen| {
                topcoat_friction(&varied, number, specimen)
            }),
        );
    }
    let mut document = Value::try_from(raw)
        .map_err(|cause| Error::refused(format!("cannot vary the scenario: {cause}")))?;
    let place = find(&mut document, key, true)?;
    *place = match (&*place, value) {
        (Value::Float(_), Value::Integer(whole)) => Value::Float(*whole as f64),
        (Value::Integer(_), Value::Float(number)) if number.fract() == 0.0 => {
            Value::Integer(*number as i64)
        }
        _ => value.clone(),
    };
    document
        .try_into()
        .map_err(|cause| unfit(key, value, &cause))
}

/// Why a value does not fit, in words; a key that cannot be there names the nearest that can.
fn unfit(key: &str, value: &Value, cause: &toml::de::Error) -> Error {
    let message = cause.message();
    if let Some((_, rest)) = message.split_once("unknown field `") {
        let typed = rest.split('`').next().unwrap_or(rest);
        let known: Vec<&str> = rest.split('`').skip(2).step_by(2).collect();
        let error = Error::input(format!(
            "the scenario has no key {key}: no \"{typed}\" there"
        ));
        return match nearest(typed, known.iter().copied()) {
            Some(near) => error.hint(format!("did you mean \"{near}\"?")),
            None => error.hint(format!("known here: {}", known.join(", "))),
        };
    }
    Error::input(format!(
        "{key} = {value} does not fit the scenario: {message}"
    ))
    .hint("`thumbworn schema` tells what kind of value each key takes")
}

fn topcoat_friction(raw: &RawScenario, value: f64, specimen: usize) -> RawScenario {
    let mut varied = raw.clone();
    for exposure in &mut varied.exposure {
        let (counterface, own) = match exposure {
            RawExposure::Tumble(e) => (e.wall.clone(), &mut e.friction),
            RawExposure::Drop(e) => (e.floor.clone(), &mut e.friction),
            RawExposure::Rub(e) => (e.pad.like().to_string(), &mut e.friction),
            RawExposure::Handle(e) => (e.skin.clone(), &mut e.friction),
            RawExposure::Ride(e) => (e.pad.like().to_string(), &mut e.friction),
        };
        *own = None;
        if let Some(s) = varied.specimen.get_mut(specimen) {
            s.friction
                .retain(|name, _| !name.eq_ignore_ascii_case(&counterface));
            s.friction.insert(counterface, value);
        }
    }
    varied
}

/// The place of a key.
///
/// * `may_add`: a last step that is not there is added to its table
fn find<'v>(document: &'v mut Value, key: &str, may_add: bool) -> Result<&'v mut Value> {
    let mut here = document;
    let mut rest = key;
    while !rest.is_empty() {
        let steps = steps(here);
        let known = steps
            .iter()
            .filter(|(name, _)| starts_with_step(rest, name))
            .max_by_key(|(name, _)| name.len());
        let step = match known {
            Some((name, step)) => {
                rest = rest[name.len()..].trim_start_matches('.');
                step.clone()
            }
            None if may_add && here.is_table() && !rest.contains(['.', '[']) => {
                let added = std::mem::take(&mut rest).to_string();
                if let Value::Table(table) = &mut *here {
                    table.insert(added.clone(), Value::Boolean(false));
                }
                Step::Key(added)
            }
            None => return Err(unknown(key, rest, &steps)),
        };
        let next = match (here, step) {
            (Value::Table(table), Step::Key(k)) => table.get_mut(&k),
            (Value::Array(items), Step::Index(i)) => items.get_mut(i),
            _ => None,
        };
        here = next.ok_or_else(|| unknown(key, rest, &[]))?;
    }
    Ok(here)
}

#[derive(Debug, Clone)]
enum Step {
    Key(String),
    Index(usize),
}

/// How the children of a value may be named in a key.
fn steps(value: &Value) -> Vec<(String, Step)> {
    match value {
        Value::Table(table) => table
            .keys()
            .map(|k| (k.clone(), Step::Key(k.clone())))
            .collect(),
        Value::Array(items) => {
            let mut steps = Vec::new();
            for (i, item) in items.iter().enumerate() {
                steps.push((format!("[{i}]"), Step::Index(i)));
                if let Some(Value::String(name)) = item.get("name") {
                    steps.push((name.clone(), Step::Index(i)));
                }
            }
            steps
        }
        _ => Vec::new(),
    }
}

fn starts_with_step(rest: &str, name: &str) -> bool {
    rest.strip_prefix(name)
        .is_some_and(|after| after.is_empty() || after.starts_with('.') || after.starts_with('['))
}

fn unknown(key: &str, rest: &str, steps: &[(String, Step)]) -> Error {
    let names: Vec<&str> = steps
        .iter()
        .map(|(name, _)| name.as_str())
        .filter(|name| !name.starts_with('['))
        .collect();
    let first = rest.split(['.', '[']).next().unwrap_or(rest);
    let error = Error::input(format!(
        "the scenario has no key {key}: stuck at \"{rest}\""
    ));
    match nearest(first, names.iter().copied()) {
        Some(near) => error.hint(format!("did you mean \"{near}\"?")),
        None if names.is_empty() => error,
        None => error.hint(format!("known here: {}", names.join(", "))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::Source;

    fn demo() -> RawScenario {
        Source::embedded("demo", include_str!("../../scenarios/ferry_porter.toml"))
            .parse()
            .expect("parses")
    }

    #[test]
    fn names_with_commas_and_indices_both_work() {
        let raw = demo();
        for key in [
            "exposure.foam wipe, by hand.stroke_mm",
            "exposure[1].stroke_mm",
        ] {
            let varied = vary(&raw, key, 42.0, 0).expect(key);
            let RawExposure::Rub(rub) = &varied.exposure[1] else {
                panic!("rub")
            };
            assert_eq!(rub.stroke_mm, 42.0);
        }
        let varied =
            vary(&raw, "exposure.lunch box.shake.frequency_hz[2]", 5.0, 0).expect("nested");
        let RawExposure::Tumble(tumble) = &varied.exposure[0] else {
            panic!("tumble")
        };
        assert_eq!(tumble.shake.as_ref().expect("shake").frequency_hz[2], 5.0);
    }

    #[test]
    fn topcoat_friction_reaches_every_counterface_of_its_specimen_only() {
        let varied = vary(&demo(), TOPCOAT_FRICTION, 0.31, 1).expect("varies");
        assert!(varied.specimen[0].friction.is_empty());
        assert_eq!(varied.specimen[1].friction["soft foam"], 0.31);
        assert_eq!(varied.specimen[1].friction["polypropylene"], 0.31);
    }

    #[test]
    fn an_unknown_key_names_the_nearest() {
        let shown = vary(&demo(), "exposure[1].stroke_m", 1.0, 0)
            .expect_err("typo")
            .to_string();
        assert!(shown.contains("did you mean \"stroke_mm\""), "{shown}");
        let shown = vary(&demo(), "title", 1.0, 0)
            .expect_err("text")
            .to_string();
        assert!(shown.contains("not a number"), "{shown}");
    }

    #[test]
    fn names_lists_and_keys_that_were_not_written_can_be_assigned() {
        let raw = demo();
        let coats = Value::from(vec!["acrylic paint, brush"]);
        let varied = assign(&raw, "specimen.metal, satin.coats", &coats).expect("list");
        assert_eq!(varied.specimen[0].coats, ["acrylic paint, brush"]);
        assert_eq!(varied.specimen[1].coats.len(), 4);
        let varied = assign(&raw, "specimen[1].body", &Value::from("tin pewter")).expect("name");
        assert!(
            matches!(&varied.specimen[1].body, crate::scenario::raw::RawBody::Named(n) if n == "tin pewter")
        );
        let varied = assign(&raw, "specimen[0].cure_days", &Value::from(3)).expect("added");
        assert_eq!(varied.specimen[0].cure_days, Some(3.0));
        let varied = assign(&raw, TOPCOAT_FRICTION, &Value::from(0.4)).expect("all");
        assert!(
            varied
                .specimen
                .iter()
                .all(|s| s.friction["soft foam"] == 0.4)
        );
        let shown = assign(&raw, "specimen[0].cure_day", &Value::from(3))
            .expect_err("typo")
            .to_string();
        assert!(shown.contains("did you mean \"cure_days\""), "{shown}");
        let shown = assign(&raw, "specimn[0].coats", &coats)
            .expect_err("typo")
            .to_string();
        assert!(shown.contains("did you mean \"specimen\""), "{shown}");
    }
}
