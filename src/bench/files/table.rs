//! Tables of comma-separated values with the place of every mistake.

use base::{Error, Place, Result};
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::path::Path;

/// Text of a table. A text cell that a spreadsheet would take for a formula gets an apostrophe.
///
/// # Errors
/// Only if a row cannot be written as text.
pub fn write_rows<T: Serialize>(rows: &[T]) -> Result<String> {
    let fail = |e: &dyn std::fmt::Display| Error::refused(format!("cannot write a table: {e}"));
    let mut writer = csv::Writer::from_writer(Vec::new());
    for row in rows {
        writer.serialize(row).map_err(|e| fail(&e))?;
    }
    let plain = writer.into_inner().map_err(|e| fail(&e))?;
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(&plain[..]);
    let mut safe = csv::Writer::from_writer(Vec::new());
    for record in reader.records() {
        let record = record.map_err(|e| fail(&e))?;
        safe.write_record(record.iter().map(harmless))
            .map_err(|e| fail(&e))?;
    }
    let bytes = safe.into_inner().map_err(|e| fail(&e))?;
    String::from_utf8(bytes).map_err(|e| fail(&e))
}

fn harmless(cell: &str) -> String {
    let risky = cell.starts_with(['=', '+', '-', '@']) && cell.parse::<f64>().is_err();
    if risky {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

/// Rows of a table with their line numbers.
///
/// # Errors
/// File missing, a heading unknown or missing, a cell that does not fit its column: with line.
pub fn read_rows<T: DeserializeOwned>(path: &Path) -> Result<Vec<(u64, T)>> {
    let text = std::fs::read_to_string(path).map_err(|e| Error::system("read", path, &e))?;
    let text = text.trim_start_matches('\u{feff}');
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    for row in reader.deserialize() {
        let row: T = row.map_err(|e| broken(path, text, &e))?;
        rows.push(row);
    }
    let mut lines = Vec::new();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    for record in reader.records() {
        let record = record.map_err(|e| broken(path, text, &e))?;
        lines.push(record.position().map_or(0, csv::Position::line));
    }
    Ok(lines.into_iter().zip(rows).collect())
}

fn broken(path: &Path, text: &str, error: &csv::Error) -> Error {
    let (place, column) = match error.kind() {
        csv::ErrorKind::Deserialize { pos, err } => {
            let start = pos.as_ref().map_or(0, |p| p.byte() as usize);
            let heading = text.lines().next().unwrap_or_default();
            let column = err.field().and_then(|f| heading.split(',').nth(f as usize));
            (at_byte(path, text, start), column.map(str::to_owned))
        }
        _ => (Place::file(path), None),
    };
    let what = match (&column, error.kind()) {
        (Some(column), csv::ErrorKind::Deserialize { err, .. }) => {
            format!("column {column}: {}", err.kind())
        }
        _ => error.to_string(),
    };
    Error::input(what)
        .at(place)
        .hint("one heading line, commas between cells, a dot in numbers, an empty cell for what is missing")
}

fn at_byte(path: &Path, text: &str, start: usize) -> Place {
    Place {
        span: Some(start..start + 1),
        text: Some(text.to_owned()),
        ..Place::file(path)
    }
}
