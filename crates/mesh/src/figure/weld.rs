//! Corners that are the same place become one corner.
//!
//! Tolerance: 1e-6 of the diagonal, some 0.05 um on a tabletop figure. A smaller one leaves the
//! seams open that programs print when they write single-precision coordinates twice; a larger
//! one begins to eat thin walls.
//!
//! One open-addressing table keyed by a cell of [`CELL`] tolerances; only a corner nearer than
//! the tolerance to a wall of its cell asks the cells next door (Hoppe-style vertex hashing;
//! common practice, no source). Smaller cells ask the neighbours too often, larger ones
//! grow long chains when a stray corner far away inflates the diagonal.

use super::mesh::Mesh;
use crate::format::read::Corners;
use base::{Result, Vec3};

/// Tolerance as a share of the diagonal.
pub const TOLERANCE: f64 = 1e-6;

/// Cell size in tolerances.
const CELL: f64 = 8.0;

const EMPTY: u32 = u32::MAX;

/// Size of the memory for corners seen lately.
const LATELY: usize = 1 << 14;

/// What welding did.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Welded {
    /// Triangles given.
    pub given: usize,
    /// Triangles dropped because two of their corners are the same place.
    pub collapsed: usize,
}

/// A source of triangles that can be gone through twice.
pub trait Triangles {
    /// Hands the triangles to `sink` in blocks, every time in the same order.
    ///
    /// # Errors
    /// Whatever the source meets while reading.
    fn visit(&self, sink: &mut dyn FnMut(&[Corners])) -> Result<()>;

    /// About how many.
    fn count(&self) -> usize;
}

impl Triangles for crate::format::read::MeshFile {
    fn visit(&self, sink: &mut dyn FnMut(&[Corners])) -> Result<()> {
        crate::format::read::MeshFile::visit(self, sink)
    }
    fn count(&self) -> usize {
        self.len()
    }
}

impl Triangles for Mesh {
    fn visit(&self, sink: &mut dyn FnMut(&[Corners])) -> Result<()> {
        let mut block = Vec::with_capacity(256);
        for some in self.triangles.chunks(256) {
            block.clear();
            block.extend(
                some.iter()
                    .map(|t| t.map(|v| self.vertices[v as usize].into())),
            );
            sink(&block);
        }
        Ok(())
    }
    fn count(&self) -> usize {
        self.triangles.len()
    }
}

/// Welds the triangles of `source`, in the source's own unit.
///
/// # Errors
/// Those of the source.
pub fn weld(source: &impl Triangles) -> Result<(Mesh, Welded)> {
    let (mut lo, mut hi) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
    source.visit(&mut |block| {
        for point in block.as_flattened() {
            for axis in 0..3 {
                lo[axis] = if point[axis] < lo[axis] {
                    point[axis]
                } else {
                    lo[axis]
                };
                hi[axis] = if point[axis] > hi[axis] {
                    point[axis]
                } else {
                    hi[axis]
                };
            }
        }
    })?;
    let diagonal = (Vec3::from(hi) - Vec3::from(lo)).norm();
    let count = source.count();
    let mut table = Table::new(lo, diagonal, count);
    let mut triangles = Vec::with_capacity(count);
    let mut welded = Welded::default();
    source.visit(&mut |block| {
        welded.given += block.len();
        for corners in block {
            let t = corners.map(|point| table.corner(point));
            if t[0] == t[1] || t[1] == t[2] || t[2] == t[0] {
                welded.collapsed += 1;
            } else {
                triangles.push(t);
            }
        }
    })?;
    let mesh = Mesh {
        vertices: table.vertices,
        triangles,
    };
    Ok((mesh, welded))
}

struct Table {
    slots: Vec<u32>,
    mask: usize,
    lowest: [f64; 3],
    /// One over the cell size.
    scale: f64,
    /// Tolerance as a share of a cell.
    margin: f64,
    tolerance2: f64,
    vertices: Vec<Vec3>,
    /// Corners seen lately, by a hash of their bits: neighbours in a file are neighbours on the
    /// figure, and this much stays in the second-level cache.
    lately: Vec<u32>,
}

impl Table {
    fn new(lowest: [f64; 3], diagonal: f64, triangles: usize) -> Table {
        // A closed mesh has half as many corners as triangles; the table stays half empty.
        let size = (triangles + triangles / 4).next_power_of_two().max(64);
        let tolerance = (diagonal * TOLERANCE).max(f64::MIN_POSITIVE);
        Table {
            slots: vec![EMPTY; size],
            mask: size - 1,
            lowest,
            scale: 1.0 / (CELL * tolerance),
            margin: 1.0 / CELL,
            tolerance2: tolerance * tolerance,
            vertices: Vec::with_capacity(triangles / 2 + triangles / 8 + 8),
            lately: vec![EMPTY; LATELY],
        }
    }

