//! Words for the size of a difference, which always stands beside its p.

use super::ask::Effect;
use crate::bench::exact;
use crate::bench::judge;
use base::Result;
use std::fmt::Write;

/// A p value as a person reads it.
pub(super) fn p_words(p: f64) -> String {
    match p {
        p if p >= 0.001 => format!("{p:.4}"),
        p => format!("{p:.1e}"),
    }
}

/// The effect in its own unit, with a leading blank.
///
/// * `systems`: names in the declared order; `unit` of exposure; `open`: not shown to differ
pub(super) fn effect(
    effect: &Effect,
    systems: &[String],
    unit: &str,
    open: bool,
) -> Result<String> {
    Ok(match effect {
        Effect::None => String::new(),
        Effect::Scores([less, more]) => {
            format!(
                " {}{}",
                scores(more, less, open)?,
                plain_count(systems, less, more)
            )
        }
        Effect::Differences(list) => format!(" {}", differences(list, systems, open)?),
        Effect::Shares(counts, grade, by) => {
            format!(" {}", shares(counts, systems, (*grade, *by, unit)))
        }
    })
}

/// Effect size in points of the score.
fn scores(more: &[f64], less: &[f64], open: bool) -> Result<String> {
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
    compatible(&shift, open, &mut text);
    Ok(text)
}

fn compatible(shift: &judge::Shift, open: bool, text: &mut String) {
    if open {
        let _ = write!(
            text,
            " A difference of up to {:.2} is still compatible.",
            shift.high.abs().max(shift.low.abs())
        );
    }
}

/// Two against two, in plain counting.
fn plain_count(names: &[String], less: &[f64], more: &[f64]) -> String {
    let apart = less.iter().all(|a| more.iter().all(|b| a < b));
    let (n, m) = (less.len(), more.len());
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

/// Differences inside blocks: their median, its interval, and plain counting where blocks are few.
fn differences(list: &[f64], names: &[String], open: bool) -> Result<String> {
    let (less, more) = (&names[0], &names[1]);
    let shift = judge::paired_shift(list, 0.90)?;
    let n = list.len();
    let mut text = format!(
        "Difference of score inside a block, {more} less {less}: {:.2}",
        shift.median
    );
    if shift.low.is_infinite() {
        let _ = write!(text, "; {n} blocks cannot bound it at 90 %.");
    } else {
        let _ = write!(text, " (90 %: {:.2} to {:.2}).", shift.low, shift.high);
        compatible(&shift, open, &mut text);
    }
    if (2..=5).contains(&n) && list.iter().all(|d| *d > 0.0) {
        let _ = write!(
            text,
            " In all {n} blocks {less} wore less than {more}; by luck that happens 1 time in {:.0}.",
            2.0_f64.powi(n as i32)
        );
    }
    Ok(text)
}

/// Who got there, with the exact interval of each share.
fn shares(
    counts: &[(usize, usize)],
    names: &[String],
    (grade, by, unit): (u8, f64, &str),
) -> String {
    let one = |((reached, of), name): (&(usize, usize), &String)| {
        if *of == 0 {
            return format!("{name} 0 of 0");
        }
        let (low, high) = judge::clopper_pearson(*reached, *of, 0.90);
        format!(
            "{name} {reached} of {of} (90 %: {:.0} to {:.0} %)",
            100.0 * low,
            100.0 * high
        )
    };
    let each: Vec<String> = counts.iter().zip(names).map(one).collect();
    format!(
        "Preparations that had reached grade {grade} in at least one area by {by} {unit}: {}.",
        each.join(", ")
    )
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// Words that claim more than a bench can.
    pub(in crate::bench) fn claims_no_more(text: &str) {
        let text = text.to_lowercase();
        for never in ["no difference", "equal", "proved", "proven", "significant"] {
            assert!(!text.contains(never), "{never} in {text}");
        }
    }

    #[test]
    fn few_blocks_are_counted_and_many_bounded() {
        let names = ["S1".to_owned(), "S2".to_owned()];
        let said = |list: &[f64], open| {
            let effect = Effect::Differences(list.to_vec());
            let text = super::effect(&effect, &names, "pick-ups", open).unwrap();
            claims_no_more(&text);
            text
        };
        let three = said(&[1.0, 2.0, 4.5], true);
        assert!(three.contains("3 blocks cannot bound it"), "{three}");
        assert!(three.contains("1 time in 8"), "{three}");
        let six = said(&[1.0, -2.0, 4.5, 1.0, 3.0, 2.5], true);
        assert!(
            six.contains("still compatible") && !six.contains("luck"),
            "{six}"
        );
        assert!(!said(&[1.0, 2.0, 4.5, 1.0, 3.0, 2.5], false).contains("compatible"));
    }

    /// Clopper & Pearson at 90 %: 0 of 4 gives 1 - 0.05^(1/4) = 53 %.
    #[test]
    fn shares_have_their_exact_interval() {
        let names = ["S1".to_owned(), "S5".to_owned(), "S6".to_owned()];
        let effect = Effect::Shares(vec![(0, 4), (4, 4), (0, 0)], 3, 1000.0);
        let text = super::effect(&effect, &names, "pick-ups", false).unwrap();
        claims_no_more(&text);
        assert!(
            text.contains("by 1000 pick-ups: S1 0 of 4 (90 %: 0 to 53 %), S5 4 of 4 (90 %: 47 to 100 %), S6 0 of 0."),
            "{text}"
        );
    }
}
