//! The questions: life, areas, compare, what-if, match, reinforce, advise.
//!
//! All of them read stored doses; none runs an engine except through a closure it is given.

mod draw;
mod neighbours;
mod undermine;

pub mod area;
pub mod compare;
pub mod life;
pub mod whatif;

#[cfg(test)]
pub(crate) mod fixture;

pub use area::{Area, AreaSettings, areas};
pub use compare::{Comparison, Mover, Ratio, Side, compare};
pub use draw::Part;
pub use life::{CAVEAT, Exposed, Interval, Life, LifeSettings, Lives, PartShare, lives};
pub use whatif::{Case, Question, Row as WhatIfRow, Verdict, WhatIf, whatif};
