//! Soft contact: a compliant pad pressed against the figure.
//!
//! Reading order: [`grid`], [`plane`] (transforms), [`foundation`] (what a pad is made of),
//! [`press`] (the solver), [`relief`] (what the pad sees of a figure), [`settle`] (force to
//! indentation), [`presser`] (pad and figure in any pose), [`imprint`] (what is left on patches).
//!
//! Speed, seconds of one core for 512 x 512 cells of a figure's side, 1 and 3 mm deep (the same
//! method in numpy: 1.35 and 2.45):
//!
//! | what | 1 mm | 3 mm | kept |
//! |---|---|---|---|
//! | double precision | 0.184 | 0.242 | |
//! | single precision; deep levels coarser; no transform on straight steps; only rows with cells on the way back; no collapse below 1/2000 of the stress at 40 % | 0.092 | 0.128 | yes |
//! | that, with the collapse's mean slope in the preconditioner | 0.108 | 0.201 | no: as many steps |
//! | that, forgetting less often (0.2 % to 20 % of new cells) | 0.101 | 0.124 | no: noise |
//! | that, started on grids of a quarter and half | 0.107 | 0.144 | for the force search only: the fine grid needs as many steps, since they go into the rim |
//!
//! A finger's grid (96 x 96, elastic) takes 0.5 ms. Not tried in code: a kernel cut off at a
//! distance (it reaches one thickness, 160 cells; summed over 12 000 touched cells that is 1.4e8
//! products for a matrix-vector product, against some 1e7 of a transform pair) and multigrid (the
//! kernel is full on every level, so each level would cost a transform again).

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
