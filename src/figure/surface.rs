//! The work surface: area samples cut from the triangles, and the kernel that spreads one
//! contact over them.

use super::patch::PatchId;
use crate::base::Vec3;

/// A small piece of surface with exact area.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// [m] centroid.
    pub point: Vec3,
    /// Outward unit normal.
    pub normal: Vec3,
    /// [m2]
    pub area: f64,
    /// The patch it belongs to.
    pub patch: PatchId,
}

/// All samples of a figure.
#[derive(Debug, Clone, Default)]
pub struct Surface {
    /// Samples in a fixed order.
    pub samples: Vec<Sample>,
}
