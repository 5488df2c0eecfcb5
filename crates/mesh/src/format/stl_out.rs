//! Binary STL out.

use base::{Error, Result};

/// A triangle's corners in file units.
pub type Corners = [[f32; 3]; 3];

/// Binary STL of triangles, with facet normals.
///
/// # Errors
/// More triangles than the format can count.
pub fn stl(triangles: &[Corners]) -> Result<Vec<u8>> {
    let facets = triangles.iter().map(|corners| {
        let side = |a: usize, b: usize| -> [f32; 3] {
            std::array::from_fn(|k| corners[b][k] - corners[a][k])
        };
        let (u, v) = (side(0, 1), side(0, 2));
        let n = [
            u[1] * v[2] - u[2] * v[1],
            u[2] * v[0] - u[0] * v[2],
            u[0] * v[1] - u[1] * v[0],
        ];
        let length = n
            .iter()
            .map(|x| x * x)
            .sum::<f32>()
            .sqrt()
            .max(f32::MIN_POSITIVE);
        stl_io::Triangle {
            normal: stl_io::Normal::new(n.map(|x| x / length)),
            vertices: corners.map(stl_io::Vertex::new),
        }
    });
    let mut bytes = Vec::with_capacity(84 + 50 * triangles.len());
    stl_io::write_stl(&mut bytes, facets)
        .map_err(|cause| Error::refused(format!("cannot write STL: {cause}")))?;
    Ok(bytes)
}
