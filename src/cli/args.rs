//! What may be typed.

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

/// Predicts where the paint of a small figure wears, how fast, and what would change it.
#[derive(Debug, Parser)]
#[command(name = "thumbworn", version, about, propagate_version = true)]
#[command(
    after_help = "Start with:  thumbworn demo\nThen:        thumbworn inspect my_figure.stl\n             thumbworn run my_trial.toml -o results/my_trial"
)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
    /// Say nothing but results and errors.
    #[arg(long, global = true)]
    pub quiet: bool,
    /// End stdout with one JSON object.
    #[arg(long, global = true)]
    pub json: bool,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// The whole main job on the figure that ships; needs no file.
    #[command(after_help = "Example:  thumbworn demo -o results/demo")]
    Demo(DemoArgs),
    /// Health, size, volume, mass and patches of a figure file, with a picture.
    #[command(after_help = "Example:  thumbworn inspect meshes/ferry_porter.stl --height-mm 38")]
    Inspect(InspectArgs),
    /// All exposures of all specimens of a scenario: wear, life, areas, questions, report.
    #[command(
        after_help = "Example:  thumbworn run scenarios/ferry_porter.toml -o results/ferry_porter --precision 15"
    )]
    Run(RunArgs),
    /// Heavy against light, coat against coat, from finished results.
    #[command(
        after_help = "Example:  thumbworn compare results/demo --left \"metal, satin\" --right \"plastic, satin\""
    )]
    Compare(CompareArgs),
    /// One value over a range.
    #[command(
        after_help = "Example:  thumbworn whatif scenarios/ferry_porter.toml --vary topcoat.friction --over 0.3..0.6"
    )]
    Whatif(WhatifArgs),
    /// Heat-map meshes of finished results for other programs.
    #[command(
        after_help = "Example:  thumbworn export results/demo --format ply --channel friction"
    )]
    Export(ExportArgs),
    /// The mix of bench exposures that imitates a season of use.
    #[command(
        after_help = "Example:  thumbworn match results/evening_of_play --service scenarios/service/club_season.toml"
    )]
    Match(MatchArgs),
    /// Where an extra coat, another hold or another foam buys most life.
    #[command(
        after_help = "Example:  thumbworn reinforce results/evening_of_play --service scenarios/service/club_season.toml"
    )]
    Reinforce(ReinforceArgs),
    /// Which measurement at home would narrow the life most.
    #[command(
        after_help = "Example:  thumbworn advise results/demo --exposure \"foam wipe, by hand\""
    )]
    Advise(AdviseArgs),
    /// The bench test: plan, sheets, grades in, verdict, wear rates out.
    #[command(subcommand)]
    #[command(
        after_help = "Example:  thumbworn bench plan scenarios/bench/five_coats.toml -o results/bench"
    )]
    Bench(BenchCommand),
    /// Many scenarios at once, here or on many machines: plan, parts, merge.
    #[command(subcommand)]
    #[command(
        after_help = "Example:  thumbworn sweep plan scenarios/sweeps/coats_and_foams.toml -o results/sweep\n          thumbworn sweep run results/sweep --jobs 4\n          thumbworn sweep merge results/sweep"
    )]
    Sweep(SweepCommand),
    /// The values that ship, with range, grade and source.
    #[command(after_help = "Example:  thumbworn stock \"satin topcoat, aerosol\"")]
    Stock(StockArgs),
    /// The classical checks of the engines on this machine: expected and found.
    #[command(after_help = "Example:  thumbworn check")]
    Check,
    /// Writes the demo figure, or one of its defect versions, as STL.
    #[command(after_help = "Example:  thumbworn sculpt -o meshes/ferry_porter.stl")]
    Sculpt(SculptArgs),
    /// JSON Schema of the scenario file, for editors.
    #[command(after_help = "Example:  thumbworn schema > scenario.schema.json")]
    Schema,
    /// Completions for a shell, on stdout.
    #[command(after_help = "Example:  thumbworn completions bash > thumbworn.bash")]
    Completions {
        /// Which shell.
        shell: clap_complete::Shell,
    },
    /// The manual page, on stdout.
    #[command(after_help = "Example:  thumbworn man > thumbworn.1")]
    Man,
}

