//! Rows of `tests/reference/bench/worked_examples.csv`: data, quantity, value and the printed
//! figure are in the row, with their source. Proportional odds are checked beside the model.

use super::*;
use crate::bench::judge::{self, Known};
use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};
use std::collections::BTreeMap;

const TABLE: &str = include_str!("../../../tests/reference/bench/worked_examples.csv");

fn numbers(text: &str) -> Vec<f64> {
    text.split_whitespace()
        .filter(|t| *t != "NA")
        .map(|t| t.parse().unwrap())
        .collect()
}

fn rows(text: &str, mark: char) -> Vec<Vec<f64>> {
    text.split(mark).map(numbers).collect()
}

fn holes(text: &str) -> Vec<Vec<Option<f64>>> {
    let row = |line: &str| line.split_whitespace().map(|t| t.parse().ok()).collect();
    text.split(';').map(row).collect()
}

fn chi2(x: f64, degrees: usize) -> f64 {
    1.0 - ChiSquared::new(degrees as f64).unwrap().cdf(x)
}

fn from_two(data: &str, test: &str, quantity: &str) -> Option<f64> {
    let lists = rows(data, '|');
    let exact = match test {
        "rank_sum" => rank_sum(&lists[0], &lists[1]),
        "signed_rank" => signed_rank(
            &lists[0]
                .iter()
                .zip(&lists[1])
                .map(|(a, b)| a - b)
                .collect::<Vec<_>>(),
        ),
        "spearman" => spearman(&lists[0], &lists[1]),
        _ => kendall(&lists[0], &lists[1]),
    }
    .unwrap();
    Some(match quantity {
        "U" | "V" | "rho" | "tau" => exact.statistic,
        "p_less" => exact.p(Side::Lower),
        "p_greater" => exact.p(Side::Higher),
        "p_two" | "p_two_exact" => exact.p(Side::Two),
        _ => return None,
    })
}

fn from_groups(data: &str, test: &str, quantity: &str) -> Option<f64> {
    let groups = rows(data, '|');
    if test == "kruskal_wallis" {
        let exact = kruskal_wallis(&groups).unwrap();
        assert_eq!(exact.how, How::Counted);
        return Some(match quantity {
            "H" => exact.statistic,
            "p_chi2" => chi2(exact.statistic, groups.len() - 1),
            "p_exact" => exact.p_high,
            "arrangements" => exact.arrangements,
            _ => return None,
        });
    }
    let exact = jonckheere(&groups).unwrap();
    let m = jonckheere_moments(&groups).unwrap();
    let z = |variance: f64| (exact.statistic - m.mean) / variance.sqrt();
    Some(match quantity {
        "J" => exact.statistic,
        "p_inc" => exact.p_high,
        "mean" => m.mean,
        "var_notie" => m.variance_untied,
        "var_tie" => m.variance,
        "z_notie" => z(m.variance_untied),
        "z" => z(m.variance),
        "p_normal_notie" => 1.0 - Normal::standard().cdf(z(m.variance_untied)),
        _ => return None,
    })
}

fn from_blocks(data: &str, test: &str, quantity: &str) -> Option<f64> {
    let data = data.split(" (").next().unwrap();
    if test == "skillings_mack" {
        let exact = skillings_mack(&holes(data)).unwrap();
        // Nine blocks of three sizes are drawn, not counted; no published exact p asks for more.
        assert!(exact.how == How::Counted || quantity != "p_exact_conditional");
        return Some(match quantity.split(' ').next().unwrap() {
            "SM" => exact.statistic,
            "p_chi2" => chi2(exact.statistic, holes(data)[0].len() - 1),
            "p_exact_conditional" => exact.p_high,
            _ => return None,
        });
    }
    let blocks = rows(data, ';');
    let exact = match test {
        "friedman" => friedman(&blocks),
        _ => page(&blocks),
    }
    .unwrap();
    assert_eq!(exact.how, How::Counted);
    Some(match quantity {
        "Q" | "L" => exact.statistic,
        "p_chi2" => chi2(exact.statistic, blocks[0].len() - 1),
        "p_exact" | "p_exact_conditional" => exact.p_high,
        // The published program ignores ties and rounds L = 133.5 down: P(L >= 133), untied.
        "p_scipy_exact" => page(&untied_page_133()).unwrap().p_high,
        _ => return None,
    })
}

/// Ten untied rows of three with L = 140 - 7.
fn untied_page_133() -> Vec<Vec<f64>> {
    let mut blocks = vec![vec![2.0, 1.0, 3.0]; 7];
    blocks.extend(vec![vec![1.0, 2.0, 3.0]; 3]);
    blocks
}

