//! The demo figure as code: a stout ferry porter with boat-hook and lantern on a round of jetty.
//!
//! Our own design, so that every program, test and picture has a figure that may be shipped, with
//! a known true volume. Everything here is in **millimetres** (the figure's frame otherwise: z up,
//! base at z = 0, front towards -y): load it like any figure file.

mod field;
mod gear;
mod health;
mod nets;
mod person;
mod shapes;
mod simplify;

pub use field::{Bounds, Field, Group, Piece, Point};
pub use health::{Health, health};
pub use nets::triangulate;
pub use simplify::simplify;

use super::Mesh;

/// The porter as a field.
#[must_use]
pub fn porter_field() -> Field {
    let mut groups = gear::gear();
    groups.extend(person::person());
    Field::new(groups)
}

/// [mm] net of the porter: fine enough for tips of 0.5 mm.
pub const GRID_MM: f64 = 0.15;

/// The porter as one closed shell, in millimetres, with about `triangles` triangles.
///
/// Made on the fine net and simplified, so that a light mesh keeps its thin tips: 50 000 for
/// looking and trying, 150 000 for results to show.
#[must_use]
pub fn porter(triangles: usize) -> Mesh {
    simplify(&triangulate(&porter_field(), GRID_MM), triangles)
}
