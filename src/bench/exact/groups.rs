//! Several groups: any difference (Kruskal-Wallis) or a declared order (Jonckheere-Terpstra).

use super::tally::{Budget, Tally, choose};
use super::{Exact, classes, drawn, factorial, filled, integer_ranks};
use base::Result;
use rand::seq::SliceRandom;

/// Largest table of states kept while counting.
const STATES: usize = 1 << 21;

/// Kruskal-Wallis test of any difference among groups, exact given the ties; use `p_high`.
///
/// H = \[12/(N(N+1)) S R_j^2/n_j - 3(N+1)\] / (1 - S(t^3 - t)/(N^3 - N)), compared through the
/// integer S R_j^2 L/n_j with L the least common multiple of the sizes. Groups are taken out one
/// after the other; a state is what is left of each class of ties.
///
/// # Errors
/// Fewer than two groups, an empty group, a value that is no number.
///
/// Source: Kruskal & Wallis 1952, J. Am. Stat. Assoc. 47:583; ties: Hollander & Wolfe 1973, ch. 6.
pub fn kruskal_wallis(groups: &[Vec<f64>]) -> Result<Exact> {
    filled(groups, 2)?;
    let all: Vec<f64> = groups.iter().flatten().copied().collect();
    let sizes: Vec<usize> = groups.iter().map(Vec::len).collect();
    let (ranks, scale) = integer_ranks(&all);
    let multiple = sizes.iter().copied().fold(1, lcm) as i64;
    let score = |ranks: &[i64]| squares(ranks, &sizes, multiple);
    let observed = score(&ranks);
    let h = kruskal_h(observed as f64 / (multiple * scale * scale) as f64, &all);
    let arrangements = multinomial(&sizes);
    let table = classes(&all);
    if let Some(tally) = take_groups(&sorted(&ranks), &table, &sizes, multiple) {
        let mut exact = tally.exact(h, observed, 1.0);
        exact.arrangements = arrangements;
        return Ok(exact);
    }
    let mut shuffled = ranks.clone();
    let same = sizes.iter().all(|n| *n == sizes[0]);
    let orders = if same { factorial(sizes.len()) } else { 1.0 };
    let floor = orders * sorted_ways(&table, &sizes) / arrangements;
    let floors = (0.0, floor, arrangements);
    Ok(drawn(
        "kruskal wallis",
        (h, i128::from(observed)),
        floors,
        |r| {
            shuffled.shuffle(r);
            i128::from(score(&shuffled))
        },
    ))
}

fn kruskal_h(sum_of_squares: f64, all: &[f64]) -> f64 {
    let n = all.len() as f64;
    let raw = 12.0 / (n * (n + 1.0)) * sum_of_squares - 3.0 * (n + 1.0);
    let ties: f64 = classes(all).iter().map(|t| (t * t * t - t) as f64).sum();
    raw / (1.0 - ties / (n * n * n - n))
}

fn squares(ranks: &[i64], sizes: &[usize], multiple: i64) -> i64 {
    let mut start = 0;
    let mut total = 0;
    for &n in sizes {
        let sum: i64 = ranks[start..start + n].iter().sum();
        total += sum * sum * (multiple / n as i64);
        start += n;
    }
    total
}

fn sorted(values: &[i64]) -> Vec<i64> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable();
    sorted
}

fn lcm(a: usize, b: usize) -> usize {
    let (mut x, mut y) = (a, b);
    while y > 0 {
        (x, y) = (y, x % y);
    }
    a / x * b
}

/// Number of ways to deal N things into groups of the given sizes.
pub(super) fn multinomial(sizes: &[usize]) -> f64 {
    let mut ways = 1.0;
    let mut dealt = 0;
    for &n in sizes {
        for i in 1..=n {
            dealt += 1;
            ways *= f64::from(dealt) / i as f64;
        }
    }
    ways
}

