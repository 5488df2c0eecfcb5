//! The questions: life, areas, compare, what-if, match, reinforce, advise.
//!
//! All of them read stored doses; none runs an engine except through a closure it is given.

mod draw;
mod drawn_dose;
mod neighbours;
mod nnls;
mod undermine;

pub mod advise;
pub mod area;
pub mod compare;
pub mod coupon;
pub mod life;
pub mod matching;
pub mod reinforce;
pub mod spots;
pub mod stages;
pub mod tradeoff;
pub mod whatif;

#[cfg(test)]
pub(crate) mod fixture;

pub use advise::{Advice, MEASUREMENTS, Measurement, advise};
pub use area::{Area, AreaSettings, areas};
pub use compare::{Comparison, Mover, Ratio, Side, compare, digits};
pub use coupon::{Coupon, calibrate};
pub use draw::Part;
pub use life::{
    CAVEAT, Exposed, Interval, Life, LifeSettings, Lives, PartShare, SCUFF_NOTE, life_ratio, lives,
};
pub use matching::{Ingredient, Match, Reached, Wearing, matching};
pub use nnls::{NonNegative, nnls};
pub use reinforce::{ExactSet, Measure, Reinforcement, Season, Step, reinforce};
pub use spots::{Spot, SpotSettings, spots};
pub use stages::{stages, stages_by_scaling};
pub use tradeoff::{RubAndKnock, Rung, thick_stacks};
pub use whatif::{Case, Question, Row as WhatIfRow, Verdict, WhatIf, whatif};
