//! The picture of `inspect`: patches, convex hull and centre of mass of a figure.

use super::picture::{Edge, Rgb, Sheet, Surface, Survey, survey};
use base::{Result, Vec3};
use mesh::figure::Figure;
use std::collections::BTreeMap;

/// Okabe & Ito 2008 ("Color Universal Design", J*Fly), told apart by nearly all eyes.
const COLOURS: [Rgb; 7] = [
    [230, 159, 0],
    [86, 180, 233],
    [0, 158, 115],
    [240, 228, 66],
    [0, 114, 178],
    [213, 94, 0],
    [204, 121, 167],
];
/// How much white is mixed in, so that light and shade stay visible.
const WHITE: f32 = 0.3;
/// What nothing outside can reach.
const HIDDEN: Rgb = [90, 88, 86];
/// Hull faces that bend less than this lie in one plane: cosine of 2 degrees.
const FLAT: f64 = 0.9994;

/// Four views as PNG: each patch in another colour than its neighbours, the edges of the convex
/// hull around it, the centre of mass inside.
///
/// # Errors
/// As the picture.
pub fn anatomy(figure: &Figure) -> Result<Vec<u8>> {
    let mm = |p: &Vec3| [p.x, p.y, p.z].map(|x| (x * 1e3) as f32);
    let vertices_mm: Vec<[f32; 3]> = figure.mesh.vertices.iter().map(mm).collect();
    let surface = Surface {
        vertices_mm: &vertices_mm,
        triangles: &figure.mesh.triangles,
        values: None,
    };
    let colours = figure.patch_colours(COLOURS.len());
    let pale = COLOURS.map(lighter);
    let reach = 3.0 * figure.surface.spacing();
    let tint = |p: [f32; 3], n: [f32; 3]| {
        let vector = |v: [f32; 3]| Vec3::from(v.map(f64::from));
        let sample = figure.surface.at(&(vector(p) * 1e-3), &vector(n), reach)?;
        let patch = figure.surface.samples[sample].patch.index();
        Some(if figure.patches[patch].exposed {
            pale[usize::from(colours[patch])]
        } else {
            HIDDEN
        })
    };
    let cage = cage(figure);
    let hidden = figure.patches.iter().any(|p| !p.exposed);
    let mut swatches = pale.to_vec();
    if hidden {
        swatches.push(HIDDEN);
    }
    let drawn = Survey {
        tint: &tint,
        cage: &cage,
        mark: mm(&figure.solid.centre),
        swatches: &swatches,
        legend: [
            if hidden {
                "patches (dark: out of reach)".to_string()
            } else {
                "patches".to_string()
            },
            "convex hull".into(),
            "centre of mass".into(),
        ],
    };
    let sheet = Sheet {
        title: figure.name.clone(),
        subtitle: format!(
            "{:.1} mm tall, {} patches, convex hull of {} corners, centre of mass {:.1} mm above the table",
            figure.height() * 1e3,
            figure.patches.len(),
            figure.hull.len(),
            figure.solid.centre.z * 1e3
        ),
        scale: None,
    };
    survey(&surface, &sheet, &drawn)?.to_png()
}

fn lighter(colour: Rgb) -> Rgb {
    colour.map(|c| (f32::from(c) * (1.0 - WHITE) + 255.0 * WHITE) as u8)
}

/// The hull's edges where it bends.
fn cage(figure: &Figure) -> Vec<Edge> {
    let mut beside: BTreeMap<(u32, u32), Vec<Vec3>> = BTreeMap::new();
    for face in &figure.hull_faces {
        let [a, b, c] = face.map(|v| figure.hull[v as usize]);
        let normal = (b - a).cross(&(c - a)).try_normalize(0.0);
        for k in 0..3 {
            let (from, to) = (face[k], face[(k + 1) % 3]);
            let faces = beside.entry((from.min(to), from.max(to))).or_default();
            faces.extend(normal);
        }
    }
    let single = |v: &Vec3, by: f64| [v.x, v.y, v.z].map(|x| (x * by) as f32);
    beside
        .into_iter()
        .filter_map(|((a, b), faces)| {
            let [one, other] = faces[..] else { return None };
            (one.dot(&other) < FLAT).then(|| Edge {
                ends: [a, b].map(|v| single(&figure.hull[v as usize], 1e3)),
                beside: [single(&one, 1.0), single(&other, 1.0)],
            })
        })
        .collect()
}
