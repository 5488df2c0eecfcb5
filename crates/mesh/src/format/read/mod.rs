//! Mesh files in. [`open`] decides what a file is by its bytes, not by its name, and gives a
//! [`MeshFile`] whose triangles can be gone through as often as needed.
//!
//! Guaranteed: no triangle with a coordinate that is not finite, none outside
//! +-[`FARTHEST`]; a file that lies about its own counts is refused before memory is asked for.
//! Not guaranteed: shared corners, closed shells, any unit. That is the business of
//! [`crate::figure`].

mod glb;
mod glb_json;
mod matrix;
mod obj;
mod ply;
mod soup;
mod stl;
mod text;
mod threemf;

pub use soup::{Axis, Soup};

use base::{Error, Note, Place, Result};
use std::borrow::Cow;
use std::fs::File;
use std::io::{Cursor, Read, Seek};
use std::path::{Path, PathBuf};

/// Largest coordinate that is believed, in the file's own unit: a figure in micrometres is 1e5.
pub const FARTHEST: f64 = 1e8;

/// Most triangles that are believed: above, corner numbers and memory run out.
pub const MOST_TRIANGLES: u64 = 20_000_000;

/// [bytes] enough to recognise any format.
const HEAD: usize = 4096;

/// Triangles handed over at a time: small enough for the first-level cache.
const BLOCK: usize = 256;

/// Corners of one triangle as the file gives them.
pub type Corners = [[f64; 3]; 3];

/// What kind of file it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Binary STL.
    StlBinary,
    /// STL as text.
    StlText,
    /// OBJ.
    Obj,
    /// PLY.
    Ply,
    /// 3MF.
    ThreeMf,
    /// glTF as JSON.
    Gltf,
    /// glTF as one binary file.
    Glb,
}

impl Kind {
    /// For people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Kind::StlBinary => "binary STL",
            Kind::StlText => "text STL",
            Kind::Obj => "OBJ",
            Kind::Ply => "PLY",
            Kind::ThreeMf => "3MF",
            Kind::Gltf => "glTF",
            Kind::Glb => "GLB",
        }
    }
}

/// Where the triangles are.
#[derive(Debug)]
enum Body {
    /// Still in the file: read again on each pass, so that a large file is never whole in memory.
    Stl(stl::Binary, Source),
    /// In memory.
    Soup(Soup),
}

/// Where the bytes are.
#[derive(Debug)]
enum Source {
    File,
    Memory(Vec<u8>),
}

/// Bytes that can be gone through more than once.
trait Bytes: Read + Seek {}
impl<T: Read + Seek> Bytes for T {}

impl Source {
    fn open(&self, path: &Path) -> Result<Box<dyn Bytes + '_>> {
        Ok(match self {
            Source::File => Box::new(open_file(path)?),
            Source::Memory(bytes) => Box::new(Cursor::new(bytes.as_slice())),
        })
    }

    fn all(&self, path: &Path) -> Result<Cow<'_, [u8]>> {
        match self {
            Source::File => std::fs::read(path)
                .map(Cow::Owned)
                .map_err(|cause| Error::system("read the mesh", path, &cause)),
            Source::Memory(bytes) => Ok(Cow::Borrowed(bytes)),
        }
    }
}

/// A mesh file that was recognised and checked.
#[derive(Debug)]
pub struct MeshFile {
    /// As the user named it.
    pub path: PathBuf,
    /// What it is.
    pub kind: Kind,
    /// [m] length of one unit of the file, if the file says so.
    pub unit: Option<f64>,
    /// Up axis, if the format says so.
    pub up: Option<Axis>,
    /// What the reader had to overlook.
    pub notes: Vec<Note>,
    body: Body,
}

impl MeshFile {
    /// Number of triangles.
    #[must_use]
    pub fn len(&self) -> usize {
        match &self.body {
            Body::Stl(binary, _) => binary.triangles,
            Body::Soup(soup) => soup.triangles.len(),
        }
    }

    /// True without any triangle; [`open`] refuses such a file.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Hands the triangles to `sink` in blocks, in the order of the file.
    ///
    /// # Errors
    /// The file vanished or changed meanwhile; a coordinate is not a number or beyond
    /// [`FARTHEST`].
    pub fn visit(&self, sink: &mut dyn FnMut(&[Corners])) -> Result<()> {
        let mut count = 0_usize;
        let mut bad = None;
        let mut checked = |block: &[Corners]| {
            // No early exit: the loop over a whole block is what the processor does best.
            let flat = block.as_flattened().as_flattened();
            let fine = flat
                .iter()
                .fold(true, |fine, x| fine & (x.abs() <= FARTHEST));
            if !fine && bad.is_none() {
                bad = first_bad(block).map(|i| (count + i, block[i]));
            }
            count += block.len();
            sink(block);
        };
        match &self.body {
            Body::Stl(binary, source) => {
                let bytes = source.open(&self.path)?;
                stl::visit_binary(&self.path, binary, bytes, &mut checked)?;
            }
            Body::Soup(soup) => soup.visit(&mut checked),
        }
        bad.map_or(Ok(()), |(triangle, corners)| {
            Err(bad_coordinate(&self.path, triangle, &corners))
        })
    }
}

