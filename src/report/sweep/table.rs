//! `sweep.csv`: one row for each reading, written part by part.

use crate::report::tables::short;
use crate::sweep::findings::unit_words;
use crate::sweep::{Axis, Findings, Part, Sweep};
use base::atomic;
use base::table::safe_cell;
use base::{Error, Result};

/// Name of the table.
pub const TABLE: &str = "sweep.csv";

/// Writes the table while `gather` shows it every part.
///
/// * `gather`: goes through all parts in order and gives the findings
///
/// # Errors
/// Whatever `gather` refuses: then no table is written; a full disk.
pub fn table(
    sweep: &Sweep,
    gather: impl FnOnce(&mut dyn FnMut(&Part) -> Result<()>) -> Result<Findings>,
) -> Result<Findings> {
    let path = sweep.folder.join(TABLE);
    let mut outcome = None;
    let written = atomic::stream(&path, |file| {
        let mut writer = csv::Writer::from_writer(file);
        writer.write_record(heading(sweep))?;
        let found = gather(&mut |part| {
            for row in rows(sweep, part) {
                writer
                    .write_record(row)
                    .map_err(|cause| failed(&path, cause))?;
            }
            Ok(())
        });
        writer.flush()?;
        let good = found.is_ok();
        outcome = Some(found);
        // Not to be kept: half a table must not stand under the name of a whole one.
        if good {
            Ok(())
        } else {
            Err(std::io::Error::other("not whole"))
        }
    });
    match outcome {
        Some(Err(error)) => Err(error),
        Some(Ok(findings)) => written.map(|()| findings),
        None => Err(written
            .err()
            .unwrap_or_else(|| Error::refused("no table was written"))),
    }
}

fn failed(path: &std::path::Path, cause: csv::Error) -> Error {
    match cause.into_kind() {
        csv::ErrorKind::Io(cause) => Error::system("write", path, &cause),
        other => Error::refused(format!("cannot write the table: {other:?}")),
    }
}

/// Name of an axis with its unit, as typed in its key.
fn with_unit(axis: &Axis) -> String {
    let key = axis.keys.first().and_then(|k| k.split('[').next());
    let unit = axis.unit().and(key).and_then(|k| k.rsplit_once('_'));
    match unit {
        Some((_, unit)) if !axis.name.ends_with(&format!("_{unit}")) => {
            format!("{}_{unit}", axis.name)
        }
        _ => axis.name.clone(),
    }
}

fn heading(sweep: &Sweep) -> Vec<String> {
    let axes = sweep.plan.axes.iter();
    let mut cells = vec!["part".to_string()];
    cells.extend(axes.map(|a| safe_cell(&with_unit(a))));
    let rest = [
        "exposure",
        "specimen",
        "place",
        "quantity",
        "quantity_unit",
        "median",
        "lo90",
        "hi90",
        "place_certainty_pct",
        "friction_work_J_per_unit",
        "mass_g",
    ];
    cells.extend(rest.map(str::to_string));
    cells
}

fn rows<'a>(sweep: &'a Sweep, part: &'a Part) -> impl Iterator<Item = Vec<String>> + 'a {
    let plan = &sweep.plan;
    let base = sweep.base();
    let stands = plan.stands(part.part);
    let axes: Vec<String> = plan
        .axes
        .iter()
        .zip(stands)
        .map(|(axis, stand)| safe_cell(&axis.label(stand)))
        .collect();
    let maybe = |value: Option<f64>| value.map_or_else(String::new, short);
    part.readings.iter().map(move |reading| {
        let exposure = &base.exposure[reading.exposure];
        let mut cells = vec![part.part.to_string()];
        cells.extend(axes.iter().cloned());
        cells.extend([
            safe_cell(exposure.name()),
            safe_cell(&base.specimen[reading.specimen].name),
            safe_cell(&reading.place),
            plan.reading.what.words().to_string(),
            unit_words(sweep, exposure),
            maybe(reading.median),
            maybe(reading.low),
            maybe(reading.high),
            maybe(reading.certainty.map(|c| c * 100.0)),
            short(reading.friction_work),
            short(reading.mass * 1e3),
        ]);
        cells
    })
}
