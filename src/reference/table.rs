//! The tables as they ship: one schema, nine files, and the traps in them.
//!
//! * A `value` may be text (a recipe, "6-3") or empty (the row is a statement, not a number).
//! * A row is found by name, symbol and condition together: the same name and symbol stand on
//!   several rows.
//! * Grade A means: the number was seen in print, or recomputed, or only the *claim* was seen and
//!   the number is from memory. The source says which; [`backing`] turns that into words.

use base::{Error, Grade, Known, Result};

/// What stands in the value cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// A number in the row's unit.
    Number(f64),
    /// Words: a recipe, a ratio, a range of classes.
    Text(String),
    /// Empty: the row states something without a number.
    Statement,
}

/// One row of a table, units as printed.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// What the value belongs to.
    pub name: String,
    /// Symbol of the quantity.
    pub symbol: String,
    /// The value cell.
    pub value: Cell,
    /// 5 % quantile in the row's unit, if given.
    pub low: Option<f64>,
    /// 95 % quantile in the row's unit, if given.
    pub high: Option<f64>,
    /// Unit as printed.
    pub unit: String,
    /// For what the value holds.
    pub condition: String,
    /// Where it is from.
    pub source: String,
    /// How it is backed.
    pub grade: Grade,
    /// Remark.
    pub note: String,
}

impl Row {
    /// The row as a value in SI.
    ///
    /// # Errors
    /// When the cell is text or a statement, or the unit is not one of [`to_si`].
    pub fn known(&self) -> Result<Known> {
        let Cell::Number(value) = self.value else {
            return Err(Error::input(format!(
                "{}, {}: the table holds words, not a number",
                self.name, self.symbol
            )));
        };
        let unit = to_si(&self.unit).ok_or_else(|| {
            Error::input(format!(
                "{}, {}: unit {} has no SI factor here",
                self.name, self.symbol, self.unit
            ))
        })?;
        Ok(Known {
            value: value * unit,
            low: self.low.unwrap_or(value) * unit,
            high: self.high.unwrap_or(value) * unit,
            grade: self.grade,
            source: self.source.clone(),
        })
    }
}

/// A table that ships.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// File stem.
    pub name: &'static str,
    /// Rows in file order.
    pub rows: Vec<Row>,
}

/// File stem and text of the nine tables.
const FILES: [(&str, &str); 9] = [
    ("body_materials", include_str!("data/body_materials.csv")),
    ("films", include_str!("data/films.csv")),
    ("wear", include_str!("data/wear.csv")),
    ("counterfaces", include_str!("data/counterfaces.csv")),
    ("handling", include_str!("data/handling.csv")),
    ("transport", include_str!("data/transport.csv")),
    ("standards", include_str!("data/standards.csv")),
    ("worked", include_str!("data/worked.csv")),
    ("hazards", include_str!("data/hazards.csv")),
];

/// Names of the tables.
pub fn table_names() -> impl Iterator<Item = &'static str> {
    FILES.iter().map(|(name, _)| *name)
}

/// One of the tables.
///
/// # Errors
/// When there is no such table, or its text is damaged.
pub fn table(name: &str) -> Result<Table> {
    let (stem, text) = FILES
        .iter()
        .find(|(stem, _)| *stem == name)
        .ok_or_else(|| Error::input(format!("there is no table named {name}")))?;
    let rows = records(text)?
        .iter()
        .map(|cells| row(cells))
        .collect::<Result<_>>()?;
    Ok(Table { name: stem, rows })
}

impl Table {
    /// The only row with this name and symbol whose condition starts with `condition`.
    ///
    /// # Errors
    /// When no row or more than one answers.
    pub fn find(&self, name: &str, symbol: &str, condition: &str) -> Result<&Row> {
        let mut found = self
            .rows
            .iter()
            .filter(|r| r.name == name && r.symbol == symbol && r.condition.starts_with(condition));
        match (found.next(), found.next()) {
            (Some(row), None) => Ok(row),
            (None, _) => Err(Error::input(format!(
                "table {} has no row {name}, {symbol}, {condition}",
                self.name
            ))),
            (Some(_), Some(_)) => Err(Error::input(format!(
                "table {} has several rows {name}, {symbol}: name the condition",
                self.name
            ))),
        }
    }
}

/// All records below the heading, as cells.
///
/// # Errors
/// When a line is not a record of the heading's length.
pub(super) fn records(text: &str) -> Result<Vec<Vec<String>>> {
    csv::Reader::from_reader(text.as_bytes())
        .records()
        .map(|record| match record {
            Ok(record) => Ok(record.iter().map(str::to_owned).collect()),
            Err(cause) => Err(Error::input(format!(
                "a table that ships is damaged: {cause}"
            ))),
        })
        .collect()
}

