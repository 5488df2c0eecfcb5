//! Values that ship: bodies, films, counterfaces, schedules; each with range, grade, source.
//!
//! `table` holds the nine tables as they were collected; [`stock`] is the curated choice that
//! scenarios name, pointing into the tables; [`material`] gives its entries types; [`pair`] makes
//! the wear rate of a film on a counterface.

pub mod calibration;
pub mod falls;
pub mod material;
pub mod pair;
pub mod show;
pub mod stock;
mod table;

pub use calibration::{Calibration, SystemRate, WearRate};
pub use falls::Fall;
pub use material::{
    Against, Binder, BodyMaterial, Counterface, FilmMaterial, Method, ReferenceState,
    RestitutionValue, Role, Softness,
};
pub use pair::{Modifiers, PairRate};
pub use stock::{Entry, Kind, Overrule, Stock};
pub use table::{Cell, Row, Table, backing, table, table_names, to_si};
