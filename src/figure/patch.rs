//! Patches: the smallest pieces of surface that carry a dose.

use crate::base::Vec3;
use serde::{Deserialize, Serialize};

/// Number of a patch in [`super::Figure::patches`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct PatchId(pub u32);

impl PatchId {
    /// As an index.
    #[must_use]
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

/// What a patch looks like from outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// Convex both ways with a small radius.
    Tip,
    /// Convex one way with a small radius.
    Edge,
    /// Flat or gently bent.
    Face,
    /// Concave.
    Hollow,
}

/// One patch.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// [m] area-weighted middle of its samples.
    pub centroid: Vec3,
    /// Area-weighted outward unit normal.
    pub normal: Vec3,
    /// [m2]
    pub area: f64,
    /// [m] smallest convex radius of curvature (the sharper of the two principal directions);
    /// infinite on flats and hollows.
    pub radius: f64,
    /// What it looks like.
    pub shape: Shape,
    /// Can anything outside the figure reach it? Inner walls never get dose.
    pub exposed: bool,
}
