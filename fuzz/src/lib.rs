//! What the targets share: bytes read as the program reads a file.
//!
//! Only the crate of meshes and the ground floor are built with coverage, not the engines and the
//! pictures as well.

use mesh::format::read;
use std::path::Path;

/// Reads `bytes` to the end as the program reads a file. Refusals are fine; panics, hangs and wrong
/// counts are not.
pub fn read_whole(bytes: Vec<u8>) {
    let Ok(mesh) = read::from_bytes(Path::new("fuzz/seeds/glb/broken"), bytes) else {
        return;
    };
    let mut triangles = 0;
    let all = mesh.visit(&mut |block| {
        triangles += block.len();
    });
    assert!(all.is_err() || triangles == mesh.len());
}

/// A 3MF archive around the text of a model.
pub fn archive(model: &[u8]) -> Vec<u8> {
    use std::io::{Cursor, Write};
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let stored = zip::write::SimpleFileOptions::default()
        .compression_method(zip::CompressionMethod::Stored);
    writer
        .start_file("3D/3dmodel.model", stored)
        .and_then(|()| Ok(writer.write_all(model)?))
        .expect("packs in memory");
    writer.finish().expect("packs in memory").into_inner()
}

/// A GLB around JSON and a binary chunk.
pub fn glb(json: &[u8], blob: &[u8]) -> Vec<u8> {
    let mut out = b"glTF\x02\0\0\0\0\0\0\0".to_vec();
    for (kind, body) in [(0x4E4F_534A_u32, json), (0x004E_4942, blob)] {
        out.extend((body.len() as u32).to_le_bytes());
        out.extend(kind.to_le_bytes());
        out.extend(body);
    }
    out
}
