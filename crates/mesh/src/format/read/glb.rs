//! glTF 2.0, as one binary file (GLB) or as JSON with its buffers beside it or inside
//! (Khronos 2021). Triangles of all nodes of the scene, placed as told; metres, y up.
//!
//! A buffer in another file must lie in the same folder or below it. Compressed and sparse
//! accessors are refused in words. A skinned figure is read in its bind pose.

use super::glb_json::{Accessor, Buffer, Document, Node};
use super::matrix::Placement;
use super::soup::{Axis, too_many};
use super::{MOST_TRIANGLES, Soup};
use base::{Error, Note, Place, Result, Topic};
use std::borrow::Cow;
use std::path::{Component, Path};

/// [bytes] largest file that is believed, and all its buffers together.
const LARGEST: u64 = 1 << 30;
/// Most pieces of meshes placed by nodes.
const MOST_PLACED: usize = 1_000_000;

fn refuse(path: &Path, what: impl Into<String>) -> Error {
    Error::input(what)
        .at(Place::file(path))
        .hint("export the figure again, uncompressed, or as STL")
}

/// Begins like glTF in JSON.
pub fn looks_like_json(head: &[u8]) -> bool {
    let text = String::from_utf8_lossy(head);
    let text = text.trim_start_matches('\u{feff}').trim_start();
    text.starts_with('{')
        && [
            "\"asset\"",
            "\"accessors\"",
            "\"buffers\"",
            "\"meshes\"",
            "\"scene\"",
            "\"nodes\"",
        ]
        .iter()
        .any(|key| text.contains(key))
}

/// Refuses what is too large to be read at once.
///
/// # Errors
/// Larger than 1 GB.
pub fn check_size(path: &Path, size: u64) -> Result<()> {
    if size > LARGEST {
        return Err(refuse(path, "a glTF file of more than 1 GB"));
    }
    Ok(())
}

/// Reads a GLB or a glTF.
///
/// # Errors
/// Damaged, compressed, buffers of more than 1 GB, or pointing outside its folder.
pub fn read(path: &Path, bytes: &[u8]) -> Result<Soup> {
    let (json, blob) = if bytes.starts_with(b"glTF") {
        chunks(path, bytes)?
    } else {
        (bytes, &[][..])
    };
    let json = json.strip_prefix(b"\xef\xbb\xbf").unwrap_or(json);
    let document: Document = serde_json::from_slice(json).map_err(|cause| {
        refuse(
            path,
            format!("the description of this glTF cannot be read ({cause})"),
        )
    })?;
    if let Some(name) = document
        .extensions_required
        .iter()
        .find(|e| e.contains("draco") || e.contains("meshopt"))
    {
        let name = super::text::short(name);
        return Err(refuse(
            path,
            format!("this glTF is compressed ({name}), which is not read"),
        ));
    }
    let mut left = LARGEST;
    let mut buffers = Vec::with_capacity(document.buffers.len());
    for (i, b) in document.buffers.iter().enumerate() {
        let bytes = buffer(path, b, (if i == 0 { blob } else { &[] }, left))?;
        left = left.saturating_sub(bytes.len() as u64);
        buffers.push(bytes);
    }
    Scenery {
        path,
        document: &document,
        buffers,
        soup: Soup::default(),
        placed: 0,
    }
    .collect()
}

/// The JSON and the binary chunk of a GLB.
fn chunks<'a>(path: &Path, bytes: &'a [u8]) -> Result<(&'a [u8], &'a [u8])> {
    let word = |at: usize| -> Option<u32> {
        Some(u32::from_le_bytes(bytes.get(at..at + 4)?.try_into().ok()?))
    };
    let cut = || refuse(path, "this GLB is cut short");
    if word(4) != Some(2) {
        return Err(refuse(path, "this GLB is not of version 2"));
    }
    let (mut at, mut json, mut blob) = (12, None, &[][..]);
    while let (Some(length), Some(kind)) = (word(at), word(at + 4)) {
        let end = (at + 8).checked_add(length as usize).ok_or_else(cut)?;
        let body = bytes.get(at + 8..end).ok_or_else(cut)?;
        match kind {
            0x4E4F_534A if json.is_none() => json = Some(body),
            0x004E_4942 if blob.is_empty() => blob = body,
            _ => {}
        }
        at = end;
    }
    Ok((json.ok_or_else(cut)?, blob))
}

