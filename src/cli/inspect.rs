//! `inspect`: what a figure file holds, in words and in numbers, and a picture.

use super::args::InspectArgs;
use super::talk::Talk;
use crate::reference::{Kind, Stock};
use crate::report::anatomy::anatomy;
use base::{Mat3, Result, Vec3};
use base::{atomic, slug};
use mesh::figure::{Axis, Figure, Hull, Pieces, Settings, Shell, SolidMethod};
use std::collections::BTreeMap;

/// `thumbworn inspect`.
///
/// # Errors
/// A file that is no usable mesh, or a folder that cannot be written.
pub fn inspect(args: &InspectArgs, talk: &Talk) -> Result<()> {
    let settings = Settings {
        height: args.height_mm.map(|h| h * 1e-3),
        scale: args.scale,
        up: args.up.as_deref().map(str::parse::<Axis>).transpose()?,
        patch: args.patch_mm * 1e-3,
    };
    settings.validate()?;
    let figure = Figure::load(&args.figure, &settings)?;
    let stock = Stock::load()?;
    let weights: Vec<(String, f64)> = stock
        .of(Kind::Body)
        .filter_map(|e| {
            Some((
                e.name.clone(),
                e.value("density").ok()?.value * figure.solid.volume,
            ))
        })
        .collect();
    let pieces = args.pieces.then(|| figure.pieces()).transpose()?;
    tell(&figure, &weights, pieces.as_ref(), talk);
    let mut picture = None;
    if let Some(folder) = &args.output {
        crate::report::folder::make(folder)?;
        let file = folder.join(format!("{}.png", slug(&figure.name)));
        atomic::write(&file, &anatomy(&figure)?)?;
        talk.result(&format!("picture: {}", file.display()));
        picture = Some(file.display().to_string());
    }
    if talk.json() {
        let mut numbers = numbers(&figure, &weights);
        numbers["pieces"] = pieces.as_ref().map_or(serde_json::Value::Null, in_numbers);
        numbers["picture"] = serde_json::json!(picture);
        talk.object(&numbers);
    }
    Ok(())
}

/// [m2] area of all triangles.
fn area(figure: &Figure) -> f64 {
    base::sum::sum(figure.shells.list.iter().map(|s| s.area))
}

fn mm(v: &Vec3) -> [f64; 3] {
    [v.x, v.y, v.z].map(|x| x * 1e3)
}

/// Every number, units in the keys.
fn numbers(figure: &Figure, weights: &[(String, f64)]) -> serde_json::Value {
    let (low, high) = figure.mesh.bounds().unwrap_or_default();
    let hull = Hull {
        points: figure.hull.clone(),
        faces: figure.hull_faces.clone(),
    };
    let inertia = |m: &Mat3| -> Vec<[f64; 3]> {
        (0..3)
            .map(|r| [0, 1, 2].map(|c| m[(r, c)] * 1e15))
            .collect()
    };
    let mass: BTreeMap<&str, f64> = weights.iter().map(|(n, m)| (n.as_str(), m * 1e3)).collect();
    serde_json::json!({
        "name": figure.name,
        "height_mm": figure.height() * 1e3,
        "low_corner_mm": mm(&low),
        "high_corner_mm": mm(&high),
        "triangles": figure.mesh.triangles.len(),
        "vertices": figure.mesh.vertices.len(),
        "shells": figure.shells.list.len(),
        "closed": figure.shells.list.iter().all(Shell::is_closed),
        "area_mm2": area(figure) * 1e6,
        "volume_mm3": figure.solid.volume * 1e9,
        "volume_found_by": figure.solid.method,
        "centre_mm": mm(&figure.solid.centre),
        "inertia_mm5": inertia(&figure.solid.inertia),
        "surface_mm2": figure.surface.area() * 1e6,
        "exposed_mm2": figure.surface.exposed_area() * 1e6,
        "samples": figure.surface.samples.len(),
        "patches": figure.patches.len(),
        "hull_corners": figure.hull.len(),
        "hull_volume_mm3": hull.volume() * 1e9,
        "mass_g": mass,
        "health": figure.health,
        "notes": figure.notes,
    })
}

fn in_numbers(pieces: &Pieces) -> serde_json::Value {
    serde_json::json!({
        "count": pieces.hulls.len(),
        "corners": pieces.hulls.iter().map(|h| h.points.len()).sum::<usize>(),
        "most_corners": most_corners(pieces),
        "volume_ratio": pieces.fit.volume_ratio,
        "support_error_mm": pieces.fit.support_error * 1e3,
        "buried_99_mm": pieces.fit.buried_99 * 1e3,
        "buried_most_mm": pieces.fit.buried_most * 1e3,
    })
}

