//! `bench analyse`: what was declared and what came out, in words that claim no more than that.

use super::design::Test;
use super::exact::{self, Exact, Side};
use super::files::{Bench, Comparison, Grade, Outcome, write_rows};
use super::judge::{self, Level};
use super::model::{Density, Fit, FitSettings, Prior, Quantity, Reading, Trial, fit};
use super::scores::{Score, means, scores, trial};
use crate::base::{Error, Note, Result, Topic, Watch};
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::PathBuf;

/// What to analyse.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalyseSettings {
    /// The bench folder.
    pub folder: PathBuf,
    /// How to sample.
    pub fit: FitSettings,
}

/// One line of `tests.csv`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TestRow {
    /// `declared` or `looked at afterwards`.
    pub family: String,
    /// Comparison and test.
    pub test: String,
    /// Declared direction.
    pub direction: String,
    /// Statistic.
    pub statistic: f64,
    /// p on that side.
    pub p_exact: f64,
    /// The smallest p these grades could have given.
    pub p_floor: f64,
    /// After Holm over its family.
    pub p_holm: f64,
    /// Arrangements counted, or drawn.
    pub n_arrangements: f64,
    /// `counted` or `drawn`.
    pub how: String,
}

/// One line of `fit.csv`.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct FitRow {
    quantity: String,
    unit: String,
    median: f64,
    lo90: f64,
    hi90: f64,
    ess: f64,
    rhat: f64,
}

/// Analyses a bench: tests, agreement, blinding, fit, words.
///
/// # Errors
/// As [`Bench::open`]; no recorded grade; interrupted.
pub fn analyse(settings: &AnalyseSettings, watch: &dyn Watch) -> Result<Outcome> {
    let bench = Bench::open(&settings.folder)?;
    let grades = bench.recorded()?;
    if grades.is_empty() {
        return Err(Error::input("no grade is recorded")
            .hint("thumbworn bench record takes a filled table in"));
    }
    let mut outcome = Outcome::default();
    let scores = scores(&bench, &grades, &mut outcome.notes)?;
    let mut text = format!("{}\n\n", bench.file.title);
    if grades.iter().any(|g| g.rehearsed) {
        text.push_str(
            "REHEARSAL: grades were made up from a stated truth. Nothing here is about any paint.\n\n",
        );
    }
    let (trial, prior, areas) = trial(&bench, &grades, &mut outcome.notes)?;
    let fitted = fit(&trial, &prior, &settings.fit, watch)?;
    outcome.notes.extend(fitted.notes.clone());
    let mut rows = declared(&bench, &scores, &mut text)?;
    rows.extend(afterwards(&bench, &scores, &mut text)?);
    systems(&bench, &scores, &fitted, &mut text)?;
    graders(&bench, &grades, &mut text)?;
    controls(&bench, &grades, &mut text);
    super::witness::told(&bench, &mut text)?;
    simulator(&bench, &fitted, &areas, &mut text);
    let predicted = predictive(&bench, (&trial, &prior), &fitted, &areas)?;
    let inside = predicted
        .iter()
        .filter(|r| r.lo90 <= r.observed && r.observed <= r.hi90);
    let share = 100.0 * inside.count() as f64 / predicted.len().max(1) as f64;
    let _ = writeln!(
        text,
        "\nTHE MODEL'S OWN CHECK\n{share:.0} % of {} mean grades lie inside the 90 % range the fitted model expects (90 or more are wanted).",
        predicted.len()
    );
    outcome.add(
        format!("analysis/expected-{}.csv", short(&bench, &grades)),
        write_rows(&predicted)?,
    );
    outcome.add(
        format!("analysis/tests-{}.csv", short(&bench, &grades)),
        write_rows(&rows)?,
    );
    outcome.add(
        format!("analysis/fit-{}.csv", short(&bench, &grades)),
        write_rows(&fit_rows(&bench, &fitted, &areas))?,
    );
    outcome.add(
        format!("analysis/report-{}.txt", short(&bench, &grades)),
        text.clone(),
    );
    outcome.text = text;
    Ok(outcome)
}

/// Part of a hash over plan and grades, so that a later analysis gets its own files.
pub(super) fn short(bench: &Bench, grades: &[Grade]) -> String {
    let all = format!("{} {grades:?}", bench.hash());
    super::files::sha256(all.as_bytes())[..8].to_owned()
}

