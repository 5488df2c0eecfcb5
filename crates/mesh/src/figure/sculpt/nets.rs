//! A field becomes triangles: surface nets on a grid, then every corner is put on the surface.
//!
//! Guaranteed: closed, every edge shared by exactly two triangles that run it in opposite
//! directions, one shell, same bytes for the same field and grid. Not guaranteed: that two sheets
//! closer than a cell stay apart, and sharp edges (they come out rounded by a fraction of a cell).

use super::field::{Bounds, Field, Local, Point, dot};
use crate::figure::Mesh;
use base::Vec3;
use fast_surface_nets::ndshape::{RuntimeShape, Shape};
use fast_surface_nets::{SurfaceNetsBuffer, surface_nets};
use rayon::prelude::*;

/// Cells along the side of a block that is skipped or sampled as one.
const BLOCK: usize = 8;

/// How fast a field may change per millimetre. Distances change by 1; bent and folded pieces by
/// more. Smaller loses surface (folds vanish below 1.3), larger only samples blocks in vain.
pub(super) const STEEPEST: f64 = 2.0;

/// Values of a field on a grid.
struct Grid {
    low: Point,
    step: f64,
    size: [usize; 3],
    values: Vec<f32>,
}

impl Grid {
    fn point(&self, cell: [f64; 3]) -> Point {
        std::array::from_fn(|k| self.low[k] + cell[k] * self.step)
    }

    fn index(&self, [x, y, z]: [usize; 3]) -> usize {
        x + self.size[0] * (y + self.size[1] * z)
    }

    /// The box of the block that starts at `at`, one cell larger than its points.
    fn block(&self, at: [usize; 3]) -> Bounds {
        Bounds {
            low: self.point(at.map(|i| i as f64 - 0.5)),
            high: self.point(at.map(|i| (i + BLOCK) as f64 - 0.5)),
        }
    }

    /// [mm] how far the surface must be from the middle of a block to pass it by.
    fn skip(&self) -> f64 {
        STEEPEST * 0.5 * 3.0_f64.sqrt() * (BLOCK + 2) as f64 * self.step
    }

    /// The field near a block: whatever can matter to the sign inside it.
    fn near<'a>(&self, field: &'a Field, at: [usize; 3]) -> Local<'a> {
        field.near(&self.block(at), self.skip() + 1.0)
    }
}

/// Closed triangles of the solid, largest shell only.
///
/// Vertices are in **millimetres**, as the pieces are.
///
/// * `grid_mm`: [mm] cell, 0.1 to 1
#[must_use]
pub fn triangulate(field: &Field, grid_mm: f64) -> Mesh {
    let mut grid = sample(field, grid_mm);
    untangle(&mut grid);
    let shape = RuntimeShape::<u32, 3>::new(grid.size.map(|n| n as u32));
    debug_assert_eq!(shape.size() as usize, grid.values.len());
    let mut buffer = SurfaceNetsBuffer::default();
    let last = grid.size.map(|n| n as u32 - 1);
    surface_nets(&grid.values, &shape, [0; 3], last, &mut buffer);
    let vertices = settle(field, &grid, &buffer.positions);
    let triangles = buffer.indices.chunks_exact(3);
    largest_shell(&Mesh {
        vertices,
        triangles: triangles.map(|t| [t[0], t[1], t[2]]).collect(),
    })
}

/// Samples the field; blocks far from the surface get only the sign of their middle.
fn sample(field: &Field, step: f64) -> Grid {
    let Bounds { low, high } = field.bounds();
    // An odd start keeps flat faces of the sculpt off the grid planes.
    let start = [2.37, 2.41, 2.29];
    let mut grid = Grid {
        low: std::array::from_fn(|k| low[k] - start[k] * step),
        step,
        size: std::array::from_fn(|k| ((high[k] - low[k]) / step).ceil() as usize + 6),
        values: Vec::new(),
    };
    let layer = grid.size[0] * grid.size[1];
    let mut values = vec![0.0_f32; layer * grid.size[2]];
    values
        .par_chunks_mut(layer * BLOCK)
        .enumerate()
        .for_each(|(slab, out)| sample_slab(field, &grid, slab * BLOCK, out));
    grid.values = values;
    grid
}

