//! The stock: materials by trade names of our own, drawn from the tables, every value overrulable.

use super::table::{Table, grade_of, records, table, to_si};
use base::error::nearest;
use base::note::Topic;
use base::{Error, Grade, Known, Note, Result};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What kind of thing an entry is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// What the figure is made of.
    Body,
    /// A coat.
    Film,
    /// What touches the figure.
    Counterface,
    /// A declared multiplier of wear.
    Modifier,
}

impl Kind {
    /// All kinds, in the order they are listed.
    pub const ALL: [Kind; 4] = [Kind::Body, Kind::Film, Kind::Counterface, Kind::Modifier];

    /// For people.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Kind::Body => "body",
            Kind::Film => "film",
            Kind::Counterface => "counterface",
            Kind::Modifier => "modifier",
        }
    }
}

/// One material: words and values by property name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// What kind.
    pub kind: Kind,
    /// Name in the scenario.
    pub name: String,
    /// Properties in words: role, method, class.
    pub words: BTreeMap<String, String>,
    /// Properties in numbers, SI.
    pub values: BTreeMap<String, Known>,
    /// Remarks by property.
    pub remarks: BTreeMap<String, String>,
}

impl Entry {
    /// A new entry that is the same but for its name, as a start for a user's own material.
    #[must_use]
    pub fn renamed(&self, name: &str) -> Entry {
        Entry {
            name: name.to_owned(),
            ..self.clone()
        }
    }

    /// One value.
    ///
    /// # Errors
    /// When the entry has no such property.
    pub fn value(&self, property: &str) -> Result<&Known> {
        self.values.get(property).ok_or_else(|| {
            let known: Vec<&str> = self.values.keys().map(String::as_str).collect();
            let error = Error::input(format!(
                "{} \"{}\" has no value named {property}",
                self.kind.word(),
                self.name
            ));
            match nearest(property, known.iter().copied()) {
                Some(near) => error.hint(format!("did you mean {near}?")),
                None => error.hint(format!("it has: {}", known.join(", "))),
            }
        })
    }

    /// One word.
    ///
    /// # Errors
    /// When the entry has no such property.
    pub fn word(&self, property: &str) -> Result<&str> {
        self.words.get(property).map(String::as_str).ok_or_else(|| {
            Error::input(format!(
                "{} \"{}\" has no property {property}",
                self.kind.word(),
                self.name
            ))
        })
    }
}

/// A value of the user's that replaces one of the stock.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Overrule {
    /// Kind of the entry.
    pub kind: Kind,
    /// Name of the entry.
    pub name: String,
    /// Property, as `thumbworn stock NAME` lists it.
    pub property: String,
    /// [SI unit of the property] new value.
    pub value: f64,
    /// 5 % and 95 % quantiles; `None` takes the value as exact.
    pub range: Option<(f64, f64)>,
    /// How the user knows it.
    pub source: String,
}

/// All entries.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stock {
    entries: Vec<Entry>,
    /// One for each value overruled.
    pub notes: Vec<Note>,
}

impl Stock {
    /// The stock that ships.
    ///
    /// # Errors
    /// When a file that ships is damaged.
    pub fn load() -> Result<Stock> {
        let tables = super::table::table_names()
            .map(table)
            .collect::<Result<Vec<Table>>>()?;
        let mut entries: Vec<Entry> = Vec::new();
        for cells in records(include_str!("data/stock.csv"))? {
            let [kind, name, property, rest @ ..] = cells.as_slice() else {
                return Err(Error::input("the stock has a row of wrong length"));
            };
            let kind = kind_of(kind)?;
            if !matches!(entries.last(), Some(e) if e.kind == kind && e.name == *name) {
                entries.push(Entry {
                    kind,
                    name: name.clone(),
                    words: BTreeMap::new(),
                    values: BTreeMap::new(),
                    remarks: BTreeMap::new(),
                });
            }
            if let Some(entry) = entries.last_mut() {
                put(entry, property, rest, &tables)?;
            }
        }
        Ok(Stock {
            entries,
            notes: Vec::new(),
        })
    }

    /// All entries of a kind, in file order.
    pub fn of(&self, kind: Kind) -> impl Iterator<Item = &Entry> {
        self.entries.iter().filter(move |e| e.kind == kind)
    }

    /// All entries.
    #[must_use]
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// An entry by name, upper and lower case alike.
    ///
    /// # Errors
    /// When there is none; the hint names the nearest.
    pub fn entry(&self, kind: Kind, name: &str) -> Result<&Entry> {
        let wanted = plain(name);
        self.of(kind)
            .find(|e| plain(&e.name) == wanted)
            .ok_or_else(|| self.unknown(kind, name))
    }

