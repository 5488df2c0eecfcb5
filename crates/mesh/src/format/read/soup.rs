//! Triangles as a file holds them: corners, numbers, and what the file says about itself.

use super::{BLOCK, Corners, MOST_TRIANGLES};
use base::{Error, Note, Place, Result};
use serde::{Deserialize, Serialize};
use std::path::Path;

/// An axis of the file, with its sense.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Axis {
    /// +x
    #[serde(rename = "x")]
    X,
    /// +y
    #[serde(rename = "y")]
    Y,
    /// +z
    #[serde(rename = "z")]
    Z,
    /// -x
    #[serde(rename = "-x")]
    MinusX,
    /// -y
    #[serde(rename = "-y")]
    MinusY,
    /// -z
    #[serde(rename = "-z")]
    MinusZ,
}

impl Axis {
    /// All six, the likeliest up axis first.
    pub const ALL: [Axis; 6] = [
        Axis::Z,
        Axis::Y,
        Axis::X,
        Axis::MinusZ,
        Axis::MinusY,
        Axis::MinusX,
    ];

    /// Number of the coordinate (0, 1, 2) and its sign.
    #[must_use]
    pub fn component(self) -> (usize, f64) {
        match self {
            Axis::X => (0, 1.0),
            Axis::Y => (1, 1.0),
            Axis::Z => (2, 1.0),
            Axis::MinusX => (0, -1.0),
            Axis::MinusY => (1, -1.0),
            Axis::MinusZ => (2, -1.0),
        }
    }

    /// As the user types it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Axis::X => "x",
            Axis::Y => "y",
            Axis::Z => "z",
            Axis::MinusX => "-x",
            Axis::MinusY => "-y",
            Axis::MinusZ => "-z",
        }
    }
}

impl std::str::FromStr for Axis {
    type Err = Error;

    fn from_str(word: &str) -> Result<Axis> {
        let wanted = word.trim().to_lowercase();
        let wanted = wanted.strip_prefix('+').unwrap_or(&wanted);
        Axis::ALL
            .into_iter()
            .find(|axis| axis.word() == wanted)
            .ok_or_else(|| {
                Error::input(format!(
                    "up axis \"{word}\"; allowed are x, y, z, -x, -y, -z"
                ))
                .hint("leave it out: the flattest large base is then taken as the bottom")
            })
    }
}

/// Triangles in memory, in the file's own unit and axes.
#[derive(Debug, Default)]
pub struct Soup {
    /// Corners.
    pub vertices: Vec<[f64; 3]>,
    /// Corner numbers, each below `vertices.len()`.
    pub triangles: Vec<[u32; 3]>,
    /// [m] length of one unit, if the file says so.
    pub unit: Option<f64>,
    /// Up axis, if the format says so.
    pub up: Option<Axis>,
    /// What the reader had to overlook.
    pub notes: Vec<Note>,
}

impl Soup {
    /// Adds a corner and gives its number.
    ///
    /// # Errors
    /// More corners than triangles can be believed.
    pub fn corner(&mut self, path: &Path, point: [f64; 3]) -> Result<u32> {
        if self.vertices.len() as u64 >= MOST_TRIANGLES * 3 / 2 {
            return Err(too_many(path));
        }
        self.vertices.push(point);
        Ok(self.vertices.len() as u32 - 1)
    }

    /// Adds a triangle whose corner numbers come from the file.
    ///
    /// # Errors
    /// A corner number without a corner; more triangles than can be believed.
    pub fn triangle(&mut self, path: &Path, corners: [u64; 3]) -> Result<()> {
        let known = self.vertices.len() as u64;
        if let Some(wrong) = corners.iter().find(|c| **c >= known) {
            return Err(Error::input(format!(
                "triangle {} names corner {}, but the file has {known}",
                self.triangles.len() + 1,
                wrong.saturating_add(1)
            ))
            .at(Place::file(path))
            .hint("the file is damaged or cut short: export or fetch it again"));
        }
        if self.triangles.len() as u64 >= MOST_TRIANGLES {
            return Err(too_many(path));
        }
        self.triangles.push(corners.map(|c| c as u32));
        Ok(())
    }

    /// Hands the triangles to `sink` in blocks.
    pub fn visit(&self, sink: &mut dyn FnMut(&[Corners])) {
        let mut block = Vec::with_capacity(BLOCK);
        for some in self.triangles.chunks(BLOCK) {
            block.clear();
            block.extend(some.iter().map(|t| t.map(|c| self.vertices[c as usize])));
            sink(&block);
        }
    }
}

/// The refusal of a file with more than [`MOST_TRIANGLES`] triangles.
pub(super) fn too_many(path: &Path) -> Error {
    Error::input(format!(
        "more than {} million triangles",
        MOST_TRIANGLES / 1_000_000
    ))
    .at(Place::file(path))
    .hint("reduce the mesh: below 0.1 mm per triangle nothing is gained on a tabletop figure")
}
