//! 3MF (3MF Core Specification 1.3) with colours from a colour group (3MF Materials and Properties
//! Extension 1.2.1): millimetres, z up, one object, one colour per corner of each triangle. Raw
//! channels do not fit this format.

use super::heat::HeatMesh;
use base::{Error, Result};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::{Cursor, Write as _};

const TYPES: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"><Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/><Default Extension=\"model\" ContentType=\"application/vnd.ms-package.3dmanufacturing-3dmodel+xml\"/></Types>\n";
const RELATIONS: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"><Relationship Target=\"/3D/3dmodel.model\" Id=\"rel0\" Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\"/></Relationships>\n";
const HEAD: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<model unit=\"millimeter\" xml:lang=\"en-US\" xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\" xmlns:m=\"http://schemas.microsoft.com/3dmanufacturing/material/2015/02\">\n";

/// The mesh as 3MF.
///
/// # Errors
/// As [`HeatMesh::check`].
pub fn threemf(mesh: &HeatMesh<'_>) -> Result<Vec<u8>> {
    mesh.check()?;
    let model = model(mesh);
    let failed = |cause: &dyn std::fmt::Display| {
        Error::refused(format!("cannot pack the mesh as 3MF: {cause}"))
    };
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    // No clock goes in: the same mesh gives the same bytes.
    let options = zip::write::SimpleFileOptions::default()
        .compression_method(zip::CompressionMethod::Deflated)
        .last_modified_time(zip::DateTime::default());
    for (name, text) in [
        ("[Content_Types].xml", TYPES),
        ("_rels/.rels", RELATIONS),
        ("3D/3dmodel.model", &model),
    ] {
        archive.start_file(name, options).map_err(|e| failed(&e))?;
        archive.write_all(text.as_bytes()).map_err(|e| failed(&e))?;
    }
    let done = archive.finish().map_err(|e| failed(&e))?;
    Ok(done.into_inner())
}

fn model(mesh: &HeatMesh<'_>) -> String {
    let numbers: BTreeMap<[u8; 3], usize> = mesh.colours.iter().map(|c| (*c, 0)).collect();
    let numbers: BTreeMap<[u8; 3], usize> = numbers
        .into_keys()
        .enumerate()
        .map(|(number, colour)| (colour, number))
        .collect();
    let mut out = String::with_capacity(64 * (mesh.vertices_mm.len() + mesh.triangles.len()));
    out += HEAD;
    // Writing to a string cannot fail.
    let _ = writeln!(
        out,
        "<metadata name=\"Description\">{}</metadata>",
        mesh.safe_comment()
    );
    out += "<resources>\n<m:colorgroup id=\"1\">\n";
    for [r, g, b] in numbers.keys() {
        let _ = writeln!(out, "<m:color color=\"#{r:02X}{g:02X}{b:02X}FF\"/>");
    }
    out += "</m:colorgroup>\n<object id=\"2\" type=\"model\" pid=\"1\" pindex=\"0\">\n<mesh>\n<vertices>\n";
    for [x, y, z] in mesh.vertices_mm {
        let _ = writeln!(out, "<vertex x=\"{x}\" y=\"{y}\" z=\"{z}\"/>");
    }
    out += "</vertices>\n<triangles>\n";
    for t in mesh.triangles {
        let [a, b, c] = t;
        let [p, q, r] = t.map(|v| numbers.get(&mesh.colours[v as usize]).copied().unwrap_or(0));
        let _ = writeln!(
            out,
            "<triangle v1=\"{a}\" v2=\"{b}\" v3=\"{c}\" pid=\"1\" p1=\"{p}\" p2=\"{q}\" p3=\"{r}\"/>"
        );
    }
    out += "</triangles>\n</mesh>\n</object>\n</resources>\n<build>\n<item objectid=\"2\"/>\n</build>\n</model>\n";
    out
}

#[cfg(test)]
mod tests {
    use super::super::heat::tests::{COLOURS, FACES, sample};
    use super::*;

    /// Read back by an independent reader: the `threemf2` crate.
    #[test]
    fn another_reader_sees_triangles_and_colours() {
        let bytes = threemf(&sample()).unwrap();
        let theirs =
            threemf2::package::ThreemfPackage::from_reader_with_memory_optimized_deserializer(
                Cursor::new(&bytes),
                true,
            )
            .unwrap();
        let resources = &theirs.root.resources;
        let mesh = resources.object.iter().find_map(|o| o.get_mesh()).unwrap();
        let corners: Vec<[u32; 3]> = (mesh.triangles.triangle.iter())
            .map(|t| [t.v1, t.v2, t.v3])
            .collect();
        assert_eq!(corners, FACES);
        assert_eq!(mesh.vertices.vertex.len(), sample().vertices_mm.len());
    }

    #[test]
    fn each_corner_names_its_own_colour() {
        let text = model(&sample());
        let group: Vec<&str> = text.split("color=\"#").skip(1).map(|s| &s[..6]).collect();
        assert_eq!(group, ["0000FF", "00FF00", "BC8040", "FF0000"]);
        let first = text.find("<triangle v1=\"0\" v2=\"2\" v3=\"1\"").unwrap();
        let line = text[first..].lines().next().unwrap();
        assert!(line.contains("p1=\"3\" p2=\"0\" p3=\"1\""), "{line}");
        assert_eq!(COLOURS[0], [255, 0, 0]);
    }

    #[test]
    fn the_same_mesh_gives_the_same_bytes_and_our_own_reader_takes_them() {
        let bytes = threemf(&sample()).unwrap();
        assert_eq!(bytes, threemf(&sample()).unwrap());
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("heat.3mf");
        std::fs::write(&path, &bytes).unwrap();
        let file = crate::format::read::open(&path).unwrap();
        assert_eq!((file.len(), file.unit), (FACES.len(), Some(1e-3)));
    }
}
