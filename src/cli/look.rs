//! `sculpt`, `stock`, `check`: the figure and the values that ship, and the engines.

use super::args::{SculptArgs, StockArgs};
use super::talk::Talk;
use crate::reference::{Kind, Stock, show};
use base::atomic;
use base::error::nearest;
use base::{Error, Place, Result};
use contact::pad::measure::{HOW_TO_FOAM, HOW_TO_TILT};
use contact::rigid::EngineKind;
use contact::rigid::checks::suite;
use mesh::figure::sculpt;
use mesh::format::stl;

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
