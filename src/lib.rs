//! Predicts where the paint of a small figure wears, how fast, and what would change it.
//!
//! ```
//! use mesh::figure::{Figure, Settings, sculpt};
//! use thumbworn::reference::Stock;
//!
//! # fn main() -> base::Result<()> {
//! // any mesh: `Figure::load` takes a file, here the figure that ships, coarse
//! let figure = Figure::from_mesh("ferry porter", &sculpt::porter(4_000), &Settings::default())?;
//! let stock = Stock::load()?;
//! let grams = |body: &str| -> base::Result<f64> {
//!     Ok(1e3 * stock.body(body)?.density.value * figure.solid.volume)
//! };
//! let (metal, plastic) = (grams("tin pewter")?, grams("polystyrene (HIPS)")?);
//! assert!((metal / plastic - 7300.0 / 1045.0).abs() < 1e-9);
//! println!("{metal:.1} g in pewter, {plastic:.1} g in polystyrene, {} patches", figure.patches.len());
//! # Ok(())
//! # }
//! ```
//!
//! A whole scenario goes through [`scenario::Source`], [`scenario::lift()`],
//! [`trial::Trial::carry_out`] and [`report::folder`].
//!
//! The order of the `pub mod` lines is the architecture: a room uses only rooms above it.

// Doc lines begin with the unit in brackets, `[m]`, `[J/m2]`: these are not links.
#![allow(rustdoc::broken_intra_doc_links, rustdoc::private_intra_doc_links)]

pub mod reference;
pub mod wear;
pub mod study;
pub mod scenario;
pub mod trial;
pub mod bench;
pub mod sweep;
pub mod report;
pub mod cli;
