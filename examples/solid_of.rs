//! Prints what this house makes of a mesh file, as one JSON object, millimetres: for comparison with
//! other programs. `cargo run --release --example solid_of -- FILE...`

use std::path::Path;
use thumbworn::base::sum::sum;
use thumbworn::figure::{Axis, Figure, Settings};

fn main() {
    for name in std::env::args().skip(1) {
        let settings = Settings {
            up: Some(Axis::Z),
            scale: Some(1.0),
            ..Settings::default()
        };
        match Figure::load(Path::new(&name), &settings) {
            Ok(figure) => println!("{}", describe(&figure)),
            Err(error) => {
                eprintln!("{error}");
                std::process::exit(2);
            }
        }
    }
}

fn describe(figure: &Figure) -> serde_json::Value {
    let low = figure.mesh.bounds().map_or_else(Default::default, |b| b.0);
    let centre = (figure.solid.centre - low) * 1e3;
    let inertia: Vec<f64> = figure
        .solid
        .inertia
        .transpose()
        .iter()
        .map(|x| x * 1e15)
        .collect();
    serde_json::json!({
        "volume_mm3": figure.solid.volume * 1e9,
        "method": figure.solid.method,
        "centre_from_low_corner_mm": [centre.x, centre.y, centre.z],
        "inertia_mm5": inertia,
        "area_mm2": sum(figure.shells.list.iter().map(|s| s.area)) * 1e6,
        "samples_area_mm2": figure.surface.area() * 1e6,
        "vertices": figure.mesh.vertices.len(),
        "triangles": figure.mesh.triangles.len(),
        "shells": figure.shells.list.len(),
        "closed": figure.shells.list.iter().all(thumbworn::figure::Shell::is_closed),
        "hull_volume_mm3": thumbworn::figure::Hull {
            points: figure.hull.clone(),
            faces: figure.hull_faces.clone(),
        }.volume() * 1e9,
        "findings": figure.health.findings,
    })
}
