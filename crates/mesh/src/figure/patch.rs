//! Patches: the smallest pieces of surface that carry a dose.

use base::Vec3;
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

/// [1/m] below this curvature a surface is flat: radius 25 mm.
pub const FLAT: f64 = 40.0;
/// [1/m] from this convex curvature on one way a patch is an edge: radius 1 mm, where a brushed
/// film is a fifth thinner.
const SMALL_RADIUS: f64 = 1000.0;
/// [1/m] from this curvature on the other way an edge is a tip, and a concave patch a hollow:
/// radius 1.5 mm.
const SMALL_RADIUS_OTHER_WAY: f64 = 667.0;

impl Shape {
    /// From curvatures [1/m], convex positive.
    ///
    /// * `sharp`: in the more convex direction; `blunt`: in the other one
    /// * `hollow`: mean concave curvature of the patch
    #[must_use]
    pub fn of(sharp: f64, blunt: f64, hollow: f64) -> Shape {
        if sharp > SMALL_RADIUS && blunt > SMALL_RADIUS_OTHER_WAY {
            Shape::Tip
        } else if sharp > SMALL_RADIUS {
            Shape::Edge
        } else if hollow > SMALL_RADIUS_OTHER_WAY {
            Shape::Hollow
        } else {
            Shape::Face
        }
    }
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