/// Ways in which the values, dealt in ascending order, fill the groups in their order.
fn sorted_ways(classes: &[usize], sizes: &[usize]) -> f64 {
    let mut ways = 1.0;
    let (mut group, mut room) = (0, sizes[0]);
    for &size in classes {
        let mut left = size;
        let mut parts = Vec::new();
        while left > 0 {
            let part = left.min(room);
            parts.push(part);
            left -= part;
            room -= part;
            if room == 0 && group + 1 < sizes.len() {
                group += 1;
                room = sizes[group];
            }
        }
        ways *= multinomial(&parts);
    }
    ways
}

/// Where a mixed-radix number of class counts stands in the table of states.
struct Places {
    steps: Vec<usize>,
    states: usize,
}

impl Places {
    fn new(limits: &[usize]) -> Option<Places> {
        let mut steps = Vec::with_capacity(limits.len());
        let mut states = 1_usize;
        for limit in limits {
            steps.push(states);
            states = states.checked_mul(limit + 1).filter(|s| *s <= STATES)?;
        }
        Some(Places { steps, states })
    }

    fn read(&self, state: usize, limits: &[usize]) -> Vec<usize> {
        let digits = self.steps.iter().zip(limits);
        digits
            .map(|(step, limit)| state / step % (limit + 1))
            .collect()
    }
}

/// Distribution of S R_j^2 L/n_j. With equal sizes each group taken must hold the lowest value
/// left, which divides the work by k! and changes no share.
fn take_groups(ranks: &[i64], classes: &[usize], sizes: &[usize], multiple: i64) -> Option<Tally> {
    let places = Places::new(classes)?;
    let same = sizes.iter().all(|n| *n == sizes[0]);
    let mut starts = Vec::with_capacity(classes.len());
    classes.iter().fold(0, |start, size| {
        starts.push(ranks[start]);
        start + size
    });
    let mut budget = Budget::usual();
    let mut layer: Vec<Option<Tally>> = vec![None; places.states];
    layer[places.states - 1] = Some(Tally::one(0));
    for &size in sizes {
        let mut next: Vec<Option<Tally>> = vec![None; places.states];
        budget.spend(places.states)?;
        for (state, tally) in layer.iter().enumerate() {
            let Some(tally) = tally else { continue };
            let left = places.read(state, classes);
            let lowest = left.iter().position(|l| *l > 0)?;
            let mut taken = vec![0; left.len()];
            let deal = Deal {
                left: &left,
                lowest: same.then_some(lowest),
            };
            deal.each(0, size, 1, &mut taken, &mut |taken, ways| {
                budget.spend(left.len())?;
                let sum: i64 = taken.iter().zip(&starts).map(|(a, r)| *a as i64 * r).sum();
                let used: usize = taken.iter().zip(&places.steps).map(|(a, s)| a * s).sum();
                let shift = sum * sum * (multiple / size as i64);
                next[state - used].get_or_insert_with(Tally::none).add(
                    tally,
                    shift,
                    ways,
                    &mut budget,
                )
            })?;
        }
        layer = next;
    }
    layer.into_iter().next().flatten()
}

/// All ways to take a number of things from classes.
struct Deal<'a> {
    left: &'a [usize],
    lowest: Option<usize>,
}

impl Deal<'_> {
    fn each(
        &self,
        class: usize,
        size: usize,
        ways: u128,
        taken: &mut Vec<usize>,
        found: &mut impl FnMut(&[usize], u128) -> Option<()>,
    ) -> Option<()> {
        if class == self.left.len() {
            return if size == 0 {
                found(taken, ways)
            } else {
                Some(())
            };
        }
        let held = self.lowest == Some(class);
        for count in usize::from(held)..=size.min(self.left[class]) {
            let here = match held {
                true => choose(self.left[class] - 1, count - 1)?,
                false => choose(self.left[class], count)?,
            };
            taken[class] = count;
            self.each(
                class + 1,
                size - count,
                ways.checked_mul(here)?,
                taken,
                found,
            )?;
        }
        taken[class] = 0;
        Some(())
    }
}

