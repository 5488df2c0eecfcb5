//! Triangles with shared corners.

use base::Vec3;

/// Welded triangles, counter-clockwise seen from outside.
#[derive(Debug, Clone, Default)]
pub struct Mesh {
    /// [m] corners.
    pub vertices: Vec<Vec3>,
    /// Corner numbers.
    pub triangles: Vec<[u32; 3]>,
}

impl Mesh {
    /// The three corners of each triangle.
    pub fn corners(&self) -> impl ExactSizeIterator<Item = [Vec3; 3]> + '_ {
        self.triangles
            .iter()
            .map(|t| t.map(|v| self.vertices[v as usize]))
    }

    /// [m] lowest and highest coordinate on each axis; `None` without vertices.
    #[must_use]
    pub fn bounds(&self) -> Option<(Vec3, Vec3)> {
        let first = *self.vertices.first()?;
        Some(
            self.vertices
                .iter()
                .fold((first, first), |(lo, hi), v| (lo.inf(v), hi.sup(v))),
        )
    }
}