/// * `left`: [bytes] that all further buffers together may have
fn buffer<'a>(
    path: &Path,
    buffer: &Buffer,
    (blob, left): (&'a [u8], u64),
) -> Result<Cow<'a, [u8]>> {
    let bytes = match buffer.uri.as_deref() {
        None => Cow::Borrowed(blob),
        Some(uri) if uri.starts_with("data:") => {
            let body = uri.split_once("base64,").map(|(_, body)| body);
            let bytes = body
                .and_then(base64)
                .ok_or_else(|| refuse(path, "a buffer inside this glTF is damaged"))?;
            Cow::Owned(bytes)
        }
        Some(uri) => Cow::Owned(beside(path, uri, left)?),
    };
    if (bytes.len() as u64) < buffer.byte_length {
        return Err(refuse(
            path,
            format!(
                "a buffer of this glTF announces {} bytes and holds {}",
                buffer.byte_length,
                bytes.len()
            ),
        ));
    }
    Ok(bytes)
}

/// A buffer in a file of the same folder or below.
fn beside(path: &Path, uri: &str, left: u64) -> Result<Vec<u8>> {
    let shown = super::text::short(uri);
    let outside = || {
        refuse(
            path,
            format!("this glTF asks for \"{shown}\", which is not a file in its folder"),
        )
    };
    let name = percent(uri);
    let plain = Path::new(&name)
        .components()
        .all(|c| matches!(c, Component::Normal(_) | Component::CurDir));
    if !plain || name.contains([':', '\\', '\0']) {
        return Err(outside());
    }
    let folder = path.parent().unwrap_or(Path::new(""));
    let folder = if folder.as_os_str().is_empty() {
        Path::new(".")
    } else {
        folder
    };
    let file = folder.join(&name);
    let failed =
        |cause: std::io::Error| Error::system("read the buffer of this glTF", &file, &cause);
    let real = file.canonicalize().map_err(failed)?;
    // A link inside the folder may still point out of it.
    if !real.starts_with(folder.canonicalize().map_err(failed)?) || !real.is_file() {
        return Err(outside());
    }
    if std::fs::metadata(&real).map_err(failed)?.len() > left {
        return Err(refuse(path, "buffers of more than 1 GB"));
    }
    std::fs::read(&real).map_err(failed)
}

/// %20 and its like.
fn percent(text: &str) -> String {
    let bytes = text.as_bytes();
    let mut out = Vec::with_capacity(bytes.len());
    let mut i = 0;
    while i < bytes.len() {
        let hex = bytes
            .get(i + 1..i + 3)
            .and_then(|h| std::str::from_utf8(h).ok());
        match hex.and_then(|h| u8::from_str_radix(h, 16).ok()) {
            Some(byte) if bytes[i] == b'%' => {
                out.push(byte);
                i += 3;
            }
            _ => {
                out.push(bytes[i]);
                i += 1;
            }
        }
    }
    String::from_utf8_lossy(&out).into_owned()
}

fn base64(text: &str) -> Option<Vec<u8>> {
    let mut out = Vec::with_capacity(text.len() / 4 * 3);
    let (mut bits, mut count) = (0_u32, 0);
    for byte in text.bytes().filter(|b| !b.is_ascii_whitespace()) {
        let value = match byte {
            b'A'..=b'Z' => byte - b'A',
            b'a'..=b'z' => byte - b'a' + 26,
            b'0'..=b'9' => byte - b'0' + 52,
            b'+' | b'-' => 62,
            b'/' | b'_' => 63,
            b'=' => break,
            _ => return None,
        };
        bits = bits << 6 | u32::from(value);
        count += 6;
        if count >= 8 {
            count -= 8;
            out.push((bits >> count) as u8);
        }
    }
    Some(out)
}

struct Scenery<'a> {
    path: &'a Path,
    document: &'a Document,
    buffers: Vec<Cow<'a, [u8]>>,
    soup: Soup,
    placed: usize,
}

