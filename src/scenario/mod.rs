//! The scenario file: [`raw`] is what a person types, [`source`] knows the place of each key,
//! [`lift()`] turns it into [`plan`] in SI and is the only place that validates.

mod lift;
pub mod plan;
pub mod raw;
pub mod service;
pub mod source;
pub mod vary;

pub use lift::lift;
pub use plan::Scenario;
pub use service::Service;
pub use source::Source;
