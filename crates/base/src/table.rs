//! CSV that a spreadsheet opens without running anything.

use crate::{Error, Result};

/// A cell as it is written: one that begins with `= + - @`, a tab or a return and is not a number
/// gets a leading apostrophe, so that no spreadsheet takes it for a formula (OWASP, "CSV
/// injection").
#[must_use]
pub fn safe_cell(text: &str) -> String {
    let risky = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    if risky && text.parse::<f64>().is_err() {
        return format!("'{text}");
    }
    text.to_string()
}

/// A number as a cell: shortest text that reads back the same; empty when there is none.
#[must_use]
pub fn number(value: f64) -> String {
    if !value.is_finite() {
        return String::new();
    }
    let size = value.abs();
    if value != 0.0 && !(1e-4..1e7).contains(&size) {
        return format!("{value:e}");
    }
    format!("{value}")
}

/// A table under construction: heading first, then rows of the same length.
pub struct Table {
    writer: csv::Writer<Vec<u8>>,
    width: usize,
}

impl Table {
    /// Starts with the heading.
    ///
    /// # Errors
    /// Never for memory; kept so that no caller has to guess.
    pub fn new(heading: &[&str]) -> Result<Table> {
        let mut table = Table {
            writer: csv::Writer::from_writer(Vec::new()),
            width: heading.len(),
        };
        table.row(heading)?;
        Ok(table)
    }

    /// Adds a row.
    ///
    /// # Errors
    /// A row of another length than the heading.
    pub fn row<S: AsRef<str>>(&mut self, cells: &[S]) -> Result<()> {
        if cells.len() != self.width {
            let (got, wanted) = (cells.len(), self.width);
            return Err(Error::refused(format!(
                "a row of {got} cells in a table of {wanted}"
            )));
        }
        let cells = cells.iter().map(|c| safe_cell(c.as_ref()));
        self.writer
            .write_record(cells)
            .map_err(|cause| Error::refused(format!("cannot write a table: {cause}")))
    }

    /// The finished file.
    ///
    /// # Errors
    /// Never for memory; kept so that no caller has to guess.
    pub fn bytes(self) -> Result<Vec<u8>> {
        let failed = |cause| Error::refused(format!("cannot write a table: {cause}"));
        self.writer.into_inner().map_err(|e| failed(e.to_string()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_become_text_and_numbers_stay() {
        assert_eq!(safe_cell("=1+1"), "'=1+1");
        assert_eq!(safe_cell("@cmd"), "'@cmd");
        assert_eq!(safe_cell("-3.5"), "-3.5");
        assert_eq!(safe_cell("tip, front left"), "tip, front left");
        assert_eq!(number(1.5e-9), "1.5e-9");
        assert_eq!(number(f64::NAN), "");
        for v in [0.1, 123_456.789, 6.02e23, -2.5e-7, 0.0] {
            assert_eq!(number(v).parse::<f64>().unwrap(), v);
        }
    }

    #[test]
    fn commas_and_quotes_are_kept_and_a_short_row_is_refused() {
        let mut table = Table::new(&["area", "mm2"]).unwrap();
        table.row(&["tip, \"front\"", &number(2.5)]).unwrap();
        assert!(table.row(&["one"]).is_err());
        let bytes = table.bytes().unwrap();
        let text = String::from_utf8(bytes).unwrap();
        assert_eq!(text, "area,mm2\n\"tip, \"\"front\"\"\",2.5\n");
    }
}
