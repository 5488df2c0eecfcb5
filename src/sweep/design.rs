//! From the number of a part to its place on every axis, by formula: a plan of a million parts is
//! as small as one of four.

use super::axis::{Axis, Stand};
use base::random::stream;
use rand::RngExt;
use serde::{Deserialize, Serialize};

/// How the points lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Design {
    /// Every value with every other; the last axis moves fastest.
    Grid,
    /// The first values of all axes together, then the second, and so on.
    List,
    /// Points that fill the box of all axes evenly.
    Spread {
        /// How many.
        points: u64,
    },
}

/// Bases of the spread design, one for each axis; with more axes the first points of a Halton
/// sequence lie on lines (Kocis & Whiten 1997, ACM TOMS 23:266).
pub const PRIMES: [u64; 8] = [2, 3, 5, 7, 11, 13, 17, 19];

impl Design {
    /// Number of parts; `None` if it does not fit into 64 bits.
    #[must_use]
    pub fn parts(self, axes: &[Axis]) -> Option<u64> {
        match self {
            Design::Grid => axes
                .iter()
                .try_fold(1_u64, |n, a| n.checked_mul(a.levels()? as u64)),
            Design::List => axes.first().and_then(Axis::levels).map(|n| n as u64),
            Design::Spread { points } => Some(points),
        }
    }

    /// Where part `k` stands on each axis.
    ///
    /// * `k`: below the number of parts
    /// * `seed`: shifts the points of a spread design
    #[must_use]
    pub fn stands(self, axes: &[Axis], k: u64, seed: u64) -> Vec<Stand> {
        match self {
            Design::Grid => {
                let mut rest = k;
                let mut stands: Vec<Stand> = axes
                    .iter()
                    .rev()
                    .map(|axis| {
                        let levels = axis.levels().unwrap_or(1).max(1) as u64;
                        let level = (rest % levels) as usize;
                        rest /= levels;
                        Stand::Level(level)
                    })
                    .collect();
                stands.reverse();
                stands
            }
            Design::List => axes.iter().map(|_| Stand::Level(k as usize)).collect(),
            Design::Spread { .. } => axes
                .iter()
                .enumerate()
                .map(|(a, axis)| axis.at_share(shifted(k, a, seed)))
                .collect(),
        }
    }
}

/// Coordinate of point `k` on axis `a`, 0 to below 1: Halton's sequence, moved round by a shift
/// drawn from the seed (Cranley & Patterson 1976, SIAM J. Numer. Anal. 13:904).
fn shifted(k: u64, a: usize, seed: u64) -> f64 {
    let base = PRIMES[a % PRIMES.len()];
    let shift: f64 = stream(seed, &["sweep", "spread"], a as u64).random();
    (radical_inverse(k, base) + shift).fract()
}

/// Digits of `k` mirrored at the point: Halton 1960, Numer. Math. 2:84.
#[must_use]
pub fn radical_inverse(mut k: u64, base: u64) -> f64 {
    let (mut value, mut digit) = (0.0, 1.0 / base as f64);
    while k > 0 {
        value += (k % base) as f64 * digit;
        k /= base;
        digit /= base as f64;
    }
    value
}

#[cfg(test)]
mod tests {
    use super::super::axis::Values;
    use super::*;
    use toml::Value;

    fn axis(n: i64) -> Axis {
        Axis {
            name: "a".into(),
            keys: vec!["a".into()],
            values: Values::Levels {
                labels: (0..n).map(|i| i.to_string()).collect(),
                values: (0..n).map(Value::Integer).collect(),
            },
        }
    }

    fn span() -> Axis {
        Axis {
            values: Values::Span {
                from: 0.0,
                to: 1.0,
                ratio: false,
            },
            ..axis(0)
        }
    }

    /// Van der Corput in base 2 and the base 3 companion, as tabled by Niederreiter 1992, "Random
    /// Number Generation and Quasi-Monte Carlo Methods", chapter 3 (values from memory; the Python
    /// check asks an independent library).
    #[test]
    fn mirrored_digits_are_the_published_sequence() {
        let two: Vec<f64> = (0..8).map(|k| radical_inverse(k, 2)).collect();
        assert_eq!(two, [0.0, 0.5, 0.25, 0.75, 0.125, 0.625, 0.375, 0.875]);
        let three = [0.0, 1.0 / 3.0, 2.0 / 3.0, 1.0 / 9.0, 4.0 / 9.0, 7.0 / 9.0];
        for (k, expected) in (0..).zip(three) {
            assert!((radical_inverse(k, 3) - expected).abs() < 1e-15);
        }
    }

    #[test]
    fn a_grid_holds_every_combination_once() {
        let axes = [axis(3), axis(4), axis(2)];
        let parts = Design::Grid.parts(&axes).expect("fits");
        assert_eq!(parts, 24);
        let mut seen: Vec<String> = (0..parts)
            .map(|k| format!("{:?}", Design::Grid.stands(&axes, k, 1)))
            .collect();
        assert_eq!(
            seen[1], "[Level(0), Level(0), Level(1)]",
            "the last moves fastest"
        );
        seen.sort();
        seen.dedup();
        assert_eq!(seen.len(), 24);
        assert_eq!(Design::Grid.parts(&vec![axis(10_000); 5]), None);
    }

    /// 2 x 3 blocks of 36 points: any 36 consecutive points of a Halton sequence in bases 2 and 3
    /// put one into each of the 4 x 9 elementary boxes; shifting moves that by at most a box.
    #[test]
    fn a_spread_design_fills_the_square_and_follows_its_seed() {
        let axes = [span(), span()];
        let design = Design::Spread { points: 360 };
        let mut boxes = [[0; 6]; 6];
        for k in 0..360 {
            let stands = design.stands(&axes, k, 5);
            let cell = |s: Stand| match s {
                Stand::Number(x) => (x * 6.0) as usize,
                Stand::Level(_) => panic!("a number"),
            };
            boxes[cell(stands[0])][cell(stands[1])] += 1;
        }
        // 10 in each on average; 360 random points would give from 3 to 18.
        for count in boxes.iter().flatten() {
            assert!((6..=14).contains(count), "{boxes:?}");
        }
        assert_ne!(design.stands(&axes, 3, 5), design.stands(&axes, 3, 6));
        assert_eq!(design.stands(&axes, 3, 5), design.stands(&axes, 3, 5));
    }
}
