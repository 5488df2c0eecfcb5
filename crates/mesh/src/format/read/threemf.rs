//! 3MF: a zip archive with a model in XML (3MF Core Specification 1.3, with the production
//! extension's parts in other files of the same archive). Objects, components and build items
//! are placed as told; objects of type "support" are left out.
//!
//! Nothing outside the archive is ever opened. Unpacking stops at [`RATIO`] times the size of the
//! archive, all parts together: a real model packs to a fifth or a tenth, a bomb to a thousandth.

use super::matrix::Placement;
use super::soup::{Axis, too_many};
use super::{MOST_TRIANGLES, Soup};
use base::{Error, Note, Place, Result, Topic};
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read, Seek};
use std::path::Path;

const RATIO: u64 = 50;
/// [bytes] always allowed.
const SMALL: u64 = 32 << 20;
/// [bytes] never allowed: text for about fifteen million triangles.
const LARGE: u64 = 1 << 30;
/// [bytes] longest tag or text between tags.
const LONGEST: u64 = 1 << 20;
/// Components in components.
const DEPTH: usize = 16;
/// Placed objects, all told; also objects, components and items in the file.
const MOST_PLACED: usize = 100_000;
/// Files of the archive that hold parts of the model.
const MOST_PARTS: usize = 2000;

#[derive(Default)]
struct Object {
    vertices: Vec<[f64; 3]>,
    triangles: Vec<[u64; 3]>,
    components: Vec<Reference>,
    support: bool,
}

#[derive(Clone)]
struct Reference {
    part: String,
    object: String,
    placement: Placement,
}

#[derive(Default)]
struct Model {
    unit: Option<f64>,
    objects: BTreeMap<(String, String), Object>,
    items: Vec<Reference>,
    others: Vec<String>,
    /// So far in all objects.
    vertices: u64,
    triangles: u64,
    references: usize,
}

impl Model {
    /// Counts objects, components and items.
    fn one_more(&mut self, path: &Path) -> Result<()> {
        self.references += 1;
        if self.references > MOST_PLACED {
            return Err(refuse(
                path,
                format!("the model holds more than {MOST_PLACED} objects and placements"),
            ));
        }
        Ok(())
    }
}

fn refuse(path: &Path, what: impl Into<String>) -> Error {
    Error::input(what)
        .at(Place::file(path))
        .hint("export or fetch the 3MF again, or export an STL")
}

/// Reads a 3MF.
///
/// * `packed`: [bytes] size of the archive
///
/// # Errors
/// No zip archive, no model in it, a model that is damaged or unpacks beyond belief.
pub fn read(path: &Path, source: impl Read + Seek, packed: u64) -> Result<Soup> {
    let allowed = packed.saturating_mul(RATIO).clamp(SMALL, LARGE);
    let mut left = allowed;
    let mut archive = zip::ZipArchive::new(BufReader::new(source))
        .map_err(|cause| refuse(path, format!("the archive cannot be opened ({cause})")))?;
    let first = archive
        .file_names()
        .filter(|n| n.to_ascii_lowercase().ends_with(".model"))
        .min_by_key(|n| {
            (
                !n.to_ascii_lowercase().ends_with("3d/3dmodel.model"),
                n.to_string(),
            )
        })
        .map(str::to_string)
        .ok_or_else(|| {
            Error::input("this zip archive holds no 3MF model")
                .at(Place::file(path))
                .hint("if a mesh was packed into it, unpack it and name the mesh")
        })?;
    let mut model = Model::default();
    let mut todo = vec![clean(&first)];
    let mut done: Vec<String> = Vec::new();
    while let Some(part) = todo.pop() {
        if done.contains(&part) {
            continue;
        }
        if done.len() >= MOST_PARTS {
            let text = format!("the archive refers to more than {MOST_PARTS} parts");
            return Err(refuse(path, text));
        }
        left = part_into(path, &mut archive, &part, (&mut model, left))?;
        if left == 0 {
            let text = format!(
                "the model unpacks to more than {} MB: too much to be a figure",
                allowed >> 20
            );
            return Err(refuse(path, text));
        }
        done.push(part);
        todo.append(&mut model.others);
    }
    place_all(path, &model)
}

fn clean(part: &str) -> String {
    part.trim_start_matches('/').to_string()
}

/// Gives how many bytes may still be unpacked.
fn part_into(
    path: &Path,
    archive: &mut zip::ZipArchive<impl Read + Seek>,
    part: &str,
    (model, left): (&mut Model, u64),
) -> Result<u64> {
    let file = archive
        .by_name(part)
        .map_err(|cause| refuse(path, format!("part \"{part}\" cannot be opened ({cause})")))?;
    let mut tags = Tags {
        path,
        source: BufReader::with_capacity(1 << 16, file.take(left)),
        tag: Vec::new(),
    };
    let mut parser = Parser {
        path,
        part,
        model,
        object: None,
        first: part.to_string(),
    };
    while let Some(tag) = tags.next()? {
        parser.tag(tag)?;
    }
    Ok(tags.source.into_inner().limit())
}

