//! `sweep plan`, `part`, `run`, `merge`.

use super::args::SweepCommand;
use super::talk::{self, Talk};
use crate::report::sweep as report;
use crate::sweep::draft::draft;
use crate::sweep::findings::Adder;
use crate::sweep::gather::{gather, take_from};
use crate::sweep::part::{Found, Part};
use crate::sweep::plan::{Sweep, write};
use crate::sweep::run::{Overseer, duration, run};
use crate::sweep::{Workshop, estimate};
use base::{Error, Result, Watch};
use std::io::{BufRead, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::time::{Duration, Instant};

/// `thumbworn sweep ...`.
///
/// # Errors
/// Bad input with its place; parts that do not belong; a full disk; the wish to stop.
pub fn sweep(command: &SweepCommand, talk: &Talk) -> Result<()> {
    match command {
        SweepCommand::Plan {
            sweep,
            output,
            no_pilot,
        } => plan(sweep, output, !no_pilot, talk),
        SweepCommand::Part {
            folder,
            part,
            stdout,
            serve,
        } => match part {
            Some(k) if !serve => one(folder, *k, *stdout, talk),
            _ => serve_parts(folder, talk),
        },
        SweepCommand::Run { folder, jobs } => run_all(folder, *jobs, talk),
        SweepCommand::Merge { folder, from } => merge(folder, from, talk),
    }
}

fn plan(file: &Path, output: &Path, pilot: bool, talk: &Talk) -> Result<()> {
    let draft = draft(file)?;
    talk.say("looking at every figure");
    draft.check_figures()?;
    write(output, &draft.plan, &draft.files)?;
    let sweep = Sweep::open(output)?;
    if pilot {
        talk.say("timing the first part; it is kept");
    }
    let estimate = estimate::estimate(&sweep, pilot, &talk.part("pilot part"))?;
    let sentences = estimate.sentences(&sweep);
    for sentence in &sentences {
        talk.result(&format!("- {sentence}"));
    }
    talk.result(&format!(
        "\nplan: {}\nnext: thumbworn sweep run {}",
        output.join(crate::sweep::plan::PLAN).display(),
        output.display()
    ));
    talk.object(&serde_json::json!({
        "plan": sweep.hash,
        "parts": sweep.plan.parts,
        "estimate": estimate,
    }));
    Ok(())
}

fn one(folder: &Path, k: u64, to_stdout: bool, talk: &Talk) -> Result<()> {
    let sweep = Sweep::open(folder)?;
    sweep.check_number(k)?;
    let workshop = Workshop::open(&sweep)?;
    let watch = talk.part(&format!("part {k}"));
    let (part, is_new) = match sweep.found(k)? {
        Found::Whole(part) => (*part, false),
        Found::Missing => (workshop.compute(k, &watch)?, true),
    };
    if to_stdout {
        return give(&part.bytes()?);
    }
    if is_new {
        sweep.keep(k, &part.bytes()?)?;
    }
    let path = crate::sweep::part::path(folder, k);
    talk.result(&format!("part {k}: {}", path.display()));
    talk.object(&serde_json::json!({ "part": k, "file": path }));
    Ok(())
}

fn give(bytes: &[u8]) -> Result<()> {
    let mut out = std::io::stdout().lock();
    out.write_all(bytes)
        .and_then(|()| out.flush())
        .map_err(|cause| Error::system("give a part", "stdout", &cause))
}

/// One line in, one part out. An error of a part is given as "error NUMBER LENGTH" and its text, so
/// that the engine can go on; the end of stdin is the end, so no part outlives its worker for long.
fn serve_parts(folder: &Path, talk: &Talk) -> Result<()> {
    let sweep = Sweep::open(folder)?;
    let workshop = Workshop::open(&sweep)?;
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .map_err(|cause| Error::refused(format!("cannot start a thread: {cause}")))?;
    for line in std::io::stdin().lock().lines() {
        let line = line.map_err(|cause| Error::system("read a number", "stdin", &cause))?;
        let Ok(k) = line.trim().parse::<u64>() else {
            return Err(Error::input(format!(
                "\"{}\" is not the number of a part",
                line.trim()
            )));
        };
        let watch = talk.part(&format!("part {k}"));
        let made = sweep
            .check_number(k)
            .and_then(|()| pool.install(|| workshop.compute(k, &watch)))
            .and_then(|part| part.bytes());
        let (kind, bytes) = match made {
            Ok(bytes) => ("part", bytes),
            Err(error) if watch.stopped() => return Err(error),
            Err(error) => ("error", error.to_string().into_bytes()),
        };
        let mut answer = format!("{kind} {k} {}\n", bytes.len()).into_bytes();
        answer.extend(bytes);
        give(&answer)?;
    }
    Ok(())
}

/// Shows progress with the time left and who leads so far.
struct Progress<'a> {
    bar: talk::Part,
    so_far: Mutex<SoFar<'a>>,
}

