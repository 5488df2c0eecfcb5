//! Soft contact: a compliant pad pressed against the figure.
//!
//! Reading order: [`grid`], [`plane`] (transforms), [`foundation`] (what a pad is made of),
//! [`press`] (the solver).

pub mod foundation;
pub mod grid;
pub mod plane;
pub mod press;
#[cfg(test)]
mod press_tests;

pub use foundation::{Filling, Foundation, Pad};
pub use grid::Grid;
pub use press::{Pressed, Workspace};
