//! The mesh becomes a [`Figure`]: welded, scaled, weighed, cut into patches, wrapped in its hull.
//! Immutable afterwards and shared by everything downstream.
//!
//! The figure's frame: metres, z up, the lowest point at z = 0, the middle of the footprint at
//! x = y = 0, front towards -y. Reading order: [`mesh`], [`weld`], [`shell`], [`frame`], [`solid`],
//! [`surface`], [`patch`], [`hull`], [`name`].

pub mod column;
pub mod display;
pub mod frame;
pub mod health;
pub mod hull;
pub mod mesh;
pub mod name;
pub mod nest;
pub mod patch;
pub mod sculpt;
pub mod pieces;
pub mod settings;
pub mod shapes;
pub mod shell;
pub mod solid;
pub mod surface;
pub mod weld;
pub mod winding;

mod cluster;
mod curvature;
mod exposed;
mod grid;
mod lid;
mod make;
mod quickhull;
mod sample;
mod tint;

pub use crate::format::read::Axis;
pub use display::Display;
pub use health::{Finding, Health};
pub use hull::Hull;
pub use mesh::Mesh;
pub use patch::{Patch, PatchId, Shape};
pub use pieces::Pieces;
pub use settings::Settings;
pub use shell::{Shell, Shells};
pub use solid::{Solid, SolidMethod};
pub use surface::{Sample, Surface};

use base::{Note, Vec3};

/// A scaled figure with everything later rooms ask of its shape.
#[derive(Debug, Clone)]
pub struct Figure {
    /// Name for people: the file's stem, or the sculpt's name.
    pub name: String,
    /// BLAKE3 of the mesh and of the settings that made this figure: equal hash, equal figure.
    pub hash: [u8; 32],
    /// The welded triangles, for display and export.
    pub mesh: Mesh,
    /// Pieces of surface joined by edges.
    pub shells: Shells,
    /// What is wrong or odd about the mesh, and what was done about it.
    pub health: Health,
    /// Volume, centre and second moments of the solid.
    pub solid: Solid,
    /// The work surface: samples that carry area, each in one patch.
    pub surface: Surface,
    /// Smallest pieces of surface that carry a dose.
    pub patches: Vec<Patch>,
    /// [m] corners of the exact convex hull: all a lone figure can touch a flat wall with.
    pub hull: Vec<Vec3>,
    /// Corner numbers of the hull's triangles, counter-clockwise from outside.
    pub hull_faces: Vec<[u32; 3]>,
    /// Measures for [`Figure::place_words`].
    pub reference: name::Reference,
    /// What was guessed or mended on the way.
    pub notes: Vec<Note>,
}

impl Figure {
    /// [m2] area of each patch, by patch number.
    #[must_use]
    pub fn patch_areas(&self) -> Vec<f64> {
        self.patches.iter().map(|p| p.area).collect()
    }

    /// [m] from the table to the highest point.
    #[must_use]
    pub fn height(&self) -> f64 {
        self.reference.height
    }
}

/// A well mixed number from a key (splitmix64, Steele et al. 2014, OOPSLA, p. 453).
fn scatter(key: u64) -> u64 {
    let mut z = key.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

#[cfg(test)]
mod invariance;
#[cfg(test)]
mod tests;