/// Scores of one system in block order.
fn of_system(scores: &[Score], system: usize) -> Vec<f64> {
    let mut own: Vec<&Score> = scores.iter().filter(|s| s.system == system).collect();
    own.sort_by_key(|s| s.block);
    own.iter().map(|s| s.value).collect()
}

fn number_of(bench: &Bench, id: &str) -> Result<usize> {
    let at = bench.systems.iter().position(|s| s.system_id == id);
    at.ok_or_else(|| Error::input(format!("bench.toml compares the unknown system {id}")))
}

/// Runs a declared test.
fn run(bench: &Bench, scores: &[Score], comparison: &Comparison) -> Result<(Exact, &'static str)> {
    let systems: Vec<usize> = comparison
        .systems
        .iter()
        .map(|id| number_of(bench, id))
        .collect::<Result<_>>()?;
    let groups: Vec<Vec<f64>> = systems.iter().map(|s| of_system(scores, *s)).collect();
    let blocks = || -> Vec<Vec<Option<f64>>> {
        let mut numbers: Vec<u32> = scores.iter().map(|s| s.block).collect();
        numbers.sort_unstable();
        numbers.dedup();
        let cell = |b: u32, system: usize| {
            scores
                .iter()
                .find(|s| s.block == b && s.system == system)
                .map(|s| s.value)
        };
        numbers
            .iter()
            .map(|b| systems.iter().map(|s| cell(*b, *s)).collect())
            .collect()
    };
    let complete = |blocks: &[Vec<Option<f64>>]| -> Option<Vec<Vec<f64>>> {
        blocks
            .iter()
            .map(|row| row.iter().copied().collect())
            .collect()
    };
    Ok(match comparison.test {
        Test::TwoGroups => (exact::rank_sum(&groups[0], &groups[1])?, "rank sum"),
        Test::AnyDifference => (exact::kruskal_wallis(&groups)?, "Kruskal-Wallis"),
        Test::DeclaredOrder => (exact::jonckheere(&groups)?, "Jonckheere"),
        Test::AnyDifferenceInBlocks => match complete(&blocks()) {
            Some(rows) => (exact::friedman(&rows)?, "Friedman"),
            None => (exact::skillings_mack(&blocks())?, "Skillings-Mack"),
        },
        Test::DeclaredOrderInBlocks => match complete(&blocks()) {
            Some(rows) => (exact::page(&rows)?, "Page"),
            None => {
                return Err(Error::input(format!(
                    "\"{}\" needs every system in every block",
                    comparison.name
                )));
            }
        },
    })
}

/// The side on which "wears more towards the last" is extreme.
fn side(comparison: &Comparison) -> Side {
    match (comparison.test, comparison.side) {
        (Test::AnyDifference | Test::AnyDifferenceInBlocks, _) => Side::Higher,
        (_, Side::Two) => Side::Two,
        (Test::TwoGroups, _) => Side::Lower,
        _ => Side::Higher,
    }
}

fn row(family: &str, name: &str, direction: String, (exact, side): (&Exact, Side)) -> TestRow {
    TestRow {
        family: family.into(),
        test: name.into(),
        direction,
        statistic: exact.statistic,
        p_exact: exact.p(side),
        p_floor: exact.floor(side),
        p_holm: 1.0,
        n_arrangements: exact.arrangements,
        how: match exact.how {
            exact::How::Counted => "counted".into(),
            exact::How::Drawn(_) => "drawn".into(),
        },
    }
}

fn declared(bench: &Bench, scores: &[Score], text: &mut String) -> Result<Vec<TestRow>> {
    let mut rows = Vec::new();
    for comparison in &bench.file.family {
        let (exact, name) = run(bench, scores, comparison)?;
        let way = if comparison.side == Side::Two {
            " (either way)"
        } else {
            ""
        };
        let direction = format!("{}{way}", comparison.systems.join(" < "));
        rows.push(row(
            "declared",
            &format!("{}: {name}", comparison.name),
            direction,
            (&exact, side(comparison)),
        ));
    }
    correct(&mut rows);
    let _ = writeln!(text, "DECLARED BEFORE THE FIRST MOVE");
    if rows.is_empty() {
        let _ = writeln!(text, "Nothing was declared.");
    }
    for (row, comparison) in rows.iter().zip(&bench.file.family) {
        let _ = writeln!(text, "{}", verdict(bench, scores, row, comparison)?);
    }
    text.push('\n');
    Ok(rows)
}