    /// Number of the corner at `point`, which may be a new one.
    fn corner(&mut self, point: [f64; 3]) -> u32 {
        // Adding 0.0 makes -0.0 the same as +0.0.
        let place = Vec3::from(point.map(|x| x + 0.0));
        let slot = hash([0, 1, 2].map(|axis| place[axis].to_bits() as i64 >> 13)) % LATELY;
        let known = self.lately[slot];
        if known != EMPTY && self.vertices[known as usize] == place {
            return known;
        }
        let number = self.search(place);
        self.lately[slot] = number;
        number
    }

    fn search(&mut self, place: Vec3) -> u32 {
        let mut cell = [0_i64; 3];
        let mut beside = [0_i64; 3];
        for axis in 0..3 {
            let x = (place[axis] - self.lowest[axis]) * self.scale;
            let floor = x.floor();
            cell[axis] = floor as i64;
            beside[axis] =
                i64::from(x - floor > 1.0 - self.margin) - i64::from(x - floor < self.margin);
        }
        if let Some(known) = self.find(cell, &place) {
            return known;
        }
        for choice in 1..8_u8 {
            let mut next = cell;
            let mut real = true;
            for axis in 0..3 {
                if choice >> axis & 1 == 1 {
                    real &= beside[axis] != 0;
                    next[axis] += beside[axis];
                }
            }
            if real && let Some(known) = self.find(next, &place) {
                return known;
            }
        }
        self.insert(cell, place)
    }

    fn find(&self, cell: [i64; 3], place: &Vec3) -> Option<u32> {
        let mut slot = hash(cell) & self.mask;
        loop {
            let known = self.slots[slot];
            if known == EMPTY {
                return None;
            }
            if (self.vertices[known as usize] - place).norm_squared() <= self.tolerance2 {
                return Some(known);
            }
            slot = (slot + 1) & self.mask;
        }
    }

    fn insert(&mut self, cell: [i64; 3], place: Vec3) -> u32 {
        if (self.vertices.len() + 1) * 10 > self.slots.len() * 7 {
            self.grow();
        }
        let number = self.vertices.len() as u32;
        self.vertices.push(place);
        self.put(cell, number);
        number
    }

    fn put(&mut self, cell: [i64; 3], number: u32) {
        let mut slot = hash(cell) & self.mask;
        while self.slots[slot] != EMPTY {
            slot = (slot + 1) & self.mask;
        }
        self.slots[slot] = number;
    }

    /// Unwelded soups have three corners a triangle: the table must be able to grow.
    fn grow(&mut self) {
        let size = self.slots.len() * 2;
        self.slots = vec![EMPTY; size];
        self.mask = size - 1;
        for number in 0..self.vertices.len() {
            let place = self.vertices[number];
            let cell = [0, 1, 2]
                .map(|axis| ((place[axis] - self.lowest[axis]) * self.scale).floor() as i64);
            self.put(cell, number as u32);
        }
    }
}

fn hash(cell: [i64; 3]) -> usize {
    let mixed = (cell[0] as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15)
        ^ (cell[1] as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F)
        ^ (cell[2] as u64).wrapping_mul(0x1656_67B1_9E37_79F9);
    (mixed ^ (mixed >> 29)) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::shapes;

    #[test]
    fn a_split_sphere_is_welded_back_to_its_corners() {
        let sphere = shapes::icosphere(4, 1.0);
        let (mesh, welded) = weld(&sphere).unwrap();
        assert_eq!(mesh.vertices.len(), 2 + sphere.triangles.len() / 2);
        assert_eq!(
            welded,
            Welded {
                given: sphere.triangles.len(),
                collapsed: 0
            }
        );
    }

    #[test]
    fn corners_nearer_than_the_tolerance_join_across_cell_walls_and_signs_of_zero() {
        // Two triangles that share an edge, the second one written 0.4 tolerances off.
        let off = 0.4e-6 * 2.0_f64.sqrt();
        for i in 0..2000 {
            let x = f64::from(i) * 1.37e-6;
            let soup = Mesh {
                vertices: vec![
                    Vec3::new(0.0, 0.0, 0.0),
                    Vec3::new(1.0, 0.0, 0.0),
                    Vec3::new(x, 1.0, -0.0),
                    Vec3::new(x + off, 1.0 - off, 0.0),
                    Vec3::new(1.0, 0.0, -0.0),
                    Vec3::new(1.0, 1.0, 0.0),
                ],
                triangles: vec![[0, 1, 2], [3, 4, 5]],
            };
            assert_eq!(weld(&soup).unwrap().0.vertices.len(), 4, "at {x}");
        }
    }

    #[test]
    fn triangles_that_collapse_are_dropped_and_counted() {
        let soup = Mesh {
            vertices: vec![Vec3::zeros(), Vec3::x(), Vec3::y(), Vec3::x() * 1e-8],
            triangles: vec![[0, 1, 2], [0, 3, 2]],
        };
        let (mesh, welded) = weld(&soup).unwrap();
        assert_eq!((mesh.triangles.len(), welded.collapsed), (1, 1));
    }
}
