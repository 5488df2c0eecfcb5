//! Bytes to triangles, colours and tables, and back. Nothing of paint.

pub mod read;

pub mod glb_out;
pub mod heat;
pub mod obj_out;
pub mod ply_out;
pub mod stl_out;
pub mod threemf_out;
pub mod vtu_out;

pub use glb_out::glb;
pub use heat::{Channel as HeatChannel, HeatMesh};
pub use obj_out::obj;
pub use ply_out::ply;
pub use stl_out::stl;
pub use threemf_out::threemf;
pub use vtu_out::vtu;