struct SoFar<'a> {
    adder: Adder<'a>,
    said: Instant,
    leader: String,
}

/// The leader is worked out at most this often.
const LEADER_EVERY: Duration = Duration::from_secs(5);

impl Watch for Progress<'_> {
    fn progress(&self, fraction: f64, words: &str) {
        let leader = self.so_far.lock().map_or_else(
            |_| String::new(),
            |mut so_far| {
                if so_far.leader.is_empty() || so_far.said.elapsed() >= LEADER_EVERY {
                    so_far.said = Instant::now();
                    so_far.leader = so_far.adder.leader().unwrap_or_default();
                }
                so_far.leader.clone()
            },
        );
        let comma = if leader.is_empty() { "" } else { "; " };
        self.bar
            .progress(fraction, &format!("{words}{comma}{leader}"));
    }

    fn stopped(&self) -> bool {
        self.bar.stopped()
    }
}

impl Overseer for Progress<'_> {
    fn took(&self, part: &Part) {
        if let Ok(mut so_far) = self.so_far.lock() {
            // A part that does not fit is told when all are merged.
            let _ = so_far.adder.add(part);
        }
    }
}

fn run_all(folder: &Path, jobs: Option<usize>, talk: &Talk) -> Result<()> {
    let sweep = Sweep::open(folder)?;
    let workshop = Workshop::open(&sweep)?;
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let jobs = jobs.unwrap_or(cores).max(1);
    let progress = Progress {
        bar: talk.part("sweep"),
        so_far: Mutex::new(SoFar {
            adder: Adder::new(&sweep),
            said: Instant::now(),
            leader: String::new(),
        }),
    };
    let started = Instant::now();
    let ran = run(&workshop, jobs, &progress)?;
    let seconds = started.elapsed().as_secs_f64();
    talk.result(&format!(
        "- {} parts: {} found, {} computed in {}\n\nnext: thumbworn sweep merge {}",
        sweep.plan.parts,
        ran.found,
        ran.computed,
        duration(seconds),
        folder.display()
    ));
    talk.object(&serde_json::json!({
        "parts": sweep.plan.parts, "found": ran.found, "computed": ran.computed, "seconds": seconds,
    }));
    Ok(())
}

fn merge(folder: &Path, from: &[PathBuf], talk: &Talk) -> Result<()> {
    let sweep = Sweep::open(folder)?;
    for other in from {
        let taken = take_from(&sweep, other)?;
        talk.say(&format!("{taken} parts taken from {}", other.display()));
    }
    let watch = talk.part("merge");
    let findings = report::table(&sweep, |each| gather(&sweep, &watch, each))?;
    report::write(&sweep, &findings)?;
    for sentence in report::words::sentences(&findings) {
        talk.result(&format!("- {sentence}"));
    }
    talk.result(&format!(
        "\npage: {}\ntable: {}",
        folder.join(report::PAGE).display(),
        folder.join(report::TABLE).display()
    ));
    talk.object(&serde_json::to_value(&findings).unwrap_or_default());
    Ok(())
}
