//! Pictures for people and chats without a browser: four views or a turntable strip of a coloured
//! figure with colour bar, unit and a length to compare with. Drawn on the processor; the same
//! figure gives the same bytes.
//!
//! Knows nothing of figures or doses: takes vertices in millimetres, triangles, values, a scale.

mod canvas;
mod footprint;
mod outline;
mod raster;
pub mod scale;
mod shade;
mod sheet;
mod survey;
mod text;

pub use canvas::{Align, Canvas, Ink};
pub use footprint::{Panel, footprints};
pub use outline::{Outlines, Which, outlined, seen_in_views};
pub use raster::View;
pub use scale::{Rgb, Scale, Spread};
pub use sheet::{Sheet, four_views, portrait, turntable};
pub use survey::{Edge, Survey, survey};
pub use text::Writer;

/// What is drawn.
#[derive(Debug, Clone, Copy)]
pub struct Surface<'a> {
    /// [mm] corners, z up, front towards -y.
    pub vertices_mm: &'a [[f32; 3]],
    /// Corner numbers, counter-clockwise from outside.
    pub triangles: &'a [[u32; 3]],
    /// One value per corner in the unit of the scale, not finite where there is none; `None`
    /// draws a plain cast.
    pub values: Option<&'a [f32]>,
}
