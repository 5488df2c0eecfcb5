//! The scenario file: [`raw`] is what a person types, [`source`] knows the place of each key,
//! [`lift()`] turns it into [`plan`] in SI and is the only place that validates.

mod lift;
pub mod plan;
pub mod raw;
pub mod source;
pub mod vary;

pub use lift::lift;
pub use plan::Scenario;
pub use source::Source;
