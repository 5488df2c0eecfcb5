//! Sums over the parts of a sweep: all that effects and ranks need, the same size for four parts
//! as for a million.

use std::collections::BTreeMap;

/// Most cells of a table of two factors; larger ones are not kept.
const MOST_CELLS: usize = 4096;

/// Something that differs between parts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Factor {
    /// Name for people.
    pub name: String,
    /// Words of its levels.
    pub levels: Vec<String>,
    /// It is the figure.
    pub is_figure: bool,
}

/// Sum over some of the parts, draw by draw.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Cell {
    /// Number of parts.
    pub count: u64,
    sums: Vec<f64>,
}

impl Cell {
    fn add(&mut self, draws: &[f64]) {
        self.count += 1;
        self.sums.resize(draws.len(), 0.0);
        for (sum, draw) in self.sums.iter_mut().zip(draws) {
            *sum += draw;
        }
    }

    /// Mean of draw `d`; `None` without parts.
    #[must_use]
    pub fn mean(&self, d: usize) -> Option<f64> {
        (self.count > 0).then(|| self.sums[d] / self.count as f64)
    }

    /// Means of all draws; empty without parts.
    #[must_use]
    pub fn means(&self) -> Vec<f64> {
        let n = self.count as f64;
        self.sums.iter().map(|s| s / n).collect()
    }
}

/// Sums of one exposure.
#[derive(Debug, Clone, PartialEq)]
pub struct Tally {
    /// What differs between parts.
    pub factors: Vec<Factor>,
    /// All parts.
    pub all: Cell,
    squares: Vec<f64>,
    levels: Vec<Vec<Cell>>,
    pairs: BTreeMap<(usize, usize), Vec<Cell>>,
    /// Parts without an end in some draw, by factor and level.
    pub never: Vec<Vec<u64>>,
    /// Parts without an end in some draw.
    pub never_all: u64,
}

impl Tally {
    /// Nothing yet.
    #[must_use]
    pub fn new(factors: Vec<Factor>) -> Tally {
        let of = |f: usize| factors[f].levels.len();
        let mut pairs = BTreeMap::new();
        for a in 0..factors.len() {
            for b in a + 1..factors.len() {
                if of(a) * of(b) <= MOST_CELLS {
                    pairs.insert((a, b), vec![Cell::default(); of(a) * of(b)]);
                }
            }
        }
        Tally {
            all: Cell::default(),
            squares: Vec::new(),
            levels: factors
                .iter()
                .map(|f| vec![Cell::default(); f.levels.len()])
                .collect(),
            never: factors.iter().map(|f| vec![0; f.levels.len()]).collect(),
            never_all: 0,
            pairs,
            factors,
        }
    }

    /// Adds one reading.
    ///
    /// * `at`: level of each factor
    /// * `draws`: ln of the quantity, as many in every part; empty or not finite is "never"
    pub fn add(&mut self, at: &[usize], draws: &[f64]) {
        if draws.is_empty() || draws.iter().any(|d| !d.is_finite()) {
            self.never_all += 1;
            for (f, level) in at.iter().enumerate() {
                self.never[f][*level] += 1;
            }
            return;
        }
        self.all.add(draws);
        self.squares.resize(draws.len(), 0.0);
        for (square, draw) in self.squares.iter_mut().zip(draws) {
            *square += draw * draw;
        }
        for (f, level) in at.iter().enumerate() {
            self.levels[f][*level].add(draws);
        }
        for ((a, b), cells) in &mut self.pairs {
            cells[at[*a] * self.factors[*b].levels.len() + at[*b]].add(draws);
        }
    }

    /// Number of draws.
    #[must_use]
    pub fn draws(&self) -> usize {
        self.squares.len()
    }

    /// Sum of squares about the mean in draw `d`.
    #[must_use]
    pub fn spread(&self, d: usize) -> f64 {
        let n = self.all.count as f64;
        let mean = self.all.sums[d] / n;
        (self.squares[d] - n * mean * mean).max(0.0)
    }

    /// The parts at one level of a factor.
    #[must_use]
    pub fn level(&self, factor: usize, level: usize) -> &Cell {
        &self.levels[factor][level]
    }

    /// The parts at one level of each of two factors; `None` where the table was too large.
    #[must_use]
    pub fn both(&self, (a, i): (usize, usize), (b, j): (usize, usize)) -> Option<&Cell> {
        let ((a, i), (b, j)) = if a < b {
            ((a, i), (b, j))
        } else {
            ((b, j), (a, i))
        };
        let cells = self.pairs.get(&(a, b))?;
        cells.get(i * self.factors[b].levels.len() + j)
    }

    /// Pairs of factors that are kept.
    pub fn kept_pairs(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        self.pairs.keys().copied()
    }

    /// True if every combination of two levels that is kept holds the same number of parts, so that
    /// effects do not mix.
    #[must_use]
    pub fn is_balanced(&self) -> bool {
        let even = |cells: &[Cell]| cells.windows(2).all(|w| w[0].count == w[1].count);
        self.never_all == 0
            && self.pairs.values().all(|cells| even(cells))
            && self.levels.iter().all(|cells| even(cells))
    }
}
