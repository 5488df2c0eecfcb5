//! Soft contact: a compliant pad pressed against the figure.
//!
//! Reading order: [`grid`], [`plane`] (transforms), [`foundation`] (what a pad is made of),
//! [`press`] (the solver), [`relief`] (what the pad sees of a figure), [`settle`] (force to
//! indentation), [`presser`] (pad and figure in any pose), [`imprint`] (what is left on patches).

pub mod finger;
pub mod foundation;
pub mod grid;
pub mod imprint;
pub mod measure;
pub mod picture;
pub mod plane;
pub mod press;
pub mod presser;
mod profile;
#[cfg(test)]
mod press_tests;
pub mod relief;
pub mod settle;
pub mod skew;

pub use finger::{Dome, finger};
pub use foundation::{Filling, Foundation, Pad};
pub use grid::Grid;
pub use imprint::{Catch, MEAN_OVER, Press, Slide};
pub use picture::Picture;
pub use press::{Pressed, Workspace};
pub use presser::{FINE, Outline, Presser, SURVEY, Window};
pub use relief::{Pose, Relief};
pub use settle::{Push, Pyramid, Settled};