impl Scenery<'_> {
    fn collect(mut self) -> Result<Soup> {
        let (path, nodes) = (self.path, &self.document.nodes);
        let scene = self.document.scenes.get(self.document.scene.unwrap_or(0));
        let roots = match scene {
            Some(scene) => scene.nodes.clone(),
            None => without_parent(nodes),
        };
        let mut todo: Vec<(usize, Placement)> = Vec::new();
        // In a tree every node has one parent; a second visit would be a loop.
        let mut seen = vec![false; nodes.len()];
        let mut first = |number: usize| {
            let missing = || refuse(path, format!("node {number} is missing"));
            let seen = seen.get_mut(number).ok_or_else(missing)?;
            if std::mem::replace(seen, true) {
                return Err(refuse(path, "the nodes of this glTF form a loop"));
            }
            Ok(number)
        };
        for root in roots {
            todo.push((first(root)?, Placement::STAY));
        }
        let mut skinned = false;
        while let Some((number, above)) = todo.pop() {
            let node = &nodes[number];
            let placement = above.after(&placement(node));
            for child in node.children.iter().rev() {
                todo.push((first(*child)?, placement));
            }
            if let Some(mesh) = node.mesh {
                skinned |= node.skin.is_some();
                let still = node.skin.is_some();
                let placement = if still { Placement::STAY } else { placement };
                self.mesh(mesh, placement)?;
            }
        }
        if skinned {
            self.soup.notes.push(Note::new(
                Topic::Limit,
                "the figure has a skeleton; it was read in its bind pose: apply the pose before export",
            ));
        }
        self.soup.unit = Some(1.0);
        self.soup.up = Some(Axis::Y);
        Ok(self.soup)
    }

    fn mesh(&mut self, number: usize, placement: Placement) -> Result<()> {
        let mesh = self
            .document
            .meshes
            .get(number)
            .ok_or_else(|| refuse(self.path, format!("mesh {number} is missing")))?;
        for primitive in &mesh.primitives {
            self.placed += 1;
            if self.placed > MOST_PLACED {
                return Err(refuse(self.path, "this glTF places meshes without end"));
            }
            let mode = primitive.mode.unwrap_or(4);
            if let (4..=6, Some(position)) = (mode, primitive.attributes.position) {
                let base = self.soup.vertices.len() as u64;
                let count = self.corners(position, &placement)?;
                let order: Vec<u64> = match primitive.indices {
                    Some(accessor) => self.numbers(accessor)?,
                    None => (0..count).collect(),
                };
                if let Some(wrong) = order.iter().find(|n| **n >= count) {
                    return Err(refuse(
                        self.path,
                        format!("a triangle names corner {wrong} of {count}"),
                    ));
                }
                self.triangles(mode, base, &order, placement.mirrors())?;
            }
        }
        Ok(())
    }

    fn triangles(&mut self, mode: u32, base: u64, order: &[u64], mirrored: bool) -> Result<()> {
        let put = |soup: &mut Soup, [a, b, c]: [u64; 3]| {
            let [a, b, c] = [base + a, base + b, base + c];
            soup.triangle(self.path, if mirrored { [a, c, b] } else { [a, b, c] })
        };
        match mode {
            4 => order
                .as_chunks::<3>()
                .0
                .iter()
                .try_for_each(|t| put(&mut self.soup, *t)),
            5 => order.windows(3).enumerate().try_for_each(|(i, w)| {
                let odd = i % 2 == 1;
                put(
                    &mut self.soup,
                    if odd {
                        [w[1], w[0], w[2]]
                    } else {
                        [w[0], w[1], w[2]]
                    },
                )
            }),
            _ => order
                .get(1..)
                .unwrap_or_default()
                .windows(2)
                .try_for_each(|w| put(&mut self.soup, [order[0], w[0], w[1]])),
        }
    }

    fn corners(&mut self, accessor: usize, placement: &Placement) -> Result<u64> {
        let accessor = self.accessor(accessor, "VEC3")?;
        let (count, kind, normalized) =
            (accessor.count, accessor.component_type, accessor.normalized);
        let size =
            size_of(kind).ok_or_else(|| refuse(self.path, "corners of an unknown number type"))?;
        let (bytes, stride) = self.slice(accessor, 3 * size)?;
        let mut points = Vec::with_capacity(count as usize);
        for i in 0..count as usize {
            let at = i * stride;
            let value =
                |k: usize| number(&bytes[at + k * size..at + (k + 1) * size], kind, normalized);
            points.push([value(0), value(1), value(2)]);
        }
        for p in points {
            self.soup.corner(self.path, placement.apply(p))?;
        }
        Ok(count)
    }

    fn numbers(&self, accessor: usize) -> Result<Vec<u64>> {
        let accessor = self.accessor(accessor, "SCALAR")?;
        let kind = accessor.component_type;
        let size = match kind {
            5121 => 1,
            5123 => 2,
            5125 => 4,
            _ => return Err(refuse(self.path, "corner numbers of an unknown type")),
        };
        let (bytes, stride) = self.slice(accessor, size)?;
        Ok((0..accessor.count as usize)
            .map(|i| number(&bytes[i * stride..i * stride + size], kind, false) as u64)
            .collect())
    }

    fn accessor(&self, number: usize, shape: &str) -> Result<&Accessor> {
        let accessor = self
            .document
            .accessors
            .get(number)
            .ok_or_else(|| refuse(self.path, format!("accessor {number} is missing")))?;
        if accessor.sparse.is_some() || accessor.buffer_view.is_none() {
            return Err(refuse(
                self.path,
                "this glTF stores its mesh sparse or compressed, which is not read",
            ));
        }
        if accessor.count > 3 * MOST_TRIANGLES {
            return Err(too_many(self.path));
        }
        if accessor.shape != shape {
            return Err(refuse(
                self.path,
                format!("accessor {number} is not of type {shape}"),
            ));
        }
        Ok(accessor)
    }

    /// Bytes of an accessor from its first value on, and the way from value to value. Every value
    /// is certain to lie inside.
    fn slice(&self, accessor: &Accessor, size: usize) -> Result<(&[u8], usize)> {
        let broken = || {
            refuse(
                self.path,
                "an accessor of this glTF reaches beyond its buffer",
            )
        };
        let view = accessor
            .buffer_view
            .and_then(|v| self.document.buffer_views.get(v));
        let view = view.ok_or_else(broken)?;
        let buffer = self.buffers.get(view.buffer).ok_or_else(broken)?;
        let end = view
            .byte_offset
            .checked_add(view.byte_length)
            .ok_or_else(broken)?;
        let bytes = buffer
            .get(view.byte_offset as usize..end as usize)
            .and_then(|b| b.get(accessor.byte_offset as usize..))
            .ok_or_else(broken)?;
        let stride = view
            .byte_stride
            .unwrap_or(size as u64)
            .clamp(size as u64, 1 << 16);
        let last = accessor.count.saturating_sub(1);
        let needed = last
            .checked_mul(stride)
            .and_then(|n| n.checked_add(size as u64));
        if accessor.count > 0 && needed.is_none_or(|n| n > bytes.len() as u64) {
            return Err(broken());
        }
        Ok((bytes, stride as usize))
    }
}

