//! Blind codes: three symbols and a check symbol, without vowels and look-alikes.

use base::random::Stream;
use base::{Error, Result};
use rand::seq::SliceRandom;

/// The 19 symbols: no vowels (no words), no 0/O, 1/I, 2/Z, 5/S, 6/G, 8/B, U/V.
pub const ALPHABET: [char; 19] = [
    'C', 'D', 'F', 'H', 'J', 'K', 'L', 'M', 'N', 'P', 'R', 'T', 'W', 'X', 'Y', '3', '4', '7', '9',
];

fn place(symbol: char) -> Option<usize> {
    ALPHABET.iter().position(|a| *a == symbol)
}

/// The check symbol of three symbols: (5a + 7b + 11c) mod 19.
///
/// Detects every single wrong symbol, every swap of neighbours or of symbols two apart, and every
/// twin error (`aab` for `ccb`), all shown by trying all of them. `None` for other symbols.
#[must_use]
pub fn check_symbol(body: &str) -> Option<char> {
    let places: Vec<usize> = body.chars().map(place).collect::<Option<_>>()?;
    let [a, b, c] = places.try_into().ok()?;
    Some(ALPHABET[(5 * a + 7 * b + 11 * c) % 19])
}

/// True for a whole code, such as `K7MW`.
#[must_use]
pub fn valid(code: &str) -> bool {
    let symbols: Vec<char> = code.chars().collect();
    let body: String = symbols.iter().take(3).collect();
    symbols.len() == 4 && check_symbol(&body) == Some(symbols[3])
}

/// A code as typed, brought to capital letters and stripped of the `c-` that keeps spreadsheets
/// from reading 3479 as a number.
#[must_use]
pub fn correct(typed: &str) -> String {
    let upper = typed.trim().to_uppercase();
    upper
        .strip_prefix("C-")
        .map_or(upper.clone(), str::to_owned)
}

/// The code in use that lies nearest to what was typed, if it is one slip away.
#[must_use]
pub fn nearest_valid<'a>(
    typed: &str,
    in_use: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    let typed: Vec<char> = correct(typed).chars().collect();
    let slips = |code: &str| {
        let code: Vec<char> = code.chars().collect();
        if code.len() != typed.len() {
            return code.len().abs_diff(typed.len()) + 1;
        }
        let wrong: Vec<usize> = (0..code.len()).filter(|i| code[*i] != typed[*i]).collect();
        match wrong[..] {
            [i, j] if code[i] == typed[j] && code[j] == typed[i] => 1,
            _ => wrong.len(),
        }
    };
    let ranked = in_use.into_iter().map(|code| (slips(code), code));
    let best = ranked.min_by_key(|(slips, _)| *slips)?;
    (best.0 <= 2).then_some(best.1)
}

/// Codes drawn at random, any two of them different in at least two of the first three symbols.
///
/// # Errors
/// Refused beyond what the alphabet holds (some 250 codes are always reached).
pub fn draw_codes(count: usize, random: &mut Stream) -> Result<Vec<String>> {
    let mut bodies: Vec<[usize; 3]> = (0..19 * 19 * 19)
        .map(|i| [i / 361, i / 19 % 19, i % 19])
        .collect();
    bodies.shuffle(random);
    let mut chosen: Vec<[usize; 3]> = Vec::new();
    for body in bodies {
        if chosen.len() == count {
            break;
        }
        let apart = |other: &[usize; 3]| (0..3).filter(|i| other[*i] != body[*i]).count() >= 2;
        if chosen.iter().all(apart) {
            chosen.push(body);
        }
    }
    if chosen.len() < count {
        return Err(Error::refused(format!(
            "only {} codes can be kept two symbols apart, {count} are needed",
            chosen.len()
        ))
        .hint("plan fewer inspections or fewer figures in one bench"));
    }
    let write = |body: &[usize; 3]| {
        let text: String = body.iter().map(|i| ALPHABET[*i]).collect();
        let check = check_symbol(&text).unwrap_or('C');
        format!("{text}{check}")
    };
    Ok(chosen.iter().map(write).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn worked_check_symbols() {
        let table = include_str!("../../../tests/reference/bench/code_checks.csv");
        let rows = table.lines().filter(|l| !l.starts_with('#')).skip(1);
        let mut seen = 0;
        for row in rows {
            let (body, code) = row.split_once(',').unwrap();
            assert_eq!(format!("{body}{}", check_symbol(body).unwrap()), code);
            seen += 1;
        }
        assert_eq!(seen, 7);
        assert!(!valid("CDFC") && !valid("CDO") && !valid("CD0R") && valid("K7MW"));
    }

    /// Every error of every code, counted: substitutions, swaps of neighbours, swaps two apart,
    /// twins, twins two apart. None may pass.
    #[test]
    fn every_single_slip_is_detected() {
        let index = |code: &[usize; 4]| (5 * code[0] + 7 * code[1] + 11 * code[2]) % 19 == code[3];
        let mut counts = [0_usize; 5];
        for i in 0..19 * 19 * 19 {
            let (a, b, c) = (i / 361, i / 19 % 19, i % 19);
            let code = [a, b, c, (5 * a + 7 * b + 11 * c) % 19];
            let mut tried = |kind: usize, wrong: [usize; 4]| {
                counts[kind] += 1;
                assert!(!index(&wrong), "{code:?} as {wrong:?}");
            };
            for p in 0..4 {
                for s in (0..19).filter(|s| *s != code[p]) {
                    let mut wrong = code;
                    wrong[p] = s;
                    tried(0, wrong);
                }
            }
            for (kind, gap) in [(1, 1), (2, 2)] {
                for p in 0..4 - gap {
                    let mut wrong = code;
                    wrong.swap(p, p + gap);
                    if wrong != code {
                        tried(kind, wrong);
                        continue;
                    }
                    for s in (0..19).filter(|s| *s != code[p]) {
                        let mut wrong = code;
                        (wrong[p], wrong[p + gap]) = (s, s);
                        tried(kind + 2, wrong);
                    }
                }
            }
        }
        assert_eq!(counts[0], 493_848);
        assert_eq!(counts[1], 19_494);
        assert_eq!(counts[2], 12_996);
        assert_eq!(counts[3], 19_494);
        assert_eq!(counts[4], 12_996);
    }

    #[test]
    fn drawn_codes_lie_two_symbols_apart() {
        let mut random = base::random::stream(3, &["codes"], 0);
        let codes = draw_codes(200, &mut random).unwrap();
        for (i, a) in codes.iter().enumerate() {
            assert!(valid(a));
            for b in &codes[..i] {
                assert!(
                    a.chars()
                        .zip(b.chars())
                        .take(3)
                        .filter(|(x, y)| x != y)
                        .count()
                        >= 2
                );
            }
        }
        assert!(draw_codes(400, &mut random).is_err());
        assert_eq!(correct(" c-3479 "), "3479");
        let typed: String = codes[5].chars().rev().collect();
        assert_ne!(
            nearest_valid(&codes[5], codes.iter().map(String::as_str)),
            Some(typed.as_str())
        );
        assert_eq!(
            nearest_valid(&codes[5].to_lowercase(), codes.iter().map(String::as_str)),
            Some(codes[5].as_str())
        );
    }
}
