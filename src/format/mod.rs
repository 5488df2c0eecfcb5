//! Bytes to triangles, colours and tables, and back. Nothing of paint.

pub mod read;