fn sample_slab(field: &Field, grid: &Grid, z0: usize, out: &mut [f32]) {
    let [nx, ny, _] = grid.size;
    let layers = out.len() / (nx * ny);
    for y0 in (0..ny).step_by(BLOCK) {
        for x0 in (0..nx).step_by(BLOCK) {
            let local = grid.near(field, [x0, y0, z0]);
            let half = BLOCK as f64 / 2.0 - 0.5;
            let middle = local.at(grid.point([x0, y0, z0].map(|i| i as f64 + half)));
            let far = (middle.abs() > grid.skip()).then_some(middle as f32);
            for z in 0..layers {
                for y in y0..ny.min(y0 + BLOCK) {
                    for x in x0..nx.min(x0 + BLOCK) {
                        let p = [x as f64, y as f64, (z0 + z) as f64];
                        out[x + nx * (y + ny * z)] =
                            far.unwrap_or_else(|| local.at(grid.point(p)) as f32);
                    }
                }
            }
        }
    }
}

/// Fills grid points until no cell holds two sheets of surface, so that the net is a manifold.
///
/// A face with its inside corners on a diagonal, or a cell with only two opposite corners inside
/// (or outside), would pinch the surface. Filling is monotone, hence it ends.
fn untangle(grid: &mut Grid) {
    let [nx, ny, nz] = grid.size;
    let mut todo: Vec<[usize; 3]> = Vec::new();
    for z in 0..nz - 1 {
        for y in 0..ny - 1 {
            let row = grid.index([0, y, z]);
            for x in 0..nx - 1 {
                let signs = |i: usize| grid.values[row + x + i] < 0.0;
                let here = signs(0);
                let plain = [1, nx, nx + 1].iter().all(|&i| signs(i) == here)
                    && [0, 1, nx, nx + 1]
                        .iter()
                        .all(|&i| signs(nx * ny + i) == here);
                if !plain && pinch(grid, [x, y, z]).is_some() {
                    todo.push([x, y, z]);
                }
            }
        }
    }
    todo.reverse();
    while let Some(cell) = todo.pop() {
        while let Some(corner) = pinch(grid, cell) {
            let index = grid.index(corner);
            grid.values[index] = -1e-3 * grid.step as f32;
            for dz in 0..2 {
                for dy in 0..2 {
                    for dx in 0..2 {
                        todo.push([corner[0] - dx, corner[1] - dy, corner[2] - dz]);
                    }
                }
            }
        }
    }
}

/// The corners of a cell's six faces, going round.
const FACES: [[usize; 4]; 6] = [
    [0, 1, 3, 2],
    [4, 5, 7, 6],
    [0, 1, 5, 4],
    [2, 3, 7, 6],
    [0, 2, 6, 4],
    [1, 3, 7, 5],
];

/// The outside corner to fill next, if the cell holds two sheets.
fn pinch(grid: &Grid, [x, y, z]: [usize; 3]) -> Option<[usize; 3]> {
    let corner = |i: usize| [x + (i & 1), y + (i >> 1 & 1), z + (i >> 2)];
    let value: [f32; 8] = std::array::from_fn(|i| grid.values[grid.index(corner(i))]);
    let inside = value.map(|v| v < 0.0);
    let lowest = |corners: &[usize]| {
        let outside = corners.iter().filter(|&&i| !inside[i]);
        outside
            .copied()
            .min_by(|&a, &b| value[a].total_cmp(&value[b]))
    };
    for face in FACES {
        let [a, b, c, d] = face.map(|i| inside[i]);
        if a == c && b == d && a != b {
            return lowest(&face).map(corner);
        }
    }
    let count = inside.iter().filter(|&&i| i).count();
    let opposite = (0..4).any(|i| inside[i] == inside[7 - i] && inside[i] == (count == 2));
    if (count == 2 || count == 6) && opposite {
        return lowest(&[0, 1, 2, 3, 4, 5, 6, 7]).map(corner);
    }
    None
}