/// Smallest rho of n untied pairs whose one-sided p is at most 0.05, by the program's own p.
fn spearman_critical(case: &str, quantity: &str) -> Option<f64> {
    let n: usize = case[1..].parse().unwrap();
    let up: Vec<f64> = (0..n).map(|i| i as f64).collect();
    let best = spearman(&up, &up).unwrap();
    if quantity == "min_p_one_sided" {
        return Some(best.floor(Side::Higher));
    }
    let ranks: Vec<i64> = (1..=n as i64).collect();
    let all = super::blocks::products(&ranks, &ranks, &mut super::tally::Budget::usual()).unwrap();
    let total: u128 = all.entries().map(|(_, c)| c).sum();
    let most = all.entries().next_back().unwrap().0;
    let mut critical = (1.0, best.p_high);
    let mut above = 0;
    for (value, count) in all.entries().rev() {
        above += count;
        let p = above as f64 / total as f64;
        if p <= 0.05 {
            let cubed = (n * n * n - n) as f64;
            critical = (1.0 - 12.0 * (most - value) as f64 / cubed, p);
        }
    }
    Some(if quantity == "p_at_crit" {
        critical.1
    } else {
        critical.0
    })
}

fn kappa(data: &str, quantity: &str) -> Option<f64> {
    let table = match data.contains('|') {
        true => {
            let lists = rows(data, '|');
            let mut table = vec![vec![0.0; 6]; 6];
            for (a, b) in lists[0].iter().zip(&lists[1]) {
                table[*a as usize][*b as usize] += 1.0;
            }
            table
        }
        false => rows(data, ';'),
    };
    let (what, weights) = quantity.split_once('_').unwrap();
    let weights = match weights {
        "none" => judge::Weights::Nominal,
        "linear" => judge::Weights::Linear,
        _ => judge::Weights::Quadratic,
    };
    let k = judge::weighted_kappa(&table, weights).unwrap();
    Some(match what {
        "kappa" => k.kappa,
        "ase" => k.ase,
        _ => k.se_null,
    })
}

fn alpha(data: &str, quantity: &str) -> Option<f64> {
    let graders = holes(&data.replace('|', ";"));
    let unit = |u: usize| graders.iter().map(|g| g[u]).collect();
    let units: Vec<Vec<Option<f64>>> = (0..graders[0].len()).map(unit).collect();
    let level = match quantity {
        "nominal" => judge::Level::Nominal,
        "ordinal" => judge::Level::Ordinal,
        _ => judge::Level::Interval,
    };
    Some(judge::krippendorff_alpha(&units, level).unwrap())
}

fn fisher(data: &str, quantity: &str) -> Option<f64> {
    let t = rows(data, ';');
    let c = |i: usize, j: usize| t[i][j] as usize;
    let test = fisher_2x2([[c(0, 0), c(0, 1)], [c(1, 0), c(1, 1)]]).unwrap();
    Some(test.p(match quantity {
        "p_greater" => Side::Higher,
        "p_less" => Side::Lower,
        _ => Side::Two,
    }))
}

/// Lives of parts inspected now and then, or run until a fixed hour.
fn weibull(data: &str, quantity: &str) -> Option<f64> {
    let lives: Vec<Known> = match data.strip_prefix("ends ") {
        Some(rest) => {
            let mut pieces = rest.split([';']);
            let ends = numbers(pieces.next()?);
            let failed = numbers(pieces.next()?.trim().strip_prefix("failed ")?);
            let survived = numbers(pieces.next()?.trim().strip_prefix("survived ")?)[0];
            let from = std::iter::once(0.0).chain(ends.iter().copied());
            let between = from.zip(&ends).zip(&failed);
            let mut lives: Vec<Known> = between
                .flat_map(|((a, b), n)| vec![Known::Between(a, *b); *n as usize])
                .collect();
            lives.extend(vec![Known::Beyond(*ends.last()?); survived as usize]);
            lives
        }
        None => {
            let (ended, rest) = data.split_once('+')?;
            let rest: Vec<&str> = rest.split_whitespace().collect();
            let beyond = Known::Beyond(rest[2].parse().ok()?);
            let mut lives: Vec<Known> = numbers(ended).into_iter().map(Known::At).collect();
            lives.extend(vec![beyond; rest[0].parse().ok()?]);
            lives
        }
    };
    let fit = judge::fit_lives(&[lives]).ok()?;
    Some(match quantity {
        "ev_location mu" => fit.location[0],
        "ev_scale sigma" => fit.scale,
        "weibull_scale" | "scale" => fit.location[0].exp(),
        "weibull_shape" | "shape" => 1.0 / fit.scale,
        "loglik" => fit.log_likelihood,
        "se_mu" => fit.covariance[(0, 0)].sqrt(),
        "se_sigma" => fit.scale * fit.covariance[(1, 1)].sqrt(),
        _ => return None,
    })
}

