//! Answers in sentences.

use super::picture::scale::plain_number;
use crate::study::life::Interval;
use crate::trial::{Answers, AreaAnswer, Done, PartAnswer, Trial};
use crate::wear::{End, Regime};

/// A number with two digits, as people say it.
#[must_use]
pub fn two_digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return plain_number(value);
    }
    let scale = 10f64.powi(1 - value.abs().log10().floor() as i32);
    plain_number((value * scale).round() / scale)
}

/// "1200 (74 to 13000) strokes".
#[must_use]
pub fn span(life: &Interval, unit: &str) -> String {
    format!(
        "{} ({} to {}) {unit}",
        two_digits(life.median),
        two_digits(life.low),
        two_digits(life.high)
    )
}

/// The life of an area until an end, both laws together.
#[must_use]
pub fn life_of(area: &AreaAnswer, end: End) -> Option<Interval> {
    area.lives
        .iter()
        .find(|l| l.end == end)
        .and_then(|l| l.life.as_ref())
        .map(|l| l.both)
}

/// Where a specimen wears first under an exposure, and how long its paint lasts there.
#[must_use]
pub fn first_to_wear(trial: &Trial, part: &PartAnswer) -> String {
    let exposure = &trial.scenario.exposures[part.exposure];
    let specimen = &trial.scenario.specimens[part.specimen].specimen.name;
    let Some(first) = part.areas.first() else {
        return format!("{}: nothing touches \"{specimen}\".", exposure.name);
    };
    let certainty = match first.area.certainty {
        Some(c) if c < 0.8 => " (the next in the list cannot be told apart from it)",
        _ => "",
    };
    let mut text = format!(
        "{}: \"{specimen}\" wears first at the {}{certainty}: {} % of the friction work on {} % of its surface.",
        exposure.name,
        first.area.words,
        two_digits(first.area.dose_share * 100.0),
        two_digits(first.area.surface_share * 100.0),
    );
    let unit = exposure.unit.plural();
    if let Some(life) = life_of(first, End::Sheen) {
        text += &format!(" There the sheen changes after about {}", span(&life, unit));
        text += match life_of(first, End::Colour) {
            Some(life) => format!(
                " and the paint is through after about {}.",
                span(&life, unit)
            ),
            None => ".".into(),
        }
        .as_str();
    }
    let caught = catching_words(trial, part);
    if !caught.is_empty() {
        text += &format!(" {caught}");
    }
    if first.regime == Regime::Dent {
        text += " These are hard knocks: chips and dents show long before.";
    }
    text
}

/// True where an area may catch in the pad instead of sliding.
#[must_use]
pub fn catches(done: &Done, patches: &[usize]) -> bool {
    let caught = |p: &usize| done.outcome.catching.iter().any(|c| c.index() == *p);
    patches.iter().any(caught)
}

/// What was pressed where: "pad on the top; pad on the front".
#[must_use]
pub fn list(done: &Done) -> String {
    let all: Vec<&str> = (done.outcome.footprints.iter())
        .map(|f| f.what.as_str())
        .collect();
    all.join("; ")
}

/// Which of the listed areas may hook or tear the pad, and what that means; empty without any.
fn catching_words(trial: &Trial, part: &PartAnswer) -> String {
    let done = trial
        .done
        .iter()
        .find(|d| d.id.exposure == part.exposure && d.id.specimen == part.specimen);
    let Some(done) = done else {
        return String::new();
    };
    let caught: Vec<&str> = (part.areas.iter())
        .filter(|a| catches(done, &a.area.patches))
        .map(|a| a.area.words.as_str())
        .collect();
    match caught.len() {
        0 => String::new(),
        n => format!(
            "May hook or tear the foam instead of sliding, so their place in the list counts, not their number: {}{}.",
            caught[..n.min(3)].join("; "),
            if n > 3 {
                format!(" and {} more", n - 3)
            } else {
                String::new()
            }
        ),
    }
}

