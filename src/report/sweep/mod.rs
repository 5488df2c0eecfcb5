//! What a sweep leaves: `sweep.csv`, `sweep.json`, `sweep.html`.

mod chart;
mod page;
mod table;
pub mod words;

pub use table::{TABLE, table};

use crate::sweep::{Findings, Sweep};
use base::atomic;
use base::{Error, Result};
use serde_json::json;

/// Name of the page.
pub const PAGE: &str = "sweep.html";
/// Name of the answers for programs.
pub const JSON: &str = "sweep.json";

/// Writes the answers and the page.
///
/// # Errors
/// A folder that cannot be written.
pub fn write(sweep: &Sweep, findings: &Findings) -> Result<()> {
    let plan = &sweep.plan;
    let value = json!({
        "schema": 1,
        "plan": sweep.hash,
        "version": plan.version,
        "engines": plan.engines,
        "binary": plan.binary,
        "seed": plan.seed,
        "inputs": plan.inputs,
        "answers": words::sentences(findings),
        "findings": findings,
    });
    let text = serde_json::to_vec_pretty(&value)
        .map_err(|cause| Error::refused(format!("cannot write the answers: {cause}")))?;
    atomic::write(sweep.folder.join(JSON), &text)?;
    let html = page::page(sweep, findings)?;
    atomic::write(sweep.folder.join(PAGE), html.as_bytes())
}
