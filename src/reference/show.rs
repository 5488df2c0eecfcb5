//! The stock in plain rows, for `thumbworn stock`.

use super::falls;
use super::stock::{Entry, Kind, Short, Stock};
use super::table::{backing, table};
use base::{Error, Result};

/// One line of a listing.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Line {
    /// Property.
    pub property: String,
    /// Value with unit.
    pub value: String,
    /// 5-95 % range.
    pub range: String,
    /// How it is backed.
    pub backing: String,
    /// Source and remark.
    pub source: String,
}

/// SI unit of a property, for display.
#[must_use]
pub fn unit_of(property: &str) -> &'static str {
    match property {
        "density" => "kg/m3",
        "youngs" | "yield" | "hardness" | "cld40" => "Pa",
        "thickness" | "edge_radius" | "burnish_depth" => "m",
        "toughness" => "J/m2",
        "gloss" | "gloss_end" => "GU",
        "wear_level" => "m3/J",
        p if p.starts_with("rate on") => "m3/J",
        _ => "",
    }
}

/// A value in the unit people use at the bench.
fn shown(property: &str, value: f64) -> String {
    let (factor, unit) = match unit_of(property) {
        "Pa" if property == "cld40" => (1e-3, "kPa"),
        "Pa" => (1e-6, "MPa"),
        "m" if property == "edge_radius" => (1e3, "mm"),
        "m" => (1e6, "um"),
        "m3/J" => (1e9, "mm3/J"),
        other => (1.0, other),
    };
    format!("{} {unit}", Short(value * factor))
        .trim_end()
        .to_owned()
}

/// The rows of one entry.
#[must_use]
pub fn lines(entry: &Entry) -> Vec<Line> {
    let words = entry.words.iter().map(|(property, word)| Line {
        property: property.clone(),
        value: word.clone(),
        range: String::new(),
        backing: String::new(),
        source: String::new(),
    });
    let values = entry.values.iter().map(|(property, known)| Line {
        property: property.clone(),
        value: shown(property, known.value),
        range: match known.low < known.high {
            true => format!(
                "{} to {}",
                shown(property, known.low),
                shown(property, known.high)
            ),
            false => String::new(),
        },
        backing: format!("{:?}: {}", known.grade, backing(known)),
        source: match entry.remarks.get(property) {
            Some(remark) => format!("{} ({remark})", known.source),
            None => known.source.clone(),
        },
    });
    words.chain(values).collect()
}

/// The text of `thumbworn stock` without a name: what there is.
#[must_use]
pub fn overview(stock: &Stock) -> String {
    let mut text = String::new();
    for kind in Kind::ALL {
        text.push_str(&format!("{}\n", kind.word()));
        for entry in stock.of(kind) {
            text.push_str(&format!("  {:<28} {}\n", entry.name, gist(entry)));
        }
    }
    text.push_str("fall (for drop, as schedule = ...)\n");
    for fall in falls::names().filter_map(|n| falls::fall(n).ok().flatten()) {
        let drops = fall
            .drops
            .map_or_else(String::new, |n| format!(", {n} drops"));
        let height = 1e3 * fall.height.value;
        text.push_str(&format!("  {:<28} {height:.0} mm{drops}\n", fall.name));
    }
    text.push_str("Each value has a range, a grade and a source: name an entry to see them.\n");
    text
}

/// The most telling value of an entry.
fn gist(entry: &Entry) -> String {
    let key = match entry.kind {
        Kind::Body => "density",
        Kind::Film => "thickness",
        Kind::Counterface if entry.values.contains_key("cld40") => "cld40",
        Kind::Counterface | Kind::Modifier => "factor",
    };
    entry.values.get(key).map_or_else(String::new, |known| {
        format!("{} {}", key.replace('_', " "), shown(key, known.value))
    })
}

/// The text of `thumbworn stock NAME`: every entry of that name, with range, backing and source,
/// and the caution that belongs to it.
///
/// # Errors
/// When no entry has that name; the hint names the nearest.
pub fn detail(stock: &Stock, name: &str) -> Result<String> {
    let found: Vec<&Entry> = Kind::ALL
        .into_iter()
        .filter_map(|kind| stock.entry(kind, name).ok())
        .collect();
    if found.is_empty() {
        let names = stock.entries().iter().map(|e| e.name.as_str());
        let error = Error::input(format!("the stock has no entry \"{name}\""));
        return Err(match base::error::nearest(name, names) {
            Some(near) => error.hint(format!("did you mean \"{near}\"?")),
            None => error.hint("thumbworn stock lists all names"),
        });
    }
    let mut text = String::new();
    for entry in found {
        text.push_str(&format!("{} ({})\n", entry.name, entry.kind.word()));
        for line in lines(entry) {
            text.push_str(&format!(
                "  {:<22} {:<14} {:<24} {:<46} {}\n",
                line.property, line.value, line.range, line.backing, line.source
            ));
        }
        for caution in cautions(entry)? {
            text.push_str(&format!("  caution: {caution}\n"));
        }
    }
    Ok(text)
}

/// Cautions that belong to an entry: sprays, isocyanates, leaded castings, resins. They defer to
/// the product's label, its safety data sheet and local rules.
///
/// # Errors
/// When the hazard table is damaged.
pub fn cautions(entry: &Entry) -> Result<Vec<String>> {
    let mut starts: Vec<&str> = match entry.words.get("caution").map(String::as_str) {
        Some("aerosol") => vec!["aerosol cans", "spray mist"],
        Some("airbrush") => vec!["airbrush, waterborne"],
        Some("isocyanate") => vec!["two-component isocyanate"],
        _ => Vec::new(),
    };
    match entry.name.as_str() {
        "lead-tin casting alloy" => starts.extend(["old cast alloys", "tumbling bare"]),
        "tin pewter" | "zinc alloy" => starts.extend(["old cast alloys", "tumbling bare"]),
        "photopolymer resin" => starts.extend(["uncured photopolymer", "sanding dust"]),
        "polyurethane resin" => starts.extend(["cast polyurethane", "sanding dust"]),
        "ester foam" => starts.push("foam decay"),
        _ => {}
    }
    let hazards = table("hazards")?;
    Ok(hazards
        .rows
        .iter()
        .filter(|row| starts.iter().any(|s| row.name.starts_with(s)))
        .map(|row| format!("{}: {} {}", row.name, row.condition, row.note))
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_entry_shows_value_range_backing_and_source() {
        let stock = Stock::load().unwrap();
        let text = detail(&stock, "Satin topcoat, aerosol").unwrap();
        assert!(
            text.contains("13 um") && text.contains("6 um to 25 um"),
            "{text}"
        );
        assert!(text.contains("0.001143 mm3/J"), "{text}");
        assert!(text.contains("caution: aerosol cans"));
        assert!(text.contains("label and safety data sheet"));
    }

    #[test]
    fn the_overview_names_everything_and_slips_are_told() {
        let stock = Stock::load().unwrap();
        let text = overview(&stock);
        for entry in stock.entries() {
            assert!(text.contains(&entry.name));
        }
        let error = detail(&stock, "tin pewtr").unwrap_err().to_string();
        assert!(error.contains("tin pewter"));
    }

    #[test]
    fn dangerous_materials_carry_cautions() {
        let stock = Stock::load().unwrap();
        for name in [
            "lead-tin casting alloy",
            "two-component topcoat",
            "photopolymer resin",
        ] {
            assert!(detail(&stock, name).unwrap().contains("caution:"), "{name}");
        }
    }
}