fn correct(rows: &mut [TestRow]) {
    let p: Vec<f64> = rows.iter().map(|r| r.p_exact).collect();
    for (row, adjusted) in rows.iter_mut().zip(judge::holm(&p)) {
        row.p_holm = adjusted;
    }
}

/// What may be said about one declared comparison.
fn verdict(
    bench: &Bench,
    scores: &[Score],
    row: &TestRow,
    comparison: &Comparison,
) -> Result<String> {
    let alpha = bench.file.alpha;
    let m = bench.file.family.len();
    let mut text = format!(
        "{}, {}: statistic {:.4}, exact p = {} (the smallest possible with these grades is {}).",
        row.test,
        row.direction,
        row.statistic,
        p_words(row.p_exact),
        p_words(row.p_floor)
    );
    if m > 1 {
        let _ = write!(
            text,
            " One of {m} declared comparisons; after Holm p = {}.",
            p_words(row.p_holm)
        );
    }
    if row.how == "drawn" {
        let _ = write!(
            text,
            " The p comes from {} arrangements drawn at random.",
            exact::DRAWN
        );
    }
    if row.p_floor > alpha {
        let _ = write!(
            text,
            " No outcome of these grades could have gone below {alpha}: this design cannot decide it either way."
        );
    } else if row.p_holm > alpha {
        let _ = write!(text, " Not shown to differ.");
    } else if comparison.test == Test::DeclaredOrder
        || comparison.test == Test::DeclaredOrderInBlocks
    {
        let _ = write!(text, " {}", order_words(row.p_exact <= row.p_floor));
    } else {
        let _ = write!(
            text,
            " The difference was shown at the declared level {alpha}."
        );
    }
    if comparison.systems.len() == 2 {
        let groups: Vec<Vec<f64>> = comparison
            .systems
            .iter()
            .map(|id| Ok(of_system(scores, number_of(bench, id)?)))
            .collect::<Result<_>>()?;
        let _ = write!(
            text,
            " {}",
            size(&groups[1], &groups[0], row.p_holm > alpha)?
        );
        let _ = write!(text, "{}", plain_count(&comparison.systems, &groups));
    }
    Ok(text)
}

/// The order as a whole may be claimed; single steps only if nothing could be more in order.
fn order_words(perfect: bool) -> &'static str {
    match perfect {
        true => "The order came out as declared.",
        false => {
            "Wear rises in the declared order taken as a whole; single steps and odd systems out are not shown by this."
        }
    }
}

/// A p value as a person reads it.
fn p_words(p: f64) -> String {
    match p {
        p if p >= 0.001 => format!("{p:.4}"),
        p => format!("{p:.1e}"),
    }
}

/// Effect size in points of the score.
fn size(more: &[f64], less: &[f64], open: bool) -> Result<String> {
    let shift = judge::shift(more, less, 0.90)?;
    if shift.low.is_infinite() {
        return Ok(format!(
            "Difference of score {:.2}; {} against {} figures cannot bound it at 90 %.",
            shift.median,
            more.len(),
            less.len()
        ));
    }
    let better = judge::superiority(more, less)?;
    let mut text = format!(
        "Difference of score {:.2} (90 %: {:.2} to {:.2}); chance that a figure of one wears more than one of the other {:.0} % (90 %: {:.0} to {:.0}).",
        shift.median,
        shift.low,
        shift.high,
        100.0 * better.share,
        100.0 * better.low90,
        100.0 * better.high90
    );
    if open {
        let _ = write!(
            text,
            " A difference of up to {:.2} is still compatible.",
            shift.high.abs().max(shift.low.abs())
        );
    }
    Ok(text)
}