    fn unknown(&self, kind: Kind, name: &str) -> Error {
        let names: Vec<&str> = self.of(kind).map(|e| e.name.as_str()).collect();
        let error = Error::input(format!("the stock has no {} \"{name}\"", kind.word()));
        match nearest(name, names.iter().copied()) {
            Some(near) => error.hint(format!("did you mean \"{near}\"?")),
            None => error.hint(format!("the stock has: {}", names.join("; "))),
        }
    }

    /// Adds an entry of the user's own, or replaces the one of the same name.
    pub fn put(&mut self, entry: Entry) {
        self.notes.push(Note::new(
            Topic::Overruled,
            format!("{} \"{}\" is your own entry", entry.kind.word(), entry.name),
        ));
        let wanted = plain(&entry.name);
        let kind = entry.kind;
        match self
            .entries
            .iter_mut()
            .find(|e| e.kind == kind && plain(&e.name) == wanted)
        {
            Some(old) => *old = entry,
            None => self.entries.push(entry),
        }
    }

    /// Adds a material of the user's own: like one of the stock, with some values replaced.
    ///
    /// * `values`: property and [SI] value, taken as exact
    ///
    /// # Errors
    /// When `like` or a property does not exist.
    pub fn own(
        &mut self,
        kind: Kind,
        (name, like): (&str, &str),
        values: &[(&str, f64)],
    ) -> Result<()> {
        let entry = self.entry(kind, like)?.renamed(name);
        self.put(entry);
        for (property, value) in values {
            self.overrule(&Overrule {
                kind,
                name: name.to_owned(),
                property: (*property).to_owned(),
                value: *value,
                range: None,
                source: "given in the scenario".to_owned(),
            })?;
        }
        Ok(())
    }

    /// Replaces one value by the user's and keeps a note of it. A property the entry may have but
    /// lacks (friction of one film on one counterface) is added.
    ///
    /// # Errors
    /// When entry or property do not exist, or the value is not a number or outside its own range.
    pub fn overrule(&mut self, with: &Overrule) -> Result<()> {
        let (low, high) = with.range.unwrap_or((with.value, with.value));
        if !(with.value.is_finite() && low <= with.value && with.value <= high) {
            return Err(Error::input(format!(
                "{}, {}: {} is not a number within its range {low} to {high}",
                with.name, with.property, with.value
            )));
        }
        self.entry(with.kind, &with.name)?;
        let wanted = plain(&with.name);
        let known = Known {
            value: with.value,
            low,
            high,
            grade: Grade::User,
            source: with.source.clone(),
        };
        let Some(entry) = self
            .entries
            .iter_mut()
            .find(|e| e.kind == with.kind && plain(&e.name) == wanted)
        else {
            return Err(self.unknown(with.kind, &with.name));
        };
        let addable = ["friction_", "rate on ", "coupon friction on "]
            .iter()
            .any(|start| with.property.starts_with(start));
        if !addable {
            entry.value(&with.property)?;
        }
        let before = entry.values.insert(with.property.clone(), known);
        let was = before.map_or_else(String::new, |b| format!(", stock said {}", Short(b.value)));
        self.notes.push(Note::new(
            Topic::Overruled,
            format!(
                "{}: {} is {}{was} (SI)",
                with.name,
                with.property,
                Short(with.value)
            ),
        ));
        Ok(())
    }

    /// One note per entry whose values rest on priors or memory.
    #[must_use]
    pub fn prior_note(entry: &Entry) -> Option<Note> {
        let weak: Vec<&str> = entry
            .values
            .iter()
            .filter(|(_, k)| matches!(k.grade, Grade::C | Grade::D))
            .map(|(p, _)| p.as_str())
            .collect();
        (!weak.is_empty()).then(|| {
            Note::new(
                Topic::Prior,
                format!(
                    "{}: without a published source: {}",
                    entry.name,
                    weak.join(", ")
                ),
            )
        })
    }
}

/// A number for people: four digits, powers of ten only where needed.
pub(super) struct Short(pub f64);

impl std::fmt::Display for Short {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let v = self.0;
        if v == 0.0 || (1e-3..1e5).contains(&v.abs()) {
            let digits = (3 - v.abs().max(1e-3).log10().floor() as i32).clamp(0, 6) as usize;
            let text = format!("{v:.digits$}");
            let text = match text.contains('.') {
                true => text.trim_end_matches('0').trim_end_matches('.'),
                false => &text,
            };
            f.write_str(text)
        } else {
            write!(f, "{v:.3e}")
        }
    }
}

fn plain(name: &str) -> String {
    name.split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
        .to_lowercase()
}

