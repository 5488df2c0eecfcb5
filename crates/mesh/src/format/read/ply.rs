//! PLY, as text and binary of either byte order (Turk 1994, Stanford): an element `vertex` with
//! x, y, z and an element `face` with a list of corner numbers; other elements and properties
//! are passed over.

use super::Soup;
use super::text::{Lines, error_at, short};
use base::{Error, Place, Result};
use std::io::{BufReader, Read};
use std::path::Path;

/// [corners] longest face that is believed.
const LARGEST_FACE: u64 = 10_000;

#[derive(Debug, Clone, Copy, PartialEq)]
enum Scalar {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    F32,
    F64,
}

impl Scalar {
    fn named(word: &str) -> Option<Scalar> {
        Some(match word {
            "char" | "int8" => Scalar::I8,
            "uchar" | "uint8" => Scalar::U8,
            "short" | "int16" => Scalar::I16,
            "ushort" | "uint16" => Scalar::U16,
            "int" | "int32" => Scalar::I32,
            "uint" | "uint32" => Scalar::U32,
            "float" | "float32" => Scalar::F32,
            "double" | "float64" => Scalar::F64,
            _ => return None,
        })
    }

    fn size(self) -> usize {
        match self {
            Scalar::I8 | Scalar::U8 => 1,
            Scalar::I16 | Scalar::U16 => 2,
            Scalar::I32 | Scalar::U32 | Scalar::F32 => 4,
            Scalar::F64 => 8,
        }
    }

    fn decode(self, mut b: [u8; 8], big: bool) -> f64 {
        if big {
            b[..self.size()].reverse();
        }
        match self {
            Scalar::I8 => f64::from(b[0] as i8),
            Scalar::U8 => f64::from(b[0]),
            Scalar::I16 => f64::from(i16::from_le_bytes([b[0], b[1]])),
            Scalar::U16 => f64::from(u16::from_le_bytes([b[0], b[1]])),
            Scalar::I32 => f64::from(i32::from_le_bytes([b[0], b[1], b[2], b[3]])),
            Scalar::U32 => f64::from(u32::from_le_bytes([b[0], b[1], b[2], b[3]])),
            Scalar::F32 => f64::from(f32::from_le_bytes([b[0], b[1], b[2], b[3]])),
            Scalar::F64 => f64::from_le_bytes(b),
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Use {
    Axis(usize),
    Corners,
    Nothing,
}

#[derive(Debug, Clone)]
struct Property {
    /// Type of the count, for lists.
    list: Option<Scalar>,
    scalar: Scalar,
    used: Use,
}

#[derive(Debug, Clone)]
struct Element {
    name: String,
    count: u64,
    properties: Vec<Property>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Coding {
    Text,
    Little,
    Big,
}

/// Where the values come from.
trait Values {
    fn next(&mut self, scalar: Scalar) -> Result<f64>;
}

struct Binary<'a, R> {
    path: &'a Path,
    source: BufReader<R>,
    big: bool,
}

impl<R: Read> Values for Binary<'_, R> {
    fn next(&mut self, scalar: Scalar) -> Result<f64> {
        let mut bytes = [0; 8];
        match self.source.read_exact(&mut bytes[..scalar.size()]) {
            Ok(()) => Ok(scalar.decode(bytes, self.big)),
            Err(cause) if cause.kind() == std::io::ErrorKind::UnexpectedEof => {
                Err(cut_short(self.path))
            }
            Err(cause) => Err(Error::system("read the mesh", self.path, &cause)),
        }
    }
}

struct Text<'a, R> {
    path: &'a Path,
    lines: Lines<'a, R>,
    words: Vec<f64>,
}

impl<R: Read> Values for Text<'_, R> {
    fn next(&mut self, _scalar: Scalar) -> Result<f64> {
        while self.words.is_empty() {
            let Some(line) = self.lines.next()? else {
                return Err(cut_short(self.path));
            };
            let mut bad = None;
            for word in line.split_ascii_whitespace().rev() {
                match word.parse() {
                    Ok(value) => self.words.push(value),
                    Err(_) => bad = Some(short(word)),
                }
            }
            if let Some(word) = bad {
                let what = format!("has \"{word}\" where a number belongs");
                return Err(self.lines.error(&what));
            }
        }
        self.words.pop().ok_or_else(|| cut_short(self.path))
    }
}

fn cut_short(path: &Path) -> Error {
    Error::input("the file is cut short: this PLY announces more than it holds")
        .at(Place::file(path))
        .hint("the copy or download was interrupted: fetch it again")
}

/// Begins like a PLY.
pub fn looks_like(head: &[u8]) -> bool {
    head.starts_with(b"ply\n") || head.starts_with(b"ply\r")
}

/// Reads a PLY. Faces with more than three corners are cut into a fan.
///
/// # Errors
/// A header that is none, counts that do not fit the file, corners that do not exist.
pub fn read(path: &Path, source: impl Read, size: u64) -> Result<Soup> {
    let mut lines = Lines::new(path, "PLY", source);
    let (coding, elements) = header(path, &mut lines)?;
    check_counts(path, &elements, coding, size)?;
    if coding == Coding::Text {
        let words = Vec::new();
        return body(path, &elements, &mut Text { path, lines, words });
    }
    let source = lines.into_rest();
    let big = coding == Coding::Big;
    body(path, &elements, &mut Binary { path, source, big })
}

