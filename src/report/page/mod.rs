//! `report.html`: one self-contained page that opens by double click, offline.
//!
//! Guaranteed: every word of the user's stays text (escaped by the template, by the JSON writer,
//! and written by the script as text only); the page may not load anything (its own policy forbids
//! it). The maps need WebGL2 and a browser from 2023 on; without them all words and tables remain.

mod chart;
pub mod data;
mod pack;
mod render;

pub use chart::chart;
pub(in crate::report) use chart::escape;
pub use data::Page;
pub use render::render;
