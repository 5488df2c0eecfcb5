//! Height map of a figure as a pad sees it: the first surface only, as depth below the highest
//! point, averaged over the covered part of each cell.

use super::finger::Dome;
use super::grid::Grid;
use super::presser::Outline;
use base::{Quat, Vec3};
use mesh::figure::Mesh;

/// Samples along each side of a cell.
pub const SAMPLES: usize = 4;
/// A cell takes part when at least this many of its samples are covered.
const COVER: usize = SAMPLES * SAMPLES / 2;

/// A figure turned under a pad. The pad lies above: its surface is level, it comes down along -z.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose {
    /// From the figure's frame to the pad's.
    pub turn: Quat,
}

impl Pose {
    /// The pose in which the direction `outward` of the figure points at the pad.
    ///
    /// * `outward`: unit vector in the figure's frame
    #[must_use]
    pub fn facing(outward: &Vec3) -> Pose {
        let turn = Quat::rotation_between(outward, &Vec3::z())
            .unwrap_or_else(|| Quat::from_axis_angle(&Vec3::x_axis(), std::f64::consts::PI));
        Pose { turn }
    }

    /// The pad's outward direction in the figure's frame.
    #[must_use]
    pub fn outward(&self) -> Vec3 {
        self.turn.inverse() * Vec3::z()
    }
}

/// Depth map of one pose on one grid.
#[derive(Debug, Clone)]
pub struct Relief {
    /// Where the cells lie.
    pub grid: Grid,
    /// [m] height of the figure's highest point in the pad's frame.
    pub top: f64,
    /// [m] mean depth below the top of the covered part of a cell; infinite when less than half
    /// of it is covered.
    pub depth: Vec<f64>,
    /// Roundness of the pad that is contained in the depths.
    pub dome: Option<Dome>,
    /// [m] what was taken off all depths so that the first touch has depth 0.
    pub first: f64,
}

impl Relief {
    /// Looks at the turned triangles from above.
    ///
    /// * `triangles`: \[m\] corners in the pad's frame
    /// * `reach`: \[m\] what lies deeper below the top than this is left out
    #[must_use]
    pub fn new(triangles: &[[Vec3; 3]], grid: &Grid, reach: f64) -> Relief {
        let top = top(triangles);
        let floor = top - reach;
        let (width, height) = (grid.columns * SAMPLES, grid.rows * SAMPLES);
        let mut first = vec![f32::INFINITY; width * height];
        let step = grid.spacing / SAMPLES as f64;
        let origin = [grid.corner[0] + 0.5 * step, grid.corner[1] + 0.5 * step];
        for triangle in triangles {
            if triangle.iter().all(|v| v.z < floor) {
                continue;
            }
            scan(triangle, origin, step, [width, height], |at, z| {
                let depth = (top - z) as f32;
                if depth < first[at] {
                    first[at] = depth;
                }
            });
        }
        let depth = (0..grid.cells())
            .map(|c| mean_depth(&first, width, c % grid.columns, c / grid.columns, reach))
            .collect();
        Relief {
            grid: *grid,
            top,
            depth,
            dome: None,
            first: 0.0,
        }
    }

    /// Leaves out what a pad of this outline does not cover and adds its roundness. Depth then
    /// counts from the place the pad touches first.
    pub fn cut(&mut self, outline: &Outline) {
        for cell in 0..self.grid.cells() {
            let at = self.grid.middle(cell);
            if outline.window.is_some_and(|w| !w.holds(at)) {
                self.depth[cell] = f64::INFINITY;
            }
            if let Some(dome) = &outline.dome {
                self.depth[cell] += dome.rise(at);
            }
        }
        self.dome = outline.dome;
        if outline.dome.is_some() {
            let first = self.depth.iter().copied().fold(f64::INFINITY, f64::min);
            if first.is_finite() {
                self.depth.iter_mut().for_each(|d| *d -= first);
                self.first = first;
            }
        }
    }

    /// [m] gap field of the solver at an indentation; minus infinity where there is no figure.
    #[must_use]
    pub fn gap(&self, indentation: f64) -> Vec<f64> {
        self.depth.iter().map(|d| indentation - d).collect()
    }

    /// The same on cells `times` as large, by area mean of the covered cells.
    #[must_use]
    pub fn coarser(&self, times: usize) -> Relief {
        let covered: Vec<f64> = (self.depth.iter())
            .map(|d| f64::from(u8::from(d.is_finite())))
            .collect();
        let finite: Vec<f64> = (self.depth.iter())
            .map(|d| if d.is_finite() { *d } else { 0.0 })
            .collect();
        let share = self.grid.averaged(&covered, times);
        let mean = self.grid.averaged(&finite, times);
        let depth = (share.iter().zip(&mean))
            .map(|(s, m)| if *s >= 0.5 { m / s } else { f64::INFINITY })
            .collect();
        Relief {
            grid: self.grid.coarser(times),
            top: self.top,
            depth,
            dome: self.dome,
            first: self.first,
        }
    }

