//! The surface cut into samples.
//!
//! Every triangle is clipped against a cubic grid in a fixed generic attitude; all pieces in one
//! cell that face the same of six ways become one sample with their exact area, centroid and mean
//! normal. The cut knows nothing of the triangles it came from, so the same shape gives the same
//! samples however the artist laid the mesh; open, crossing or non-manifold meshes do as well.

use super::mesh::Mesh;
use super::shell::double_area;
use base::{Quat, Vec3};
use nalgebra::Quaternion;

/// A piece of surface in one cell.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    /// [m] centroid.
    pub point: Vec3,
    /// Unit normal.
    pub normal: Vec3,
    /// [m2]
    pub area: f64,
    /// Cell and facing: the same for the same place on the same shape.
    pub key: u64,
}

/// Below this share of a cell face a piece joins its neighbour: its centroid is all rounding.
const CRUMB: f64 = 1e-3;

/// Cells are numbered from this far below the origin.
const OFFSET: i64 = 1 << 19;

/// Cuts the mesh.
///
/// * `cell`: [m] side of the grid
pub(super) fn cut(mesh: &Mesh, cell: f64) -> Vec<Piece> {
    let attitude = Quat::from_quaternion(Quaternion::new(0.7137, -0.2269, 0.4513, 0.4852));
    let turn = attitude.to_rotation_matrix();
    let mut bins = Bins::new(mesh.triangles.len());
    let mut clipper = Clipper {
        bins: &mut bins,
        normal: Vec3::zeros(),
        facing: 0,
    };
    for t in mesh.corners() {
        let corners = t.map(|p| turn * p / cell);
        let normal = double_area(&corners);
        let length = normal.norm();
        if length > 0.0 {
            clipper.normal = normal / length;
            clipper.facing = facing(&clipper.normal);
            clipper.slice(&Polygon::triangle(corners), 0, [0; 3]);
        }
    }
    let back = turn.inverse();
    let mut pieces: Vec<Piece> = bins
        .sums
        .iter()
        .filter(|s| s.area > 0.0)
        .map(|s| Piece {
            point: back * (s.moment / s.area) * cell,
            normal: back * s.normal.try_normalize(0.0).unwrap_or(axis_of(s.key)),
            area: s.area * cell * cell,
            key: s.key,
        })
        .collect();
    pieces.sort_unstable_by_key(|p| p.key);
    join_crumbs(pieces, CRUMB * cell * cell)
}

/// Which of +-x, +-y, +-z a normal is nearest to.
fn facing(n: &Vec3) -> u64 {
    let axis = n.iamax();
    2 * axis as u64 + u64::from(n[axis] < 0.0)
}

fn axis_of(key: u64) -> Vec3 {
    let mut n = Vec3::zeros();
    let facing = key % 6;
    n[(facing / 2) as usize] = if facing.is_multiple_of(2) { 1.0 } else { -1.0 };
    n
}

fn key(cell: [i64; 3], facing: u64) -> u64 {
    let c = cell.map(|c| (c + OFFSET).clamp(0, 2 * OFFSET - 1) as u64);
    (((c[0] << 20 | c[1]) << 20) | c[2]) * 6 + facing
}

fn cell_of(key: u64) -> [i64; 3] {
    let c = key / 6;
    [c >> 40, c >> 20 & 0xF_FFFF, c & 0xF_FFFF].map(|c| c as i64 - OFFSET)
}

/// Joins pieces too small to have a place of their own to the nearest piece next door that faces
/// the same half of space; one without neighbours stays. (Not to the largest: on flats many are
/// equally large, and rounding would choose.)
fn join_crumbs(mut pieces: Vec<Piece>, crumb: f64) -> Vec<Piece> {
    let joined: Vec<(usize, usize)> = (0..pieces.len())
        .filter(|i| pieces[*i].area < crumb)
        .filter_map(|i| home(&pieces, i, crumb).map(|home| (i, home)))
        .collect();
    for &(crumb, home) in &joined {
        let (small, large) = (pieces[crumb], &mut pieces[home]);
        let area = small.area + large.area;
        large.point = (large.point * large.area + small.point * small.area) / area;
        large.area = area;
    }
    let mut gone = joined.iter().map(|j| j.0).peekable();
    let mut number = 0;
    pieces.retain(|_| {
        let keep = gone.next_if_eq(&number).is_none();
        number += 1;
        keep
    });
    pieces
}

