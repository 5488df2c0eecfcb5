//! The readers, from the program's own sources.

#[path = "../../src/format/read/mod.rs"]
pub mod read;
