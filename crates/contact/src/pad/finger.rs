//! A finger as a pad: a dome on the linear bonded layer, as stiff as its load makes it.

use super::foundation::{Filling, Pad};
use crate::law::skin;

/// Roundness of a pad that is not flat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dome {
    /// [m] pad coordinates of its lowest point.
    pub middle: [f64; 2],
    /// [m] radius of curvature.
    pub radius: f64,
}

impl Dome {
    /// [m] how much higher the dome is at a place than at its lowest point.
    #[must_use]
    pub fn rise(&self, [x, y]: [f64; 2]) -> f64 {
        let (dx, dy) = (x - self.middle[0], y - self.middle[1]);
        (dx * dx + dy * dy) / (2.0 * self.radius)
    }
}

/// The pad of a finger that presses with `force` \[N\].
#[must_use]
pub fn finger(force: f64) -> Pad {
    Pad {
        filling: Filling::Elastic {
            youngs: skin::modulus(force),
            poisson: skin::POISSON,
        },
        thickness: skin::PAD_THICKNESS,
    }
}
