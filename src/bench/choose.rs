//! Which systems a bench compares, when more combinations are possible than anyone can paint.

use super::design::{Factor, Rule, alias_matrix, candidates, columns, contrast_variance, exchange};
use super::files::SystemRow;
use base::error::nearest;
use base::{Error, Result};
use serde::{Deserialize, Serialize};
use std::fmt::Write;

/// How systems are chosen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Choose {
    /// How many.
    pub count: usize,
    /// Levels in play of `body`, `primer`, `paint`, `topcoat`, the one to compare with last; the
    /// usual ones of a factor that is left out.
    #[serde(default)]
    pub levels: std::collections::BTreeMap<String, Vec<String>>,
    /// Combinations nobody would paint, besides the usual ones: pairs of factor and level.
    #[serde(default)]
    pub never: Vec<[[String; 2]; 2]>,
    /// Combinations that stay in, such as what you use now: body, primer, paint, topcoat.
    #[serde(default)]
    pub must: Vec<[String; 4]>,
    /// Film of every system until it is gauged.
    #[serde(default = "usual_film")]
    pub film_um: u32,
}

fn usual_film() -> u32 {
    35
}

impl Choose {
    /// The chosen systems, and in words what they can and cannot tell apart.
    ///
    /// # Errors
    /// An unknown factor or level, a combination that is both never and must, too few candidates.
    pub fn systems(&self, seed: u64) -> Result<(Vec<SystemRow>, String)> {
        let mut factors = usual_factors();
        for (name, levels) in &self.levels {
            let names: Vec<String> = factors.iter().map(|f| f.name.clone()).collect();
            let Some(factor) = factors.iter_mut().find(|f| f.name == *name) else {
                let error = Error::input(format!("systems have no factor \"{name}\""));
                return Err(match nearest(name, names.iter().map(String::as_str)) {
                    Some(near) => error.hint(format!("did you mean \"{near}\"?")),
                    None => error.hint(format!("there is: {}", names.join(", "))),
                });
            };
            if levels.len() < 2 {
                return Err(Error::input(format!(
                    "factor \"{name}\" has {} level: with one there is nothing to tell apart",
                    levels.len()
                ))
                .hint("give two or more, or leave the factor out for the usual ones"));
            }
            factor.levels.clone_from(levels);
        }
        let known = |factor: &str, level: &str| {
            let found = factors.iter().find(|f| f.name == factor);
            found.is_some_and(|f| f.levels.iter().any(|l| l == level))
        };
        let mut rules = usual_rules();
        rules.retain(|rule| rule.without.iter().all(|(f, l)| known(f, l)));
        rules.extend(self.never.iter().map(|pair| Rule {
            without: pair.iter().map(|[f, l]| (f.clone(), l.clone())).collect(),
        }));
        let must: Vec<Vec<String>> = self.must.iter().map(|m| m.to_vec()).collect();
        let (chosen, text) = choose_systems((&factors, &rules), self.count, &must, seed)?;
        let rows = chosen
            .iter()
            .enumerate()
            .map(|(i, levels)| self.row(i, levels))
            .collect();
        let mut said = String::from("SYSTEMS CHOSEN (body, primer, paint, topcoat)\n");
        for (i, levels) in chosen.iter().enumerate() {
            let _ = writeln!(said, "S{}: {}", i + 1, levels.join(", "));
        }
        let _ = writeln!(said, "{text}");
        Ok((rows, said))
    }

    fn row(&self, i: usize, levels: &[String]) -> SystemRow {
        let [body, primer, paint, topcoat] = levels else {
            unreachable!("the usual factors are four")
        };
        let kind = |level: &str| if level == "none" { "none" } else { "acrylic" };
        SystemRow {
            system_id: format!("S{}", i + 1),
            body: body.clone(),
            primer_kind: kind(primer).into(),
            primer_method: primer.clone(),
            paint_method: paint.clone(),
            topcoat_kind: topcoat.clone(),
            topcoat_coats: match topcoat.as_str() {
                "none" => 0,
                two if two.contains(" then ") => 2,
                _ => 1,
            },
            film_um_median: f64::from(self.film_um),
            film_um_source: "guess".into(),
            note: String::new(),
        }
    }
}

