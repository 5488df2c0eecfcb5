//! OBJ: lines `v x y z` and `f a b c ...`; everything else (normals, textures, materials, groups)
//! is of no use here and passed over, so no other file is ever opened.

use super::Soup;
use super::text::{Lines, point, short};
use base::Result;
use std::io::Read;
use std::path::Path;

/// Begins like an OBJ: only known words, and one of `v`.
pub fn looks_like(head: &[u8]) -> bool {
    if head.contains(&0) {
        return false;
    }
    let text = String::from_utf8_lossy(head);
    let whole = text.rfind('\n').map_or(&text[..], |end| &text[..end]);
    let mut corner = false;
    for line in whole.lines() {
        let line = line.trim_start_matches('\u{feff}').trim();
        let word = line.split_ascii_whitespace().next().unwrap_or("#");
        match word {
            "v" => corner = true,
            "vt" | "vn" | "vp" | "f" | "l" | "p" | "o" | "g" | "s" | "mtllib" | "usemtl" => {}
            w if w.starts_with('#') => {}
            _ => return false,
        }
    }
    corner || (whole.len() > 3000 && !whole.is_empty())
}

/// Reads an OBJ. Faces with more than three corners are cut into a fan.
///
/// # Errors
/// A number that is none, a corner that does not exist, a line too long.
pub fn read(path: &Path, source: impl Read) -> Result<Soup> {
    let mut soup = Soup::default();
    let mut lines = Lines::new(path, "OBJ", source);
    let mut face: Vec<u64> = Vec::new();
    loop {
        let known = soup.vertices.len() as i64;
        let Some(line) = lines.next()? else { break };
        let mut words = line.split_ascii_whitespace();
        let wrong = match words.next() {
            Some("v") => match point(words, true) {
                Ok(place) => {
                    soup.corner(path, place)?;
                    continue;
                }
                Err(what) => what,
            },
            Some("f") => {
                face.clear();
                match words.try_for_each(|w| number(w, known).map(|n| face.push(n))) {
                    Ok(()) if face.len() >= 3 => {
                        for pair in face[1..].windows(2) {
                            soup.triangle(path, [face[0], pair[0], pair[1]])?;
                        }
                        continue;
                    }
                    Ok(()) => format!("is a face of {} corners", face.len()),
                    Err(what) => what,
                }
            }
            _ => continue,
        };
        return Err(lines.error(&wrong));
    }
    Ok(soup)
}

/// Corner number of a word such as `7`, `7/1`, `7//3` or `-1`, counted from 0.
fn number(word: &str, known: i64) -> std::result::Result<u64, String> {
    let first = word.split('/').next().unwrap_or(word);
    let told: i64 = first
        .parse()
        .map_err(|_| format!("has \"{}\" where a corner number belongs", short(word)))?;
    let number = if told < 0 {
        known.saturating_add(told)
    } else {
        told - 1
    };
    if number < 0 || told == 0 {
        return Err(format!("names corner {told}, which does not exist"));
    }
    Ok(number as u64)
}
