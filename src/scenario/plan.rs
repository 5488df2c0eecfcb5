//! The scenario in SI, validated: what the trial room carries out.

use crate::reference::{Modifiers, Stock, SystemRate};
use crate::wear::{PressureSensitivity, Specimen};
use base::Note;
use contact::dose::Unit;
use contact::law::grip::Hand;
use mesh::figure::Settings;
use serde::Serialize;
use std::path::PathBuf;
use std::time::Duration;

/// A validated scenario.
#[derive(Debug, Clone)]
pub struct Scenario {
    /// Heading of the report.
    pub title: String,
    /// Seed of every random draw.
    pub seed: u64,
    /// Relative half-width of the 95 % interval of the most worn areas at which a simulation stops.
    pub precision: f64,
    /// Most wall-clock time per part.
    pub budget: Option<Duration>,
    /// How the wear rate depends on pressure on pads.
    pub pressure: PressureSensitivity,
    /// Where the figure comes from.
    pub figure: FigureSource,
    /// How its mesh becomes a figure.
    pub settings: Settings,
    /// Specimens in file order.
    pub specimens: Vec<SpecimenPlan>,
    /// Exposures in file order.
    pub exposures: Vec<ExposurePlan>,
    /// Comparisons asked for.
    pub compares: Vec<ComparePlan>,
    /// What-ifs asked for.
    pub whatifs: Vec<WhatIfPlan>,
    /// Values overruled, guesses made.
    pub notes: Vec<Note>,
}

/// Where the figure comes from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub enum FigureSource {
    /// A mesh file.
    File(PathBuf),
    /// The sculpt that ships.
    FerryPorter,
}

/// One specimen and the stock as it holds for it: the user's values in place.
#[derive(Debug, Clone)]
pub struct SpecimenPlan {
    /// Body and films.
    pub specimen: Specimen,
    /// The stock with this specimen's values overruled.
    pub stock: Stock,
    /// The last coat is younger than 7 days.
    pub young: bool,
    /// Declared that film peels from the rim of bare spots.
    pub undermining: bool,
    /// The wear rate of the user's bench, and the counterface it holds on.
    pub measured: Option<(String, SystemRate)>,
}

/// One exposure.
#[derive(Debug, Clone)]
pub struct ExposurePlan {
    /// Name.
    pub name: String,
    /// What touches the figure, a name of the stock.
    pub counterface: String,
    /// How much of it, in its own unit.
    pub amount: f64,
    /// Its unit.
    pub unit: Unit,
    /// Friction given with the exposure.
    pub friction: Option<f64>,
    /// Grit in the foam or on the fingers.
    pub gritty: bool,
    /// 30 C and more.
    pub warm: bool,
    /// What is done.
    pub deed: Deed,
}

/// What is done.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum Deed {
    /// Loose in a box.
    Tumble {
        /// [m] inner size of the box.
        size: [f64; 3],
        /// A round tin: `size` is its diameter twice, and its height.
        round: bool,
        /// How the box moves.
        motion: Motion,
        /// Number of equal figures.
        figures: u32,
        /// Engine.
        engine: EngineChoice,
        /// Restitution given by the user.
        restitution: Option<f64>,
    },
    /// Falling on a plate.
    Drop {
        /// [m] free height below the lowest point.
        height: f64,
        /// The published fall it was taken from.
        schedule: Option<String>,
        /// Face that points down; `None` is a random attitude.
        down: Option<Face>,
        /// Restitution given by the user.
        restitution: Option<f64>,
    },
    /// Strokes over a pad.
    Rub {
        /// The pad.
        pad: PadPlan,
        /// What presses.
        load: Load,
        /// [m] length of a stroke.
        stroke: f64,
        /// [m] length of the pad if shorter than the stroke.
        pad_length: Option<f64>,
        /// Sides that face the pad.
        faces: Vec<Face>,
        /// [rad] standard deviation of the tilt of a pose.
        tilt: f64,
    },
    /// Picking up and putting down.
    Handle {
        /// Fingers of a grasp.
        fingers: u32,
        /// Shares of base, body and top; they sum to 1.
        holds: [f64; 3],
        /// [m/s2] peak acceleration, if given.
        acceleration: Option<f64>,
        /// [m] slip per pick-up, if given.
        slip: Option<f64>,
        /// [N] lowest grip force, if given.
        floor: Option<f64>,
        /// Grip over slip limit, if given.
        margin: Option<f64>,
    },
    /// Riding in a tray slot.
    Ride {
        /// The foam.
        pad: PadPlan,
        /// [m] interference per side; negative is loose.
        interference: f64,
        /// Vibration schedule.
        schedule: String,
        /// [m/s] mean speed, if given.
        speed: Option<f64>,
        /// [1/m] insertions and extractions per distance, if given.
        insertions: Option<f64>,
    },
}

