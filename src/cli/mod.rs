//! The command line: one file per command, one place for talk, one for complaints.

pub mod args;
pub mod ask;
pub mod bench;
pub mod complain;
pub mod inspect;
pub mod look;
pub mod results;
pub mod run;
pub mod season;
pub mod sweep;
pub mod talk;

use args::{Cli, Command};
use clap::{CommandFactory, Parser};
use std::process::ExitCode;
use talk::Talk;

/// Runs the program: 0 done, 1 refused or stopped, 2 wrong input.
#[must_use]
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    let talk = Talk::new(cli.quiet, cli.json);
    match obey(cli.command, &talk) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{}", complain::shown(&error));
            ExitCode::from(complain::exit_code(&error))
        }
    }
}

fn obey(command: Command, talk: &Talk) -> base::Result<()> {
    match command {
        Command::Demo(args) => run::demo(&args, talk),
        Command::Run(args) => run::run(&args, talk),
        Command::Schema => {
            let schema = schemars::schema_for!(crate::scenario::raw::RawScenario);
            println!(
                "{}",
                serde_json::to_string_pretty(&schema).unwrap_or_default()
            );
            Ok(())
        }
        Command::Completions { shell } => {
            clap_complete::generate(
                shell,
                &mut Cli::command(),
                "thumbworn",
                &mut std::io::stdout(),
            );
            Ok(())
        }
        Command::Man => {
            let page = clap_mangen::Man::new(Cli::command());
            page.render(&mut std::io::stdout())
                .map_err(|cause| base::Error::system("write the manual page", "stdout", &cause))
        }
        Command::Inspect(args) => inspect::inspect(&args, talk),
        Command::Match(args) => season::matched(&args, talk),
        Command::Reinforce(args) => season::reinforced(&args, talk),
        Command::Compare(args) => ask::compare(&args, talk),
        Command::Whatif(args) => ask::whatif(&args, talk),
        Command::Bench(command) => bench::bench(&command, talk),
        Command::Sweep(command) => sweep::sweep(&command, talk),
        Command::Advise(args) => bench::advise(&args, talk),
        Command::Export(args) => ask::export(&args, talk),
        Command::Stock(args) => look::stock(&args, talk),
        Command::Check => look::check(talk),
        Command::Sculpt(args) => look::sculpt_file(&args, talk),
    }
}
