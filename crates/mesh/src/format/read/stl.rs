//! STL, binary and text.
//!
//! Many binary files begin with the word "solid", so the size decides first: a binary STL of n
//! triangles has exactly 84 + 50 n bytes (80 of header, a count, then 12 floats and two spare
//! bytes each; 3D Systems 1989, as quoted everywhere).

use super::soup::too_many;
use super::text::{Lines, point, short};
use super::{BLOCK, Corners, MOST_TRIANGLES, Soup};
use base::{Error, Note, Place, Result, Topic};
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

const HEADER: u64 = 84;
const RECORD: usize = 50;
/// Records read at one go: 250 kB.
const READ: usize = 20 * BLOCK;

/// A binary STL that was recognised.
#[derive(Debug)]
pub struct Binary {
    /// Number of triangles.
    pub triangles: usize,
    /// Remarks.
    pub notes: Vec<Note>,
}

/// Is it a binary STL? `None` if it looks like something else.
///
/// # Errors
/// It is one, but shorter than it says, or larger than is believed.
pub fn probe_binary(path: &Path, size: u64, head: &[u8]) -> Result<Option<Binary>> {
    let Some(count) = head.get(80..84).and_then(|b| b.try_into().ok()) else {
        return Ok(None);
    };
    let count = u64::from(u32::from_le_bytes(count));
    let told = HEADER + count * RECORD as u64;
    let mut notes = Vec::new();
    if size != told {
        if looks_like_text(head) || !looks_binary(head) {
            return Ok(None);
        }
        let held = (size - HEADER) / RECORD as u64;
        if size < told {
            return Err(truncated(path, size, count, held));
        }
        if count == 0 || size - told > told {
            return Ok(None);
        }
        notes.push(Note::new(
            Topic::Mended,
            format!("{} bytes after the last triangle were ignored", size - told),
        ));
    }
    if count > MOST_TRIANGLES {
        return Err(too_many(path));
    }
    Ok(Some(Binary {
        triangles: count as usize,
        notes,
    }))
}

fn truncated(path: &Path, size: u64, count: u64, held: u64) -> Error {
    Error::input(format!(
        "the file is cut short: as a binary STL it announces {count} triangles, its {size} bytes hold {held}"
    ))
    .at(Place::file(path))
    .hint("the copy or download was interrupted: fetch it again")
    .hint("or it is no STL at all: check what the file really is")
}

/// A header with a zero or a control byte is not text.
fn looks_binary(head: &[u8]) -> bool {
    head.iter()
        .take(1024)
        .any(|b| *b < 9 || (*b > 13 && *b < 32))
}

/// Begins like a text STL.
pub fn looks_like_text(head: &[u8]) -> bool {
    let text = String::from_utf8_lossy(head).to_lowercase();
    let text = text.trim_start_matches('\u{feff}').trim_start();
    text.starts_with("solid")
        && (text.contains("facet") || text.contains("endsolid"))
        && !head.iter().take(256).any(|b| *b == 0)
}

/// Hands the triangles of a binary STL to `sink` in blocks.
///
/// # Errors
/// The file vanished or shrank since it was recognised.
pub fn visit_binary(
    path: &Path,
    binary: &Binary,
    mut file: impl Read + Seek,
    sink: &mut dyn FnMut(&[Corners]),
) -> Result<()> {
    let failed = |cause: std::io::Error| Error::system("read the mesh", path, &cause);
    file.seek(SeekFrom::Start(HEADER)).map_err(failed)?;
    let mut bytes = vec![0_u8; READ.min(binary.triangles) * RECORD];
    let mut block = Vec::with_capacity(BLOCK);
    let mut left = binary.triangles;
    while left > 0 {
        let now = left.min(READ);
        file.read_exact(&mut bytes[..now * RECORD])
            .map_err(failed)?;
        for some in bytes[..now * RECORD].chunks(BLOCK * RECORD) {
            block.clear();
            block.extend(some.chunks_exact(RECORD).map(corners));
            sink(&block);
        }
        left -= now;
    }
    Ok(())
}

fn corners(record: &[u8]) -> Corners {
    let mut corners = [[0.0; 3]; 3];
    let floats = record[12..48].as_chunks::<4>().0;
    for (x, bytes) in corners.as_flattened_mut().iter_mut().zip(floats) {
        *x = f64::from(f32::from_le_bytes(*bytes));
    }
    corners
}

/// Reads a text STL: every `vertex` line counts, everything else only frames it. Several solids
/// in one file are taken together.
///
/// # Errors
/// A number that is none, a facet without three corners, a file that ends inside a facet.
pub fn read_text(path: &Path, source: impl Read) -> Result<Soup> {
    let mut soup = Soup::default();
    let mut lines = Lines::new(path, "text STL", source);
    let (mut inside, mut corners) = (false, Vec::with_capacity(3));
    while let Some(line) = lines.next()? {
        let mut words = line.split_ascii_whitespace();
        let first = words.next().map(str::to_ascii_lowercase);
        let wrong = match first.as_deref() {
            Some("vertex") => point(words, false).map(|p| corners.push(p)).err(),
            Some("facet") => {
                inside = true;
                None
            }
            Some("endfacet") => {
                inside = false;
                facet(path, &mut soup, &mut corners)?
            }
            Some("solid" | "endsolid" | "outer" | "endloop") | None => None,
            Some(other) => Some(format!("begins with \"{}\"", short(other))),
        };
        if let Some(what) = wrong {
            return Err(lines.error(&what));
        }
        if corners.len() > 3 {
            return Err(lines.error("is the fourth corner of a facet"));
        }
    }
    if inside || !corners.is_empty() {
        return Err(lines.error("is the last, inside a facet: cut short"));
    }
    Ok(soup)
}

/// Closes a facet; says what is wrong with it.
fn facet(path: &Path, soup: &mut Soup, corners: &mut Vec<[f64; 3]>) -> Result<Option<String>> {
    let [a, b, c] = corners[..] else {
        return Ok(Some(format!(
            "closes a facet of {} corners instead of 3",
            corners.len()
        )));
    };
    corners.clear();
    let numbers = [
        soup.corner(path, a)?,
        soup.corner(path, b)?,
        soup.corner(path, c)?,
    ];
    soup.triangle(path, numbers.map(u64::from))?;
    Ok(None)
}

/// The refusal of a file that is nothing this house reads.
pub fn not_a_mesh(path: &Path, size: u64, head: &[u8]) -> Error {
    let shown: String = String::from_utf8_lossy(&head[..head.len().min(40)])
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    let what = if looks_binary(head) {
        format!("this is no mesh file that is read here ({size} bytes of binary data)")
    } else {
        format!(
            "this is text, not a mesh: it begins with \"{}\"",
            shown.trim()
        )
    };
    Error::input(what)
        .at(Place::file(path))
        .hint("read are STL, OBJ, PLY, 3MF, glTF and GLB, whatever the file is called")
}
