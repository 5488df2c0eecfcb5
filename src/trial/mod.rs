//! A scenario carried out: which parts there are, where finished parts are kept, and the results
//! they add up to. The only room that runs engines for a whole scenario.

pub mod store;

pub use store::{Key, Store};
