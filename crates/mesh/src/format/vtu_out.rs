//! VTU: XML unstructured grid with point data (VTK file formats, Kitware, "XML file formats"),
//! arrays base64 in line, little endian, 32-bit length first. Millimetres, z up.

use super::heat::HeatMesh;
use base::Result;
use base64::Engine;
use std::fmt::Write;

/// VTK's number for a triangle.
const TRIANGLE: u8 = 5;

/// The mesh as VTU.
///
/// # Errors
/// As [`HeatMesh::check`].
pub fn vtu(mesh: &HeatMesh<'_>) -> Result<Vec<u8>> {
    mesh.check()?;
    let (corners, cells) = (mesh.vertices_mm.len(), mesh.triangles.len());
    let mut out = String::from("<?xml version=\"1.0\"?>\n");
    // Writing to a string cannot fail.
    let _ = writeln!(out, "<!-- {} (millimetres, z up) -->", mesh.safe_comment());
    out += "<VTKFile type=\"UnstructuredGrid\" version=\"0.1\" byte_order=\"LittleEndian\">\n";
    let _ = writeln!(
        out,
        "<UnstructuredGrid><Piece NumberOfPoints=\"{corners}\" NumberOfCells=\"{cells}\">"
    );
    out += "<PointData>\n";
    for channel in mesh.channels {
        let bytes = floats(channel.values);
        array(&mut out, ("Float32", channel.name, 1), &bytes);
    }
    array(
        &mut out,
        ("UInt8", "colour_srgb", 3),
        mesh.colours.as_flattened(),
    );
    out += "</PointData>\n<Points>\n";
    array(
        &mut out,
        ("Float32", "Points", 3),
        &floats(mesh.vertices_mm.as_flattened()),
    );
    out += "</Points>\n<Cells>\n";
    let integers = |values: &mut dyn Iterator<Item = u32>| -> Vec<u8> {
        values.flat_map(u32::to_le_bytes).collect()
    };
    let connectivity = integers(&mut mesh.triangles.iter().flatten().copied());
    array(&mut out, ("UInt32", "connectivity", 1), &connectivity);
    let offsets = integers(&mut (1..=cells as u32).map(|i| 3 * i));
    array(&mut out, ("UInt32", "offsets", 1), &offsets);
    array(&mut out, ("UInt8", "types", 1), &vec![TRIANGLE; cells]);
    out += "</Cells>\n</Piece></UnstructuredGrid>\n</VTKFile>\n";
    Ok(out.into_bytes())
}

fn floats(values: &[f32]) -> Vec<u8> {
    values.iter().flat_map(|v| v.to_le_bytes()).collect()
}

fn array(out: &mut String, (kind, name, width): (&str, &str, usize), bytes: &[u8]) {
    let mut block = (bytes.len() as u32).to_le_bytes().to_vec();
    block.extend(bytes);
    let text = base64::engine::general_purpose::STANDARD.encode(block);
    // Some readers make a table of one column of an explicit 1.
    let parts = match width {
        1 => String::new(),
        _ => format!(" NumberOfComponents=\"{width}\""),
    };
    let _ = writeln!(
        out,
        "<DataArray type=\"{kind}\" Name=\"{name}\"{parts} format=\"binary\">{text}</DataArray>"
    );
}

#[cfg(test)]
mod tests {
    use super::super::heat::tests::sample;
    use super::*;

    #[test]
    fn a_block_tells_its_length_and_holds_its_values() {
        let text = String::from_utf8(vtu(&sample()).unwrap()).unwrap();
        let from = text.find("friction_J_m2").unwrap();
        let start = from + text[from..].find('>').unwrap() + 1;
        let end = start + text[start..].find('<').unwrap();
        let engine = base64::engine::general_purpose::STANDARD;
        let block = engine.decode(&text[start..end]).unwrap();
        assert_eq!(block[..4], 16_u32.to_le_bytes());
        assert_eq!(block[8..12], 1.5_f32.to_le_bytes());
    }
}