fn first_bad(block: &[Corners]) -> Option<usize> {
    let fine = |x: &f64| x.abs() <= FARTHEST;
    block.iter().position(|t| !t.iter().flatten().all(fine))
}

fn bad_coordinate(path: &Path, triangle: usize, corners: &Corners) -> Error {
    let value = corners
        .iter()
        .flatten()
        .find(|x| x.abs() > FARTHEST || x.is_nan())
        .copied()
        .unwrap_or(f64::NAN);
    let what = if value.is_finite() {
        format!(
            "triangle {} has a coordinate of {value:.3e}; allowed are -{FARTHEST:e} to {FARTHEST:e}",
            triangle + 1
        )
    } else {
        format!(
            "triangle {} has a coordinate that is not a number ({value})",
            triangle + 1
        )
    };
    Error::input(what).at(Place::file(path)).hint(
        "the file is damaged or was written wrongly: export it again from the program that made it",
    )
}

/// Recognises and checks a mesh file.
///
/// # Errors
/// The file is missing, empty, truncated, not a mesh, of a kind that is not read, or holds no
/// triangle.
pub fn open(path: &Path) -> Result<MeshFile> {
    let facts =
        std::fs::metadata(path).map_err(|cause| Error::system("read the mesh", path, &cause))?;
    if facts.is_dir() {
        return Err(Error::input("this is a folder, not a mesh file")
            .at(Place::file(path))
            .hint("name the file itself"));
    }
    if facts.len() == 0 {
        return Err(Error::input("the file is empty (0 bytes)")
            .at(Place::file(path))
            .hint("the copy or download was interrupted: fetch it again"));
    }
    let head = head(path)?;
    with_triangles(recognise(path, facts.len(), &head, Source::File)?)
}

/// As [`open`], from bytes that are in memory already.
///
/// * `path`: a name for messages; buffers beside a glTF are looked for in its folder
///
/// # Errors
/// As [`open`].
pub fn from_bytes(path: &Path, bytes: Vec<u8>) -> Result<MeshFile> {
    let head = bytes[..bytes.len().min(HEAD)].to_vec();
    let size = bytes.len() as u64;
    with_triangles(recognise(path, size, &head, Source::Memory(bytes))?)
}

fn with_triangles(file: MeshFile) -> Result<MeshFile> {
    if file.is_empty() {
        return Err(
            Error::input(format!("this {} holds no triangle", file.kind.words()))
                .at(Place::file(&file.path))
                .hint("export the figure as a triangle mesh, not as points or curves"),
        );
    }
    Ok(file)
}

fn recognise(path: &Path, size: u64, head: &[u8], source: Source) -> Result<MeshFile> {
    if let Some((kind, soup)) = by_first_bytes(path, size, head, &source)? {
        return Ok(mesh_file(path, kind, Body::Soup(soup)));
    }
    if let Some(binary) = stl::probe_binary(path, size, head)? {
        return Ok(mesh_file(path, Kind::StlBinary, Body::Stl(binary, source)));
    }
    let (kind, soup) = if stl::looks_like_text(head) {
        (Kind::StlText, stl::read_text(path, source.open(path)?)?)
    } else if obj::looks_like(head) {
        (Kind::Obj, obj::read(path, source.open(path)?)?)
    } else {
        return Err(stl::not_a_mesh(path, size, head));
    };
    Ok(mesh_file(path, kind, Body::Soup(soup)))
}

fn by_first_bytes(
    path: &Path,
    size: u64,
    head: &[u8],
    source: &Source,
) -> Result<Option<(Kind, Soup)>> {
    let gltf = || {
        glb::check_size(path, size)?;
        glb::read(path, &source.all(path)?)
    };
    Ok(Some(if head.starts_with(b"glTF") {
        (Kind::Glb, gltf()?)
    } else if head.starts_with(b"PK\x03\x04") {
        (
            Kind::ThreeMf,
            threemf::read(path, source.open(path)?, size)?,
        )
    } else if ply::looks_like(head) {
        (Kind::Ply, ply::read(path, source.open(path)?, size)?)
    } else if glb::looks_like_json(head) {
        (Kind::Gltf, gltf()?)
    } else {
        return Ok(None);
    }))
}

fn mesh_file(path: &Path, kind: Kind, mut body: Body) -> MeshFile {
    let (mut unit, mut up, mut notes) = (None, None, Vec::new());
    match &mut body {
        Body::Stl(binary, _) => notes.append(&mut binary.notes),
        Body::Soup(soup) => {
            (unit, up) = (soup.unit, soup.up);
            notes.append(&mut soup.notes);
        }
    }
    MeshFile {
        path: path.to_path_buf(),
        kind,
        unit,
        up,
        notes,
        body,
    }
}

fn open_file(path: &Path) -> Result<File> {
    File::open(path).map_err(|cause| Error::system("read the mesh", path, &cause))
}

/// The first kilobytes, enough to recognise any format.
fn head(path: &Path) -> Result<Vec<u8>> {
    let mut head = Vec::with_capacity(HEAD);
    open_file(path)?
        .take(HEAD as u64)
        .read_to_end(&mut head)
        .map_err(|cause| Error::system("read the mesh", path, &cause))?;
    Ok(head)
}

#[cfg(test)]
pub(crate) mod tests;