/// Jonckheere-Terpstra test of the declared order of groups, exact given the ties.
///
/// J = pairs from different groups in the declared order, ties half. `p_high` for "rises from
/// the first group to the last".
///
/// # Errors
/// Fewer than two groups, an empty group, a value that is no number.
///
/// Source: Jonckheere 1954, Biometrika 41:133; Hollander & Wolfe 1999, ch. 6.
pub fn jonckheere(groups: &[Vec<f64>]) -> Result<Exact> {
    filled(groups, 2)?;
    let sizes: Vec<usize> = groups.iter().map(Vec::len).collect();
    let all: Vec<f64> = groups.iter().flatten().copied().collect();
    let labels: Vec<usize> = sizes
        .iter()
        .enumerate()
        .flat_map(|(g, n)| std::iter::repeat_n(g, *n))
        .collect();
    let (ranks, _) = integer_ranks(&all);
    let observed = balance(&labels, &ranks);
    let pairs = pairs_between(&sizes);
    let statistic = (observed + pairs) as f64 / 2.0;
    let table = classes(&all);
    if let Some(tally) = balance_distribution(&sizes, &table) {
        let mut exact = tally.exact(statistic, observed, 1.0);
        exact.arrangements = multinomial(&sizes);
        return Ok(exact);
    }
    let mut shuffled = ranks.clone();
    let arrangements = multinomial(&sizes);
    let floor = sorted_ways(&table, &sizes) / arrangements;
    let backwards: Vec<usize> = table.iter().rev().copied().collect();
    let floor_low = sorted_ways(&backwards, &sizes) / arrangements;
    let floors = (floor_low, floor, arrangements);
    Ok(drawn(
        "jonckheere",
        (statistic, i128::from(observed)),
        floors,
        |r| {
            shuffled.shuffle(r);
            i128::from(balance(&labels, &shuffled))
        },
    ))
}

fn pairs_between(sizes: &[usize]) -> i64 {
    let n: usize = sizes.iter().sum();
    let within: usize = sizes.iter().map(|s| s * s).sum();
    ((n * n - within) / 2) as i64
}

/// Concordant less discordant pairs; ties on either side count nothing.
pub(super) fn balance(labels: &[usize], ranks: &[i64]) -> i64 {
    let mut total = 0;
    for i in 0..labels.len() {
        for j in 0..i {
            let side = (labels[i].cmp(&labels[j]) as i64) * (ranks[i].cmp(&ranks[j]) as i64);
            total += side;
        }
    }
    total
}

/// Distribution of concordant less discordant pairs over all arrangements with the given class
/// sizes on both sides; `None` if counting is out of reach.
pub(super) fn balance_distribution(rows: &[usize], columns: &[usize]) -> Option<Tally> {
    let mut budget = Budget::usual();
    let untied = |sizes: &[usize]| sizes.iter().all(|n| *n == 1);
    if untied(columns) {
        return by_convolution(rows, &mut budget);
    }
    if untied(rows) {
        return by_convolution(columns, &mut budget);
    }
    let states = |sizes: &[usize]| sizes.iter().map(|n| (*n + 1) as f64).product::<f64>();
    match states(rows) <= states(columns) {
        true => by_class(rows, columns, &mut budget),
        false => by_class(columns, rows, &mut budget),
    }
}

/// Without ties on one side the parts of J are independent rank sums (the Gaussian multinomial).
fn by_convolution(sizes: &[usize], budget: &mut Budget) -> Option<Tally> {
    let mut total = Tally::one(0);
    let mut before = 0;
    for &n in sizes {
        let mut part = vec![Tally::none(); n + 1];
        part[0] = Tally::one(0);
        for position in 0..before + n {
            for chosen in (0..n.min(position + 1)).rev() {
                let (lower, upper) = part.split_at_mut(chosen + 1);
                let below = (position - chosen) as i64;
                upper[0].add(&lower[chosen], 2 * below - before as i64, 1, budget)?;
            }
        }
        total = total.convolve(&part[n], budget)?;
        before += n;
    }
    Some(total)
}

