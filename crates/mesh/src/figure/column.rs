//! Solid by signed crossings along parallel columns.
//!
//! A column that enters and leaves closed shells has a whole winding number between crossings;
//! wherever it is 1 or more there is material. Overlaps then count once, an inverted inner
//! shell takes away, and the same pass tells how much of the body is covered twice or inside out.
//! The columns run along z of a fixed generic attitude: a flat base along a grid direction would
//! otherwise be off by half a column, an error that does not shrink with finer columns.

use super::mesh::Mesh;
use super::winding::Winding;
use base::{Mat3, Quat, Vec3};
use nalgebra::Quaternion;
use rayon::prelude::*;

/// A winding number this near to a whole one holds for the whole interval.
const WHOLE: f64 = 0.08;

/// Most crossings that are kept, 240 MB: a real figure has a hundredth of them. A heap of surfaces
/// with more gets wider columns.
const MOST_CROSSINGS: f64 = 1e7;

/// One of two fixed attitudes in which no plane of a figure lies along the columns.
#[must_use]
pub fn attitude(second: bool) -> Quat {
    let q = if second {
        Quaternion::new(0.6213, -0.3729, 0.2147, 0.6549)
    } else {
        Quaternion::new(0.8347, 0.2741, 0.3983, 0.2637)
    };
    Quat::from_quaternion(q)
}

/// Volume with its first and second moments.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moments {
    /// [m3]
    pub volume: f64,
    /// [m4] integral of position.
    pub first: Vec3,
    /// [m5] integral of position times its transpose.
    pub second: Mat3,
}

impl Moments {
    /// Nothing.
    #[must_use]
    pub fn zero() -> Moments {
        Moments {
            volume: 0.0,
            first: Vec3::zeros(),
            second: Mat3::zeros(),
        }
    }

    /// Centre of mass [m] and inertia tensor about it at unit density [m5].
    #[must_use]
    pub fn centre_and_inertia(&self) -> (Vec3, Mat3) {
        let centre = self.first / self.volume;
        let about = self.second - centre * centre.transpose() * self.volume;
        (centre, Mat3::identity() * about.trace() - about)
    }

    /// The same body seen from a frame turned back by `attitude` and moved by `shift`.
    #[must_use]
    pub fn turned_back(&self, attitude: &Quat, shift: &Vec3) -> Moments {
        let back = attitude.inverse().to_rotation_matrix();
        let first = back * self.first;
        let second = back * self.second * back.inverse();
        let cross = first * shift.transpose();
        Moments {
            volume: self.volume,
            first: first + shift * self.volume,
            second: second + cross + cross.transpose() + shift * shift.transpose() * self.volume,
        }
    }

    /// Adds the piece of a column between two heights.
    ///
    /// * `x`, `y`: [m] middle of the column; `width`: [m] its side
    pub(super) fn add_piece(&mut self, x: f64, y: f64, width: f64, ends: (f64, f64)) {
        let (a, b) = ends;
        let face = width * width;
        let length = (b - a) * face;
        let z1 = (b * b - a * a) / 2.0 * face;
        let z2 = (b * b * b - a * a * a) / 3.0 * face;
        let own = face / 12.0;
        self.volume += length;
        self.first += Vec3::new(x * length, y * length, z1);
        let (xx, yy, xy) = (
            (x * x + own) * length,
            (y * y + own) * length,
            x * y * length,
        );
        let (xz, yz) = (x * z1, y * z1);
        self.second += Mat3::new(xx, xy, xz, xy, yy, yz, xz, yz, z2);
    }

    pub(super) fn add(&mut self, other: &Moments) {
        self.volume += other.volume;
        self.first += other.first;
        self.second += other.second;
    }
}

/// What the columns saw.
#[derive(Debug, Clone, PartialEq)]
pub struct Columns {
    /// Where the winding number is 1 or more, in the figure's frame.
    pub solid: Moments,
    /// [m3] covered twice or more.
    pub twice: f64,
    /// [m3] with a negative winding number: inside out.
    pub negative: f64,
    /// Columns that met anything.
    pub met: usize,
    /// Columns that did not end at zero: the mesh is open there.
    pub unbalanced: usize,
}

