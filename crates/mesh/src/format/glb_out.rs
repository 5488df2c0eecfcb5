//! Binary glTF 2.0 (Khronos 2021, ISO/IEC 12113:2022): y up and **metres**, as the standard
//! wants; `COLOR_0` in linear light, as the standard wants; raw channels as custom vertex
//! attributes `_FRICTION_J_M2`. A millimetre figure is 0.04 units tall: viewers frame it anyway.

use super::heat::{HeatMesh, linear};
use base::Result;
use serde_json::{Value, json};

const FLOAT: u32 = 5126;
const UNSIGNED_SHORT: u32 = 5123;
const UNSIGNED_INT: u32 = 5125;
const ARRAY: u32 = 34962;
const ELEMENTS: u32 = 34963;

/// Grows the binary chunk together with the tables that describe it.
#[derive(Default)]
struct Binary {
    bytes: Vec<u8>,
    views: Vec<Value>,
    accessors: Vec<Value>,
}

impl Binary {
    /// Adds one array and gives the number of its accessor.
    fn push(&mut self, bytes: &[u8], target: u32, mut accessor: Value) -> usize {
        let offset = self.bytes.len();
        self.bytes.extend(bytes);
        // Every array starts on a multiple of four.
        self.bytes.resize(self.bytes.len().next_multiple_of(4), 0);
        accessor["bufferView"] = json!(self.views.len());
        self.views.push(json!({
            "buffer": 0, "byteOffset": offset, "byteLength": bytes.len(), "target": target
        }));
        self.accessors.push(accessor);
        self.accessors.len() - 1
    }
}

/// The mesh as GLB.
///
/// # Errors
/// As [`HeatMesh::check`].
pub fn glb(mesh: &HeatMesh<'_>) -> Result<Vec<u8>> {
    mesh.check()?;
    let mut binary = Binary::default();
    let attributes = attributes(mesh, &mut binary);
    let indices: Vec<u8> = mesh
        .triangles
        .iter()
        .flatten()
        .flat_map(|v| v.to_le_bytes())
        .collect();
    let count = mesh.triangles.len() * 3;
    let accessor = json!({ "componentType": UNSIGNED_INT, "count": count, "type": "SCALAR" });
    let indices = binary.push(&indices, ELEMENTS, accessor);
    let document = json!({
        "asset": {
            "version": "2.0",
            "generator": concat!("thumbworn ", env!("CARGO_PKG_VERSION")),
            "extras": { "comment": mesh.safe_comment(), "length_unit": "m" }
        },
        "scene": 0,
        "scenes": [{ "nodes": [0] }],
        "nodes": [{ "mesh": 0 }],
        "materials": [{
            "pbrMetallicRoughness": { "metallicFactor": 0.0, "roughnessFactor": 0.8 },
            "doubleSided": true
        }],
        "meshes": [{ "primitives": [
            { "attributes": attributes, "indices": indices, "material": 0, "mode": 4 }
        ] }],
        "buffers": [{ "byteLength": binary.bytes.len() }],
        "bufferViews": binary.views,
        "accessors": binary.accessors,
    });
    Ok(pack(document.to_string().into_bytes(), &binary.bytes))
}

/// Millimetres and z up to metres and y up.
fn upright([x, y, z]: [f32; 3]) -> [f32; 3] {
    [x * 1e-3, z * 1e-3, -y * 1e-3]
}

fn attributes(mesh: &HeatMesh<'_>, binary: &mut Binary) -> Value {
    let count = mesh.vertices_mm.len();
    let placed: Vec<[f32; 3]> = mesh.vertices_mm.iter().map(|v| upright(*v)).collect();
    let fold = |f: fn(f32, f32) -> f32| -> [f32; 3] {
        let first = placed[0];
        placed
            .iter()
            .fold(first, |m, v| std::array::from_fn(|k| f(m[k], v[k])))
    };
    let accessor = json!({
        "componentType": FLOAT, "count": count, "type": "VEC3",
        "min": fold(f32::min), "max": fold(f32::max)
    });
    let bytes: Vec<u8> = placed
        .iter()
        .flatten()
        .flat_map(|x| x.to_le_bytes())
        .collect();
    let mut attributes = json!({ "POSITION": binary.push(&bytes, ARRAY, accessor) });
    // Four 16-bit components: a multiple of four bytes per corner, and no banding in the dark.
    let level = |byte: u8| (linear(byte) * 65535.0).round() as u16;
    let bytes: Vec<u8> = mesh
        .colours
        .iter()
        .flat_map(|c| [level(c[0]), level(c[1]), level(c[2]), u16::MAX])
        .flat_map(u16::to_le_bytes)
        .collect();
    let accessor = json!({
        "componentType": UNSIGNED_SHORT, "normalized": true, "count": count, "type": "VEC4"
    });
    attributes["COLOR_0"] = json!(binary.push(&bytes, ARRAY, accessor));
    for channel in mesh.channels {
        // glTF forbids NaN: a corner without a value gets -1, which no channel can have.
        let plain = |v: &f32| if v.is_finite() { *v } else { -1.0 };
        let bytes: Vec<u8> = channel
            .values
            .iter()
            .flat_map(|v| plain(v).to_le_bytes())
            .collect();
        let accessor = json!({ "componentType": FLOAT, "count": count, "type": "SCALAR" });
        let name = format!("_{}", channel.name.to_uppercase());
        attributes[name] = json!(binary.push(&bytes, ARRAY, accessor));
    }
    attributes
}

/// Header and the two chunks, each padded to four bytes.
fn pack(mut document: Vec<u8>, binary: &[u8]) -> Vec<u8> {
    document.resize(document.len().next_multiple_of(4), b' ');
    let total = 12 + 8 + document.len() + 8 + binary.len();
    let mut out = Vec::with_capacity(total);
    out.extend(b"glTF");
    for word in [2, total as u32, document.len() as u32, 0x4E4F_534A] {
        out.extend(word.to_le_bytes());
    }
    out.extend(&document);
    for word in [binary.len() as u32, 0x004E_4942] {
        out.extend(word.to_le_bytes());
    }
    out.extend(binary);
    out
}

#[cfg(test)]
mod tests {
    use super::super::heat::tests::sample;
    use super::*;

    /// Read back by an independent reader: the `gltf` crate.
    #[test]
    fn another_reader_sees_metres_y_up_and_linear_colours() {
        let bytes = glb(&sample()).unwrap();
        let (document, buffers, _) = gltf::import_slice(&bytes).unwrap();
        let mesh = document.meshes().next().unwrap();
        let primitive = mesh.primitives().next().unwrap();
        let reader = primitive.reader(|b| buffers.get(b.index()).map(|d| d.0.as_slice()));
        let at: Vec<[f32; 3]> = reader.read_positions().unwrap().collect();
        let near = |a: [f32; 3], b: [f32; 3]| a.iter().zip(b).all(|(x, y)| (x - y).abs() < 1e-8);
        assert!(near(at[2], [0.0, 0.0, -0.02]) && near(at[3], [0.0, 0.03, 0.0]));
        let colours: Vec<[f32; 4]> = reader.read_colors(0).unwrap().into_rgba_f32().collect();
        assert!(
            (colours[3][1] - 0.2158).abs() < 1e-3,
            "sRGB 128 is 21.6 % of white"
        );
        let indices: Vec<u32> = reader.read_indices().unwrap().into_u32().collect();
        assert_eq!(indices[..3], [0, 2, 1]);
    }
}