impl Deed {
    /// The word for it in the scenario file.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Deed::Tumble { .. } => "tumble",
            Deed::Drop { .. } => "drop",
            Deed::Rub { .. } => "rub",
            Deed::Handle { .. } => "handle",
            Deed::Ride { .. } => "ride",
        }
    }
}

/// How a box moves.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum Motion {
    /// [m] amplitudes and [Hz] frequencies.
    Shake {
        /// [m]
        amplitude: [f64; 3],
        /// [Hz]
        frequency: [f64; 3],
    },
    /// Steady turning.
    Roll {
        /// [rad/s]
        rate: f64,
        /// Axis 0 x, 1 y, 2 z.
        axis: usize,
    },
    /// Recorded path, text of the CSV.
    Recorded {
        /// File, for messages.
        file: PathBuf,
    },
}

/// Which engine computes hard contact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum EngineChoice {
    /// The event-and-step solver.
    Exact,
    /// The independent second opinion.
    Rapier,
}

/// What presses the figure on the pad.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Load {
    /// [N] a hand.
    Hand(f64),
    /// The figure's own weight.
    OwnWeight,
    /// [m] a set indentation.
    Interference(f64),
}

/// A side of the figure as seen from its front.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Face {
    /// From above.
    Top,
    /// The underside of the base.
    Base,
    /// Front.
    Front,
    /// Back.
    Back,
    /// Left as the viewer sees it from the front.
    Left,
    /// Right as the viewer sees it from the front.
    Right,
}

/// A pad of foam or felt.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PadPlan {
    /// [m] thickness.
    pub thickness: f64,
    /// [Pa] stress at 40 % compression.
    pub cld40: f64,
}

/// A comparison.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ComparePlan {
    /// Index of a specimen.
    pub left: usize,
    /// Index of another.
    pub right: usize,
    /// Index of the exposure; all without it.
    pub exposure: Option<usize>,
}

/// A what-if.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WhatIfPlan {
    /// Key that varies.
    pub vary: String,
    /// Values, ascending.
    pub values: Vec<f64>,
    /// Index of the specimen.
    pub specimen: usize,
    /// Index of the exposure; all without it.
    pub exposure: Option<usize>,
}

impl ExposurePlan {
    /// The hand of a handling exposure, the usual one for anything not given.
    #[must_use]
    pub fn hand(&self) -> Hand {
        let usual = Hand::default();
        match self.deed {
            Deed::Handle {
                floor,
                margin,
                acceleration,
                ..
            } => Hand {
                floor: floor.unwrap_or(usual.floor),
                margin: margin.unwrap_or(usual.margin),
                acceleration: acceleration.unwrap_or(usual.acceleration),
            },
            _ => usual,
        }
    }

    /// What is declared about wear on this exposure for a specimen.
    #[must_use]
    pub fn modifiers(&self, specimen: &SpecimenPlan) -> Modifiers {
        Modifiers {
            grease: false,
            grit: self.gritty,
            young: specimen.young,
            warm: self.warm,
        }
    }
}