/// Column, height, +1 entering or -1 leaving.
type Crossing = (u32, f64, i8);

/// A mesh in column attitude with its crossings.
pub(super) struct Crossed {
    pub attitude: Quat,
    pub shift: Vec3,
    pub width: f64,
    pub low: Vec3,
    high_z: f64,
    rows: usize,
    /// Sorted.
    crossings: Vec<Crossing>,
}

impl Crossed {
    /// * `count`: columns along the largest extent
    pub fn new(mesh: &Mesh, count: usize, attitude: Quat) -> Crossed {
        let (low, high) = mesh.bounds().unwrap_or_default();
        let shift = (low + high) / 2.0;
        let turn = attitude.to_rotation_matrix();
        let points: Vec<Vec3> = mesh.vertices.iter().map(|p| turn * (p - shift)).collect();
        let first = points.first().copied().unwrap_or_default();
        let (lo, hi) = points
            .iter()
            .fold((first, first), |(lo, hi), p| (lo.inf(p), hi.sup(p)));
        let shadow = |t: &[u32; 3]| {
            let [a, b, c] = t.map(|v| points[v as usize]);
            (b - a).cross(&(c - a)).z.abs() / 2.0
        };
        let shadows: f64 = mesh.triangles.iter().map(shadow).sum();
        let width = ((high - low).max() / count as f64).max((shadows / MOST_CROSSINGS).sqrt());
        let rows = ((hi.y - lo.y) / width).ceil() as usize + 2;
        let mut crossed = Crossed {
            attitude,
            shift,
            width,
            low: lo - Vec3::new(0.37, 0.41, 0.0) * width,
            high_z: hi.z,
            rows,
            crossings: Vec::new(),
        };
        for t in &mesh.triangles {
            crossed.cross(&t.map(|v| points[v as usize]));
        }
        crossed
            .crossings
            .sort_unstable_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(b.2.cmp(&a.2)));
        crossed
    }

    fn cross(&mut self, t: &[Vec3; 3]) {
        let lo = t[0].inf(&t[1]).inf(&t[2]);
        let hi = t[0].sup(&t[1]).sup(&t[2]);
        let range = |lo: f64, hi: f64, from: f64| {
            let first = ((lo - from) / self.width - 0.5).ceil().max(0.0) as usize;
            let last = ((hi - from) / self.width - 0.5).floor();
            (first, if last < 0.0 { 0 } else { last as usize + 1 })
        };
        let (i0, i1) = range(lo.x, hi.x, self.low.x);
        let (j0, j1) = range(lo.y, hi.y, self.low.y);
        for i in i0..i1 {
            for j in j0..j1 {
                let (x, y) = self.middle(i * self.rows + j);
                if let Some((z, sign)) = crossing(t, x, y) {
                    self.crossings.push(((i * self.rows + j) as u32, z, sign));
                }
            }
        }
    }

    /// [m] middle of a column.
    pub fn middle(&self, column: usize) -> (f64, f64) {
        let (i, j) = (column / self.rows, column % self.rows);
        (
            self.low.x + (i as f64 + 0.5) * self.width,
            self.low.y + (j as f64 + 0.5) * self.width,
        )
    }

    /// The crossings of each column that has any.
    pub fn columns(&self) -> impl Iterator<Item = (usize, &[Crossing])> {
        self.crossings
            .chunk_by(|a, b| a.0 == b.0)
            .map(|run| (run[0].0 as usize, run))
    }

    /// Turns moments in column attitude into the figure's frame.
    pub fn back(&self, moments: &Moments) -> Moments {
        moments.turned_back(&self.attitude, &self.shift)
    }

    /// Integrates every interval that the winding number calls inside. Crossings only cut the
    /// columns; where the number is far from whole, or the column runs through a hole, the
    /// interval is cut finer.
    pub fn integrate_with(&self, winding: &Winding) -> Moments {
        let columns: Vec<(usize, &[Crossing])> = self.columns().collect();
        let parts: Vec<Moments> = columns
            .par_iter()
            .map(|(column, run)| self.column_with(winding, *column, run))
            .collect();
        let mut total = Moments::zero();
        parts.iter().for_each(|m| total.add(m));
        self.back(&total)
    }

    fn column_with(&self, winding: &Winding, column: usize, run: &[Crossing]) -> Moments {
        let mut found = Moments::zero();
        let (x, y) = self.middle(column);
        let back = self.attitude.inverse().to_rotation_matrix();
        let at = |z: f64| winding.at(&(back * Vec3::new(x, y, z) + self.shift));
        let balanced = run.iter().map(|c| i32::from(c.2)).sum::<i32>() == 0;
        let mut ends = vec![self.low.z];
        ends.extend(run.iter().map(|c| c.1));
        ends.push(self.high_z);
        for pair in ends.windows(2) {
            let (a, b) = (pair[0], pair[1]);
            if b - a < 1e-6 * self.width {
                continue;
            }
            let w = at((a + b) / 2.0);
            if balanced && (w - w.round()).abs() < WHOLE {
                if w > 0.5 {
                    found.add_piece(x, y, self.width, (a, b));
                }
                continue;
            }
            let steps = ((b - a) / self.width).ceil().max(2.0);
            let step = (b - a) / steps;
            for k in 0..steps as usize {
                let from = a + k as f64 * step;
                if at(from + step / 2.0) > 0.5 {
                    found.add_piece(x, y, self.width, (from, from + step));
                }
            }
        }
        found
    }

    /// Integrates balanced columns; unbalanced ones only count.
    pub fn integrate(&self) -> Columns {
        let mut seen = Columns {
            solid: Moments::zero(),
            twice: 0.0,
            negative: 0.0,
            met: 0,
            unbalanced: 0,
        };
        let face = self.width * self.width;
        for (column, run) in self.columns() {
            seen.met += 1;
            if run.iter().map(|c| i32::from(c.2)).sum::<i32>() != 0 {
                seen.unbalanced += 1;
            }
            let (x, y) = self.middle(column);
            let mut winding = 0;
            for pair in run.windows(2) {
                winding += i32::from(pair[0].2);
                let ends = (pair[0].1, pair[1].1);
                if winding >= 1 {
                    seen.solid.add_piece(x, y, self.width, ends);
                }
                if winding >= 2 {
                    seen.twice += (ends.1 - ends.0) * face;
                }
                if winding < 0 {
                    seen.negative += (ends.1 - ends.0) * face;
                }
            }
        }
        seen.solid = self.back(&seen.solid);
        seen
    }
}

