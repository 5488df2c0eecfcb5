//! PLY, binary little endian: positions in millimetres, `red green blue`, one float property per
//! channel (Turk 1994, "The PLY polygon file format").

use super::heat::HeatMesh;
use base::Result;

/// The mesh as PLY.
///
/// # Errors
/// As [`HeatMesh::check`].
pub fn ply(mesh: &HeatMesh<'_>) -> Result<Vec<u8>> {
    mesh.check()?;
    let mut out = header(mesh).into_bytes();
    for (i, (vertex, colour)) in mesh.vertices_mm.iter().zip(mesh.colours).enumerate() {
        for x in vertex {
            out.extend(x.to_le_bytes());
        }
        out.extend(colour);
        for channel in mesh.channels {
            out.extend(channel.values[i].to_le_bytes());
        }
    }
    for triangle in mesh.triangles {
        out.push(3);
        for v in triangle {
            out.extend((*v as i32).to_le_bytes());
        }
    }
    Ok(out)
}

fn header(mesh: &HeatMesh<'_>) -> String {
    let mut lines = vec![
        "ply".to_string(),
        "format binary_little_endian 1.0".into(),
        format!("comment {}", mesh.safe_comment()),
        "comment positions in millimetres, z up".into(),
        format!("element vertex {}", mesh.vertices_mm.len()),
    ];
    lines.extend(["x", "y", "z"].map(|axis| format!("property float {axis}")));
    lines.extend(["red", "green", "blue"].map(|c| format!("property uchar {c}")));
    lines.extend(
        mesh.channels
            .iter()
            .map(|c| format!("property float {}", c.name)),
    );
    lines.push(format!("element face {}", mesh.triangles.len()));
    lines.push("property list uchar int vertex_indices".into());
    lines.push("end_header\n".into());
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::super::heat::tests::sample;
    use super::*;

    #[test]
    fn the_body_has_the_length_its_header_tells() {
        let bytes = ply(&sample()).unwrap();
        let end = bytes
            .windows(11)
            .position(|w| w == b"end_header\n")
            .unwrap()
            + 11;
        assert_eq!(bytes.len() - end, 4 * (12 + 3 + 4) + 4 * 13);
        let head = String::from_utf8(bytes[..end].to_vec()).unwrap();
        assert!(head.contains("comment a b second line\n"));
        assert_eq!(&bytes[end + 19..end + 23], 10.0_f32.to_le_bytes());
    }
}