/// Factors of the usual painting systems; reference levels last.
#[must_use]
pub fn usual_factors() -> Vec<Factor> {
    let factor = |name: &str, levels: &[&str]| Factor {
        name: name.into(),
        levels: levels.iter().map(|l| (*l).to_owned()).collect(),
    };
    vec![
        factor("body", &["metal", "hard plastic", "resin"]),
        factor("primer", &["none", "brush", "aerosol", "airbrush"]),
        factor("paint", &["brush", "airbrush"]),
        factor(
            "topcoat",
            &["none", "matt aerosol", "satin brush", "gloss then matt"],
        ),
    ]
}

/// Combinations hardly anyone uses (common practice, no source).
#[must_use]
pub fn usual_rules() -> Vec<Rule> {
    let rule = |a: (&str, &str), b: (&str, &str)| Rule {
        without: vec![(a.0.into(), a.1.into()), (b.0.into(), b.1.into())],
    };
    vec![
        rule(("body", "metal"), ("primer", "none")),
        rule(("body", "resin"), ("primer", "none")),
        rule(("primer", "brush"), ("paint", "airbrush")),
        rule(("primer", "none"), ("paint", "airbrush")),
        rule(("primer", "none"), ("topcoat", "gloss then matt")),
        rule(("primer", "brush"), ("topcoat", "matt aerosol")),
        rule(("primer", "brush"), ("topcoat", "gloss then matt")),
    ]
}

/// Chosen systems and what they can and cannot tell apart.
///
/// * `count`: systems wanted; `must`: combinations that stay in, as level names per factor
///
/// # Errors
/// As the exchange; a must-have system the rules leave out.
pub fn choose_systems(
    (factors, rules): (&[Factor], &[Rule]),
    count: usize,
    must: &[Vec<String>],
    seed: u64,
) -> Result<(Vec<Vec<String>>, String)> {
    let rows = candidates(factors, rules)?;
    let coded = columns(factors, &rows);
    let named = |row: &Vec<usize>| -> Vec<String> {
        row.iter()
            .zip(factors)
            .map(|(l, f)| f.levels[*l].clone())
            .collect()
    };
    let mut pinned = Vec::new();
    for system in must {
        let at = rows
            .iter()
            .position(|r| named(r) == *system)
            .ok_or_else(|| {
                Error::input(format!(
                    "the must-have system {} is left out by the rules",
                    system.join(", ")
                ))
            })?;
        pinned.push(at);
    }
    let precision = if count < coded.ncols() {
        1.0 / 0.49
    } else {
        0.0
    };
    let found = exchange(&coded, count, &pinned, (precision, 40, seed))?;
    let chosen: Vec<Vec<usize>> = found.runs.iter().map(|r| rows[*r].clone()).collect();
    let text = told(factors, &chosen, coded.ncols())?;
    Ok((chosen.iter().map(named).collect(), text))
}

