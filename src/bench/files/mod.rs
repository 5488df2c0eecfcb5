//! The bench record: plain files, checked when they are read, never overwritten.

mod folder;
mod outcome;
mod rows;
mod table;

pub use folder::{Bench, Grade, Specimen};
pub use outcome::{NewFile, Outcome, sha256};
pub use rows::{
    AreaRow, BenchFile, Comparison, GradeRow, GuessRow, KeyRow, RoundRow, SpecimenRow, SystemPrior,
    SystemRow,
};
pub use table::{read_rows, write_rows};