/// Two against two, in plain counting.
fn plain_count(names: &[String], groups: &[Vec<f64>]) -> String {
    let apart = groups[0].iter().all(|a| groups[1].iter().all(|b| a < b));
    let (n, m) = (groups[0].len(), groups[1].len());
    if !apart || n.max(m) > 3 || n * m < 2 {
        return String::new();
    }
    let shares = exact::rank_sum_shares(n, m).unwrap_or_default();
    let luck = shares.first().map_or(0.0, |p| 1.0 / p);
    format!(
        " All figures of {} were below all of {}; with {n} against {m} that happens by luck 1 time in {luck:.0}.",
        names[0], names[1]
    )
}

/// All pairs that were not declared, labelled as such.
fn afterwards(bench: &Bench, scores: &[Score], text: &mut String) -> Result<Vec<TestRow>> {
    let mut rows = Vec::new();
    for i in 0..bench.systems.len() {
        for j in i + 1..bench.systems.len() {
            let ids = [&bench.systems[i].system_id, &bench.systems[j].system_id];
            let known = bench
                .file
                .family
                .iter()
                .any(|c| c.systems.len() == 2 && ids.iter().all(|id| c.systems.contains(id)));
            if known {
                continue;
            }
            let exact = exact::rank_sum(&of_system(scores, i), &of_system(scores, j))?;
            rows.push(row(
                "looked at afterwards",
                "rank sum",
                format!("{} against {}", ids[0], ids[1]),
                (&exact, Side::Two),
            ));
        }
    }
    correct(&mut rows);
    let _ = writeln!(text, "LOOKED AT AFTERWARDS");
    let best = rows.iter().min_by(|a, b| a.p_exact.total_cmp(&b.p_exact));
    if let Some(best) = best {
        let _ = writeln!(
            text,
            "{} pairs that were not declared. The most apart are {} (exact p = {}, smallest possible {}): picked out of {} comparisons; after Holm p = {}. Nothing here is evidence; it is material for the next plan.",
            rows.len(),
            best.direction,
            p_words(best.p_exact),
            p_words(best.p_floor),
            rows.len(),
            p_words(best.p_holm)
        );
    }
    text.push('\n');
    Ok(rows)
}

/// Estimates per system and the chance that one is really better.
fn systems(bench: &Bench, scores: &[Score], fitted: &Fit, text: &mut String) -> Result<()> {
    let _ = writeln!(text, "SYSTEMS (model of grades; 90 % intervals)");
    let mut order: Vec<usize> = (0..bench.systems.len()).collect();
    let median = |s: usize| fitted.quantities[s].summary.median;
    order.sort_by(|a, b| median(*a).total_cmp(&median(*b)));
    for &s in &order {
        let own = of_system(scores, s);
        let mean = crate::base::sum::sum(own.iter().copied()) / own.len().max(1) as f64;
        let rate = fitted.of(|w| w.beta[s].exp() * bench.systems[s].film_um_median * 1e3);
        let _ = writeln!(
            text,
            "{}: score {mean:.1} ({} figures); wear rate {:.2e} mm3/J ({:.2e} to {:.2e}) at a film of {} um.",
            bench.systems[s].system_id,
            own.len(),
            rate.median,
            rate.lo90,
            rate.hi90,
            bench.systems[s].film_um_median
        );
    }
    let (best, next) = (order[0], order[1]);
    let chance = fitted.chance(|w| w.beta[best] < w.beta[next]);
    let ratio = fitted.of(|w| ((w.beta[next] - w.beta[best]) / w.exponent).exp());
    let own = of_system(scores, best).len();
    let (a, b) = (
        &bench.systems[best].system_id,
        &bench.systems[next].system_id,
    );
    let scatter = fitted.of(|w| w.spread[2]);
    if own == 1 {
        let code = scores
            .iter()
            .find(|s| s.system == best)
            .and_then(|s| s.codes.first().cloned())
            .unwrap_or_default();
        let _ = write!(
            text,
            "In this bench figure {code} (system {a}) wore least. One figure each: no test can tell this from figure-to-figure luck. Allowing for the usual scatter (a factor of {:.2}, an engineering guess) ",
            scatter.median.exp()
        );
    } else {
        let _ = write!(
            text,
            "System {a} wore least, {b} next. Allowing for scatter between figures (a factor of {:.2}, seen and guessed together) ",
            scatter.median.exp()
        );
    }
    let _ = writeln!(
        text,
        "the chance that it is really the better of the two is {:.0} %; the life ratio is {:.2} (90 %: {:.2} to {:.2}).\n",
        100.0 * chance,
        ratio.median,
        ratio.lo90,
        ratio.hi90
    );
    Ok(())
}

