//! Published falls that a `drop` can name: height, and number of drops where one is printed.
//! Heights and sources are rows of the transport table.

use super::table::table;
use base::{Known, Result};

/// A published fall.
#[derive(Debug, Clone, PartialEq)]
pub struct Fall {
    /// Name in the scenario.
    pub name: &'static str,
    /// [m] free height, with range, grade and source.
    pub height: Known,
    /// Number of drops, where the schedule prints one.
    pub drops: Option<u32>,
    /// What it was written for.
    pub meant_for: &'static str,
}

/// Name, then name and condition of the row, number of drops, what it was written for.
type Entry = (
    &'static str,
    &'static str,
    &'static str,
    Option<u32>,
    &'static str,
);

const BARE: &str = "a bare thing";
const PACKED: &str = "a packed box, not a bare figure";

const FALLS: [Entry; 12] = [
    (
        "table to floor",
        "table to floor",
        "",
        None,
        "a bare thing; common practice, no schedule",
    ),
    (
        "en 71-1",
        "EN 71-1 drop",
        "",
        Some(5),
        "a bare toy, on 4 mm steel with 2 mm of rubbery coating, worst attitude",
    ),
    (
        "astm f963, under 18 months",
        "ASTM F963 drop, under 18 months",
        "",
        Some(10),
        "a bare toy, on vinyl tile over concrete",
    ),
    (
        "astm f963, 18 to 96 months",
        "ASTM F963 drop, 18-96 months",
        "",
        Some(4),
        "a bare toy, on vinyl tile over concrete",
    ),
    (
        "iec 60068-2-31, 250 mm",
        "IEC 60068-2-31 free fall procedure 1 height",
        "severity h=250 mm",
        None,
        BARE,
    ),
    (
        "iec 60068-2-31, 500 mm",
        "IEC 60068-2-31 free fall procedure 1 height",
        "severity h=500 mm",
        None,
        BARE,
    ),
    (
        "iec 60068-2-31, 1000 mm",
        "IEC 60068-2-31 free fall procedure 1 height",
        "severity h=1000 mm",
        None,
        BARE,
    ),
    (
        "astm d4169, level i",
        "D4169 schedule A manual drop, <= 9.1 kg",
        "assurance level I",
        None,
        PACKED,
    ),
    (
        "astm d4169, level ii",
        "D4169 schedule A manual drop, <= 9.1 kg",
        "assurance level II",
        None,
        PACKED,
    ),
    (
        "astm d4169, level iii",
        "D4169 schedule A manual drop, <= 9.1 kg",
        "assurance level III",
        None,
        PACKED,
    ),
    (
        "mil-std-810 transit",
        "MIL-STD-810 transit drop, <= 45 kg",
        "",
        Some(26),
        "equipment in its transit case",
    ),
    (
        "ista 3a, small parcels",
        "ISTA 3A drop, small parcels",
        "",
        None,
        PACKED,
    ),
];

/// Names of all falls.
pub fn names() -> impl Iterator<Item = &'static str> {
    FALLS.iter().map(|f| f.0)
}

/// A fall by name; `None` when there is none of that name.
///
/// # Errors
/// When the table that ships is damaged.
pub fn fall(name: &str) -> Result<Option<Fall>> {
    let Some((name, row, condition, drops, meant_for)) = FALLS.iter().find(|f| f.0 == name) else {
        return Ok(None);
    };
    let transport = table("transport")?;
    // Levels I, II and III begin alike: the condition is compared whole.
    let mut rows = transport
        .rows
        .iter()
        .filter(|r| r.name == *row && r.symbol == "h");
    let found = match *condition {
        "" => rows.next(),
        whole => rows.find(|r| r.condition.split(';').next() == Some(whole)),
    };
    let Some(found) = found else {
        return Err(base::Error::refused(format!(
            "the transport table has no row {row}, {condition}"
        )));
    };
    Ok(Some(Fall {
        name,
        height: found.known()?,
        drops: *drops,
        meant_for,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Heights and counts as printed: EN 71-1 850 mm, 5 times; ASTM F963 4.5 ft (1370 mm) 10 times
    /// and 3 ft (910 mm) 4 times (toy test pages and a comparison of toy standards, in print);
    /// MIL-STD-810 transit drop 48 in (1220 mm), 26 drops; D4169 24, 15 and 9 in (from memory).
    #[test]
    fn heights_are_the_published_ones() {
        let published = [
            ("en 71-1", 0.85, Some(5)),
            ("astm f963, under 18 months", 1.37, Some(10)),
            ("astm f963, 18 to 96 months", 0.91, Some(4)),
            ("mil-std-810 transit", 1.22, Some(26)),
            ("astm d4169, level i", 24.0 * 0.0254, None),
            ("astm d4169, level ii", 15.0 * 0.0254, None),
            ("astm d4169, level iii", 9.0 * 0.0254, None),
            ("iec 60068-2-31, 1000 mm", 1.0, None),
            ("table to floor", 0.76, None),
        ];
        for (name, height, drops) in published {
            let fall = fall(name).unwrap().unwrap();
            assert!((fall.height.value - height).abs() < 2e-3, "{fall:?}");
            assert_eq!(fall.drops, drops, "{name}");
        }
    }

    #[test]
    fn every_name_has_a_row_with_a_source() {
        for name in names() {
            let fall = fall(name).unwrap().unwrap();
            assert!(fall.height.value > 0.0 && !fall.height.source.is_empty());
        }
        assert_eq!(fall("off a roof").unwrap(), None);
    }
}
