//! All missing parts on this machine.

use super::make::Workshop;
use super::part::{Found, Part};
use base::{Error, Kind, Result, Watch};
use rayon::ThreadPoolBuilder;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

/// Failed parts that are told in full.
const TOLD: usize = 5;

/// What a run did.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Ran {
    /// Parts that were there.
    pub found: u64,
    /// Parts computed now.
    pub computed: u64,
}

/// Something that watches over a whole run.
pub trait Overseer: Watch {
    /// A part is there, found or just computed.
    fn took(&self, part: &Part);
}

/// Numbers of the parts that are not there whole.
///
/// * `each`: is shown every part that is there
///
/// # Errors
/// Parts of another plan, version or program; the wish to stop.
pub fn missing(workshop: &Workshop<'_>, overseer: &dyn Overseer) -> Result<Vec<u64>> {
    let mut missing = Vec::new();
    for k in 0..workshop.sweep.plan.parts {
        if k % 256 == 0 && overseer.stopped() {
            return Err(stopped());
        }
        match workshop.sweep.found(k)? {
            Found::Whole(part) => overseer.took(&part),
            Found::Missing => missing.push(k),
        }
    }
    Ok(missing)
}

fn stopped() -> Error {
    Error::interrupted("stopped; finished parts are kept")
        .hint("run the same command again to go on")
}

/// Computes all missing parts.
///
/// * `jobs`: parts at a time, each on one thread
///
/// # Errors
/// The first full disk or wish to stop; after all else is done, the parts that failed.
pub fn run(workshop: &Workshop<'_>, jobs: usize, overseer: &dyn Overseer) -> Result<Ran> {
    let missing = missing(workshop, overseer)?;
    let all = workshop.sweep.plan.parts;
    let found = all - missing.len() as u64;
    let started = Instant::now();
    let (next, done) = (AtomicU64::new(0), AtomicU64::new(0));
    let failures = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..jobs.clamp(1, missing.len().max(1)) {
            scope.spawn(|| {
                let work = || -> Result<()> {
                    while let Some(&k) = missing.get(next.fetch_add(1, Ordering::SeqCst) as usize) {
                        if overseer.stopped() {
                            return Err(stopped());
                        }
                        match one(workshop, k, overseer) {
                            Ok(()) => {}
                            Err(e) if matches!(e.kind(), Kind::Input | Kind::Refused) => {
                                note(&failures, e);
                            }
                            Err(e) => {
                                next.store(all, Ordering::SeqCst);
                                return Err(e);
                            }
                        }
                        let n = done.fetch_add(1, Ordering::SeqCst) + 1;
                        let left = (missing.len() as u64 - n) as f64 / n as f64;
                        let seconds = started.elapsed().as_secs_f64() * left;
                        overseer.progress(
                            (found + n) as f64 / all as f64,
                            &format!("{} of {all} parts, {} left", found + n, duration(seconds)),
                        );
                    }
                    Ok(())
                };
                // One thread a part: the cores are busy with other parts.
                let outcome = ThreadPoolBuilder::new()
                    .num_threads(1)
                    .build()
                    .map_err(|cause| Error::refused(format!("cannot start a thread: {cause}")))
                    .and_then(|pool| pool.install(work));
                if let Err(e) = outcome {
                    note(&failures, e);
                }
            });
        }
    });
    let failures = failures.into_inner().unwrap_or_default();
    match told(failures) {
        Some(error) => Err(error),
        None => Ok(Ran {
            found,
            computed: missing.len() as u64,
        }),
    }
}

fn one(workshop: &Workshop<'_>, k: u64, overseer: &dyn Overseer) -> Result<()> {
    let part = workshop.compute(k, &Passing(overseer))?;
    workshop.sweep.keep(k, &part.bytes()?)?;
    overseer.took(&part);
    Ok(())
}

struct Passing<'a>(&'a dyn Overseer);

impl Watch for Passing<'_> {
    fn progress(&self, _fraction: f64, _words: &str) {}
    fn stopped(&self) -> bool {
        self.0.stopped()
    }
}

fn note(failures: &Mutex<Vec<Error>>, error: Error) {
    if let Ok(mut list) = failures.lock() {
        list.push(error);
    }
}

/// One error for all: what stops everything first, then the failed parts together.
fn told(mut failures: Vec<Error>) -> Option<Error> {
    let rank = |e: &Error| match e.kind() {
        Kind::System => 0,
        Kind::Interrupted => 1,
        Kind::Input | Kind::Refused => 2,
    };
    failures.sort_by(|a, b| rank(a).cmp(&rank(b)).then_with(|| a.what().cmp(b.what())));
    let first = failures.first()?.clone();
    if rank(&first) < 2 || failures.len() == 1 {
        return Some(first);
    }
    let shown: Vec<&str> = failures.iter().take(TOLD).map(Error::what).collect();
    let more = failures.len().saturating_sub(TOLD);
    let mut text = format!("{} parts failed: {}", failures.len(), shown.join("; "));
    if more > 0 {
        text += &format!("; and {more} more");
    }
    let error = match first.kind() {
        Kind::Input => Error::input(text),
        _ => Error::refused(text),
    };
    Some(first.hints().iter().fold(error, |e, h| e.hint(h.clone())))
}

/// "3 h 20 min", "5 min", "40 s".
#[must_use]
pub fn duration(seconds: f64) -> String {
    let whole = seconds.max(0.0).round() as u64;
    match whole {
        0..=99 => format!("{whole} s"),
        100..=5999 => format!("{} min", (whole + 30) / 60),
        _ => format!("{} h {} min", whole / 3600, whole % 3600 / 60),
    }
}
