//! Volume, centre of mass and second moments of the solid inside the mesh.

use crate::base::{Mat3, Vec3};
use serde::{Deserialize, Serialize};

/// How the solid was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SolidMethod {
    /// Divergence theorem: one closed shell, or several that do not overlap.
    Divergence,
    /// Signed crossings along columns in a generic attitude: closed shells that overlap.
    Columns,
    /// Columns, asking the generalised winding number where crossings do not balance.
    ColumnsAndWinding,
}

/// The solid at unit density.
#[derive(Debug, Clone, PartialEq)]
pub struct Solid {
    /// [m3]
    pub volume: f64,
    /// [m] centre of mass in the figure's frame.
    pub centre: Vec3,
    /// [m5] inertia tensor about the centre for density 1 kg/m3.
    pub inertia: Mat3,
    /// How it was found.
    pub method: SolidMethod,
}