fn most_corners(pieces: &Pieces) -> usize {
    let corners = pieces.hulls.iter().map(|h| h.points.len());
    corners.max().unwrap_or(0)
}

/// How the solid was found, for people.
fn found_by(method: SolidMethod) -> &'static str {
    match method {
        SolidMethod::Divergence => "exact: every shell is closed and none overlaps",
        SolidMethod::Columns => "counted along columns, overlaps once",
        SolidMethod::Lids => "flat holes closed with flat lids, overlaps counted once",
        SolidMethod::ColumnsAndWinding => {
            "counted along columns, holes closed nearly flat; weigh the real figure if you can"
        }
    }
}

fn line(talk: &Talk, name: &str, value: &str) {
    talk.result(&format!("{name:<18}{value}"));
}

fn tell(figure: &Figure, weights: &[(String, f64)], pieces: Option<&Pieces>, talk: &Talk) {
    let mm = |x: f64| x * 1e3;
    let line = |name: &str, value: String| line(talk, name, &value);
    line("figure", figure.name.clone());
    if let Some((lo, hi)) = figure.mesh.bounds() {
        let size = hi - lo;
        line(
            "size",
            format!(
                "{:.1} x {:.1} x {:.1} mm (width, depth, height)",
                mm(size.x),
                mm(size.y),
                mm(size.z)
            ),
        );
    }
    line(
        "mesh",
        format!(
            "{} triangles, {} corners, {} shells",
            figure.mesh.triangles.len(),
            figure.mesh.vertices.len(),
            figure.shells.list.len()
        ),
    );
    line(
        "solid",
        format!(
            "{:.1} mm3 ({})",
            figure.solid.volume * 1e9,
            found_by(figure.solid.method)
        ),
    );
    line(
        "surface",
        format!(
            "{:.1} mm2, of which {:.1} % can be touched",
            figure.surface.area() * 1e6,
            100.0 * figure.surface.exposed_area() / figure.surface.area()
        ),
    );
    line("patches", format!("{}", figure.patches.len()));
    line(
        "hull",
        format!(
            "{} corners: all that a flat wall can touch",
            figure.hull.len()
        ),
    );
    if let Some(pieces) = pieces {
        tell_pieces(pieces, talk);
    }
    let centre = figure.solid.centre;
    line(
        "centre of mass",
        format!(
            "{:.1} mm up, {:.1} mm right, {:.1} mm back",
            mm(centre.z),
            mm(centre.x),
            mm(centre.y)
        ),
    );
    for (i, (name, mass)) in weights.iter().enumerate() {
        line(
            if i == 0 { "weight as" } else { "" },
            format!("{name}: {:.1} g", mass * 1e3),
        );
    }
    tell_health(figure, talk);
}

fn tell_pieces(pieces: &Pieces, talk: &Talk) {
    let (fit, corners) = (&pieces.fit, most_corners(pieces));
    line(
        talk,
        "pieces",
        &format!(
            "{} convex pieces of at most {corners} corners, for figures that touch each other",
            pieces.hulls.len()
        ),
    );
    line(
        talk,
        "",
        &format!(
            "outline off by {:.3} mm at most, volume {:.2} times the figure's",
            fit.support_error * 1e3,
            fit.volume_ratio
        ),
    );
    line(
        talk,
        "",
        &format!(
            "they cover up to {:.2} mm of surface (99 % of it less than {:.2} mm): touches between figures are placed to about that",
            fit.buried_most * 1e3,
            fit.buried_99 * 1e3
        ),
    );
}

fn tell_health(figure: &Figure, talk: &Talk) {
    if figure.health.findings.is_empty() {
        line(talk, "health", "nothing to mend");
    }
    for finding in &figure.health.findings {
        line(talk, "health", &finding.what);
        if !finding.done.is_empty() {
            line(talk, "", &format!("done: {}", finding.done));
        }
        if !finding.advice.is_empty() {
            line(talk, "", &format!("you may: {}", finding.advice));
        }
    }
    let told = figure.health.notes();
    for note in figure.notes.iter().filter(|n| !told.contains(n)) {
        talk.result(&format!("note: {}", note.text));
    }
}
