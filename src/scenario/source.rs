//! The text of a scenario and the place of each key in it.

use super::raw::RawScenario;
use base::error::{Place, nearest};
use base::{Error, Result};
use serde::de::DeserializeOwned;
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::de::{DeTable, DeValue};

/// A scenario file as read, with its text kept for messages.
#[derive(Debug, Clone)]
pub struct Source {
    /// Name for messages, as the user gave it.
    pub name: String,
    /// Folder that relative paths of the scenario start from.
    pub folder: PathBuf,
    /// The whole text.
    pub text: String,
}

impl Source {
    /// Reads a scenario file.
    ///
    /// # Errors
    /// A missing, unreadable or non-text file.
    pub fn read(path: &Path) -> Result<Source> {
        let bytes = std::fs::read(path)
            .map_err(|cause| Error::system("read the scenario", path, &cause))?;
        let text = String::from_utf8(bytes).map_err(|_| {
            Error::input("this is not a text file")
                .at(Place::file(path))
                .hint("`run` takes a scenario (.toml); to look at a mesh use `thumbworn inspect`")
        })?;
        Ok(Source {
            name: path.display().to_string(),
            folder: path.parent().map(Path::to_path_buf).unwrap_or_default(),
            text,
        })
    }

    /// A scenario that is not a file.
    #[must_use]
    pub fn embedded(name: &str, text: &str) -> Source {
        Source {
            name: name.into(),
            folder: PathBuf::new(),
            text: text.into(),
        }
    }

    /// Parses the text; unknown keys are errors with the nearest known key.
    ///
    /// # Errors
    /// Anything that is not a scenario, with file, line, column and hint.
    pub fn parse(&self) -> Result<RawScenario> {
        self.parse_as("`thumbworn schema` lists every key; scenarios/ holds examples")
    }

    /// Parses the text as another kind of file of this program, in the same manner.
    ///
    /// * `help`: where every key is explained
    ///
    /// # Errors
    /// Anything that is not such a file, with file, line, column and hint.
    pub fn parse_as<T: DeserializeOwned>(&self, help: &str) -> Result<T> {
        let explain = |cause: toml::de::Error| self.explain(&cause, help);
        let deserializer = toml::Deserializer::parse(&self.text).map_err(explain)?;
        T::deserialize(deserializer).map_err(explain)
    }

    /// The place of a dotted key such as `exposure[1].box_mm`; the nearest enclosing table if the
    /// key itself was not written.
    #[must_use]
    pub fn place(&self, key: &str) -> Place {
        let mut place = Place {
            file: self.name.clone(),
            key: Some(key.into()),
            span: None,
            text: Some(self.text.clone()),
        };
        if let Ok(table) = DeTable::parse(&self.text) {
            place.span = find(table.get_ref(), key);
        }
        place
    }

    fn explain(&self, cause: &toml::de::Error, help: &str) -> Error {
        let message = cause.message().to_string();
        let unknown = quoted(&message, "unknown field `");
        let span = unknown
            .as_deref()
            .and_then(|key| self.span_of_name(key, cause.span()))
            .or(cause.span());
        let place = Place {
            file: self.name.clone(),
            key: None,
            span,
            text: Some(self.text.clone()),
        };
        let Some(unknown) = unknown else {
            let error = Error::input(plain(&message)).at(place);
            return match quoted(&message, "missing field `") {
                Some(key) => error.hint(format!("add a line `{key} = ...`; {help}")),
                None => error.hint(help),
            };
        };
        let known: Vec<&str> = message.split('`').skip(3).step_by(2).collect();
        let error = Error::input(format!("unknown key `{unknown}`")).at(place);
        match nearest(&unknown, known.iter().copied()) {
            Some(near) => error.hint(format!("did you mean `{near}`?")),
            None => error.hint(format!("known here: {}", known.join(", "))),
        }
    }