/// Agreement of graders, and whether they knew.
fn graders(bench: &Bench, grades: &[Grade], text: &mut String) -> Result<()> {
    let _ = writeln!(text, "GRADERS");
    let mut units: BTreeMap<(usize, String, usize), Vec<Option<f64>>> = BTreeMap::new();
    let count = bench.file.graders.len();
    for g in grades {
        let cells = units
            .entry((g.specimen, g.code.clone(), g.area))
            .or_insert_with(|| vec![None; count]);
        cells[g.grader] = g.grade.map(f64::from);
    }
    let mut specimens: BTreeMap<usize, Vec<Vec<Option<f64>>>> = BTreeMap::new();
    for ((specimen, _, _), cells) in &units {
        specimens.entry(*specimen).or_default().push(cells.clone());
    }
    if count >= 2 {
        let lists: Vec<Vec<Vec<Option<f64>>>> = specimens.into_values().collect();
        match judge::alpha_bootstrap(&lists, Level::Ordinal, 1000, bench.file.seed) {
            Ok(a) => {
                let word = match a.alpha {
                    v if v >= 0.80 => "good enough",
                    v if v >= 0.667 => "tentative: train with the reference strip",
                    _ => "too low: train with the reference strip and grade again",
                };
                let _ = writeln!(
                    text,
                    "Agreement (Krippendorff's alpha, ordinal) {:.3} (90 % over figures: {:.3} to {:.3}): {word}.",
                    a.alpha, a.low90, a.high90
                );
            }
            Err(e) => {
                let _ = writeln!(text, "Agreement: {}.", e.what());
            }
        }
        kappa(&units, text);
    }
    if let Some((right, made)) = bench.guesses()? {
        let b = judge::blinding(right, made, bench.systems.len())?;
        let _ = writeln!(
            text,
            "Blinding: {right} of {made} guesses right, {:.0} % by chance (exact p = {:.3}).{}",
            100.0 * b.chance,
            b.p_high,
            if b.p_high <= 0.05 {
                " The graders knew more than they should."
            } else {
                ""
            }
        );
    }
    text.push('\n');
    Ok(())
}

fn kappa(units: &BTreeMap<(usize, String, usize), Vec<Option<f64>>>, text: &mut String) {
    let mut table = vec![vec![0.0; 6]; 6];
    for cells in units.values() {
        if let (Some(a), Some(b)) = (cells[0], cells[1]) {
            table[a as usize][b as usize] += 1.0;
        }
    }
    if let Ok(k) = judge::weighted_kappa(&table, judge::Weights::Quadratic) {
        let _ = writeln!(
            text,
            "First two graders: quadratic weighted kappa {:.3} (standard error {:.3}, as if cells were independent).",
            k.kappa, k.ase
        );
    }
}

/// Blanks and the shadow area: they should read 0.
fn controls(bench: &Bench, grades: &[Grade], text: &mut String) {
    let _ = writeln!(text, "CONTROLS");
    let means = means(grades);
    let worst = |keep: &dyn Fn(usize, usize) -> bool| {
        let chosen = means.iter().filter(|((s, a, _), _)| keep(*s, *a));
        chosen.fold((0, 0.0_f64), |(n, m), (_, v)| (n + 1, m.max(*v)))
    };
    let blank = worst(&|s, _| bench.specimens[s].row.role == "blank");
    let shadow =
        worst(&|s, a| bench.areas[a].shadow == 1 && bench.specimens[s].row.role != "blank");
    for (name, (n, most)) in [("Blanks", blank), ("Areas that should get nothing", shadow)] {
        let word = match (n, most) {
            (0, _) => "none graded".to_owned(),
            (n, m) if m < 1.0 => format!("{n} cells, all below grade 1"),
            (n, m) => format!(
                "{n} cells, up to grade {m:.1}: light, graders or simulator see wear that is not there"
            ),
        };
        let _ = writeln!(text, "{name}: {word}.");
    }
    text.push('\n');
}

