//! The scenario file: [`raw`] is what a person types, [`source`] knows the place of each key,
//! [`lift`](self) turns it into SI and is the only place that validates.

pub mod raw;
pub mod source;

pub use source::Source;