fn kind_of(word: &str) -> Result<Kind> {
    Kind::ALL
        .into_iter()
        .find(|k| k.word() == word)
        .ok_or_else(|| Error::input(format!("the stock has a row of unknown kind {word}")))
}

/// Reads the cells after kind, name and property: value, low, high, unit, grade, source, note, row.
fn put(entry: &mut Entry, property: &str, cells: &[String], tables: &[Table]) -> Result<()> {
    let [value, low, high, unit, grade, source, note, row] = cells else {
        return Err(Error::input("the stock has a row of wrong length"));
    };
    if unit == "text" {
        entry.words.insert(property.to_owned(), value.clone());
        return Ok(());
    }
    if !note.is_empty() {
        entry.remarks.insert(property.to_owned(), note.clone());
    }
    let known = if value.is_empty() {
        from_table(row, tables)?
    } else {
        let damaged = || Error::input(format!("{}, {property}: damaged number", entry.name));
        let number = |cell: &str| cell.parse::<f64>().ok();
        let factor = to_si(unit).ok_or_else(damaged)?;
        let middle = number(value).ok_or_else(damaged)?;
        Known {
            value: middle * factor,
            low: number(low).unwrap_or(middle) * factor,
            high: number(high).unwrap_or(middle) * factor,
            grade: grade_of(grade)?,
            source: source.clone(),
        }
    };
    entry.values.insert(property.to_owned(), known);
    Ok(())
}

/// A value by its address `table|name|symbol|start of condition`.
fn from_table(address: &str, tables: &[Table]) -> Result<Known> {
    let lost = || Error::input(format!("the stock points nowhere: {address}"));
    let mut parts = address.split('|');
    let mut next = || parts.next();
    let (stem, name, symbol) = match (next(), next(), next()) {
        (Some(stem), Some(name), Some(symbol)) => (stem, name, symbol),
        _ => return Err(lost()),
    };
    let condition = next().unwrap_or("");
    let table = tables.iter().find(|t| t.name == stem).ok_or_else(lost)?;
    table.find(name, symbol, condition)?.known()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_found_whatever_their_case_and_slips_are_told() {
        let stock = Stock::load().unwrap();
        assert_eq!(stock.of(Kind::Body).count(), 9);
        assert!(stock.entry(Kind::Film, "Satin  Topcoat, AEROSOL").is_ok());
        let error = stock
            .entry(Kind::Film, "satin topcote, aerosol")
            .unwrap_err();
        assert!(
            error
                .to_string()
                .contains("did you mean \"satin topcoat, aerosol\"?")
        );
    }

    #[test]
    fn an_overruled_value_is_used_and_noted() {
        let mut stock = Stock::load().unwrap();
        let mut with = Overrule {
            kind: Kind::Body,
            name: "Tin Pewter".into(),
            property: "density".into(),
            value: 7180.0,
            range: None,
            source: "weighed in water".into(),
        };
        stock.overrule(&with).unwrap();
        let entry = stock.entry(Kind::Body, "tin pewter").unwrap();
        assert_eq!(entry.value("density").unwrap().value, 7180.0);
        assert_eq!(entry.value("density").unwrap().grade, Grade::User);
        assert!(
            stock.notes[0].text.contains("stock said 7300"),
            "{:?}",
            stock.notes
        );
        with.property = "densty".into();
        let error = stock.overrule(&with).unwrap_err().to_string();
        assert!(error.contains("did you mean density?"), "{error}");
        with.property = "density".into();
        with.range = Some((8000.0, 9000.0));
        assert!(stock.overrule(&with).is_err(), "outside its own range");
    }

    #[test]
    fn an_own_material_starts_from_one_of_the_stock() {
        let mut stock = Stock::load().unwrap();
        let values = [("density", 8100.0), ("yield", 30e6)];
        stock
            .own(
                Kind::Body,
                ("grandfather's alloy", "lead-tin casting alloy"),
                &values,
            )
            .unwrap();
        let body = stock.body("Grandfather's alloy").unwrap();
        assert_eq!(
            (body.density.value, body.yield_stress.value),
            (8100.0, 30e6)
        );
        assert_eq!(
            stock.body("lead-tin casting alloy").unwrap().density.value,
            9280.0
        );
        assert!(stock.own(Kind::Body, ("x", "no such thing"), &[]).is_err());
    }

    #[test]
    fn short_numbers_read_well() {
        let text = |v| Short(v).to_string();
        assert_eq!(text(7300.0), "7300");
        assert_eq!(text(0.35), "0.35");
        assert_eq!(text(5.2e10), "5.200e10");
        assert_eq!(text(0.0), "0");
    }
}
