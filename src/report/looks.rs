//! Where graders look: what each view sees of a figure, and the picture with the places outlined.

use super::picture::{Outlines, Rgb, Sheet, Surface, outlined, seen_in_views};
use base::{Result, Vec3};
use mesh::figure::Figure;

/// Of the places that get dose, and of the one that should get nothing.
const TOUCHED: Rgb = [247, 216, 153];
const UNTOUCHED: Rgb = [187, 221, 246];

/// A place with its label.
#[derive(Debug, Clone, PartialEq)]
pub struct Marked {
    /// Short label, such as `A1`.
    pub label: String,
    /// Its patches.
    pub patches: Vec<usize>,
    /// True for the place that should get nothing.
    pub untouched: bool,
}

/// \[m2\] of each patch that each of the four views sees.
///
/// # Errors
/// A figure without triangles.
pub fn seen_by_patch(figure: &Figure) -> Result<Vec<[f64; 4]>> {
    let vertices_mm = vertices(figure);
    let which = patch_at(figure);
    let seen = seen_in_views(&surface(figure, &vertices_mm), &which, figure.patches.len())?;
    Ok(seen.into_iter().map(|v| v.map(|mm2| mm2 * 1e-6)).collect())
}

/// Four views as PNG with the places outlined and labelled.
///
/// # Errors
/// As [`seen_by_patch`].
pub fn where_to_look(figure: &Figure, subtitle: String, places: &[Marked]) -> Result<Vec<u8>> {
    let vertices_mm = vertices(figure);
    let mut of_patch = vec![None; figure.patches.len()];
    for (number, place) in places.iter().enumerate() {
        for &p in &place.patches {
            of_patch[p] = Some(number);
        }
    }
    let patch = patch_at(figure);
    let which = |p: [f32; 3], n: [f32; 3]| patch(p, n).and_then(|p| of_patch[p]);
    let labels: Vec<String> = places.iter().map(|p| p.label.clone()).collect();
    let colour = |p: &Marked| if p.untouched { UNTOUCHED } else { TOUCHED };
    let colours: Vec<Rgb> = places.iter().map(colour).collect();
    let outlines = Outlines {
        which: &which,
        labels: &labels,
        colours: &colours,
        legend: "places to grade; blue should stay untouched".into(),
    };
    let sheet = Sheet {
        title: "Where to look".into(),
        subtitle,
        scale: None,
    };
    outlined(&surface(figure, &vertices_mm), &sheet, &outlines)?.to_png()
}

fn vertices(figure: &Figure) -> Vec<[f32; 3]> {
    let mm = |p: &Vec3| [p.x, p.y, p.z].map(|x| (x * 1e3) as f32);
    figure.mesh.vertices.iter().map(mm).collect()
}

fn surface<'a>(figure: &'a Figure, vertices_mm: &'a [[f32; 3]]) -> Surface<'a> {
    Surface {
        vertices_mm,
        triangles: &figure.mesh.triangles,
        values: None,
    }
}

/// The patch at a place on the surface.
fn patch_at(figure: &Figure) -> impl Fn([f32; 3], [f32; 3]) -> Option<usize> + Sync {
    let reach = 3.0 * figure.surface.spacing();
    move |p, n| {
        let vector = |v: [f32; 3]| Vec3::from(v.map(f64::from));
        let sample = figure.surface.at(&(vector(p) * 1e-3), &vector(n), reach)?;
        Some(figure.surface.samples[sample].patch.index())
    }
}
