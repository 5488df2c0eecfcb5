//! Writes the demo figure with a made-up value in every export format, for the readers in
//! `tests/python/check_exports.py`: `cargo run --example exports -- FOLDER`.

use base::atomic;
use mesh::figure::sculpt::porter;
use mesh::format::{self, HeatChannel, HeatMesh};
use thumbworn::report::picture::{Scale, Spread};

fn main() -> Result<(), base::Error> {
    let folder = std::env::args().nth(1).unwrap_or_else(|| ".".into());
    let mesh = porter(20_000);
    let vertices: Vec<[f32; 3]> = mesh
        .vertices
        .iter()
        .map(|v| [v.x as f32, v.y as f32, v.z as f32])
        .collect();
    // Not a result: a value a reader can work out again, the distance from the table.
    let height: Vec<f32> = vertices.iter().map(|v| v[2]).collect();
    let slip: Vec<f32> = vertices.iter().map(|v| v[0] * 0.5).collect();
    let scale = Scale {
        label: "Height".into(),
        unit: "mm".into(),
        low: 0.0,
        high: 40.0,
        spread: Spread::Linear,
    };
    let colours: Vec<[u8; 3]> = height.iter().map(|&h| scale.colour(f64::from(h))).collect();
    let channels = [
        HeatChannel {
            name: "height_mm",
            values: &height,
        },
        HeatChannel {
            name: "slip_mm",
            values: &slip,
        },
    ];
    let heat = HeatMesh {
        comment: "demo figure, height as value",
        vertices_mm: &vertices,
        triangles: &mesh.triangles,
        colours: &colours,
        channels: &channels,
    };
    atomic::write(format!("{folder}/porter.ply"), &format::ply(&heat)?)?;
    atomic::write(format!("{folder}/porter.glb"), &format::glb(&heat)?)?;
    atomic::write(format!("{folder}/porter.obj"), &format::obj(&heat)?)?;
    atomic::write(format!("{folder}/porter.3mf"), &format::threemf(&heat)?)?;
    atomic::write(format!("{folder}/porter.vtu"), &format::vtu(&heat)?)
}