fn home(pieces: &[Piece], crumb: usize, least: f64) -> Option<usize> {
    let cell = cell_of(pieces[crumb].key);
    let mut best = (f64::INFINITY, None);
    let me = &pieces[crumb];
    for step in 0..27_i64 {
        let next = [
            cell[0] + step / 9 - 1,
            cell[1] + step / 3 % 3 - 1,
            cell[2] + step % 3 - 1,
        ];
        let first = key(next, 0);
        let from = pieces.partition_point(|p| p.key < first);
        for (i, p) in pieces.iter().enumerate().skip(from).take(6) {
            let near = p.key < first + 6 && p.area >= least;
            let distance = (p.point - me.point).norm_squared();
            if near && p.normal.dot(&me.normal) > 0.2 && distance < best.0 {
                best = (distance, Some(i));
            }
        }
    }
    best.1
}

/// A convex polygon of a clipped triangle: three corners and at most two more per axis.
#[derive(Clone, Copy)]
struct Polygon {
    corners: [Vec3; 12],
    count: usize,
}

impl Polygon {
    fn empty() -> Polygon {
        Polygon {
            corners: [Vec3::zeros(); 12],
            count: 0,
        }
    }

    fn triangle(corners: [Vec3; 3]) -> Polygon {
        let mut polygon = Polygon::empty();
        corners.into_iter().for_each(|p| polygon.push(p));
        polygon
    }

    fn push(&mut self, p: Vec3) {
        self.corners[self.count] = p;
        self.count += 1;
    }

    fn points(&self) -> &[Vec3] {
        &self.corners[..self.count]
    }

    /// Parts below and above the plane `axis` = `at`.
    fn split(&self, axis: usize, at: f64) -> (Polygon, Polygon) {
        let (mut below, mut above) = (Polygon::empty(), Polygon::empty());
        let points = self.points();
        for (i, p) in points.iter().enumerate() {
            let q = &points[(i + 1) % points.len()];
            let (dp, dq) = (p[axis] - at, q[axis] - at);
            if dp <= 0.0 {
                below.push(*p);
            }
            if dp >= 0.0 {
                above.push(*p);
            }
            if dp * dq < 0.0 {
                let mut cut = p + (q - p) * (dp / (dp - dq));
                cut[axis] = at;
                below.push(cut);
                above.push(cut);
            }
        }
        (below, above)
    }
}

struct Clipper<'a> {
    bins: &'a mut Bins,
    normal: Vec3,
    facing: u64,
}

impl Clipper<'_> {
    /// Cuts into slabs of width one along `axis`, then along the next.
    fn slice(&mut self, polygon: &Polygon, axis: usize, cell: [i64; 3]) {
        if polygon.count < 3 {
            return;
        }
        if axis == 3 {
            self.book(polygon, cell);
            return;
        }
        let values = polygon.points().iter().map(|p| p[axis]);
        let (lo, hi) = values.fold((f64::MAX, f64::MIN), |(lo, hi), x| (lo.min(x), hi.max(x)));
        let (first, last) = (lo.floor() as i64, hi.floor() as i64);
        let mut rest = *polygon;
        let mut cell = cell;
        for slab in first..last {
            let (below, above) = rest.split(axis, (slab + 1) as f64);
            cell[axis] = slab;
            self.slice(&below, axis + 1, cell);
            rest = above;
        }
        cell[axis] = last;
        self.slice(&rest, axis + 1, cell);
    }

    fn book(&mut self, polygon: &Polygon, cell: [i64; 3]) {
        let points = polygon.points();
        let origin = points[0];
        let (mut area, mut moment) = (0.0, Vec3::zeros());
        for pair in points[1..].windows(2) {
            let (a, b) = (pair[0] - origin, pair[1] - origin);
            let piece = 0.5 * a.cross(&b).dot(&self.normal);
            area += piece;
            moment += (a + b) * (piece / 3.0);
        }
        if area > 0.0 {
            let bin = self.bins.at(key(cell, self.facing));
            bin.area += area;
            bin.moment += moment + origin * area;
            bin.normal += self.normal * area;
        }
    }
}

