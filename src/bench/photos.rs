//! Photos of a bench: which figure under which code at which inspection, with the hash of each file.

use super::files::{Bench, Outcome, read_rows, sha256, write_rows};
use base::error::nearest;
use base::{Error, Place, Result};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::path::Path;

/// Views of the grading sheet.
pub const VIEWS: [&str; 4] = ["front", "right", "back", "left"];

/// `photos.csv`: one row per picture. `sha256` may be empty in what is handed in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PhotoRow {
    /// Code on the figure.
    pub code: String,
    /// Exposure so far.
    pub inspection_units: String,
    /// front, right, back or left.
    pub view: String,
    /// The picture, relative to the table.
    pub file: String,
    /// Hash of the picture.
    #[serde(default)]
    pub sha256: String,
}

/// True when the table holds photos and not grades.
#[must_use]
pub fn is_photos(table: &Path) -> bool {
    std::fs::read_to_string(table).is_ok_and(|text| {
        let heading = text.trim_start_matches('\u{feff}').lines().next();
        heading.is_some_and(|h| h.split(',').any(|c| c.trim() == "view"))
    })
}

/// Checks a table of photos against plan and key, hashes the pictures and freezes the table.
///
/// # Errors
/// With the line: a mistyped code (and the nearest valid one), another inspection, an unknown
/// view, a picture that is not there or was changed, one given twice.
pub fn record_photos(bench: &Bench, table: &Path) -> Result<Outcome> {
    let folder = table.parent().unwrap_or(Path::new("."));
    let mut seen = BTreeSet::new();
    let mut rows = Vec::new();
    for (line, row) in read_rows::<PhotoRow>(table)? {
        let at = |e: Error| {
            e.at(Place {
                key: Some(format!("line {line}")),
                ..Place::file(table)
            })
        };
        rows.push(checked(bench, folder, row, &mut seen).map_err(at)?);
    }
    let text = write_rows(&rows)?;
    let name = format!("recorded/photos-{}.csv", &sha256(text.as_bytes())[..12]);
    let mut outcome = Outcome {
        text: format!("{} photos taken, frozen as {name}.\n", rows.len()),
        ..Outcome::default()
    };
    outcome.add(name, text);
    Ok(outcome)
}

fn checked(
    bench: &Bench,
    folder: &Path,
    mut row: PhotoRow,
    seen: &mut BTreeSet<(String, String)>,
) -> Result<PhotoRow> {
    let (code, inspection) = bench.resolve(&row.code)?;
    let units = bench.file.inspections[inspection];
    if row.inspection_units.trim().parse() != Ok(units) {
        return Err(Error::input(format!(
            "code {} belongs to the inspection at {units}, not at {}",
            row.code, row.inspection_units
        ))
        .hint("a figure wears a new code at every inspection: check which label was on it"));
    }
    let view = row.view.trim().to_lowercase();
    if !VIEWS.contains(&view.as_str()) {
        let error = Error::input(format!("view \"{}\" does not exist", row.view));
        return Err(match nearest(&view, VIEWS) {
            Some(near) => error.hint(format!("did you mean {near}?")),
            None => error.hint(format!("views: {}", VIEWS.join(", "))),
        });
    }
    if !seen.insert((code, view.clone())) {
        return Err(
            Error::input(format!("the {view} of {} is given twice", row.code)).hint("keep one"),
        );
    }
    let path = folder.join(&row.file);
    let bytes = std::fs::read(&path).map_err(|e| Error::system("read the photo", &path, &e))?;
    let hash = sha256(&bytes);
    if !row.sha256.is_empty() && row.sha256 != hash {
        return Err(Error::refused(format!(
            "the photo {} was changed since it was hashed",
            row.file
        ))
        .hint("take the untouched picture; edited ones get a name of their own"));
    }
    (row.view, row.sha256) = (view, hash);
    Ok(row)
}