/// Where the simulator seems wrong.
fn simulator(bench: &Bench, fitted: &Fit, areas: &[usize], text: &mut String) {
    let _ = writeln!(
        text,
        "THE SIMULATOR'S AREAS (seen dose over predicted dose)"
    );
    for (i, &a) in areas.iter().enumerate() {
        let ratio = fitted.of(|w| w.area[i].exp());
        let off = if ratio.lo90 > 1.0 || ratio.hi90 < 1.0 {
            ": does not fit"
        } else {
            ""
        };
        let _ = writeln!(
            text,
            "{} {}: {:.2} (90 %: {:.2} to {:.2}){off}",
            bench.areas[a].area_id, bench.areas[a].words, ratio.median, ratio.lo90, ratio.hi90
        );
    }
}

fn fit_rows(bench: &Bench, fitted: &Fit, areas: &[usize]) -> Vec<FitRow> {
    let named = |q: &Quantity| -> String {
        let last = q
            .name
            .rsplit(' ')
            .next()
            .and_then(|n| n.parse::<usize>().ok());
        match (q.name.split(' ').next(), last) {
            (Some("beta"), Some(n)) => {
                format!("ln k_E over film, {}", bench.systems[n - 1].system_id)
            }
            (Some("area"), Some(n)) => format!(
                "ln seen over predicted dose, {}",
                bench.areas[areas[n - 1]].area_id
            ),
            _ => q.name.clone(),
        }
    };
    let row = |q: &Quantity| FitRow {
        quantity: named(q),
        unit: q.unit.into(),
        median: q.summary.median,
        lo90: q.summary.lo90,
        hi90: q.summary.hi90,
        ess: q.summary.ess.round(),
        rhat: q.summary.rhat,
    };
    fitted.quantities.iter().map(row).collect()
}

/// One line of the table of expected beside observed mean grades.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct ExpectedRow {
    system_id: String,
    area_id: String,
    inspection_units: f64,
    observed: f64,
    expected: f64,
    lo90: f64,
    hi90: f64,
}

/// Mean grade per system, area and inspection, as graded and as 200 fitted worlds grade anew.
fn predictive(
    bench: &Bench,
    (trial, prior): (&Trial, &Prior),
    fitted: &Fit,
    areas: &[usize],
) -> Result<Vec<ExpectedRow>> {
    let density = Density::new(trial.clone(), *prior)?;
    let mut random = crate::base::random::stream(bench.file.seed, &["bench", "expected"], 0);
    type Cell = (usize, usize, usize);
    let mean = |readings: &[Reading]| -> BTreeMap<Cell, f64> {
        let mut sums: BTreeMap<Cell, (f64, f64)> = BTreeMap::new();
        for r in readings {
            let cell = (trial.system_of[r.specimen], r.area, r.inspection);
            let sum = sums.entry(cell).or_default();
            sum.0 += f64::from(r.grade);
            sum.1 += 1.0;
        }
        sums.into_iter().map(|(c, (s, n))| (c, s / n)).collect()
    };
    let every = (fitted.worlds.len() / 200).max(1);
    let mut drawn: BTreeMap<Cell, Vec<f64>> = BTreeMap::new();
    for world in fitted.worlds.iter().step_by(every) {
        for (cell, value) in mean(&density.simulate(world, &mut random)) {
            drawn.entry(cell).or_default().push(value);
        }
    }
    let row = |(cell, observed): (Cell, f64)| {
        let mut values = drawn.remove(&cell).unwrap_or_else(|| vec![f64::NAN]);
        values.sort_by(f64::total_cmp);
        let at = |p: f64| crate::base::stats::quantile(&values, p);
        ExpectedRow {
            system_id: bench.systems[cell.0].system_id.clone(),
            area_id: bench.areas[areas[cell.1]].area_id.clone(),
            inspection_units: trial.exposure[cell.2],
            observed,
            expected: at(0.5),
            lo90: at(0.05),
            hi90: at(0.95),
        }
    };
    Ok(mean(&trial.readings).into_iter().map(row).collect())
}

/// A note for readers of a calibration.
pub(super) fn calibration_note() -> Note {
    Note::new(
        Topic::Limit,
        "a bench moves the ratio of systems far more than their level; pixel counts of grades, a coupon worn to a measured depth or a film gauge move the level",
    )
}