    /// Span of the first key spelled `name` inside `within`.
    fn span_of_name(&self, name: &str, within: Option<Range<usize>>) -> Option<Range<usize>> {
        let table = DeTable::parse(&self.text).ok()?;
        let mut found = Vec::new();
        spans_of_name(table.get_ref(), name, &mut found);
        found.sort_by_key(|span| span.start);
        let inside = within.and_then(|w| {
            found
                .iter()
                .find(|s| w.start <= s.start && s.end <= w.end)
                .cloned()
        });
        inside.or_else(|| found.first().cloned())
    }
}

fn spans_of_name(table: &DeTable<'_>, name: &str, found: &mut Vec<Range<usize>>) {
    for (key, value) in table {
        if key.get_ref() == name {
            found.push(key.span());
        }
        descend(value.get_ref(), &mut |inner| {
            spans_of_name(inner, name, found)
        });
    }
}

fn descend(value: &DeValue<'_>, visit: &mut dyn FnMut(&DeTable<'_>)) {
    match value {
        DeValue::Table(table) => visit(table),
        DeValue::Array(items) => {
            for item in items.iter() {
                descend(item.get_ref(), visit);
            }
        }
        _ => {}
    }
}

/// Span of the value at a dotted key with `[n]` for array items.
fn find(table: &DeTable<'_>, key: &str) -> Option<Range<usize>> {
    let mut span = None;
    let mut here: Option<&DeTable<'_>> = Some(table);
    for step in key.split('.') {
        let (name, index) = match step.split_once('[') {
            Some((name, rest)) => (name, rest.trim_end_matches(']').parse::<usize>().ok()),
            None => (step, None),
        };
        let Some(value) = here.and_then(|t| t.get(name)) else {
            break;
        };
        let value = match index {
            Some(i) => match value.get_ref().get(i) {
                Some(item) => item,
                None => break,
            },
            None => value,
        };
        span = Some(value.span());
        here = value.get_ref().as_table();
    }
    span
}

fn quoted(message: &str, before: &str) -> Option<String> {
    let rest = &message[message.find(before)? + before.len()..];
    rest.split('`').next().map(str::to_string)
}

/// Serde's wording in a painter's words.
fn plain(message: &str) -> String {
    message
        .replace("missing field", "missing key")
        .replace("unknown variant", "unknown value")
        .replace("invalid type: ", "wrong kind of value: ")
        .replace("floating point", "number")
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = r#"
title = "t"
[figure]
sculpt = "ferry porter"
[[specimen]]
name = "a"
body = "tin pewter"
[[exposure]]
name = "wipe"
kind = "rub"
pad = "soft foam"
load = "hand 1 N"
strokes = 100
stroke_mm = 100
faces = ["top"]
"#;

    #[test]
    fn a_scenario_parses() {
        let raw = Source::embedded("demo", GOOD).parse().expect("parses");
        assert_eq!(raw.exposure[0].name(), "wipe");
        assert_eq!(raw.seed, 1);
    }

    #[test]
    fn an_unknown_key_names_the_nearest_and_its_line() {
        let text = GOOD.replace("strokes =", "stroks =");
        let error = Source::embedded("demo", &text).parse().expect_err("typo");
        let shown = error.to_string();
        assert!(shown.contains("demo:13:1"), "{shown}");
        assert!(shown.contains("did you mean `strokes`"), "{shown}");
    }

    #[test]
    fn an_unknown_kind_lists_the_known_ones() {
        let text = GOOD.replace("\"rub\"", "\"scrub\"");
        let shown = Source::embedded("demo", &text)
            .parse()
            .expect_err("kind")
            .to_string();
        assert!(
            shown.contains("scrub") && shown.contains("tumble"),
            "{shown}"
        );
    }

    #[test]
    fn a_key_has_a_place() {
        let source = Source::embedded("demo", GOOD);
        let place = source.place("exposure[0].stroke_mm");
        assert_eq!(place.line_column(), Some((14, 13)));
        let missing = source.place("exposure[0].tilt_deg");
        assert_eq!(missing.line_column().map(|(line, _)| line), Some(8));
    }
}
