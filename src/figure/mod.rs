//! The mesh becomes a [`Figure`]: welded, scaled, weighed, cut into patches, wrapped in its hull.
//! Immutable afterwards and shared by everything downstream.
//!
//! The figure's frame: metres, z up, the lowest point at z = 0, the middle of the footprint at
//! x = y = 0, front towards -y. Reading order: [`mesh`], [`solid`], [`surface`], [`patch`].

pub mod mesh;
pub mod patch;
pub mod sculpt;
pub mod solid;
pub mod surface;

pub use mesh::Mesh;
pub use patch::{Patch, PatchId, Shape};
pub use solid::{Solid, SolidMethod};
pub use surface::{Sample, Surface};

use crate::base::{Note, Vec3};

/// A scaled figure with everything later rooms ask of its shape.
#[derive(Debug, Clone)]
pub struct Figure {
    /// Name for people: the file's stem, or the sculpt's name.
    pub name: String,
    /// BLAKE3 of the mesh and of the settings that made this figure: equal hash, equal figure.
    pub hash: [u8; 32],
    /// The welded triangles, for display and export.
    pub mesh: Mesh,
    /// Volume, centre and second moments of the solid.
    pub solid: Solid,
    /// The work surface: samples that carry area, each in one patch.
    pub surface: Surface,
    /// Smallest pieces of surface that carry a dose.
    pub patches: Vec<Patch>,
    /// [m] corners of the exact convex hull: all a lone figure can touch a flat wall with.
    pub hull: Vec<Vec3>,
    /// What was guessed or mended on the way.
    pub notes: Vec<Note>,
}

impl Figure {
    /// [m2] area of each patch, by patch number.
    #[must_use]
    pub fn patch_areas(&self) -> Vec<f64> {
        self.patches.iter().map(|p| p.area).collect()
    }
}