/// Gives tag after tag, without brackets.
struct Tags<'a, R> {
    path: &'a Path,
    source: BufReader<R>,
    tag: Vec<u8>,
}

impl<R: Read> Tags<'_, R> {
    fn until(&mut self, end: u8) -> Result<bool> {
        let read = self
            .source
            .by_ref()
            .take(LONGEST)
            .read_until(end, &mut self.tag)
            .map_err(|cause| refuse(self.path, format!("the archive is damaged ({cause})")))?;
        if read as u64 == LONGEST {
            return Err(refuse(
                self.path,
                "the model has a tag or text of more than 1 MB",
            ));
        }
        Ok(read > 0 && self.tag.last() == Some(&end))
    }

    fn next(&mut self) -> Result<Option<&str>> {
        loop {
            self.tag.clear();
            if !self.until(b'<')? {
                return Ok(None);
            }
            self.tag.clear();
            if !self.until(b'>')? {
                return Ok(None);
            }
            while self.tag.starts_with(b"!--") && !self.tag.ends_with(b"-->") {
                if self.tag.len() as u64 > LONGEST || !self.until(b'>')? {
                    return Err(refuse(self.path, "the model has a comment without end"));
                }
            }
            if !self.tag.starts_with(b"!") && !self.tag.starts_with(b"?") {
                break;
            }
        }
        self.tag.pop();
        std::str::from_utf8(&self.tag)
            .map(Some)
            .map_err(|_| refuse(self.path, "the model is no UTF-8 text"))
    }
}

/// Name of a tag without its prefix; "/" in front when it closes.
fn name(tag: &str) -> (bool, &str) {
    let (closing, tag) = tag.strip_prefix('/').map_or((false, tag), |t| (true, t));
    let end = tag
        .find(|c: char| c.is_ascii_whitespace() || c == '/')
        .unwrap_or(tag.len());
    let name = &tag[..end];
    (closing, name.rsplit(':').next().unwrap_or(name))
}

/// Value of an attribute, whatever its prefix.
fn attribute<'a>(tag: &'a str, wanted: &str) -> Option<&'a str> {
    let mut rest = tag;
    while let Some(equal) = rest.find('=') {
        let name = rest[..equal].trim_end();
        let name = name.rsplit(|c: char| c.is_ascii_whitespace()).next()?;
        let after = rest[equal + 1..].trim_start();
        let quote = after.chars().next().filter(|c| *c == '"' || *c == '\'')?;
        let end = after[1..].find(quote)? + 1;
        if name.rsplit(':').next() == Some(wanted) {
            return Some(&after[1..end]);
        }
        rest = &after[end + 1..];
    }
    None
}

struct Parser<'a> {
    path: &'a Path,
    part: &'a str,
    model: &'a mut Model,
    object: Option<(String, Object)>,
    first: String,
}

