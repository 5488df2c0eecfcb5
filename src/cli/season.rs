//! `match` and `reinforce`: a season of use, imitated on the bench, and made to last longer.

use super::args::{MatchArgs, ReinforceArgs};
use super::ask::as_made;
use super::results::Job;
use super::talk::Talk;
use crate::report::tables;
use crate::scenario::{Service, Source};
use crate::study::digits;
use crate::trial::Trial;
use base::atomic;
use base::{Error, Result};

/// `thumbworn match`.
///
/// # Errors
/// A folder without a run, a service file that does not fit it, a season that wears nothing.
pub fn matched(args: &MatchArgs, talk: &Talk) -> Result<()> {
    let source = Source::read(&args.service)?;
    let job = Job::again(&args.results, &as_made())?;
    let service = Service::read(&source, &job.scenario)?;
    let trial = job.carry_out(talk)?;
    let found = trial.matched(&service)?;
    talk.result(&format!("- {}", found.sentence));
    talk.result(&format!(
        "\n{:<44}{:>12}{:>12}{:>8}",
        "area (nominal depth per season)", "service um", "bench um", "ratio"
    ));
    for area in &found.areas {
        talk.result(&format!(
            "{:<44}{:>12.4}{:>12.4}{:>8.2}",
            cut(&area.words, 43),
            area.service * 1e6,
            area.bench * 1e6,
            area.ratio()
        ));
    }
    for words in &found.unreached {
        talk.result(&format!(
            "- no bench exposure here reaches half of: {words}"
        ));
    }
    for words in &found.invented {
        talk.result(&format!("- worn by the bench, hardly in service: {words}"));
    }
    talk.say(
        "note: depths are medians of the priors; the mix depends on their ratios only, which are better known",
    );
    let file = args.results.join("match.csv");
    atomic::write(&file, &tables::matched(&found)?)?;
    talk.result(&format!("\ntable: {}", file.display()));
    talk.object(&serde_json::json!({ "match": found }));
    Ok(())
}

/// `thumbworn reinforce`.
///
/// # Errors
/// A folder without a run, a service file that does not fit it, a season that wears nothing.
pub fn reinforced(args: &ReinforceArgs, talk: &Talk) -> Result<()> {
    let job = Job::again(&args.results, &as_made())?;
    let service = match &args.service {
        Some(file) => Service::read(&Source::read(file)?, &job.scenario)?,
        None => {
            talk.say("no --service: one season is taken as the amounts of the run's scenario");
            Service::of_run(&job.scenario, specimen(&job, args.specimen.as_deref())?)
        }
    };
    let trial = job.carry_out(talk)?;
    for (exposure, amount) in &service.uses {
        let plan = &trial.scenario.exposures[*exposure];
        talk.say(&format!(
            "in a season: {amount} {} of {}",
            plan.unit.plural(),
            plan.name
        ));
    }
    let found = trial.reinforced(&service, args.steps)?;
    talk.result(&format!("{}: {}", name(&trial, &service), found.sentence));
    for (i, step) in found.greedy.iter().enumerate() {
        let per = step.gain_per_surface.map_or_else(String::new, |g| {
            format!(
                ", {} mm2 to coat, {} seasons gained per mm2",
                digits(step.surface * 1e6),
                digits(g * 1e-6)
            )
        });
        talk.result(&format!(
            "{}. {}: life times {}, to {} seasons{per}",
            i + 1,
            step.measure,
            digits(step.gain),
            digits(step.seasons)
        ));
    }
    match &found.exact {
        Some(best) if best.measures.is_empty() => {}
        Some(best) => talk.result(&format!(
            "best of all sets of up to {}: {} ({} seasons)",
            args.steps,
            best.measures.join("; "),
            digits(best.seasons)
        )),
        None => talk.result("too many sets to try them all: the steps above are the greedy ones"),
    }
    let stacks = trial.stacks(&service, 3)?;
    if let Some((words, rungs)) = &stacks {
        talk.result(&format!("\nthick stacks: {words}"));
        for rung in rungs {
            talk.result(&format!(
                "  +{}: {:.0} um in all; all films through after {} units; chip index {} ({})",
                rung.added,
                rung.thickness * 1e6,
                digits(rung.rubbing_life),
                digits(rung.chip_index),
                rung.chip_class.word()
            ));
        }
        talk.result("  more film rubs through later and lets go sooner: the chip index is a rank, not a count of chips");
    }
    talk.say("note: lives are medians of the priors by the energy law; the order of the steps depends on ratios, which are better known than the lives");
    let file = args.results.join("reinforce.csv");
    atomic::write(&file, &tables::reinforced(&found)?)?;
    talk.result(&format!("\ntable: {}", file.display()));
    talk.object(&serde_json::json!({
        "reinforce": found,
        "thick_stacks": stacks.map(|(words, rungs)| serde_json::json!({ "where": words, "rungs": rungs })),
    }));
    Ok(())
}

fn specimen(job: &Job, asked: Option<&str>) -> Result<usize> {
    let Some(asked) = asked else { return Ok(0) };
    let names: Vec<&str> = job
        .scenario
        .specimens
        .iter()
        .map(|s| s.specimen.name.as_str())
        .collect();
    names.iter().position(|n| *n == asked).ok_or_else(|| {
        Error::input(format!("the run has no specimen \"{asked}\""))
            .hint(format!("there is: {}", names.join("; ")))
    })
}

fn name<'a>(trial: &'a Trial, service: &Service) -> &'a str {
    &trial.scenario.specimens[service.specimen].specimen.name
}

fn cut(words: &str, most: usize) -> String {
    if words.chars().count() <= most {
        return words.to_owned();
    }
    let head: String = words.chars().take(most - 3).collect();
    format!("{head}...")
}