    /// [m] the point of the surface at the middle of a cell, in the pad's frame.
    #[must_use]
    pub fn point(&self, cell: usize) -> Vec3 {
        let at = self.grid.middle(cell);
        let rise = self.dome.map_or(0.0, |d| d.rise(at));
        Vec3::new(
            at[0],
            at[1],
            self.top - (self.depth[cell] + self.first - rise),
        )
    }

    /// Slope of the depth map at a cell, along both axes; zero across borders.
    #[must_use]
    pub fn slope(&self, cell: usize) -> [f64; 2] {
        let (columns, rows) = (self.grid.columns, self.grid.rows);
        let (i, j) = (cell % columns, cell / columns);
        let along = |low: usize, high: usize, cells: f64| {
            let d = self.depth[high] - self.depth[low];
            if d.is_finite() {
                d / (cells * self.grid.spacing)
            } else {
                0.0
            }
        };
        let x = match i {
            0 => 0.0,
            _ if i + 1 == columns => 0.0,
            _ => along(cell - 1, cell + 1, 2.0),
        };
        let y = match j {
            0 => 0.0,
            _ if j + 1 == rows => 0.0,
            _ => along(cell - columns, cell + columns, 2.0),
        };
        [x, y]
    }
}

/// Corners of the mesh in the pad's frame.
#[must_use]
pub fn turned(mesh: &Mesh, pose: &Pose) -> Vec<[Vec3; 3]> {
    turned_in(mesh, pose, |_| true).0
}

/// Those of the triangles that are wanted, and the height \[m\] of the highest corner of all.
#[must_use]
pub fn turned_in(
    mesh: &Mesh,
    pose: &Pose,
    wanted: impl Fn(&[Vec3; 3]) -> bool,
) -> (Vec<[Vec3; 3]>, f64) {
    let turn = pose.turn.to_rotation_matrix();
    let vertices: Vec<Vec3> = mesh.vertices.iter().map(|v| turn * v).collect();
    let highest = vertices
        .iter()
        .fold(f64::NEG_INFINITY, |top, v| top.max(v.z));
    let triangles = (mesh.triangles.iter())
        .map(|t| t.map(|v| vertices[v as usize]))
        .filter(wanted);
    (triangles.collect(), highest)
}

/// [m] height of the highest corner.
#[must_use]
pub fn top(triangles: &[[Vec3; 3]]) -> f64 {
    (triangles.iter().flatten()).fold(f64::NEG_INFINITY, |top, v| top.max(v.z))
}

/// [m] rectangle of all that lies within `reach` of the top, as seen from above.
#[must_use]
pub fn footprint(triangles: &[[Vec3; 3]], reach: f64) -> ([f64; 2], [f64; 2]) {
    let floor = top(triangles) - reach;
    let mut low = [f64::INFINITY; 2];
    let mut high = [f64::NEG_INFINITY; 2];
    let mut see = |x: f64, y: f64| {
        low = [low[0].min(x), low[1].min(y)];
        high = [high[0].max(x), high[1].max(y)];
    };
    for triangle in triangles {
        for k in 0..3 {
            let (a, b) = (triangle[k], triangle[(k + 1) % 3]);
            if a.z >= floor {
                see(a.x, a.y);
            }
            if (a.z >= floor) != (b.z >= floor) {
                let at = a + (b - a) * ((floor - a.z) / (b.z - a.z));
                see(at.x, at.y);
            }
        }
    }
    (low, high)
}