/// Why metal and plastic differ, in a sentence a painter understands; empty if neither says so.
#[must_use]
pub fn why(trial: &Trial, left: usize, right: usize, exposure: usize) -> Option<String> {
    use crate::scenario::plan::{Deed, Load};
    let side = |s: usize| &trial.scenario.specimens[s].specimen;
    let mass = |s: usize| {
        trial
            .done
            .iter()
            .find(|d| d.id.specimen == s && d.id.exposure == exposure)
            .map(|d| d.mass)
    };
    let (a, b) = (mass(left)?, mass(right)?);
    let ratio = two_digits(a / b);
    match &trial.scenario.exposures[exposure].deed {
        Deed::Rub { load: Load::Hand(_), .. } | Deed::Rub { load: Load::Interference(_), .. } => Some(
            "A hand or a set squeeze presses the same on a light figure as on a heavy one, so the body's weight makes no difference here.".into(),
        ),
        Deed::Rub { load: Load::OwnWeight, .. } => Some(format!(
            "Lying on the foam, \"{}\" presses with {ratio} times the weight of \"{}\".",
            side(left).name,
            side(right).name
        )),
        Deed::Tumble { .. } | Deed::Drop { .. } => Some(format!(
            "\"{}\" is {ratio} times as heavy, so at the same speed it carries {ratio} times the energy into every knock; and {}",
            side(left).name,
            yielding(trial, left, right)
        )),
        Deed::Handle { .. } | Deed::Ride { .. } => reasons(trial, (left, right), exposure),
    }
}

/// What the engine says of each side, once if it says the same.
fn reasons(trial: &Trial, (left, right): (usize, usize), exposure: usize) -> Option<String> {
    let reason = |s: usize| {
        (trial.done.iter())
            .find(|d| d.id.specimen == s && d.id.exposure == exposure)
            .map(|d| d.outcome.reason.as_str())
            .filter(|r| !r.is_empty())
    };
    let name = |s: usize| &trial.scenario.specimens[s].specimen.name;
    let (l, r) = (reason(left)?, reason(right)?);
    Some(if l == r {
        format!("Why: {l}.")
    } else {
        format!("Why: \"{}\": {l}; \"{}\": {r}.", name(left), name(right))
    })
}

/// What a tip of each body does in a knock.
fn yielding(trial: &Trial, left: usize, right: usize) -> String {
    let of = |s: usize| {
        let body = &trial.scenario.specimens[s].specimen.body;
        let word = if body.family == "metal" {
            "a soft metal tip dents for good under the film, which then cracks or lifts"
        } else {
            "a plastic tip mostly springs back"
        };
        (body.family.clone(), word)
    };
    let ((fl, wl), (fr, wr)) = (of(left), of(right));
    if fl == fr {
        format!("both bodies give alike: {wl}.")
    } else {
        format!("{wl}, while {wr}.")
    }
}

/// All answers, in the order they are asked: where it wears, left against right, what if.
#[must_use]
pub fn answers(trial: &Trial, answers: &Answers) -> Vec<String> {
    let mut sentences: Vec<String> = answers
        .parts
        .iter()
        .map(|part| first_to_wear(trial, part))
        .collect();
    for c in &answers.compares {
        let find = |name: &str| {
            trial
                .scenario
                .specimens
                .iter()
                .position(|s| s.specimen.name == name)
        };
        let exposure = trial
            .scenario
            .exposures
            .iter()
            .position(|e| e.name == c.exposure);
        let why = match (find(&c.left), find(&c.right), exposure) {
            (Some(l), Some(r), Some(e)) => why(trial, l, r, e).unwrap_or_default(),
            _ => String::new(),
        };
        sentences.push(format!("{} {why}", c.sentence).trim_end().to_string());
    }
    sentences.extend(answers.whatifs.iter().map(|w| w.sentence.clone()));
    sentences
}

/// What was asked, one sentence each.
#[must_use]
pub fn questions(trial: &Trial) -> Vec<String> {
    let scenario = &trial.scenario;
    let names: Vec<&str> = scenario
        .specimens
        .iter()
        .map(|s| s.specimen.name.as_str())
        .collect();
    let exposures: Vec<String> = scenario
        .exposures
        .iter()
        .map(|e| {
            format!(
                "{} ({} {})",
                e.name,
                plain_number(e.amount),
                e.unit.plural()
            )
        })
        .collect();
    let mut asked = vec![format!(
        "Where does each of {} wear first, and how fast, under {}?",
        names.join("; "),
        exposures.join("; ")
    )];
    for c in &scenario.compares {
        asked.push(format!(
            "How does \"{}\" fare against \"{}\" on the same figure?",
            names[c.left], names[c.right]
        ));
    }
    for w in &scenario.whatifs {
        let (Some(from), Some(to)) = (w.values.first(), w.values.last()) else {
            continue;
        };
        asked.push(format!(
            "What if {} went from {} to {} on \"{}\"?",
            w.vary,
            plain_number(*from),
            plain_number(*to),
            names[w.specimen]
        ));
    }
    asked
}
