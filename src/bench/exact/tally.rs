//! Counts of arrangements by integer statistic.

/// A count per value of the statistic, dense from `low` upward.
#[derive(Debug, Clone)]
pub(super) struct Tally {
    low: i64,
    counts: Vec<u128>,
}

/// Work still allowed, in additions of counts; `None` from a step means: draw instead.
#[derive(Debug)]
pub(super) struct Budget(u64);

impl Budget {
    /// About half a second of an optimised build.
    pub(super) fn usual() -> Budget {
        Budget(100_000_000)
    }

    pub(super) fn spend(&mut self, work: usize) -> Option<()> {
        self.0 = self.0.checked_sub(work as u64)?;
        Some(())
    }
}

impl Tally {
    /// One arrangement, at `value`.
    pub(super) fn one(value: i64) -> Tally {
        Tally {
            low: value,
            counts: vec![1],
        }
    }

    /// No arrangement yet.
    pub(super) fn none() -> Tally {
        Tally {
            low: 0,
            counts: Vec::new(),
        }
    }

    /// Number of values between the smallest and the largest.
    pub(super) fn width(&self) -> usize {
        self.counts.len()
    }

    /// Adds `times` copies of `other`, its values moved by `shift`. `None` if a count would
    /// exceed 128 bits or the budget is spent.
    pub(super) fn add(
        &mut self,
        other: &Tally,
        shift: i64,
        times: u128,
        budget: &mut Budget,
    ) -> Option<()> {
        budget.spend(other.width())?;
        if other.counts.is_empty() {
            return Some(());
        }
        let start = other.low + shift;
        self.stretch(start, start + other.width() as i64);
        let from = (start - self.low) as usize;
        let mine = &mut self.counts[from..from + other.counts.len()];
        for (sum, count) in mine.iter_mut().zip(&other.counts) {
            let more = if times == 1 {
                *count
            } else {
                count.checked_mul(times)?
            };
            *sum = sum.checked_add(more)?;
        }
        Some(())
    }

    fn stretch(&mut self, start: i64, end: i64) {
        if self.counts.is_empty() {
            self.low = start;
        }
        if start < self.low {
            let missing = (self.low - start) as usize;
            self.counts.splice(0..0, std::iter::repeat_n(0, missing));
            self.low = start;
        }
        let needed = (end - self.low) as usize;
        if needed > self.counts.len() {
            self.counts.resize(needed, 0);
        }
    }

    /// The distribution of the sum of two independent statistics.
    pub(super) fn convolve(&self, other: &Tally, budget: &mut Budget) -> Option<Tally> {
        let mut sum = Tally::none();
        for (i, &count) in self.counts.iter().enumerate() {
            if count > 0 {
                sum.add(other, self.low + i as i64, count, budget)?;
            }
        }
        Some(sum)
    }

    /// Values with their counts, ascending, without the empty ones.
    pub(super) fn entries(&self) -> impl DoubleEndedIterator<Item = (i64, u128)> + '_ {
        let values = self.counts.iter().enumerate();
        values
            .filter(|(_, count)| **count > 0)
            .map(|(i, count)| (self.low + i as i64, *count))
    }

    /// The test result at `observed`.
    ///
    /// * `statistic`: the observed value in its usual scale
    /// * `multiple`: arrangements counted as one, for instance by symmetry
    pub(super) fn exact(&self, statistic: f64, observed: i64, multiple: f64) -> super::Exact {
        let total: u128 = self.counts.iter().sum();
        let share = |count: u128| count as f64 / total as f64;
        let low = self.entries().filter(|(v, _)| *v <= observed);
        let high = self.entries().filter(|(v, _)| *v >= observed);
        super::Exact {
            statistic,
            p_low: share(low.map(|(_, c)| c).sum()),
            p_high: share(high.map(|(_, c)| c).sum()),
            floor_low: share(self.entries().next().map_or(0, |(_, c)| c)),
            floor_high: share(self.entries().next_back().map_or(0, |(_, c)| c)),
            arrangements: total as f64 * multiple,
            how: super::How::Counted,
        }
    }
}

/// Ways to choose `k` of `n`; `None` beyond 128 bits.
pub(super) fn choose(n: usize, k: usize) -> Option<u128> {
    if k > n {
        return Some(0);
    }
    let k = k.min(n - k) as u128;
    let mut ways = 1_u128;
    for i in 1..=k {
        ways = ways.checked_mul(n as u128 - k + i)? / i;
    }
    Some(ways)
}

/// The next arrangement of a multiset in ascending order; false after the last.
pub(super) fn next_arrangement(items: &mut [i64]) -> bool {
    let Some(pivot) = (1..items.len()).rev().find(|&i| items[i - 1] < items[i]) else {
        return false;
    };
    let successor = (pivot..items.len())
        .rev()
        .find(|&i| items[i] > items[pivot - 1])
        .unwrap_or(pivot);
    items.swap(pivot - 1, successor);
    items[pivot..].reverse();
    true
}
