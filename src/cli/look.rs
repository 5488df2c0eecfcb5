//! `inspect`, `sculpt`, `stock`, `check`: looking at a figure, at the values that ship, at the engines.

use super::args::{InspectArgs, SculptArgs, StockArgs};
use super::talk::Talk;
use crate::base::error::nearest;
use crate::base::{Error, Place, Result};
use crate::contact::pad::measure::{HOW_TO_FOAM, HOW_TO_TILT};
use crate::contact::rigid::EngineKind;
use crate::contact::rigid::checks::suite;
use crate::figure::{Axis, Display, Figure, Settings, sculpt};
use crate::format::{atomic, slug, stl};
use crate::reference::{Kind, Stock, show};
use crate::report::picture::{Sheet, Surface, four_views};

/// `thumbworn inspect`.
///
/// # Errors
/// A file that is no usable mesh, or a folder that cannot be written.
pub fn inspect(args: &InspectArgs, talk: &Talk) -> Result<()> {
    let up = match args.up.as_deref() {
        None => None,
        Some("x") => Some(Axis::X),
        Some("y") => Some(Axis::Y),
        Some("z") => Some(Axis::Z),
        Some(other) => {
            return Err(
                Error::input(format!("--up {other} is not an axis")).hint("write x, y or z")
            );
        }
    };
    let settings = Settings {
        height: args.height_mm.map(|h| h * 1e-3),
        up,
        patch: args.patch_mm * 1e-3,
        ..Settings::default()
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
    tell(&figure, &weights, talk);
    if let Some(folder) = &args.output {
        crate::report::folder::make(folder)?;
        let display = Display::of(&figure);
        let vertices_mm = display.vertices_mm();
        let surface = Surface {
            vertices_mm: &vertices_mm,
            triangles: &display.mesh.triangles,
            values: None,
        };
        let sheet = Sheet {
            title: figure.name.clone(),
            subtitle: format!("{:.1} mm tall", figure.height() * 1e3),
            scale: None,
        };
        let file = folder.join(format!("{}.png", slug(&figure.name)));
        atomic::write(&file, &four_views(&surface, &sheet)?.to_png()?)?;
        talk.result(&format!("picture: {}", file.display()));
    }
    talk.object(&serde_json::json!({
        "name": figure.name,
        "height_mm": figure.height() * 1e3,
        "triangles": figure.mesh.triangles.len(),
        "vertices": figure.mesh.vertices.len(),
        "shells": figure.shells.list.len(),
        "volume_mm3": figure.solid.volume * 1e9,
        "volume_found_by": figure.solid.method,
        "surface_mm2": figure.surface.area() * 1e6,
        "exposed_mm2": figure.surface.exposed_area() * 1e6,
        "centre_mm": (figure.solid.centre * 1e3).as_slice(),
        "patches": figure.patches.len(),
        "hull_corners": figure.hull.len(),
        "mass_g": weights.iter().map(|(n, m)| (n.clone(), m * 1e3)).collect::<std::collections::BTreeMap<_, _>>(),
        "health": figure.health,
        "notes": figure.notes,
    }));
    Ok(())
}

fn tell(figure: &Figure, weights: &[(String, f64)], talk: &Talk) {
    let mm = |x: f64| x * 1e3;
    let line = |name: &str, value: String| talk.result(&format!("{name:<18}{value}"));
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
            "{:.1} mm3, found by {:?}",
            figure.solid.volume * 1e9,
            figure.solid.method
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
    line("hull", format!("{} corners", figure.hull.len()));
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
    if figure.health.findings.is_empty() {
        line("health", "nothing to mend".into());
    }
    for finding in &figure.health.findings {
        line("health", finding.what.clone());
        if !finding.done.is_empty() {
            line("", format!("done: {}", finding.done));
        }
        if !finding.advice.is_empty() {
            line("", format!("you may: {}", finding.advice));
        }
    }
    let told = figure.health.notes();
    for note in figure.notes.iter().filter(|n| !told.contains(n)) {
        talk.result(&format!("note: {}", note.text));
    }
}

/// `thumbworn sculpt`.
///
/// # Errors
/// An unknown version, or a file that cannot be written.
pub fn sculpt_file(args: &SculptArgs, talk: &Talk) -> Result<()> {
    if !(1_000..=500_000).contains(&args.triangles) {
        return Err(Error::input(format!(
            "--triangles {} is outside 1000 to 500000",
            args.triangles
        ))
        .hint("50000 keeps the thin tips"));
    }
    let (mesh, words) = if args.version_of == "whole" {
        (
            sculpt::porter(args.triangles),
            "one closed shell".to_string(),
        )
    } else {
        let versions = sculpt::versions(args.triangles);
        let names: Vec<&str> = versions.iter().map(|v| v.name).collect();
        let near = nearest(&args.version_of, names.iter().copied());
        let hint = match near {
            Some(near) => format!("did you mean {near}?"),
            None => format!("there is: whole, {}", names.join(", ")),
        };
        let found = versions.into_iter().find(|v| v.name == args.version_of);
        let version = found.ok_or_else(|| {
            Error::input(format!("there is no version \"{}\"", args.version_of)).hint(hint)
        })?;
        let words = format!(
            "{}; true volume {:.1} mm3",
            version.what, version.volume_mm3
        );
        (version.mesh, words)
    };
    let corners: Vec<[[f32; 3]; 3]> = mesh
        .corners()
        .map(|t| t.map(|v| [v.x as f32, v.y as f32, v.z as f32]))
        .collect();
    let bytes = stl(&corners).map_err(|e| e.at(Place::file(&args.output)))?;
    atomic::write(&args.output, &bytes)?;
    talk.result(&format!(
        "{}: {} triangles, {words}",
        args.output.display(),
        mesh.triangles.len()
    ));
    Ok(())
}

/// `thumbworn stock`.
///
/// # Errors
/// A name that is not in the stock.
pub fn stock(args: &StockArgs, talk: &Talk) -> Result<()> {
    let stock = Stock::load()?;
    let text = match &args.name {
        None => show::overview(&stock),
        Some(name) if name.eq_ignore_ascii_case("foam") => foams(&stock)?,
        Some(name) => show::detail(&stock, name)?,
    };
    talk.result(&text);
    talk.object(&serde_json::json!({ "entries": stock.entries() }));
    Ok(())
}

/// Every foam of the stock, and how to measure one's own.
fn foams(stock: &Stock) -> Result<String> {
    let mut text = String::new();
    for entry in stock.of(Kind::Counterface) {
        if stock.counterface(&entry.name)?.cld40().is_ok() {
            text.push_str(&show::detail(stock, &entry.name)?);
            text.push('\n');
        }
    }
    Ok(format!("{text}{HOW_TO_FOAM}\n\n{HOW_TO_TILT}"))
}

/// `thumbworn check`: expected and found, for both engines.
///
/// # Errors
/// Refused when a check does not hold on this machine.
pub fn check(talk: &Talk) -> Result<()> {
    let mut failed = Vec::new();
    for (engine, kind) in [("exact", EngineKind::Exact), ("rapier", EngineKind::Rapier)] {
        talk.result(&format!("engine {engine}"));
        for row in suite(kind, 1.0 / 2000.0)? {
            let mark = if row.holds() { "holds" } else { "FAILS" };
            talk.result(&format!(
                "  {mark}  {:<52} expected {:>10.5}  found {:>10.5}",
                row.name, row.expected, row.got
            ));
            if let Some(deviation) = &row.deviation {
                talk.result(&format!("         known deviation: {}", deviation.reason));
            }
            if !row.holds() {
                failed.push(format!("{engine}: {}", row.name));
            }
        }
    }
    match failed.is_empty() {
        true => Ok(()),
        false => Err(Error::refused(format!(
            "these checks do not hold here: {}",
            failed.join("; ")
        ))
        .hint("do not trust hard contact on this machine; please report it with the lines above")),
    }
}
