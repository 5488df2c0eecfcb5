//! How much a sweep will cost: core-hours and disk, from one timed part or from a stated guess.

use super::make::Workshop;
use super::part::Found;
use super::plan::Sweep;
use super::run::duration;
use base::{Error, Result, Watch};
use serde::Serialize;
use std::time::Instant;

/// [s] of one core for a part that nobody timed: a figure of 50 000 triangles, a few pads.
const GUESS_SECONDS: f64 = 20.0;
/// [bytes] a file system gives to a file are multiples of this.
const BLOCK: u64 = 4096;
/// [bytes] of a reading beside its draws.
const READING: u64 = 400;

/// What a sweep will cost.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Estimate {
    /// [s] of one core for a part.
    pub core_seconds_per_part: f64,
    /// A part was timed; otherwise it is a guess.
    pub timed: bool,
    /// [h] for all parts.
    pub core_hours: f64,
    /// [bytes] on disk for all parts.
    pub bytes: u64,
}

/// Times the first part, which is kept, or guesses.
///
/// # Errors
/// Whatever the part refuses.
pub fn estimate(sweep: &Sweep, pilot: bool, watch: &dyn Watch) -> Result<Estimate> {
    let (seconds, length) = match pilot && sweep.found(0)? == Found::Missing {
        true => time(sweep, watch)?,
        false => (None, guessed_length(sweep)),
    };
    let per_part = seconds.unwrap_or(GUESS_SECONDS);
    Ok(Estimate {
        core_seconds_per_part: per_part,
        timed: seconds.is_some(),
        core_hours: per_part * sweep.plan.parts as f64 / 3600.0,
        bytes: length.div_ceil(BLOCK) * BLOCK * sweep.plan.parts,
    })
}

fn guessed_length(sweep: &Sweep) -> u64 {
    let asked = &sweep.plan.reading;
    let draws = u64::from(asked.draws) * 2 * 4 * 4 / 3;
    (asked.exposures.len() * asked.specimens.len()) as u64 * (draws + READING) + READING
}

fn time(sweep: &Sweep, watch: &dyn Watch) -> Result<(Option<f64>, u64)> {
    let workshop = Workshop::open(sweep)?;
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .map_err(|cause| Error::refused(format!("cannot start a thread: {cause}")))?;
    let started = Instant::now();
    let part = pool.install(|| workshop.compute(0, watch))?;
    let seconds = started.elapsed().as_secs_f64();
    let bytes = part.bytes()?;
    sweep.keep(0, &bytes)?;
    Ok((Some(seconds), bytes.len() as u64))
}

impl Estimate {
    /// For people.
    #[must_use]
    pub fn sentences(&self, sweep: &Sweep) -> Vec<String> {
        let plan = &sweep.plan;
        let axes: Vec<String> = plan
            .axes
            .iter()
            .map(|a| match a.levels() {
                Some(n) => format!("{} ({n})", a.name),
                None => format!("{} (a range)", a.name),
            })
            .collect();
        let how = if self.timed {
            "from one timed part; parts that share a figure or a dose take less"
        } else {
            "a guess: nothing was timed"
        };
        vec![
            format!("{} parts over {}.", plan.parts, axes.join(", ")),
            format!(
                "About {} of one core in all, {} a part ({how}).",
                duration(self.core_hours * 3600.0),
                duration(self.core_seconds_per_part),
            ),
            format!(
                "About {} on disk, and up to 2 GB for doses that parts share.",
                size(self.bytes)
            ),
        ]
    }
}

fn size(bytes: u64) -> String {
    match bytes {
        0..=9_999_999 => format!("{} KB", bytes.div_ceil(1000)),
        10_000_000..=9_999_999_999 => format!("{} MB", bytes / 1_000_000),
        _ => format!("{} GB", bytes / 1_000_000_000),
    }
}