fn row(cells: &[String]) -> Result<Row> {
    let number = |cell: &str| cell.trim().parse::<f64>().ok();
    let [
        name,
        symbol,
        value,
        low,
        high,
        unit,
        condition,
        source,
        grade,
        note,
    ] = cells
    else {
        return Err(Error::input("a table that ships has a row of wrong length"));
    };
    Ok(Row {
        name: name.clone(),
        symbol: symbol.clone(),
        value: match (value.trim(), number(value)) {
            ("", _) => Cell::Statement,
            (_, Some(number)) => Cell::Number(number),
            (text, None) => Cell::Text(text.to_owned()),
        },
        low: number(low),
        high: number(high),
        unit: unit.clone(),
        condition: condition.clone(),
        source: source.clone(),
        grade: grade_of(grade)?,
        note: note.clone(),
    })
}

/// A grade from its letter.
///
/// # Errors
/// When it is not one of A, B, C, D.
pub(super) fn grade_of(letter: &str) -> Result<Grade> {
    match letter.trim() {
        "A" => Ok(Grade::A),
        "B" => Ok(Grade::B),
        "C" => Ok(Grade::C),
        "D" => Ok(Grade::D),
        other => Err(Error::input(format!("grade {other} is none of A, B, C, D"))),
    }
}

/// Factor from a printed unit to SI; `None` for a unit that is not a plain multiple.
#[must_use]
pub fn to_si(unit: &str) -> Option<f64> {
    Some(match unit {
        "-" | "" | "m" | "kg" | "s" | "N" | "J" | "Pa" | "kg/m3" | "J/m2" | "m/s" | "m/s2"
        | "N/m" | "N m" | "GU" | "Hz" => 1.0,
        "um" => 1e-6,
        "mm" => 1e-3,
        "mm2" => 1e-6,
        "mm3" | "mm3/J" | "mm3/(N m)" => 1e-9,
        "cm2" => 1e-4,
        "g" => 1e-3,
        "mg" => 1e-6,
        "ug" => 1e-9,
        "us" => 1e-6,
        "min" => 60.0,
        "kPa" => 1e3,
        "MPa" => 1e6,
        "kgf/mm2" => 9.806_65e6,
        _ => return None,
    })
}

/// How a value is backed, in words; never a bare letter, because grade A has two meanings.
#[must_use]
pub fn backing(known: &Known) -> &'static str {
    let memory = known.source.contains("from memory") || known.source.contains("prior");
    match known.grade {
        Grade::A if memory => "claim seen in print, number partly from memory",
        Grade::A => "in print or recomputed",
        Grade::B => "published, quoted from memory",
        Grade::C => "common practice or from memory, no source seen",
        Grade::D => "engineering prior",
        Grade::User => "given by you",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// Row counts of the tables as they were handed over, 503 in all.
    #[test]
    fn all_rows_arrive() {
        let counts: Vec<usize> = table_names()
            .map(|n| table(n).unwrap().rows.len())
            .collect();
        assert_eq!(counts, [72, 76, 80, 37, 24, 112, 50, 36, 16]);
        assert_eq!(counts.iter().sum::<usize>(), 503);
    }

    #[test]
    fn the_key_is_name_symbol_and_condition() {
        for name in table_names() {
            let table = table(name).unwrap();
            let keys: BTreeSet<_> = table
                .rows
                .iter()
                .map(|r| (&r.name, &r.symbol, &r.condition))
                .collect();
            assert_eq!(keys.len(), table.rows.len(), "{name}");
        }
        let wear = table("wear").unwrap();
        let name = "prior: waterborne acrylic, brush, no topcoat";
        assert!(wear.find(name, "k_E", "").is_err(), "nine conditions");
        assert!(wear.find(name, "k_E", "counterface felt").is_ok());
    }

    #[test]
    fn words_and_statements_are_not_numbers() {
        let faces = table("counterfaces").unwrap();
        let shape = faces
            .find("open-cell PU foam plateau shape", "s25/s40/s65", "")
            .unwrap();
        assert_eq!(shape.value, Cell::Text("1:1.25:2.9".into()));
        assert!(shape.known().is_err());
        let wear = table("wear").unwrap();
        let law = wear.find("energy wear law", "k_E", "").unwrap();
        assert_eq!(law.value, Cell::Statement);
    }

    /// Brinell 18 kgf/mm2 is 176.5 MPa (ISO 80000: 1 kgf = 9.80665 N).
    #[test]
    fn units_become_si() {
        let bodies = table("body_materials").unwrap();
        let hardness = bodies.find("tin pewter (Sn-Sb-Cu)", "HB", "").unwrap();
        assert!((hardness.known().unwrap().value - 176.5e6).abs() < 0.1e6);
    }

    #[test]
    fn every_number_lies_in_its_range() {
        for name in table_names() {
            for row in table(name).unwrap().rows {
                if let Cell::Number(v) = row.value {
                    let (low, high) = (row.low.unwrap_or(v), row.high.unwrap_or(v));
                    assert!(low <= v && v <= high, "{}: {}", row.name, row.symbol);
                }
            }
        }
    }

    #[test]
    fn no_site_is_named() {
        for (name, text) in FILES {
            for end in [
                ".com", ".org", ".net", ".co.uk", ".de ", ".sk", ".jp", ".gov",
            ] {
                assert!(!text.contains(end), "{name}: {end}");
            }
        }
    }
}