/// Height at which the vertical line through (x, y) crosses the triangle; +1 when it enters.
fn crossing(t: &[Vec3; 3], x: f64, y: f64) -> Option<(f64, i8)> {
    // Each edge is judged from its lower end, so that the two triangles beside it agree; a line
    // exactly on the edge counts as left of it.
    let side = |p: &Vec3, q: &Vec3| {
        let (p, q, sign) = if (p.x, p.y, p.z) < (q.x, q.y, q.z) {
            (p, q, 1.0)
        } else {
            (q, p, -1.0)
        };
        let value = (q.x - p.x) * (y - p.y) - (q.y - p.y) * (x - p.x);
        sign * if value == 0.0 {
            f64::MIN_POSITIVE
        } else {
            value
        }
    };
    let e = [side(&t[1], &t[2]), side(&t[2], &t[0]), side(&t[0], &t[1])];
    let up = e.iter().all(|e| *e > 0.0);
    if !up && !e.iter().all(|e| *e < 0.0) {
        return None;
    }
    let total = e[0] + e[1] + e[2];
    let z = (e[0] * t[0].z + e[1] * t[1].z + e[2] * t[2].z) / total;
    Some((z, if up { -1 } else { 1 }))
}

/// Integrates a mesh in one of the two fixed attitudes.
///
/// * `count`: columns along the largest extent, 16 or more
#[must_use]
pub fn columns(mesh: &Mesh, count: usize, second: bool) -> Columns {
    Crossed::new(mesh, count, attitude(second)).integrate()
}
