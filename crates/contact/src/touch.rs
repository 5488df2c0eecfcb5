//! How two materials touch.

use serde::{Deserialize, Serialize};

/// Which side of a contact gives first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// The figure's body under its films.
    Figure,
    /// What touches it.
    Counterface,
}

/// One side of a hard contact.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Solidity {
    /// [Pa] Young's modulus.
    pub youngs: f64,
    /// Poisson's ratio.
    pub poisson: f64,
    /// [Pa] uniaxial yield stress.
    pub yield_stress: f64,
}

/// How restitution is found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Restitution {
    /// The same for every contact, 0 to 1.
    Constant(f64),
    /// A reference value at a stated speed, tip radius and mass, scaled by the plastic-impact law
    /// e ~ m^(-1/8) V^(-1/4) R^(3/8) (Johnson 1985, eq. 11.47) and never above `ceiling`.
    Scaled {
        /// Value at the reference state.
        at_reference: f64,
        /// [m/s]
        speed: f64,
        /// [m]
        radius: f64,
        /// [kg]
        mass: f64,
        /// Highest value allowed.
        ceiling: f64,
    },
}

/// A pair of hard materials.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Touch {
    /// Coulomb friction coefficient of the figure's outer film on the counterface.
    pub friction: f64,
    /// Energetic coefficient of restitution.
    pub restitution: Restitution,
    /// The figure's body.
    pub figure: Solidity,
    /// What touches it.
    pub counterface: Solidity,
}

impl Touch {
    /// [Pa] contact modulus of the pair.
    #[must_use]
    pub fn modulus(&self) -> f64 {
        let side = |s: &Solidity| (s.youngs, s.poisson);
        crate::law::hertz::contact_modulus([side(&self.figure), side(&self.counterface)])
    }

    /// The side that yields first and its yield stress [Pa].
    #[must_use]
    pub fn softer(&self) -> (Side, f64) {
        if self.figure.yield_stress <= self.counterface.yield_stress {
            (Side::Figure, self.figure.yield_stress)
        } else {
            (Side::Counterface, self.counterface.yield_stress)
        }
    }

    /// The same pair with the figure's own material on both sides: figure against figure.
    #[must_use]
    pub fn with_itself(&self) -> Touch {
        Touch {
            counterface: self.figure,
            ..*self
        }
    }
}
