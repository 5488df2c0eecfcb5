//! Lines of text that may be hostile: bounded length, any line ends, numbered for messages.

use base::{Error, Place, Result};
use std::io::{BufRead, BufReader, Read};
use std::path::Path;

/// [bytes] longest line that is believed.
const LONGEST: u64 = 65_536;

/// Reads line after line.
pub(super) struct Lines<'a, R> {
    path: &'a Path,
    kind: &'static str,
    source: BufReader<R>,
    bytes: Vec<u8>,
    text: String,
    /// Number of the line last given, from 1.
    pub number: usize,
}

impl<'a, R: Read> Lines<'a, R> {
    /// * `kind`: of the file, for messages
    pub fn new(path: &'a Path, kind: &'static str, source: R) -> Lines<'a, R> {
        Lines {
            path,
            kind,
            source: BufReader::with_capacity(1 << 18, source),
            bytes: Vec::new(),
            text: String::new(),
            number: 0,
        }
    }

    /// The next line without its end, or `None` after the last.
    ///
    /// # Errors
    /// A line that is too long; the machine refuses to read on.
    pub fn next(&mut self) -> Result<Option<&str>> {
        self.bytes.clear();
        let read = self
            .source
            .by_ref()
            .take(LONGEST)
            .read_until(b'\n', &mut self.bytes)
            .map_err(|cause| Error::system("read the mesh", self.path, &cause))?;
        if read == 0 {
            return Ok(None);
        }
        self.number += 1;
        if read as u64 == LONGEST {
            return Err(self.error("is longer than 64 kB"));
        }
        let text = String::from_utf8_lossy(&self.bytes);
        self.text.clear();
        self.text
            .push_str(text.trim_start_matches('\u{feff}').trim_end());
        Ok(Some(&self.text))
    }

    /// An error at the line last given.
    pub fn error(&self, what: &str) -> Error {
        error_at(self.path, self.kind, self.number, what)
    }

    /// What follows the text.
    pub fn into_rest(self) -> BufReader<R> {
        self.source
    }
}

/// An error in a text file.
pub(super) fn error_at(path: &Path, kind: &str, line: usize, what: &str) -> Error {
    Error::input(format!("line {line} of this {kind} {what}"))
        .at(Place::file(path))
        .hint(
            "the file is damaged or cut short: export or fetch it again, as binary STL if you can",
        )
}

/// Three numbers, or what is wrong with them. Words after the third are ignored when allowed.
pub(super) fn point<'a>(
    mut words: impl Iterator<Item = &'a str>,
    more_allowed: bool,
) -> std::result::Result<[f64; 3], String> {
    let mut point = [0.0; 3];
    for (count, slot) in point.iter_mut().enumerate() {
        let word = words
            .next()
            .ok_or_else(|| format!("has {count} coordinates instead of 3"))?;
        *slot = word
            .parse()
            .map_err(|_| format!("has \"{}\" where a number belongs", short(word)))?;
    }
    match words.next() {
        Some(_) if !more_allowed => Err("has more than 3 coordinates".into()),
        _ => Ok(point),
    }
}

/// A word of the file, safe and short enough to show.
pub(super) fn short(word: &str) -> String {
    let shown: String = word
        .chars()
        .take(30)
        .flat_map(char::escape_default)
        .collect();
    if word.chars().count() > 30 {
        shown + "..."
    } else {
        shown
    }
}