/// Hands the number and the height of every sample under a triangle to `sink`.
fn scan(
    [a, b, c]: &[Vec3; 3],
    origin: [f64; 2],
    step: f64,
    [width, height]: [usize; 2],
    mut sink: impl FnMut(usize, f64),
) {
    let (u, v) = (b - a, c - a);
    let twice = u.x * v.y - u.y * v.x;
    if twice == 0.0 {
        return;
    }
    let (zx, zy) = (
        (u.z * v.y - v.z * u.y) / twice,
        (v.z * u.x - u.z * v.x) / twice,
    );
    let (lowest, highest) = (a.z.min(b.z).min(c.z), a.z.max(b.z).max(c.z));
    let (y0, y1) = (a.y.min(b.y).min(c.y), a.y.max(b.y).max(c.y));
    let from = ((y0 - origin[1]) / step).ceil().max(0.0) as usize;
    let to = ((y1 - origin[1]) / step).floor().min(height as f64 - 1.0);
    if to < 0.0 {
        return;
    }
    for row in from..=to as usize {
        let y = origin[1] + row as f64 * step;
        let (mut x0, mut x1) = (f64::INFINITY, f64::NEG_INFINITY);
        for (p, q) in [(a, b), (b, c), (c, a)] {
            if (p.y <= y) != (q.y <= y) {
                let x = p.x + (q.x - p.x) * ((y - p.y) / (q.y - p.y));
                x0 = x0.min(x);
                x1 = x1.max(x);
            }
        }
        let first = ((x0 - origin[0]) / step).ceil().max(0.0);
        // Right border open: a sample on a shared edge belongs to one side.
        let last = (((x1 - origin[0]) / step).ceil() - 1.0).min(width as f64 - 1.0);
        // Empty (also when the row misses the triangle) unless first <= last.
        if first > last || first.is_infinite() {
            continue;
        }
        for column in first as usize..=last as usize {
            let x = origin[0] + column as f64 * step;
            let z = a.z + zx * (x - a.x) + zy * (y - a.y);
            sink(row * width + column, z.clamp(lowest, highest));
        }
    }
}

fn mean_depth(first: &[f32], width: usize, i: usize, j: usize, reach: f64) -> f64 {
    let (mut sum, mut count) = (0.0, 0);
    for row in 0..SAMPLES {
        let line = &first[(j * SAMPLES + row) * width + i * SAMPLES..][..SAMPLES];
        for d in line.iter().filter(|d| f64::from(**d) <= reach) {
            sum += f64::from(*d);
            count += 1;
        }
    }
    if count >= COVER {
        sum / count as f64
    } else {
        f64::INFINITY
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use mesh::figure::shapes::{block, icosphere};

    #[test]
    fn a_sphere_is_seen_as_a_cap_from_any_side() {
        let mesh = icosphere(5, 5e-3);
        let grid = Grid::centred(64, 64, 0.25e-3);
        for outward in [Vec3::z(), -Vec3::z(), Vec3::new(0.6, -0.48, 0.64)] {
            let triangles = turned(&mesh, &Pose::facing(&outward));
            let relief = Relief::new(&triangles, &grid, 0.02);
            let mut area = 0.0;
            for (c, d) in relief
                .depth
                .iter()
                .enumerate()
                .filter(|(_, d)| d.is_finite())
            {
                let [x, y] = grid.middle(c);
                let r = x.hypot(y);
                area += grid.cell_area();
                if r < 4e-3 {
                    let cap = 5e-3 - (25e-6 - r * r).sqrt();
                    // Cell mean of a bent surface and the facets of the mesh.
                    assert!((d - cap).abs() < 1.5e-5, "{r}: {d} {cap}");
                }
            }
            let circle = std::f64::consts::PI * 25e-6;
            // Half-covered border cells count whole.
            assert!((area / circle - 1.0).abs() < 0.02, "{area} {circle}");
        }
    }

    #[test]
    fn a_block_on_the_grid_is_covered_exactly_once() {
        let mesh = block(Vec3::new(-2e-3, -1e-3, 0.0), Vec3::new(2e-3, 1e-3, 3e-3));
        let grid = Grid::centred(32, 32, 0.25e-3);
        let relief = Relief::new(&turned(&mesh, &Pose::facing(&Vec3::z())), &grid, 1e-3);
        let covered = relief.depth.iter().filter(|d| d.is_finite()).count();
        assert_eq!(covered, 16 * 8);
        assert!(
            relief
                .depth
                .iter()
                .filter(|d| d.is_finite())
                .all(|d| *d < 1e-9)
        );
        assert_eq!(
            relief
                .coarser(2)
                .depth
                .iter()
                .filter(|d| d.is_finite())
                .count(),
            8 * 4
        );
        let (low, high) = footprint(&turned(&mesh, &Pose::facing(&Vec3::x())), 1e-3);
        assert!((high[0] - low[0] - 3e-3).abs() < 1e-12 || (high[1] - low[1] - 3e-3).abs() < 1e-12);
    }

    #[test]
    fn facing_turns_the_direction_to_the_pad() {
        for d in [Vec3::z(), -Vec3::z(), Vec3::y(), Vec3::new(0.6, 0.0, -0.8)] {
            let pose = Pose::facing(&d);
            assert!((pose.turn * d - Vec3::z()).norm() < 1e-12);
            assert!((pose.outward() - d).norm() < 1e-12);
        }
    }
}
