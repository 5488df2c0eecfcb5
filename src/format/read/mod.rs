//! Mesh files in. [`open`] decides what a file is by its bytes, not by its name, and gives a
//! [`MeshFile`] whose triangles can be gone through as often as needed.
//!
//! Guaranteed: no triangle with a coordinate that is not finite, none outside
//! +-[`FARTHEST`]; a file that lies about its own counts is refused before memory is asked for.
//! Not guaranteed: shared corners, closed shells, any unit. That is the business of
//! [`crate::figure`].

mod soup;
mod stl;

pub use soup::{Axis, Soup};

use crate::base::{Error, Note, Place, Result};
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

/// Largest coordinate that is believed, in the file's own unit: a figure in micrometres is 1e5.
pub const FARTHEST: f64 = 1e8;

/// Most triangles that are believed: above, corner numbers and memory run out.
pub const MOST_TRIANGLES: u64 = 50_000_000;

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
}

impl Kind {
    /// For people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Kind::StlBinary => "binary STL",
            Kind::StlText => "text STL",
        }
    }
}

/// Where the triangles are.
#[derive(Debug)]
enum Body {
    /// Still in the file: read again on each pass, so that a large file is never whole in memory.
    Stl(stl::Binary),
    /// In memory.
    Soup(Soup),
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
            Body::Stl(binary) => binary.triangles,
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
            Body::Stl(binary) => stl::visit_binary(&self.path, binary, &mut checked)?,
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
    let file = recognise(path, facts.len(), &head)?;
    if file.is_empty() {
        return Err(
            Error::input(format!("this {} holds no triangle", file.kind.words()))
                .at(Place::file(path))
                .hint("export the figure as a triangle mesh, not as points or curves"),
        );
    }
    Ok(file)
}

fn recognise(path: &Path, size: u64, head: &[u8]) -> Result<MeshFile> {
    if let Some(binary) = stl::probe_binary(path, size, head)? {
        return Ok(mesh_file(path, Kind::StlBinary, Body::Stl(binary)));
    }
    if stl::looks_like_text(head) {
        let soup = stl::read_text(path, open_file(path)?)?;
        return Ok(mesh_file(path, Kind::StlText, Body::Soup(soup)));
    }
    Err(stl::not_a_mesh(path, size, head))
}

fn mesh_file(path: &Path, kind: Kind, mut body: Body) -> MeshFile {
    let (mut unit, mut up, mut notes) = (None, None, Vec::new());
    match &mut body {
        Body::Stl(binary) => notes.append(&mut binary.notes),
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
    let mut head = Vec::with_capacity(4096);
    open_file(path)?
        .take(4096)
        .read_to_end(&mut head)
        .map_err(|cause| Error::system("read the mesh", path, &cause))?;
    Ok(head)
}

#[cfg(test)]
pub(crate) mod tests;
