//! A figure with mass: what an engine moves.

use base::{Mat3, Vec3};
use mesh::figure::Solid;

/// Mass properties in the figure's frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    /// [kg]
    pub mass: f64,
    /// [m] centre of mass.
    pub centre: Vec3,
    /// [kg m2] inertia tensor about the centre.
    pub inertia: Mat3,
}

impl Body {
    /// A homogeneous body of the given density.
    ///
    /// * `density`: [kg/m3] above 0
    #[must_use]
    pub fn homogeneous(solid: &Solid, density: f64) -> Body {
        Body::weighed(solid, density * solid.volume)
    }

    /// A body of known mass, its inertia scaled to that mass.
    ///
    /// * `mass`: [kg] above 0
    #[must_use]
    pub fn weighed(solid: &Solid, mass: f64) -> Body {
        Body {
            mass,
            centre: solid.centre,
            inertia: solid.inertia * (mass / solid.volume),
        }
    }
}