/// Where results go and how hard to try.
#[derive(Debug, Clone, Args)]
pub struct Effort {
    /// Half-width of the 95 % interval of the most worn areas to reach, in per cent.
    #[arg(long, value_name = "PCT")]
    pub precision: Option<f64>,
    /// Most wall-clock minutes per part.
    #[arg(long, value_name = "MIN")]
    pub budget: Option<f64>,
    /// Seed of the random draws.
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// Threads to use; the result does not depend on it.
    #[arg(long, value_name = "N")]
    pub threads: Option<usize>,
    /// Compute finished parts again.
    #[arg(long)]
    pub fresh: bool,
}

/// Arguments of `demo`.
#[derive(Debug, Args)]
pub struct DemoArgs {
    /// Results folder.
    #[arg(short, long, default_value = "results/demo", value_name = "DIR")]
    pub output: PathBuf,
    /// How hard to try.
    #[command(flatten)]
    pub effort: Effort,
}

/// Arguments of `inspect`.
#[derive(Debug, Args)]
pub struct InspectArgs {
    /// Mesh file: stl, obj, ply, 3mf, glb.
    pub figure: PathBuf,
    /// Height over all in millimetres, base included.
    #[arg(long, value_name = "H")]
    pub height_mm: Option<f64>,
    /// Factor on the file's unit: 25.4 for a file in inches.
    #[arg(long, value_name = "F", conflicts_with = "height_mm")]
    pub scale: Option<f64>,
    /// Axis of the file that points up: x, y, z, or -x, -y, -z.
    #[arg(long, value_name = "AXIS", allow_hyphen_values = true)]
    pub up: Option<String>,
    /// Edge length of a patch in millimetres.
    #[arg(long, default_value_t = 0.5, value_name = "MM")]
    pub patch_mm: f64,
    /// Also split the figure into convex pieces, as figures that touch each other are (seconds).
    #[arg(long)]
    pub pieces: bool,
    /// Folder for the picture.
    #[arg(short, long, value_name = "DIR")]
    pub output: Option<PathBuf>,
}

/// Arguments of `run`.
#[derive(Debug, Args)]
pub struct RunArgs {
    /// Scenario file.
    pub scenario: PathBuf,
    /// Results folder; `results/NAME` of the scenario file without it.
    #[arg(short, long, value_name = "DIR")]
    pub output: Option<PathBuf>,
    /// How hard to try.
    #[command(flatten)]
    pub effort: Effort,
}

/// Arguments of `compare`.
#[derive(Debug, Args)]
pub struct CompareArgs {
    /// Results folder of a finished run.
    pub results: PathBuf,
    /// Name of a specimen.
    #[arg(long)]
    pub left: String,
    /// Name of another specimen.
    #[arg(long)]
    pub right: String,
    /// Only this exposure.
    #[arg(long)]
    pub exposure: Option<String>,
}

/// Arguments of `whatif`.
#[derive(Debug, Args)]
pub struct WhatifArgs {
    /// Scenario file.
    pub scenario: PathBuf,
    /// Key to vary: `topcoat.friction`, or any numeric key of the scenario.
    #[arg(long, value_name = "KEY")]
    pub vary: String,
    /// Range, such as 0.1..0.6.
    #[arg(long, value_name = "A..B")]
    pub over: String,
    /// Number of values, ends included.
    #[arg(long, default_value_t = 4)]
    pub steps: u32,
    /// Only this specimen.
    #[arg(long)]
    pub specimen: Option<String>,
    /// Only this exposure.
    #[arg(long)]
    pub exposure: Option<String>,
    /// Results folder; `results/NAME` of the scenario file without it.
    #[arg(short, long, value_name = "DIR")]
    pub output: Option<PathBuf>,
    /// How hard to try.
    #[command(flatten)]
    pub effort: Effort,
}