/// What a choice of systems can estimate, in words.
fn told(factors: &[Factor], chosen: &[Vec<usize>], parameters: usize) -> Result<String> {
    let design = columns(factors, chosen);
    let mut text = String::new();
    let spare = chosen.len().saturating_sub(parameters);
    let _ = writeln!(
        text,
        "{} systems, {parameters} main effects: {spare} systems more than effects.",
        chosen.len()
    );
    if chosen.len() < parameters {
        let _ = writeln!(
            text,
            "Fewer systems than effects: what the systems cannot tell, the prior of effects (x/: 3.2) decides."
        );
        return Ok(text);
    }
    if spare == 0 {
        let _ = writeln!(
            text,
            "No scatter can be seen from one figure each: it comes from the prior only. Two figures each show it."
        );
    }
    for (f, factor) in factors.iter().enumerate() {
        for a in 0..factor.levels.len() - 1 {
            let b = factor.levels.len() - 1;
            let (one, other) = (&factor.levels[a], &factor.levels[b]);
            match contrast_variance(factors, &design, f, (a, b)) {
                Some(v) if v > 1.0 => {
                    let _ = writeln!(
                        text,
                        "{}: {one} against {other} is told only weakly (variance {v:.2} of one figure's): it is nearly mixed with other factors.",
                        factor.name
                    );
                }
                Some(_) => {}
                None => {
                    let _ = writeln!(
                        text,
                        "{}: {one} against {other} cannot be told at all.",
                        factor.name
                    );
                }
            }
        }
    }
    let (omitted, names) = interactions(factors, chosen, &design);
    let alias = alias_matrix(&design, &omitted)?;
    let strong = alias.iter().filter(|a| a.abs() > 0.3).count();
    let _ = writeln!(
        text,
        "{strong} of {} entries of the alias matrix exceed 0.3: main effects are only what they seem if factors do not act together.",
        alias.len()
    );
    for (column, name) in names.iter().enumerate() {
        let worst = alias.column(column).amax();
        if worst > 0.9 {
            let _ = writeln!(text, "  {name} leaks into a main effect by {worst:.2}.");
        }
    }
    Ok(text)
}

/// Products of columns of two factors.
fn interactions(
    factors: &[Factor],
    chosen: &[Vec<usize>],
    design: &nalgebra::DMatrix<f64>,
) -> (nalgebra::DMatrix<f64>, Vec<String>) {
    let mut starts = vec![1];
    for factor in factors {
        starts.push(starts[starts.len() - 1] + factor.levels.len() - 1);
    }
    let (mut columns, mut names) = (Vec::new(), Vec::new());
    for f in 0..factors.len() {
        for g in f + 1..factors.len() {
            for a in starts[f]..starts[f + 1] {
                for b in starts[g]..starts[g + 1] {
                    columns.push(design.column(a).component_mul(&design.column(b)));
                    let level = |f: usize, c: usize| &factors[f].levels[c - starts[f]];
                    names.push(format!(
                        "{} {} with {} {}",
                        factors[f].name,
                        level(f, a),
                        factors[g].name,
                        level(g, b)
                    ));
                }
            }
        }
    }
    (
        nalgebra::DMatrix::from_columns(&columns).resize(chosen.len(), names.len(), 0.0),
        names,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn choose(count: usize) -> Choose {
        Choose {
            count,
            levels: std::collections::BTreeMap::new(),
            never: Vec::new(),
            must: Vec::new(),
            film_um: 35,
        }
    }

    /// Levels of one's own are used, and what nobody would paint stays out.
    #[test]
    fn systems_are_chosen_from_own_levels_within_the_rules() {
        let mut wish = choose(8);
        wish.levels.insert(
            "topcoat".into(),
            ["none", "matt aerosol", "satin aerosol"]
                .map(String::from)
                .to_vec(),
        );
        wish.never.push([
            ["body".into(), "resin".into()],
            ["topcoat".into(), "none".into()],
        ]);
        wish.must
            .push(["metal", "aerosol", "brush", "satin aerosol"].map(String::from));
        let (rows, said) = wish.systems(1).unwrap();
        assert_eq!(rows.len(), 8);
        assert_eq!(rows[0].topcoat_kind, "satin aerosol");
        assert!(said.contains("S8:"), "{said}");
        for row in &rows {
            assert!(
                !(row.body == "resin" && row.topcoat_kind == "none"),
                "{row:?}"
            );
            assert!(
                !(row.body == "metal" && row.primer_method == "none"),
                "{row:?}"
            );
            assert_eq!(row.topcoat_coats, u32::from(row.topcoat_kind != "none"));
        }
        wish.levels
            .insert("topcaot".into(), vec!["a".into(), "b".into()]);
        let error = wish.systems(1).unwrap_err().to_string();
        assert!(error.contains("did you mean \"topcoat\""), "{error}");
    }
}
