//! Running the program in a folder of its own.

use std::path::Path;
use std::process::{Command, Output};

/// Runs the program in `folder`.
pub fn run(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_thumbworn"))
        .current_dir(folder)
        .env("CI", "true")
        .env("NO_COLOR", "1")
        .args(args)
        .output()
        .expect("the program starts")
}

/// What it said on stderr.
pub fn complaint(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// What it gave on stdout.
pub fn result(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// A closed block as binary STL: half sizes in file units, split into `n` x `n` squares a side.
pub fn block(half: [f32; 3], n: usize) -> Vec<u8> {
    let mut facets: Vec<[[f32; 3]; 3]> = Vec::new();
    for axis in 0..3 {
        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
        for side in [-1.0_f32, 1.0] {
            for i in 0..n {
                for j in 0..n {
                    let corner = |a: usize, b: usize| {
                        let mut p = [0.0; 3];
                        p[axis] = side * half[axis];
                        p[u] = (2.0 * (i + a) as f32 / n as f32 - 1.0) * half[u];
                        p[v] = (2.0 * (j + b) as f32 / n as f32 - 1.0) * half[v];
                        p
                    };
                    let [a, b, c, d] = [corner(0, 0), corner(1, 0), corner(1, 1), corner(0, 1)];
                    if side > 0.0 {
                        facets.extend([[a, b, c], [a, c, d]]);
                    } else {
                        facets.extend([[a, c, b], [a, d, c]]);
                    }
                }
            }
        }
    }
    let mut bytes = vec![0_u8; 80];
    bytes.extend((facets.len() as u32).to_le_bytes());
    for facet in &facets {
        bytes.extend([0_u8; 12]);
        for x in facet.iter().flatten() {
            bytes.extend(x.to_le_bytes());
        }
        bytes.extend([0_u8; 2]);
    }
    bytes
}

/// A small scenario on `block.stl`: seconds instead of minutes.
pub const SMALL: &str = r#"
title = "A block in a tin"
seed = 3
precision_pct = 60

[figure]
file = "block.stl"
patch_mm = 1.5

[[specimen]]
name = "metal"
body = "tin pewter"
coats = ["acrylic primer, aerosol", "acrylic paint, brush", "satin topcoat, aerosol"]

[[specimen]]
name = "plastic"
body = "polystyrene (HIPS)"
coats = ["acrylic primer, aerosol", "acrylic paint, brush", "satin topcoat, aerosol"]

[[exposure]]
name = "tin"
kind = "tumble"
minutes = 1
box_mm = [70, 60, 50]
wall = "polypropylene"
shake = { amplitude_mm = [20, 15, 10], frequency_hz = [3.0, 3.71, 4.43] }
restitution = 0.4

[[exposure]]
name = "wipe"
kind = "rub"
pad = { like = "soft foam", thickness_mm = 15 }
load = "own weight"
strokes = 10
stroke_mm = 50
faces = ["top"]

[[compare]]
left = "metal"
right = "plastic"

[[whatif]]
vary = "topcoat.friction"
over = [0.3, 0.6]
steps = 2
exposure = "wipe"
"#;