fn header<R: Read>(path: &Path, lines: &mut Lines<R>) -> Result<(Coding, Vec<Element>)> {
    let (mut coding, mut elements) = (None, Vec::<Element>::new());
    loop {
        let Some(line) = lines.next()? else {
            return Err(cut_short(path));
        };
        let words: Vec<&str> = line.split_ascii_whitespace().collect();
        let wrong = match words[..] {
            ["format", kind, _] => {
                coding = match kind {
                    "ascii" => Some(Coding::Text),
                    "binary_little_endian" => Some(Coding::Little),
                    "binary_big_endian" => Some(Coding::Big),
                    _ => None,
                };
                coding
                    .is_none()
                    .then(|| format!("has an unknown format \"{}\"", short(kind)))
            }
            ["element", name, count] => match count.parse() {
                Ok(count) if elements.len() < 64 => {
                    let name = name.to_string();
                    elements.push(Element {
                        name,
                        count,
                        properties: Vec::new(),
                    });
                    None
                }
                _ => Some(format!("has a count of \"{}\"", short(count))),
            },
            ["property", ref rest @ ..] => property(rest, elements.last_mut()).err(),
            ["end_header"] => break,
            ["ply" | "comment" | "obj_info", ..] | [] => None,
            _ => Some(format!("is no PLY header: \"{}\"", short(line))),
        };
        if let Some(what) = wrong {
            return Err(lines.error(&what));
        }
        if lines.number > 1000 {
            return Err(lines.error("is still header"));
        }
    }
    let coding = coding
        .ok_or_else(|| error_at(path, "PLY", lines.number, "ends a header without format"))?;
    Ok((coding, elements))
}

fn property(words: &[&str], element: Option<&mut Element>) -> std::result::Result<(), String> {
    let element = element.ok_or("is a property of no element")?;
    let scalar = |w: &str| Scalar::named(w).ok_or(format!("has an unknown type \"{}\"", short(w)));
    let (list, kind, name) = match *words {
        ["list", count, kind, name] => (Some(scalar(count)?), kind, name),
        [kind, name] => (None, kind, name),
        _ => return Err("is no property".into()),
    };
    let used = match (element.name.as_str(), name, list.is_some()) {
        ("vertex", "x", false) => Use::Axis(0),
        ("vertex", "y", false) => Use::Axis(1),
        ("vertex", "z", false) => Use::Axis(2),
        ("face", "vertex_indices" | "vertex_index", true) => Use::Corners,
        _ => Use::Nothing,
    };
    if element.properties.len() >= 256 {
        return Err("is one property too many".into());
    }
    element.properties.push(Property {
        list,
        scalar: scalar(kind)?,
        used,
    });
    Ok(())
}

/// Refuses counts that the file cannot hold, before any memory is asked for.
fn check_counts(path: &Path, elements: &[Element], coding: Coding, size: u64) -> Result<()> {
    for element in elements {
        let least: u64 = element
            .properties
            .iter()
            .map(|p| match coding {
                Coding::Text => 2,
                _ => p.list.unwrap_or(p.scalar).size() as u64,
            })
            .sum();
        if element.count.saturating_mul(least.max(1)) > size {
            return Err(cut_short(path));
        }
    }
    Ok(())
}

fn body(path: &Path, elements: &[Element], values: &mut impl Values) -> Result<Soup> {
    let mut soup = Soup::default();
    let mut face: Vec<u64> = Vec::new();
    for element in elements {
        for _ in 0..element.count {
            let mut place = [0.0; 3];
            face.clear();
            for property in &element.properties {
                one(path, property, values, (&mut place, &mut face))?;
            }
            match element.name.as_str() {
                "vertex" => {
                    soup.corner(path, place)?;
                }
                "face" if face.len() >= 3 => {
                    for pair in face[1..].windows(2) {
                        soup.triangle(path, [face[0], pair[0], pair[1]])?;
                    }
                }
                _ => {}
            }
        }
    }
    Ok(soup)
}

fn one(
    path: &Path,
    property: &Property,
    values: &mut impl Values,
    into: (&mut [f64; 3], &mut Vec<u64>),
) -> Result<()> {
    let count = match property.list {
        None => 1,
        Some(scalar) => values.next(scalar)? as u64,
    };
    if count > LARGEST_FACE {
        return Err(Error::input(format!(
            "a face of {count} corners; allowed are up to {LARGEST_FACE}"
        ))
        .at(Place::file(path))
        .hint("the file is damaged: export or fetch it again"));
    }
    for _ in 0..count {
        let value = values.next(property.scalar)?;
        match property.used {
            Use::Axis(axis) => into.0[axis] = value,
            // A negative or broken number becomes one that no file has.
            Use::Corners => into.1.push(if value >= 0.0 {
                value as u64
            } else {
                u64::MAX - 1
            }),
            Use::Nothing => {}
        }
    }
    Ok(())
}
