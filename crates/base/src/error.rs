//! One error type for the whole house: what happened and what to do are two fields.
//! An error is passed on or reported, never both.

use std::fmt;
use std::path::Path;

/// Result of anything that can fail for a reason a person should read.
pub type Result<T> = std::result::Result<T, Error>;

/// Who has to act, and so which exit code the program gives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The user's input is wrong or missing: exit code 2.
    Input,
    /// The program computed something it will not vouch for: exit code 1.
    Refused,
    /// Stopped by the user; what was finished is kept: exit code 1.
    Interrupted,
    /// The machine refused (disk full, folder gone, permission): exit code 2.
    System,
}

/// Where in the user's input: file, and if known key, byte range and the text that range lies in.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Place {
    /// File as the user named it.
    pub file: String,
    /// Dotted key, such as `exposure[1].strokes`.
    pub key: Option<String>,
    /// Byte range in `text`.
    pub span: Option<std::ops::Range<usize>>,
    /// The whole text of the file, kept so that the line can be shown with a caret.
    pub text: Option<String>,
}

impl Place {
    /// A whole file.
    #[must_use]
    pub fn file(file: impl AsRef<Path>) -> Place {
        Place {
            file: file.as_ref().display().to_string(),
            ..Place::default()
        }
    }

    /// Line and column, both from 1, of the start of the span.
    #[must_use]
    pub fn line_column(&self) -> Option<(usize, usize)> {
        let (span, text) = (self.span.as_ref()?, self.text.as_ref()?);
        let before = text.get(..span.start.min(text.len()))?;
        let line = before.matches('\n').count() + 1;
        let column = before.chars().rev().take_while(|c| *c != '\n').count() + 1;
        Some((line, column))
    }
}

#[derive(Debug, Clone)]
struct Body {
    kind: Kind,
    what: String,
    place: Option<Place>,
    hints: Vec<String>,
}

/// An error a person can act on.
#[derive(Debug, Clone)]
pub struct Error(Box<Body>);

impl Error {
    fn new(kind: Kind, what: impl Into<String>) -> Error {
        Error(Box::new(Body {
            kind,
            what: what.into(),
            place: None,
            hints: Vec::new(),
        }))
    }

    /// Wrong or missing input: one sentence with the value, its unit and the allowed range.
    pub fn input(what: impl Into<String>) -> Error {
        Error::new(Kind::Input, what)
    }

    /// A result that must not be shown as one.
    pub fn refused(what: impl Into<String>) -> Error {
        Error::new(Kind::Refused, what)
    }

    /// The user stopped the run.
    pub fn interrupted(what: impl Into<String>) -> Error {
        Error::new(Kind::Interrupted, what)
    }

    /// The machine said no while reading or writing `path`.
    pub fn system(action: &str, path: impl AsRef<Path>, cause: &std::io::Error) -> Error {
        let (kind, hint) = match cause.kind() {
            std::io::ErrorKind::NotFound => (
                Kind::Input,
                "check the spelling; a path is relative to the file or folder that names it",
            ),
            std::io::ErrorKind::PermissionDenied | std::io::ErrorKind::ReadOnlyFilesystem => (
                Kind::System,
                "choose a folder you may write to, for instance with -o",
            ),
            std::io::ErrorKind::StorageFull => (
                Kind::System,
                "free some disk space and run again: finished parts are kept",
            ),
            _ => (Kind::System, "run again: finished parts are kept"),
        };
        Error::new(kind, format!("cannot {action}: {cause}"))
            .at(Place::file(path))
            .hint(hint)
    }

    /// Adds what to do about it. Several hints are allowed.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Error {
        self.0.hints.push(hint.into());
        self
    }

    /// Adds the place, unless a closer one is already known.
    #[must_use]
    pub fn at(mut self, place: Place) -> Error {
        self.0.place.get_or_insert(place);
        self
    }

    /// Who has to act.
    #[must_use]
    pub fn kind(&self) -> Kind {
        self.0.kind
    }
    /// What happened.
    #[must_use]
    pub fn what(&self) -> &str {
        &self.0.what
    }
    /// Where, if known.
    #[must_use]
    pub fn place(&self) -> Option<&Place> {
        self.0.place.as_ref()
    }
    /// What to do.
    #[must_use]
    pub fn hints(&self) -> &[String] {
        &self.0.hints
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(place) = &self.0.place {
            write!(f, "{}", place.file)?;
            if let Some((line, column)) = place.line_column() {
                write!(f, ":{line}:{column}")?;
            }
            if let Some(key) = &place.key {
                write!(f, ": {key}")?;
            }
            write!(f, ": ")?;
        }
        write!(f, "{}", self.0.what)?;
        for hint in &self.0.hints {
            write!(f, "\n  hint: {hint}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Error {}

/// The candidate nearest to `typed` by edit distance, if it is near enough to be a slip.
#[must_use]
pub fn nearest<'a>(typed: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let typed = typed.to_lowercase();
    candidates
        .into_iter()
        .map(|c| (edit_distance(&typed, &c.to_lowercase()), c))
        .min_by_key(|(distance, _)| *distance)
        .filter(|(distance, c)| *distance * 5 <= c.chars().count().max(5) * 2)
        .map(|(_, c)| c)
}

fn edit_distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, cb) in b.iter().enumerate() {
            let substituted = diagonal + usize::from(ca != *cb);
            diagonal = row[j + 1];
            row[j + 1] = substituted.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_tells_line_and_column() {
        let place = Place {
            file: "a.toml".into(),
            key: Some("seed".into()),
            span: Some(9..10),
            text: Some("title=1\n seed=2".into()),
        };
        assert_eq!(place.line_column(), Some((2, 2)));
        let error = Error::input("seed must be at least 0")
            .at(place)
            .hint("write seed = 1");
        assert_eq!(
            error.to_string(),
            "a.toml:2:2: seed: seed must be at least 0\n  hint: write seed = 1"
        );
    }

    #[test]
    fn nearest_finds_slips_and_only_slips() {
        let keys = ["strokes", "stroke_mm", "faces"];
        assert_eq!(nearest("stroke", keys), Some("strokes"));
        assert_eq!(nearest("Faces", keys), Some("faces"));
        assert_eq!(nearest("gravity", keys), None);
    }
}
