//! Points sorted into cubic cells, for questions about neighbours.

use base::Vec3;

/// At most this many cells: a coarser grid is slower, never wrong.
const MOST_CELLS: f64 = 4e6;

/// An index over points that do not move.
#[derive(Debug, Clone, Default)]
pub(super) struct Grid {
    low: Vec3,
    /// [m]
    cell: f64,
    size: [usize; 3],
    starts: Vec<u32>,
    items: Vec<u32>,
}

impl Grid {
    /// * `cell`: [m] wanted side
    pub fn new(points: impl ExactSizeIterator<Item = Vec3> + Clone, cell: f64) -> Grid {
        let Some(first) = points.clone().next() else {
            return Grid::default();
        };
        let (low, high) = points
            .clone()
            .fold((first, first), |(lo, hi), p| (lo.inf(&p), hi.sup(&p)));
        let extent = high - low;
        let cells = |cell: f64| {
            extent
                .iter()
                .map(|e| (e / cell).floor() + 1.0)
                .product::<f64>()
        };
        let mut cell = cell.max(f64::MIN_POSITIVE);
        while cells(cell) > MOST_CELLS {
            cell *= 1.25;
        }
        let size = [0, 1, 2].map(|a| (extent[a] / cell).floor() as usize + 1);
        let mut grid = Grid {
            low,
            cell,
            size,
            starts: vec![0; size.iter().product::<usize>() + 1],
            items: vec![0; points.len()],
        };
        for p in points.clone() {
            let cell = grid.cell_of(&p);
            grid.starts[cell + 1] += 1;
        }
        for c in 1..grid.starts.len() {
            grid.starts[c] += grid.starts[c - 1];
        }
        let mut fill = grid.starts.clone();
        for (number, p) in points.enumerate() {
            let cell = grid.cell_of(&p);
            grid.items[fill[cell] as usize] = number as u32;
            fill[cell] += 1;
        }
        grid
    }

    fn index(&self, p: &Vec3) -> [usize; 3] {
        [0, 1, 2].map(|a| {
            let x = ((p[a] - self.low[a]) / self.cell).floor();
            (x.max(0.0) as usize).min(self.size[a] - 1)
        })
    }

    fn cell_of(&self, p: &Vec3) -> usize {
        let [i, j, k] = self.index(p);
        (i * self.size[1] + j) * self.size[2] + k
    }

    /// Hands every point whose cell touches the ball to `sink`: candidates, in a fixed order.
    pub fn near(&self, point: &Vec3, radius: f64, mut sink: impl FnMut(usize)) {
        if self.items.is_empty() {
            return;
        }
        let lo = self.index(&(point - Vec3::repeat(radius)));
        let hi = self.index(&(point + Vec3::repeat(radius)));
        for i in lo[0]..=hi[0] {
            for j in lo[1]..=hi[1] {
                let row = (i * self.size[1] + j) * self.size[2];
                let from = self.starts[row + lo[2]] as usize;
                let to = self.starts[row + hi[2] + 1] as usize;
                self.items[from..to].iter().for_each(|n| sink(*n as usize));
            }
        }
    }

    /// [m] side of a cell.
    pub fn cell(&self) -> f64 {
        self.cell
    }

    /// [m] how far from `point` all of the points lie at most.
    pub fn reach(&self, point: &Vec3) -> f64 {
        let high = self.low + Vec3::from(self.size.map(|s| s as f64)) * self.cell;
        (point - self.low).abs().sup(&(point - high).abs()).norm()
    }
}
