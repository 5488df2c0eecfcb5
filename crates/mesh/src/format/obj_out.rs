//! OBJ with vertex colours after the position (`v x y z r g b`, widely read though never in the
//! Wavefront specification), millimetres, z up. Raw channels do not fit this format.

use super::heat::HeatMesh;
use base::Result;
use std::fmt::Write;

/// The mesh as OBJ.
///
/// # Errors
/// As [`HeatMesh::check`].
pub fn obj(mesh: &HeatMesh<'_>) -> Result<Vec<u8>> {
    mesh.check()?;
    let mut out = format!("# {}\n# millimetres, z up\n", mesh.safe_comment());
    // Writing to a string cannot fail.
    for (v, colour) in mesh.vertices_mm.iter().zip(mesh.colours) {
        let [r, g, b] = colour.map(|c| f32::from(c) / 255.0);
        let _ = writeln!(out, "v {} {} {} {r:.4} {g:.4} {b:.4}", v[0], v[1], v[2]);
    }
    for [a, b, c] in mesh.triangles {
        let _ = writeln!(out, "f {} {} {}", a + 1, b + 1, c + 1);
    }
    Ok(out.into_bytes())
}

#[cfg(test)]
mod tests {
    use super::super::heat::tests::{FACES, sample};
    use super::*;

    /// Read back by an independent reader: the `tobj` crate.
    #[test]
    fn another_reader_sees_the_same_triangles() {
        let bytes = obj(&sample()).unwrap();
        let options = tobj::LoadOptions::default();
        let materials = |_: &std::path::Path| tobj::load_mtl_buf(&mut std::io::empty());
        let (models, _) = tobj::load_obj_buf(&mut bytes.as_slice(), &options, materials).unwrap();
        let mesh = &models[0].mesh;
        let used: Vec<[f32; 3]> = mesh.positions.as_chunks().0.to_vec();
        let corner = |i: usize| used[mesh.indices[i] as usize];
        for (i, &v) in FACES.as_flattened().iter().enumerate() {
            assert_eq!(corner(i), sample().vertices_mm[v as usize]);
        }
        assert_eq!(mesh.vertex_color.len(), mesh.positions.len());
    }
}
