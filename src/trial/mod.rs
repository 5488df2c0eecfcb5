//! A scenario carried out: which parts there are, where finished parts are kept, and the answers
//! they add up to. The only room that runs engines for a whole scenario.

pub mod answer;
pub mod carry;
mod compute;
pub mod part;
mod season;
pub mod store;

pub use answer::{Answers, AreaAnswer, EndLife, PartAnswer};
pub use carry::{Done, Foreman, Trial};
pub use part::{Footprint, Outcome, PartId};
pub use store::{Key, Store};
