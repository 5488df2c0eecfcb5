//! The drift witness: did handling stay the same from the first pass to the last?

use super::exact;
use super::files::{Bench, RoundRow};
use base::Result;
use std::fmt::Write;

/// Below this exact p a trend of the witness is told as drift.
const DRIFT: f64 = 0.05;
/// Width of the chart's bars.
const BAR: f64 = 30.0;

/// A chart of the witness in the order of the passes, and whether it drifts.
///
/// # Errors
/// A loss that is no number.
pub(super) fn told(bench: &Bench, text: &mut String) -> Result<()> {
    text.push_str(&chart(&bench.rounds)?);
    Ok(())
}

fn chart(rounds: &[RoundRow]) -> Result<String> {
    let mut text = String::from("DRIFT WITNESS\n");
    let mut seen: Vec<(u32, u32, u32, f64)> = rounds
        .iter()
        .filter_map(|r| Some((r.block, r.pass, r.position, r.witness_loss_pct?)))
        .collect();
    seen.sort_by_key(|(block, pass, position, _)| (*block, *pass, *position));
    if seen.len() < 4 {
        let _ = writeln!(
            text,
            "{} readings in rounds.csv (witness_loss_pct): too few to tell whether handling drifted.\n",
            seen.len()
        );
        return Ok(text);
    }
    let most = seen.iter().map(|s| s.3).fold(0.0, f64::max);
    for (block, pass, _, loss) in &seen {
        let bar = if most > 0.0 {
            (BAR * loss / most).round() as usize
        } else {
            0
        };
        let _ = writeln!(
            text,
            "block {block} pass {pass:>3} {loss:>6.1} % {}",
            "#".repeat(bar)
        );
    }
    let order: Vec<f64> = (0..seen.len()).map(|i| i as f64).collect();
    let losses: Vec<f64> = seen.iter().map(|s| s.3).collect();
    let trend = exact::spearman(&order, &losses)?;
    let p = (2.0 * trend.p_low.min(trend.p_high)).min(1.0);
    let way = if trend.statistic > 0.0 {
        "harder"
    } else {
        "gentler"
    };
    let _ = if p < DRIFT {
        writeln!(
            text,
            "Handling grew {way} (rank correlation with the order {:.2}, exact p {p:.3}): compare figures of the same passes only.\n",
            trend.statistic
        )
    } else {
        writeln!(
            text,
            "No drift shown (rank correlation with the order {:.2}, exact p {p:.3}).\n",
            trend.statistic
        )
    };
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rounds(losses: &[f64]) -> Vec<RoundRow> {
        losses
            .iter()
            .enumerate()
            .map(|(i, loss)| RoundRow {
                block: 1,
                pass: i as u32 + 1,
                position: 1,
                code: String::new(),
                exposure_kind: "handle".into(),
                units: 25,
                started: String::new(),
                minutes: None,
                operator: String::new(),
                witness_loss_pct: Some(*loss),
                remark: String::new(),
            })
            .collect()
    }

    /// Six rising values: one order of 720, so two-sided 2/720 = 0.0028.
    #[test]
    fn a_rising_witness_is_drift_and_three_readings_are_too_few() {
        let text = chart(&rounds(&[10.0, 11.0, 12.0, 13.0, 14.0, 20.0])).unwrap();
        assert!(
            text.contains("grew harder") && text.contains("exact p 0.003"),
            "{text}"
        );
        assert!(text.contains(&"#".repeat(30)), "{text}");
        let text = chart(&rounds(&[12.0, 10.0, 13.0, 11.0, 12.5, 11.5])).unwrap();
        assert!(text.contains("No drift shown"), "{text}");
        assert!(
            chart(&rounds(&[1.0, 2.0, 3.0]))
                .unwrap()
                .contains("too few")
        );
    }
}