/// Puts every corner of the net on the surface by two Newton steps of the field.
fn settle(field: &Field, grid: &Grid, positions: &[[f32; 3]]) -> Vec<Vec3> {
    let settled: Vec<Vec<Vec3>> = positions
        .par_chunks(256)
        .map(|chunk| {
            let mut held: Option<([usize; 3], Local<'_>)> = None;
            chunk
                .iter()
                .map(|position| {
                    let cell = position.map(|x| x as usize / BLOCK * BLOCK);
                    if held.as_ref().is_none_or(|(at, _)| *at != cell) {
                        held = Some((cell, grid.near(field, cell)));
                    }
                    let start = grid.point(position.map(f64::from));
                    held.as_ref().map_or(Vec3::from(start), |(_, local)| {
                        land(local, start, grid.step)
                    })
                })
                .collect()
        })
        .collect();
    settled.concat()
}

/// Newton steps along the gradient, never farther than half a cell from the net.
fn land(local: &Local<'_>, start: Point, step: f64) -> Vec3 {
    let mut p = start;
    for _ in 0..2 {
        let gradient = local.gradient(p, 0.1 * step);
        let square = dot(gradient, gradient);
        if square < 0.04 {
            break;
        }
        let value = local.at(p);
        p = std::array::from_fn(|k| p[k] - gradient[k] * value / square);
    }
    let moved = Vec3::from(p) - Vec3::from(start);
    let limit = 0.5 * step;
    Vec3::from(start) + moved * (limit / moved.norm().max(limit))
}

/// Keeps the shell with the most triangles: crumbs and enclosed bubbles go.
fn largest_shell(mesh: &Mesh) -> Mesh {
    let mut root: Vec<u32> = (0..mesh.vertices.len() as u32).collect();
    for &[a, b, c] in &mesh.triangles {
        let low = find(&mut root, a);
        for other in [b, c] {
            let other = find(&mut root, other);
            root[low.max(other) as usize] = low.min(other);
        }
    }
    let roots: Vec<u32> = (0..root.len() as u32).map(|v| find(&mut root, v)).collect();
    let mut count = vec![0_usize; roots.len()];
    for triangle in &mesh.triangles {
        count[roots[triangle[0] as usize] as usize] += 1;
    }
    let Some(keep) = (0..count.len()).max_by_key(|&v| (count[v], usize::MAX - v)) else {
        return Mesh::default();
    };
    let mut number = vec![u32::MAX; roots.len()];
    let mut kept = Mesh::default();
    for (v, &r) in roots.iter().enumerate() {
        if r as usize == keep {
            number[v] = kept.vertices.len() as u32;
            kept.vertices.push(mesh.vertices[v]);
        }
    }
    let triangles = mesh.triangles.iter();
    kept.triangles = triangles
        .filter(|t| roots[t[0] as usize] as usize == keep)
        .map(|t| t.map(|v| number[v as usize]))
        .collect();
    kept
}

/// The representative of `v`, halving the path on the way.
fn find(root: &mut [u32], mut v: u32) -> u32 {
    while root[v as usize] != v {
        root[v as usize] = root[root[v as usize] as usize];
        v = root[v as usize];
    }
    v
}

#[cfg(test)]
mod tests {
    use super::super::field::Group;
    use super::super::health::health;
    use super::super::shapes::{ball, drum, ring};
    use super::*;

    #[test]
    fn a_ball_comes_out_closed_outward_and_exact() {
        let field = Field::new(vec![Group::new("ball", 0.0, ball([1.0, 2.0, 3.0], 2.0))]);
        let mesh = triangulate(&field, 0.15);
        let report = health(&mesh);
        assert!(report.watertight && report.shells == 1 && report.euler == 2);
        let exact = 4.0 / 3.0 * std::f64::consts::PI * 8.0;
        assert!((report.volume / exact - 1.0).abs() < 4e-3, "{report:?}");
        for v in &mesh.vertices {
            assert!(((v - Vec3::new(1.0, 2.0, 3.0)).norm() - 2.0).abs() < 1e-6);
        }
    }

    /// Passing blocks by must never change a sign: every point against the full field.
    #[test]
    fn skipped_blocks_hold_no_surface() {
        let field = crate::figure::sculpt::porter_field();
        let grid = sample(&field, 0.5);
        let full = field.near(&field.bounds(), f64::INFINITY);
        let [nx, ny, _] = grid.size;
        let wrong = (0..grid.values.len())
            .into_par_iter()
            .filter(|i| {
                let cell = [i % nx, i / nx % ny, i / (nx * ny)].map(|k| k as f64);
                (full.at(grid.point(cell)) < 0.0) != (grid.values[*i] < 0.0)
            })
            .count();
        assert_eq!(wrong, 0);
    }

    /// Two rings that touch, and a drum a hair from a ball: nets pinch here without care.
    #[test]
    fn near_touches_stay_manifold() {
        let field = Field::new(vec![
            Group::new("a", 0.0, ring([0.0; 3], [0.0, 0.0, 1.0], 2.0, 0.3)),
            Group::new("b", 0.0, ring([4.58, 0.0, 0.0], [0.0, 0.6, 0.8], 2.0, 0.3)),
            Group::new("c", 0.0, drum([0.0, 0.0], [0.305, 1.0], [2.6, 2.5], 0.0)),
            Group::new("d", 0.0, ball([0.0, 0.0, 1.7], 0.72)),
        ]);
        for step in [0.17, 0.23, 0.31] {
            let report = health(&triangulate(&field, step));
            assert!(report.watertight, "{step}: {report:?}");
        }
    }
}