fn least_squares(data: &str, quantity: &str) -> Option<Vec<f64>> {
    let (a, b) = data.strip_prefix("A=")?.split_once("b=")?;
    let plain = |text: &str| text.replace(['[', ']', ','], " ");
    let rows = if a.contains(';') {
        a.split(';').count()
    } else {
        a.matches("],").count() + 1
    };
    let a = numbers(&plain(&a.replace(';', " ")));
    let matrix = nalgebra::DMatrix::from_row_slice(rows, a.len() / rows, &a);
    let solved = crate::study::nnls(&matrix, &nalgebra::DVector::from_vec(numbers(&plain(b))));
    Some(match quantity {
        "x" => solved.x,
        _ => vec![solved.residual],
    })
}

fn computed(test: &str, case: &str, data: &str, quantity: &str) -> Option<Vec<f64>> {
    let one = match test {
        "fisher_2x2" => fisher(data, quantity),
        "fisher_rxc" => {
            let whole = |row: Vec<f64>| row.into_iter().map(|v| v as usize).collect();
            let table: Vec<Vec<usize>> = rows(data, ';').into_iter().map(whole).collect();
            fisher_table(&table).ok()
        }
        "rank_sum" | "signed_rank" | "spearman" | "kendall" => from_two(data, test, quantity),
        "kruskal_wallis" | "jonckheere" => from_groups(data, test, quantity),
        "friedman" | "page" | "skillings_mack" => from_blocks(data, test, quantity),
        "spearman_crit" => spearman_critical(case, quantity),
        "kappa" => kappa(data, quantity),
        "kripp_alpha" => alpha(data, quantity),
        "fleiss_kappa" => judge::fleiss_kappa(&rows(data, ';')).ok(),
        "holm" => return Some(judge::holm(&numbers(data))),
        "weibull_interval" | "weibull_right" => weibull(data, quantity),
        "nnls" => return least_squares(data, quantity),
        _ => None,
    };
    one.map(|v| vec![v])
}

#[test]
fn every_worked_example_comes_out() {
    let text: String = TABLE
        .lines()
        .filter(|l| !l.starts_with('#'))
        .map(|l| format!("{l}\n"))
        .collect();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let mut known: BTreeMap<String, String> = BTreeMap::new();
    let (mut checked, mut printed) = (0, 0);
    let mut elsewhere = Vec::new();
    for row in reader.records() {
        let row = row.unwrap();
        let (test, case, quantity) = (&row[0], &row[1], &row[3]);
        let data = match &row[2] {
            "same" | "see above" => known[case].clone(),
            "same as page/cotton" => known["cotton"].clone(),
            data => data.to_owned(),
        };
        known.insert(case.to_owned(), data.clone());
        if test == "proportional_odds" {
            elsewhere.push(test.to_owned());
            continue;
        }
        let found = computed(test, case, &data, quantity)
            .unwrap_or_else(|| panic!("no code for {test} {case} {quantity}"));
        let tolerance = match test {
            "holm" => 5.1e-5,
            "weibull_interval" | "weibull_right" => 2e-7,
            _ => 2e-9,
        };
        for (mine, theirs) in found.iter().zip(numbers(&row[4])) {
            let near = tolerance * theirs.abs().max(if test == "holm" { 1.0 } else { 1e-300 });
            assert!(
                (mine - theirs).abs() <= near,
                "{test} {case} {quantity}: {mine} for {theirs}"
            );
        }
        printed += usize::from(agrees_with_print(
            found[0],
            &row[5],
            &format!("{test} {case} {quantity}"),
        ));
        checked += 1;
    }
    assert_eq!(
        (checked, printed),
        (121, 55),
        "rows that were checked, of these against print"
    );
    assert_eq!(elsewhere.len(), 12, "rows of other tests: {elsewhere:?}");
}

/// Compares with the published figure to its printed digits, where it starts with a number.
fn agrees_with_print(value: f64, published: &str, what: &str) -> bool {
    let first = published
        .split_whitespace()
        .next()
        .unwrap_or("")
        .trim_end_matches([',', ';']);
    let Ok(figure) = first.parse::<f64>() else {
        return false;
    };
    let digits = first.split('.').nth(1).map_or(0, str::len);
    if what == "jonckheere hundal p_normal_notie" {
        // The remembered 0.0217 is the tail of the rounded z = 2.02.
        return (1.0 - Normal::standard().cdf(2.02) - figure).abs() < 5e-5;
    }
    let near = 0.51 * 10_f64.powi(-(digits as i32)) + 1e-9;
    assert!(
        (value - figure).abs() <= near,
        "{what}: {value} against printed {published}"
    );
    true
}

