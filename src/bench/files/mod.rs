//! The bench record: plain files, checked when they are read, never overwritten.

mod declared;
mod folder;
mod outcome;
mod rows;
mod table;

pub use declared::Comparison;
pub use folder::{Bench, Grade, Specimen};
pub use outcome::{NewFile, Outcome, sha256};
pub use rows::{
    AreaRow, BenchFile, GradeRow, GuessRow, KeyRow, RoundRow, SpecimenRow, SystemPrior, SystemRow,
};
pub use table::{read_rows, write_rows};
