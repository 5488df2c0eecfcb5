//! How many figures of each group got there by a declared look: Fisher's test of two or more rows
//! in whole numbers.

use super::tally::choose;
use super::{Exact, How, Side, fisher_2x2};
use base::{Error, Result};
use std::collections::BTreeMap;

/// Classes of tables kept at once; ten groups of ten figures have about 30 000.
const CLASSES: usize = 1 << 19;

/// Fisher's exact test of figures that got there against figures that did not; use `p_low`.
///
/// One-sided, of two groups: the statistic is the first group's count, low for "the last group got
/// there more often". With [`Side::Two`], of any number of groups: the statistic is the
/// probability of the table, and `p_low` the share of tables at most as likely (Freeman-Halton),
/// not twice the smaller tail. Tables are counted by the product of their binomials, so a p is a
/// ratio of whole numbers.
///
/// With all figures there, or none, only one table exists and p = 1.
///
/// * `reached`: figures of each group that got there
/// * `of`: figures of each group
///
/// # Errors
/// Fewer than two groups, an empty group, more there than exist, a direction with more than two
/// groups, too many figures to count.
///
/// Source: Fisher 1935; Freeman & Halton 1951, Biometrika 38:141.
pub fn through(reached: &[usize], of: &[usize], side: Side) -> Result<Exact> {
    let sound = reached.len() == of.len() && of.len() >= 2;
    let fits = |(r, n): (&usize, &usize)| *n > 0 && r <= n;
    if !sound || !reached.iter().zip(of).all(fits) {
        return Err(Error::input(format!(
            "through: {reached:?} of {of:?} figures; at least two groups with a figure each"
        )));
    }
    let there: usize = reached.iter().sum();
    if there == 0 || there == of.iter().sum::<usize>() {
        return Ok(Exact::single(reached[0] as f64));
    }
    if side == Side::Two {
        return tables(reached, of, there);
    }
    if of.len() > 2 {
        return Err(Error::input(
            "through: more than two groups have no direction; ask for any difference",
        ));
    }
    let row = |i: usize| [reached[i], of[i] - reached[i]];
    Ok(fisher_2x2([row(0), row(1)])?.exact)
}

/// Tables with these margins, by how likely they are.
fn tables(reached: &[usize], of: &[usize], there: usize) -> Result<Exact> {
    let far = || {
        Error::refused("through: too many figures to count exactly")
            .hint("one figure per preparation; compare two systems at a time")
    };
    // (figures there so far, product of binomials) -> tables
    let mut classes: BTreeMap<(usize, u128), u128> = BTreeMap::from([((0, 1), 1)]);
    let mut observed = 1_u128;
    for (&r, &n) in reached.iter().zip(of) {
        observed = choose(n, r)
            .and_then(|w| w.checked_mul(observed))
            .ok_or_else(far)?;
        let mut next: BTreeMap<(usize, u128), u128> = BTreeMap::new();
        for (&(sum, weight), &count) in &classes {
            for x in 0..=n.min(there - sum) {
                let ways = choose(n, x).and_then(|w| w.checked_mul(weight));
                *next.entry((sum + x, ways.ok_or_else(far)?)).or_insert(0) += count;
            }
        }
        if next.len() > CLASSES {
            return Err(far());
        }
        classes = next;
    }
    let ending = classes.iter().filter(|((sum, _), _)| *sum == there);
    let whole: Vec<(u128, u128)> = ending.map(|((_, w), c)| (*w, *c)).collect();
    let total = whole
        .iter()
        .try_fold(0_u128, |sum, (w, c)| sum.checked_add(w.checked_mul(*c)?))
        .ok_or_else(far)?;
    let share = |keep: &dyn Fn(u128) -> bool| {
        let kept = whole.iter().filter(|(w, _)| keep(*w));
        kept.map(|(w, c)| w * c).sum::<u128>() as f64 / total as f64
    };
    let rarest = whole.iter().map(|(w, _)| *w).min().unwrap_or(1);
    let commonest = whole.iter().map(|(w, _)| *w).max().unwrap_or(1);
    Ok(Exact {
        statistic: observed as f64 / total as f64,
        p_low: share(&|w| w <= observed),
        p_high: share(&|w| w >= observed),
        floor_low: share(&|w| w == rarest),
        floor_high: share(&|w| w == commonest),
        arrangements: total as f64,
        how: How::Counted,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::exact::fisher_table;

    /// `min_p.csv`: all or nothing of n and n.
    #[test]
    fn all_or_nothing_is_the_floor_of_the_table() {
        let table = include_str!("../../../tests/reference/bench/min_p.csv");
        let mut seen = 0;
        for line in table.lines().filter(|l| l.starts_with("fisher")) {
            let field: Vec<&str> = line.split(',').collect();
            let n: usize = field[1].trim_start_matches("n=").parse().unwrap();
            let one = through(&[0, n], &[n, n], Side::Higher).unwrap();
            let two = through(&[0, n], &[n, n], Side::Two).unwrap();
            let (p, both): (f64, f64) = (field[2].parse().unwrap(), field[3].parse().unwrap());
            assert!((one.p_low / p - 1.0).abs() < 1e-9, "{line}");
            assert!((two.p_low / both - 1.0).abs() < 1e-9, "{line}");
            assert_eq!(one.p_low, one.floor_low);
            assert_eq!(two.p_low, two.floor_low);
            seen += 1;
        }
        assert_eq!(seen, 7);
    }

    /// The same p as the 2 x 2 test and as the r x c test, whose probabilities are floats.
    #[test]
    fn agrees_with_the_tests_of_any_table() {
        let of = [4, 3, 5, 4, 2];
        for case in 0..200_usize {
            let reached: Vec<usize> = of
                .iter()
                .enumerate()
                .map(|(i, n)| (case * (7 + 2 * i) / 3 + i) % (n + 1))
                .collect();
            let there: usize = reached.iter().sum();
            if there == 0 || there == of.iter().sum::<usize>() {
                continue;
            }
            let mine = through(&reached, &of, Side::Two).unwrap();
            let rows: Vec<Vec<usize>> = reached
                .iter()
                .zip(of)
                .map(|(r, n)| vec![*r, n - r])
                .collect();
            assert!(
                (mine.p_low - fisher_table(&rows).unwrap()).abs() < 1e-9,
                "{reached:?}"
            );
            assert!(mine.floor_low <= mine.p_low);
            let (a, b) = (reached[0], reached[2]);
            if a + b > 0 && a + b < 9 {
                let two = fisher_2x2([[a, 4 - a], [b, 5 - b]]).unwrap();
                let mine = through(&[a, b], &[4, 5], Side::Two).unwrap();
                assert!((mine.p_low - two.p(Side::Two)).abs() < 1e-12);
                assert!((mine.floor_low - two.floor(Side::Two)).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn nothing_to_tell_is_p_of_one() {
        for reached in [[0, 0], [3, 4]] {
            let test = through(&reached, &[3, 4], Side::Higher).unwrap();
            assert_eq!((test.p(Side::Lower), test.floor(Side::Lower)), (1.0, 1.0));
        }
        assert!(through(&[1], &[2], Side::Two).is_err());
        assert!(through(&[1, 0], &[2, 0], Side::Two).is_err());
        assert!(through(&[1, 1, 0], &[2, 2, 2], Side::Higher).is_err());
    }
}