/// `tests/reference/bench/min_p.csv`: the smallest p of each design, from counts alone.
#[test]
fn floors_are_the_smallest_p_of_the_design() {
    let table = include_str!("../../../tests/reference/bench/min_p.csv");
    let text: String = table
        .lines()
        .filter(|l| !l.starts_with('#'))
        .map(|l| format!("{l}\n"))
        .collect();
    let mut checked = 0;
    for row in csv::Reader::from_reader(text.as_bytes()).records() {
        let row = row.unwrap();
        let sizes = row[1].split(|c: char| !c.is_ascii_digit());
        let sizes: Vec<usize> = sizes.filter_map(|t| t.parse().ok()).collect();
        let run = |from: usize, n: usize| (from..from + n).map(|i| i as f64).collect::<Vec<f64>>();
        let groups = |k: usize, n: usize| (0..k).map(|g| run(g * n, n)).collect::<Vec<_>>();
        let exact = match row[0].split([' ', ',']).next().unwrap() {
            "rank_sum" => rank_sum(&run(0, sizes[0]), &run(90, *sizes.last().unwrap())),
            "sign" => signed_rank(&run(1, sizes[0])),
            "kruskal_wallis" => kruskal_wallis(&groups(sizes[0], sizes[1])),
            "jonckheere" => jonckheere(&groups(sizes[0], sizes[1])),
            "friedman" => friedman(&vec![run(0, sizes[0]); sizes[1]]),
            "page" => page(&vec![run(0, sizes[0]); sizes[1]]),
            "fisher" => {
                let test = fisher_2x2([[sizes[0], 0], [0, sizes[0]]]).unwrap();
                assert!((test.floor(Side::Two) - row[3].parse::<f64>().unwrap()).abs() < 1e-12);
                Ok(test.exact)
            }
            _ => continue, // Holm rows: smallest n, checked with the planner
        }
        .unwrap();
        let (one, two) = match &row[2] {
            "" => (None, exact.floor(Side::Higher)),
            one => (Some(one.parse::<f64>().unwrap()), exact.floor(Side::Two)),
        };
        if exact.how != How::Counted {
            assert_eq!(
                exact.floor(Side::Higher),
                1e-5,
                "a drawn p cannot be smaller"
            );
            continue;
        }
        if let Some(one) = one {
            assert!(
                (exact.floor(Side::Higher) / one - 1.0).abs() < 1e-9,
                "{row:?} {exact:?}"
            );
        }
        if let Ok(theirs) = row[3].parse::<f64>() {
            assert!((two / theirs - 1.0).abs() < 1e-9, "{row:?} {exact:?}");
        }
        checked += 1;
    }
    assert_eq!(checked, 95);
}

/// Ties raise the floor: three figures a side with one tie across the groups.
#[test]
fn ties_raise_the_floor() {
    let untied = rank_sum(&[0.0, 1.0, 2.0], &[3.0, 4.0, 5.0]).unwrap();
    let tied = rank_sum(&[0.0, 1.0, 2.0], &[2.0, 2.0, 5.0]).unwrap();
    assert_eq!(untied.floor(Side::Lower), 1.0 / 20.0);
    assert_eq!(
        tied.floor(Side::Lower),
        3.0 / 20.0,
        "which 2 is lowest is luck"
    );
    assert_eq!(
        tied.floor(Side::Two),
        0.3,
        "at the other end which 2 stays behind is luck, too"
    );
}

/// What is drawn agrees with what is counted, and a full bench of 10 x 4 is within reach.
#[test]
fn drawing_agrees_with_counting() {
    let grades = |g: usize| {
        (0..2)
            .map(|i| ((g * 5 + i * 7) % 11 % 6) as f64)
            .collect::<Vec<_>>()
    };
    let groups: Vec<Vec<f64>> = (0..6).map(grades).collect();
    let counted = jonckheere(&groups).unwrap();
    assert_eq!(counted.how, How::Counted);
    let all: Vec<f64> = groups.iter().flatten().copied().collect();
    let labels: Vec<usize> = (0..12).map(|i| i / 2).collect();
    let (ranks, _) = integer_ranks(&all);
    let observed = super::groups::balance(&labels, &ranks);
    let mut shuffled = ranks.clone();
    let by_draw = drawn("check", (0.0, i128::from(observed)), (0.0, 0.0, 1.0), |r| {
        use rand::seq::SliceRandom;
        shuffled.shuffle(r);
        i128::from(super::groups::balance(&labels, &shuffled))
    });
    let error = (counted.p_high * (1.0 - counted.p_high) / DRAWN as f64).sqrt();
    assert!((counted.p_high - by_draw.p_high).abs() < 4.0 * error);
}