/// Nodes that are nobody's children.
fn without_parent(nodes: &[Node]) -> Vec<usize> {
    let mut root = vec![true; nodes.len()];
    for child in nodes.iter().flat_map(|n| &n.children) {
        if let Some(root) = root.get_mut(*child) {
            *root = false;
        }
    }
    (0..nodes.len()).filter(|n| root[*n]).collect()
}

fn size_of(kind: u32) -> Option<usize> {
    match kind {
        5120 | 5121 => Some(1),
        5122 | 5123 => Some(2),
        5125 | 5126 => Some(4),
        _ => None,
    }
}

fn number(b: &[u8], kind: u32, normalized: bool) -> f64 {
    let (value, full) = match (kind, b) {
        (5120, [a]) => (f64::from(*a as i8), 127.0),
        (5121, [a]) => (f64::from(*a), 255.0),
        (5122, [a, b]) => (f64::from(i16::from_le_bytes([*a, *b])), 32767.0),
        (5123, [a, b]) => (f64::from(u16::from_le_bytes([*a, *b])), 65535.0),
        (5125, [a, b, c, d]) => (f64::from(u32::from_le_bytes([*a, *b, *c, *d])), 1.0),
        (_, [a, b, c, d]) => (f64::from(f32::from_le_bytes([*a, *b, *c, *d])), 1.0),
        _ => (f64::NAN, 1.0),
    };
    if normalized {
        (value / full).max(-1.0)
    } else {
        value
    }
}

fn placement(node: &Node) -> Placement {
    if let Some(m) = node.matrix {
        return Placement::from_columns([
            [m[0], m[1], m[2]],
            [m[4], m[5], m[6]],
            [m[8], m[9], m[10]],
            [m[12], m[13], m[14]],
        ]);
    }
    let t = node.translation.unwrap_or_default();
    let s = node.scale.unwrap_or([1.0; 3]);
    let [x, y, z, w] = node.rotation.unwrap_or([0.0, 0.0, 0.0, 1.0]);
    let columns = [
        [
            1.0 - 2.0 * (y * y + z * z),
            2.0 * (x * y + w * z),
            2.0 * (x * z - w * y),
        ],
        [
            2.0 * (x * y - w * z),
            1.0 - 2.0 * (x * x + z * z),
            2.0 * (y * z + w * x),
        ],
        [
            2.0 * (x * z + w * y),
            2.0 * (y * z - w * x),
            1.0 - 2.0 * (x * x + y * y),
        ],
    ];
    Placement::from_columns([
        columns[0].map(|v| v * s[0]),
        columns[1].map(|v| v * s[1]),
        columns[2].map(|v| v * s[2]),
        t,
    ])
}