/// One class of ties after the other; a state is how much of each group is filled.
fn by_class(groups: &[usize], classes: &[usize], budget: &mut Budget) -> Option<Tally> {
    let places = Places::new(groups)?;
    let mut layer: Vec<Option<Tally>> = vec![None; places.states];
    layer[0] = Some(Tally::one(0));
    for &size in classes {
        let mut next: Vec<Option<Tally>> = vec![None; places.states];
        budget.spend(places.states)?;
        for (state, tally) in layer.iter().enumerate() {
            let Some(tally) = tally else { continue };
            let filled = places.read(state, groups);
            let room: Vec<usize> = groups.iter().zip(&filled).map(|(n, f)| n - f).collect();
            let gain = gains(&filled);
            let mut taken = vec![0; groups.len()];
            spread(&room, 0, size, 1, &mut taken, &mut |taken, ways| {
                budget.spend(groups.len())?;
                let shift = taken.iter().zip(&gain).map(|(a, g)| *a as i64 * g).sum();
                let more: usize = taken.iter().zip(&places.steps).map(|(a, s)| a * s).sum();
                next[state + more]
                    .get_or_insert_with(Tally::none)
                    .add(tally, shift, ways, budget)
            })?;
        }
        layer = next;
    }
    layer.into_iter().next_back().flatten()
}

/// For each group: how many stand below it less how many stand above it.
fn gains(filled: &[usize]) -> Vec<i64> {
    let total: i64 = filled.iter().map(|f| *f as i64).sum();
    let mut below = 0;
    filled
        .iter()
        .map(|f| {
            let above = total - below - *f as i64;
            let gain = below - above;
            below += *f as i64;
            gain
        })
        .collect()
}

/// All ways to spread `size` tied values over the groups with room left.
fn spread(
    room: &[usize],
    group: usize,
    size: usize,
    ways: u128,
    taken: &mut Vec<usize>,
    found: &mut impl FnMut(&[usize], u128) -> Option<()>,
) -> Option<()> {
    if group + 1 == room.len() {
        if size > room[group] {
            return Some(());
        }
        taken[group] = size;
        return found(taken, ways);
    }
    for count in 0..=size.min(room[group]) {
        taken[group] = count;
        let ways = ways.checked_mul(choose(size, count)?)?;
        spread(room, group + 1, size - count, ways, taken, found)?;
    }
    Some(())
}

/// Mean and variance of J, printed beside the exact p for readers who know the normal form.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moments {
    /// Mean of J.
    pub mean: f64,
    /// Variance without ties.
    pub variance_untied: f64,
    /// Variance given the ties.
    pub variance: f64,
}

/// Moments of J under the null hypothesis.
///
/// # Errors
/// As [`jonckheere`].
///
/// Source: Hollander & Wolfe 1999, eq. 6.15 f. (tie form of Lehmann 1975).
pub fn jonckheere_moments(groups: &[Vec<f64>]) -> Result<Moments> {
    filled(groups, 2)?;
    let all: Vec<f64> = groups.iter().flatten().copied().collect();
    let sizes: Vec<f64> = groups.iter().map(|g| g.len() as f64).collect();
    let ties: Vec<f64> = classes(&all).iter().map(|t| *t as f64).collect();
    let n = all.len() as f64;
    let over = |list: &[f64], f: fn(f64) -> f64| list.iter().map(|v| f(*v)).sum::<f64>();
    let five = |v: f64| v * (v - 1.0) * (2.0 * v + 5.0);
    let three = |v: f64| v * (v - 1.0) * (v - 2.0);
    let two = |v: f64| v * (v - 1.0);
    let first = (five(n) - over(&sizes, five) - over(&ties, five)) / 72.0;
    let second = match n > 2.0 {
        true => over(&sizes, three) * over(&ties, three) / (36.0 * three(n)),
        false => 0.0,
    };
    let third = over(&sizes, two) * over(&ties, two) / (8.0 * two(n));
    let untied = n * n * (2.0 * n + 3.0) - over(&sizes, |v| v * v * (2.0 * v + 3.0));
    Ok(Moments {
        mean: (n * n - over(&sizes, |v| v * v)) / 4.0,
        variance_untied: untied / 72.0,
        variance: first + second + third,
    })
}
