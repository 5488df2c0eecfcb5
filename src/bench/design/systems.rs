//! Systems as combinations of factors, with rules that leave out what nobody would do.

use base::{Error, Result};
use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};

/// A factor and its levels; the last level is the reference of the coding.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Factor {
    /// Such as `primer`.
    pub name: String,
    /// Such as `none`, `brush`, `aerosol`.
    pub levels: Vec<String>,
}

/// Leaves out every combination that has all of these `factor = level` pairs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rule {
    /// Pairs of factor and level.
    pub without: Vec<(String, String)>,
}

/// All combinations the rules allow, as level numbers per factor.
///
/// # Errors
/// A rule names an unknown factor or level; nothing is left.
pub fn candidates(factors: &[Factor], rules: &[Rule]) -> Result<Vec<Vec<usize>>> {
    let mut bans = Vec::new();
    for rule in rules {
        let pair = |(factor, level): &(String, String)| find(factors, factor, level);
        bans.push(rule.without.iter().map(pair).collect::<Result<Vec<_>>>()?);
    }
    let mut all: Vec<Vec<usize>> = vec![Vec::new()];
    for factor in factors {
        let longer = |row: &Vec<usize>| {
            let row = row.clone();
            (0..factor.levels.len()).map(move |l| [row.clone(), vec![l]].concat())
        };
        all = all.iter().flat_map(longer).collect();
    }
    all.retain(|row| {
        !bans
            .iter()
            .any(|ban| !ban.is_empty() && ban.iter().all(|(f, l)| row[*f] == *l))
    });
    match all.is_empty() {
        true => Err(Error::input("the rules leave no combination of factors")),
        false => Ok(all),
    }
}

fn find(factors: &[Factor], factor: &str, level: &str) -> Result<(usize, usize)> {
    let f = factors
        .iter()
        .position(|f| f.name == factor)
        .ok_or_else(|| {
            let names = factors.iter().map(|f| f.name.as_str());
            let error = Error::input(format!("a rule names the unknown factor \"{factor}\""));
            match base::error::nearest(factor, names) {
                Some(near) => error.hint(format!("did you mean \"{near}\"?")),
                None => error,
            }
        })?;
    let levels = &factors[f].levels;
    let l = levels.iter().position(|l| l == level).ok_or_else(|| {
        Error::input(format!(
            "a rule names the unknown level \"{level}\" of \"{factor}\""
        ))
        .hint(format!("levels are {}", levels.join(", ")))
    })?;
    Ok((f, l))
}

/// Effect-coded columns: 1, then per factor one column per level but the last, which is -1 in all.
#[must_use]
pub fn columns(factors: &[Factor], rows: &[Vec<usize>]) -> DMatrix<f64> {
    let width = 1 + factors.iter().map(|f| f.levels.len() - 1).sum::<usize>();
    let mut matrix = DMatrix::zeros(rows.len(), width);
    for (i, row) in rows.iter().enumerate() {
        matrix[(i, 0)] = 1.0;
        let mut at = 1;
        for (factor, level) in factors.iter().zip(row) {
            let own = factor.levels.len() - 1;
            for j in 0..own {
                matrix[(i, at + j)] = if *level == j {
                    1.0
                } else if *level == own {
                    -1.0
                } else {
                    0.0
                };
            }
            at += own;
        }
    }
    matrix
}

/// Variance of the difference of two levels of a factor, in units of one figure's variance.
///
/// `None` where the design cannot estimate it.
#[must_use]
pub fn contrast_variance(
    factors: &[Factor],
    design: &DMatrix<f64>,
    factor: usize,
    (a, b): (usize, usize),
) -> Option<f64> {
    let mut levels = vec![vec![0; factors.len()]; 2];
    (levels[0][factor], levels[1][factor]) = (a, b);
    let coded = columns(factors, &levels);
    let difference = (coded.row(0) - coded.row(1)).transpose();
    let inverse = (design.transpose() * design).try_inverse()?;
    let variance = (difference.transpose() * inverse * &difference)[(0, 0)];
    (variance.is_finite() && variance < 1e6).then_some(variance)
}
