//! Draws the demo figure: `cargo run --release --example porter -- FOLDER [TRIANGLES]`.

use mesh::figure::sculpt::{health, porter};
use std::time::Instant;
use thumbworn::report::picture::{Sheet, Surface, four_views, portrait, turntable};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut words = std::env::args().skip(1);
    let folder = words.next().unwrap_or_else(|| ".".into());
    let count: usize = words.next().map_or(Ok(150_000), |g| g.parse())?;
    let start = Instant::now();
    let mesh = porter(count);
    println!(
        "{} triangles in {:.2?}",
        mesh.triangles.len(),
        start.elapsed()
    );
    println!("{:?} bounds {:?}", health(&mesh), mesh.bounds());
    let vertices: Vec<[f32; 3]> = mesh
        .vertices
        .iter()
        .map(|v| [v.x as f32, v.y as f32, v.z as f32])
        .collect();
    let surface = Surface {
        vertices_mm: &vertices,
        triangles: &mesh.triangles,
        values: None,
    };
    let sheet = Sheet {
        title: "Ferry porter".into(),
        ..Sheet::default()
    };
    for (name, draw) in [
        ("views", four_views as fn(&Surface<'_>, &Sheet) -> _),
        ("turn", turntable),
        ("portrait", portrait),
    ] {
        let start = Instant::now();
        let picture: thumbworn::report::picture::Canvas = draw(&surface, &sheet)?;
        std::fs::write(format!("{folder}/{name}.png"), picture.to_png()?)?;
        println!("{name} in {:.2?}", start.elapsed());
    }
    Ok(())
}