struct Sum {
    key: u64,
    area: f64,
    moment: Vec3,
    normal: Vec3,
}

/// Open addressing by key; sums keep the order of first touch.
struct Bins {
    slots: Vec<u32>,
    sums: Vec<Sum>,
}

impl Bins {
    fn new(triangles: usize) -> Bins {
        let size = (2 * triangles).clamp(1 << 16, 1 << 20).next_power_of_two();
        Bins {
            slots: vec![u32::MAX; size],
            sums: Vec::new(),
        }
    }

    fn at(&mut self, key: u64) -> &mut Sum {
        if (self.sums.len() + 1) * 3 > self.slots.len() * 2 {
            let size = self.slots.len() * 2;
            self.slots = vec![u32::MAX; size];
            for number in 0..self.sums.len() {
                let slot = self.slot(self.sums[number].key);
                self.slots[slot] = number as u32;
            }
        }
        let slot = self.slot(key);
        if self.slots[slot] == u32::MAX {
            self.slots[slot] = self.sums.len() as u32;
            self.sums.push(Sum {
                key,
                area: 0.0,
                moment: Vec3::zeros(),
                normal: Vec3::zeros(),
            });
        }
        &mut self.sums[self.slots[slot] as usize]
    }

    fn slot(&self, key: u64) -> usize {
        let mask = self.slots.len() - 1;
        let mut slot = super::scatter(key) as usize & mask;
        loop {
            let number = self.slots[slot];
            if number == u32::MAX || self.sums[number as usize].key == key {
                return slot;
            }
            slot = (slot + 1) & mask;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::shapes;

    #[test]
    fn area_and_centroid_are_those_of_the_mesh() {
        let body = shapes::block(Vec3::new(-0.004, 0.001, 0.0), Vec3::new(0.006, 0.02, 0.03));
        let wanted = 2.0 * (0.01 * 0.019 + 0.01 * 0.03 + 0.019 * 0.03);
        let pieces = cut(&body, 0.00015);
        let area: f64 = pieces.iter().map(|p| p.area).sum();
        assert!(
            (area / wanted - 1.0).abs() < 1e-12,
            "{}",
            area / wanted - 1.0
        );
        let mean = pieces.iter().map(|p| p.point * p.area).sum::<Vec3>() / area;
        assert!((mean - Vec3::new(0.001, 0.0105, 0.015)).norm() < 1e-12);
        assert!(pieces.iter().all(|p| (p.normal.norm() - 1.0).abs() < 1e-12));
    }

    #[test]
    fn the_same_shape_cut_into_other_triangles_gives_the_same_samples() {
        let coarse = shapes::block(Vec3::zeros(), Vec3::new(0.005, 0.004, 0.003));
        let fine = shapes::split_at_random(&coarse, 3e-7, 5);
        let (a, b) = (cut(&coarse, 0.00015), cut(&fine, 0.00015));
        assert!(fine.triangles.len() > 20 * coarse.triangles.len());
        assert_eq!(a.len(), b.len());
        for (a, b) in a.iter().zip(&b) {
            assert_eq!(a.key, b.key);
            let (moved, grown) = ((a.point - b.point).norm(), a.area / b.area - 1.0);
            assert!(
                moved < 1e-9 && grown.abs() < 1e-6,
                "{moved:e} {grown:e} {:e}",
                a.area
            );
        }
    }
}