/// Arguments of `match`.
#[derive(Debug, Args)]
pub struct MatchArgs {
    /// Results folder of a finished run that holds the exposures of service and bench.
    pub results: PathBuf,
    /// Service file: units of each exposure in a season.
    #[arg(long, value_name = "FILE")]
    pub service: PathBuf,
}

/// Arguments of `reinforce`.
#[derive(Debug, Args)]
pub struct ReinforceArgs {
    /// Results folder of a finished run.
    pub results: PathBuf,
    /// Service file: units of each exposure in a season, and what could be done instead; the
    /// amounts of the run's scenario without it.
    #[arg(long, value_name = "FILE")]
    pub service: Option<PathBuf>,
    /// Specimen, where no service file names one; the first without it.
    #[arg(long)]
    pub specimen: Option<String>,
    /// Most steps to plan.
    #[arg(long, default_value_t = 3, value_name = "N", value_parser = clap::builder::RangedU64ValueParser::<usize>::new().range(1..=10))]
    pub steps: usize,
}

/// File formats of `export`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ExportFormat {
    /// Vertex colours and every channel as a vertex scalar.
    Ply,
    /// Vertex colours, y up, metres.
    Glb,
    /// Vertex colours behind the coordinates.
    Obj,
    /// Every channel as point data.
    Vtu,
    /// Colours at the corners of the triangles, as slicers and print services read them.
    #[value(name = "3mf")]
    ThreeMf,
    /// The patches as a table.
    Csv,
}

/// Arguments of `export`.
#[derive(Debug, Args)]
pub struct ExportArgs {
    /// Results folder of a finished run.
    pub results: PathBuf,
    /// File format.
    #[arg(long, value_enum, default_value_t = ExportFormat::Ply)]
    pub format: ExportFormat,
    /// Channel that colours the mesh: friction, impact, dent, peak, slip, touches, depth.
    #[arg(long, default_value = "friction")]
    pub channel: String,
    /// Folder to write to; `heat` in the results folder without it.
    #[arg(short, long, value_name = "DIR")]
    pub output: Option<PathBuf>,
}

/// Arguments of `stock`.
#[derive(Debug, Args)]
pub struct StockArgs {
    /// A row, a table, or part of a name; everything without it.
    pub name: Option<String>,
}

/// Arguments of `sculpt`.
#[derive(Debug, Args)]
pub struct SculptArgs {
    /// File to write.
    #[arg(short, long, default_value = "ferry_porter.stl")]
    pub output: PathBuf,
    /// About how many triangles; more keep more detail.
    #[arg(long, default_value_t = 50_000)]
    pub triangles: usize,
    /// "whole", or a defect version with known volume; a wrong name lists them.
    #[arg(long, default_value = "whole")]
    pub version_of: String,
}

/// Arguments of `advise`.
#[derive(Debug, Args)]
pub struct AdviseArgs {
    /// Results folder of a finished run.
    pub results: PathBuf,
    /// Exposure; the first without it.
    #[arg(long)]
    pub exposure: Option<String>,
    /// Specimen; the first without it.
    #[arg(long)]
    pub specimen: Option<String>,
}

