//! `run` and `demo`: a whole scenario, from file to report.

use super::args::{DemoArgs, Effort, RunArgs};
use super::results::Job;
use super::talk::Talk;
use crate::report::words;
use crate::scenario::Source;
use crate::trial::Foreman;
use base::{Error, Result, Watch};
use std::path::{Path, PathBuf};

/// The scenario that `demo` carries out.
pub const DEMO: &str = include_str!("../../scenarios/ferry_porter.toml");

impl Foreman for Talk {
    fn part(&self, name: &str) -> Box<dyn Watch + '_> {
        Box::new(Talk::part(self, name))
    }

    fn say(&self, text: &str) {
        Talk::say(self, text);
    }
}

/// `thumbworn demo`.
///
/// # Errors
/// As [`carry_out`].
pub fn demo(args: &DemoArgs, talk: &Talk) -> Result<()> {
    let source = Source::embedded("the demo scenario", DEMO);
    carry_out(source, &args.output, &args.effort, talk)
}

/// `thumbworn run`.
///
/// # Errors
/// As [`carry_out`].
pub fn run(args: &RunArgs, talk: &Talk) -> Result<()> {
    let source = Source::read(&args.scenario)?;
    let output = args
        .output
        .clone()
        .unwrap_or_else(|| results_of(&args.scenario));
    carry_out(source, &output, &args.effort, talk)
}

/// The results folder of a scenario file when none is given.
#[must_use]
pub fn results_of(scenario: &Path) -> PathBuf {
    let name = scenario
        .file_stem()
        .map_or_else(|| "run".into(), |s| s.to_string_lossy());
    Path::new("results").join(base::slug(&name))
}

/// Threads of the pool; results do not depend on it.
pub fn use_threads(effort: &Effort) {
    if let Some(threads) = effort.threads {
        // Fails only if the pool is already there, and then the number no longer matters.
        let _ = rayon::ThreadPoolBuilder::new()
            .num_threads(threads.max(1))
            .build_global();
    }
}

/// Carries out a scenario and writes everything into `output`.
///
/// # Errors
/// Bad input, a refused result, a full disk, or the user's wish to stop.
pub fn carry_out(source: Source, output: &Path, effort: &Effort, talk: &Talk) -> Result<()> {
    use_threads(effort);
    let job = Job::open(source, output, effort)?;
    if let Some(sentences) = job.unchanged()? {
        talk.say("nothing changed since the last run");
        return tell(&sentences, output, talk);
    }
    let talk = talk.with_budget(job.scenario.budget);
    let trial = job.carry_out(&talk)?;
    let mut answers = trial.answers_without_whatifs(&talk)?;
    // what is known so far is there to read while the what-ifs are computed
    job.write(&trial, &answers, &talk)?;
    if !trial.scenario.whatifs.is_empty() {
        trial.add_whatifs(&mut answers, (&job.raw, &job.source), (&job.store, &talk))?;
        job.write(&trial, &answers, &talk)?;
    }
    let sentences = words::answers(&trial, &answers);
    job.remember(&sentences)?;
    tell(&sentences, output, &talk)
}

/// The answers on stdout, the summary as JSON if asked for.
fn tell(sentences: &[String], output: &Path, talk: &Talk) -> Result<()> {
    for sentence in sentences {
        talk.result(&format!("- {sentence}"));
    }
    talk.result(&format!(
        "\nreport: {}\ntables, heat maps and pictures beside it",
        output.join("report.html").display()
    ));
    if talk.json() {
        let path = output.join("summary.json");
        let text = std::fs::read(&path)
            .map_err(|cause| Error::system("read the summary", &path, &cause))?;
        let value = serde_json::from_slice(&text)
            .map_err(|cause| Error::refused(format!("the summary is damaged: {cause}")))?;
        talk.object(&value);
    }
    Ok(())
}