impl Parser<'_> {
    fn bad(&self, tag: &str) -> Error {
        refuse(
            self.path,
            format!("the model has a broken tag <{}>", super::text::short(tag)),
        )
    }

    fn number<T: std::str::FromStr>(&self, tag: &str, key: &str) -> Result<T> {
        attribute(tag, key)
            .and_then(|v| v.trim().parse().ok())
            .ok_or_else(|| self.bad(tag))
    }

    fn tag(&mut self, tag: &str) -> Result<()> {
        match name(tag) {
            (false, "model") if self.model.unit.is_none() => {
                self.model.unit = attribute(tag, "unit").and_then(unit);
            }
            (false, "object") => {
                let id = attribute(tag, "id")
                    .ok_or_else(|| self.bad(tag))?
                    .to_string();
                self.model.one_more(self.path)?;
                let support = matches!(attribute(tag, "type"), Some("support" | "solidsupport"));
                self.object = Some((
                    id,
                    Object {
                        support,
                        ..Object::default()
                    },
                ));
            }
            (true, "object") => {
                if let Some((id, object)) = self.object.take() {
                    self.model
                        .objects
                        .insert((self.part.to_string(), id), object);
                }
            }
            (false, "vertex") => {
                let place = [
                    self.number(tag, "x")?,
                    self.number(tag, "y")?,
                    self.number(tag, "z")?,
                ];
                if let Some((_, object)) = &mut self.object {
                    self.model.vertices += 1;
                    if self.model.vertices > MOST_TRIANGLES * 3 / 2 {
                        return Err(too_many(self.path));
                    }
                    object.vertices.push(place);
                }
            }
            (false, "triangle") => {
                let corners = [
                    self.number(tag, "v1")?,
                    self.number(tag, "v2")?,
                    self.number(tag, "v3")?,
                ];
                if let Some((_, object)) = &mut self.object {
                    self.model.triangles += 1;
                    if self.model.triangles > MOST_TRIANGLES {
                        return Err(too_many(self.path));
                    }
                    object.triangles.push(corners);
                }
            }
            (false, "component") => {
                let reference = self.reference(tag)?;
                if let Some((_, object)) = &mut self.object {
                    object.components.push(reference);
                }
            }
            (false, "item") => {
                let reference = self.reference(tag)?;
                self.model.items.push(reference);
            }
            _ => {}
        }
        Ok(())
    }

    fn reference(&mut self, tag: &str) -> Result<Reference> {
        self.model.one_more(self.path)?;
        let object = attribute(tag, "objectid")
            .ok_or_else(|| self.bad(tag))?
            .to_string();
        let part = match attribute(tag, "path") {
            Some(other) => {
                let other = clean(other);
                self.model.others.push(other.clone());
                other
            }
            None => self.first.clone(),
        };
        let placement = match attribute(tag, "transform") {
            None => Placement::STAY,
            Some(words) => {
                let n: Vec<f64> = words
                    .split_ascii_whitespace()
                    .filter_map(|w| w.parse().ok())
                    .collect();
                let [a, b, c, d, e, f, g, h, i, x, y, z] = n[..] else {
                    return Err(self.bad(tag));
                };
                // The specification multiplies row vectors: its rows are our columns.
                Placement::from_columns([[a, b, c], [d, e, f], [g, h, i], [x, y, z]])
            }
        };
        Ok(Reference {
            part,
            object,
            placement,
        })
    }
}

fn unit(word: &str) -> Option<f64> {
    Some(match word {
        "micron" => 1e-6,
        "millimeter" => 1e-3,
        "centimeter" => 1e-2,
        "inch" => 0.0254,
        "foot" => 0.3048,
        "meter" => 1.0,
        _ => return None,
    })
}

fn place_all(path: &Path, model: &Model) -> Result<Soup> {
    let mut soup = Soup {
        unit: Some(model.unit.unwrap_or(1e-3)),
        up: Some(Axis::Z),
        ..Soup::default()
    };
    let mut placer = Placer {
        path,
        model,
        soup: &mut soup,
        placed: 0,
        supports: 0,
    };
    if model.items.is_empty() {
        for (part, object) in model.objects.keys() {
            let (part, object) = (part.clone(), object.clone());
            placer.place(
                &Reference {
                    part,
                    object,
                    placement: Placement::STAY,
                },
                0,
            )?;
        }
    }
    for item in &model.items {
        placer.place(item, 0)?;
    }
    if placer.supports > 0 {
        let text = format!(
            "{} objects marked as print supports were left out",
            placer.supports
        );
        soup.notes.push(Note::new(Topic::Mended, text));
    }
    Ok(soup)
}

struct Placer<'a> {
    path: &'a Path,
    model: &'a Model,
    soup: &'a mut Soup,
    placed: usize,
    supports: usize,
}

impl Placer<'_> {
    fn place(&mut self, reference: &Reference, depth: usize) -> Result<()> {
        self.placed += 1;
        if depth > DEPTH || self.placed > MOST_PLACED {
            return Err(refuse(
                self.path,
                "the model places objects within objects without end",
            ));
        }
        let key = (reference.part.clone(), reference.object.clone());
        let object = self.model.objects.get(&key).ok_or_else(|| {
            refuse(
                self.path,
                format!("object {} is missing", super::text::short(&key.1)),
            )
        })?;
        if object.support {
            self.supports += 1;
            return Ok(());
        }
        let base = self.soup.vertices.len() as u64;
        for p in &object.vertices {
            self.soup.corner(self.path, reference.placement.apply(*p))?;
        }
        let count = object.vertices.len() as u64;
        let mirrored = reference.placement.mirrors();
        for t in &object.triangles {
            if let Some(wrong) = t.iter().find(|v| **v >= count) {
                return Err(refuse(
                    self.path,
                    format!("a triangle names corner {wrong} of {count}"),
                ));
            }
            let [a, b, c] = t.map(|v| base + v);
            self.soup
                .triangle(self.path, if mirrored { [a, c, b] } else { [a, b, c] })?;
        }
        for inner in &object.components {
            let placement = reference.placement.after(&inner.placement);
            self.place(
                &Reference {
                    placement,
                    ..inner.clone()
                },
                depth + 1,
            )?;
        }
        Ok(())
    }
}