/// The steps of a bench test.
#[derive(Debug, Subcommand)]
pub enum BenchCommand {
    /// Design, blind codes with sealed key, order, inspections, and what it can prove.
    #[command(
        after_help = "Example:  thumbworn bench plan scenarios/bench/five_coats.toml -o results/bench --from results/demo --exposure \"foam wipe, by hand\""
    )]
    Plan {
        /// Settings of the bench.
        settings: PathBuf,
        /// Folder of the bench.
        #[arg(short, long, value_name = "DIR")]
        output: PathBuf,
        /// Finished run whose areas are looked at.
        #[arg(long, value_name = "DIR")]
        from: Option<PathBuf>,
        /// Exposure of that run.
        #[arg(long)]
        exposure: Option<String>,
        /// Specimen of that run.
        #[arg(long)]
        specimen: Option<String>,
    },
    /// Operator and grading sheets to print.
    #[command(after_help = "Example:  thumbworn bench sheet results/bench")]
    Sheet {
        /// Folder of the bench.
        folder: PathBuf,
    },
    /// Made-up grades from a stated truth, to try a plan out before anyone paints.
    #[command(
        after_help = "Example:  thumbworn bench rehearse results/bench --truth scenarios/bench/truth_of_five_coats.toml"
    )]
    Rehearse {
        /// Folder of the bench.
        folder: PathBuf,
        /// File with the true wear rate of every system.
        #[arg(long, value_name = "FILE")]
        truth: PathBuf,
    },
    /// Takes a filled table of grades in.
    #[command(after_help = "Example:  thumbworn bench record results/bench grades_500.csv")]
    Record {
        /// Folder of the bench.
        folder: PathBuf,
        /// Filled table.
        filled: PathBuf,
        /// Accept grades that fall by 2 or more.
        #[arg(long)]
        accept_falling: bool,
    },
    /// The verdict: exact tests, agreement, effect sizes.
    #[command(after_help = "Example:  thumbworn bench analyse results/bench")]
    Analyse {
        /// Folder of the bench.
        folder: PathBuf,
    },
    /// Wear rates from the grades.
    #[command(after_help = "Example:  thumbworn bench calibrate results/bench")]
    Calibrate {
        /// Folder of the bench.
        folder: PathBuf,
    },
}

/// The steps of a sweep.
#[derive(Debug, Subcommand)]
pub enum SweepCommand {
    /// Checks a sweep file and writes its plan: parts, core-hours, disk.
    #[command(
        after_help = "Example:  thumbworn sweep plan scenarios/sweeps/coats_and_foams.toml -o results/sweep"
    )]
    Plan {
        /// Sweep file.
        sweep: PathBuf,
        /// Folder of the sweep; a copy of it is the sweep on another machine.
        #[arg(short, long, value_name = "DIR")]
        output: PathBuf,
        /// Do not time a pilot part; the estimate is then a guess.
        #[arg(long)]
        no_pilot: bool,
    },
    /// Computes one part. Safe to run twice, and beside others.
    #[command(
        after_help = "Example:  thumbworn sweep part results/sweep 17\n          thumbworn sweep part results/sweep 17 --stdout > 17.part\n          printf '17\\n18\\n' | thumbworn sweep part results/sweep --serve"
    )]
    Part {
        /// Folder of the sweep.
        folder: PathBuf,
        /// Number of the part, from 0.
        #[arg(required_unless_present = "serve")]
        part: Option<u64>,
        /// Give the part's bytes on stdout instead of keeping them in the folder.
        #[arg(long, conflicts_with = "serve")]
        stdout: bool,
        /// Take numbers line by line from stdin, give "part NUMBER LENGTH" and the bytes on stdout,
        /// until stdin ends: for the workers of an engine.
        #[arg(long, conflicts_with = "part")]
        serve: bool,
    },
    /// Computes all missing parts on this machine; goes on where it was stopped.
    #[command(after_help = "Example:  thumbworn sweep run results/sweep --jobs 4")]
    Run {
        /// Folder of the sweep.
        folder: PathBuf,
        /// Parts at a time; one for each core without it. The result does not depend on it.
        #[arg(long, value_name = "N")]
        jobs: Option<usize>,
    },
    /// Adds all parts up: sweep.csv, sweep.json and the page sweep.html.
    #[command(
        after_help = "Example:  thumbworn sweep merge results/sweep\n          thumbworn sweep merge results/sweep --from copy_from_the_club_laptop"
    )]
    Merge {
        /// Folder of the sweep.
        folder: PathBuf,
        /// Copies of the folder whose parts are taken first.
        #[arg(long, value_name = "DIR")]
        from: Vec<PathBuf>,
    },
}
