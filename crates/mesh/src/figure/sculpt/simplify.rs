//! Fewer triangles for the same shape: edges collapse in the order of the error they cost.
//!
//! Quadric error metric of Garland and Heckbert (1997, SIGGRAPH, p. 209), planes weighted by
//! area. Guaranteed: a closed manifold stays one of the same genus (link condition of Dey et al.
//! 1999), no triangle turns over, same bytes every time. Not guaranteed: a bound on the distance
//! to the original; a test measures it on the figure that ships.

use crate::figure::Mesh;
use base::{Mat3, Vec3};
use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// Sum of squared distances to planes: x'Ax + 2b'x + c.
#[derive(Debug, Clone, Copy, Default)]
struct Quadric {
    /// xx xy xz yy yz zz.
    a: [f64; 6],
    b: [f64; 3],
    c: f64,
}

impl Quadric {
    /// Squared distance to the plane through `p` with unit normal `n`, times `weight`.
    fn plane(n: &Vec3, p: &Vec3, weight: f64) -> Quadric {
        let d = -n.dot(p);
        let w = weight;
        Quadric {
            a: [
                w * n.x * n.x,
                w * n.x * n.y,
                w * n.x * n.z,
                w * n.y * n.y,
                w * n.y * n.z,
                w * n.z * n.z,
            ],
            b: [w * d * n.x, w * d * n.y, w * d * n.z],
            c: w * d * d,
        }
    }

    fn add(&self, other: &Quadric) -> Quadric {
        Quadric {
            a: std::array::from_fn(|i| self.a[i] + other.a[i]),
            b: std::array::from_fn(|i| self.b[i] + other.b[i]),
            c: self.c + other.c,
        }
    }

    fn value(&self, p: &Vec3) -> f64 {
        let [xx, xy, xz, yy, yz, zz] = self.a;
        let square = xx * p.x * p.x + yy * p.y * p.y + zz * p.z * p.z;
        let mixed = xy * p.x * p.y + xz * p.x * p.z + yz * p.y * p.z;
        let straight = self.b[0] * p.x + self.b[1] * p.y + self.b[2] * p.z;
        (square + 2.0 * mixed + 2.0 * straight + self.c).max(0.0)
    }

    /// The point of least error, drawn a little towards `near` so that flats stay even.
    fn best(&self, near: &Vec3) -> Option<Vec3> {
        let [xx, xy, xz, yy, yz, zz] = self.a;
        let pull = 3e-3 * (xx + yy + zz);
        let matrix = Mat3::new(
            xx + pull,
            xy,
            xz, //
            xy,
            yy + pull,
            yz, //
            xz,
            yz,
            zz + pull,
        );
        let right = pull * near - Vec3::from(self.b);
        matrix.cholesky().map(|c| c.solve(&right))
    }
}

/// A collapse that waits.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Candidate {
    cost: f64,
    ends: [u32; 2],
    stamps: [u32; 2],
}

impl Eq for Candidate {}

impl Ord for Candidate {
    /// The cheapest is the greatest; ties go by number so that the order is always the same.
    fn cmp(&self, other: &Candidate) -> Ordering {
        let by_cost = other.cost.total_cmp(&self.cost);
        by_cost.then_with(|| other.ends.cmp(&self.ends))
    }
}

impl PartialOrd for Candidate {
    fn partial_cmp(&self, other: &Candidate) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

struct Work {
    vertices: Vec<Vec3>,
    quadrics: Vec<Quadric>,
    triangles: Vec<[u32; 3]>,
    alive: Vec<bool>,
    around: Vec<Vec<u32>>,
    stamps: Vec<u32>,
    heap: BinaryHeap<Candidate>,
    /// Scratch for neighbour counting.
    marks: Vec<u32>,
    mark: u32,
}

/// Collapses edges of a closed manifold until about `target` triangles are left.
#[must_use]
pub fn simplify(mesh: &Mesh, target: usize) -> Mesh {
    let mut work = Work::new(mesh);
    let mut left = mesh.triangles.len();
    while left > target {
        let Some(candidate) = work.heap.pop() else {
            break;
        };
        let fresh = |i: usize| work.stamps[candidate.ends[i] as usize] == candidate.stamps[i];
        if fresh(0) && fresh(1) && work.collapse(candidate.ends) {
            left -= 2;
        }
    }
    work.finish()
}

impl Work {
    fn new(mesh: &Mesh) -> Work {
        let count = mesh.vertices.len();
        let mut work = Work {
            vertices: mesh.vertices.clone(),
            quadrics: vec![Quadric::default(); count],
            triangles: mesh.triangles.clone(),
            alive: vec![true; mesh.triangles.len()],
            around: vec![Vec::with_capacity(8); count],
            stamps: vec![0; count],
            heap: BinaryHeap::new(),
            marks: vec![0; count],
            mark: 0,
        };
        for (number, t) in mesh.triangles.iter().enumerate() {
            let [a, b, c] = t.map(|v| mesh.vertices[v as usize]);
            let normal = (b - a).cross(&(c - a));
            let double = normal.norm();
            if double > 0.0 {
                let quadric = Quadric::plane(&(normal / double), &a, 0.5 * double);
                for &v in t {
                    work.quadrics[v as usize] = work.quadrics[v as usize].add(&quadric);
                }
            }
            for &v in t {
                work.around[v as usize].push(number as u32);
            }
        }
        let edges = mesh
            .triangles
            .iter()
            .flat_map(|&[a, b, c]| [[a, b], [b, c], [c, a]]);
        let waiting: Vec<Candidate> = edges
            .filter(|[a, b]| a < b)
            .map(|ends| work.candidate(ends))
            .collect();
        work.heap = BinaryHeap::from(waiting);
        work
    }

    fn place(&self, [a, b]: [u32; 2]) -> (Vec3, f64) {
        let (pa, pb) = (self.vertices[a as usize], self.vertices[b as usize]);
        let quadric = self.quadrics[a as usize].add(&self.quadrics[b as usize]);
        let middle = 0.5 * (pa + pb);
        let reach = (pb - pa).norm();
        let best = quadric
            .best(&middle)
            .filter(|p| (p - middle).norm() < reach);
        let place = best.unwrap_or(middle);
        (place, quadric.value(&place))
    }

    fn candidate(&self, ends: [u32; 2]) -> Candidate {
        let length = (self.vertices[ends[0] as usize] - self.vertices[ends[1] as usize]).norm();
        let (_, error) = self.place(ends);
        // A breath of length keeps flats from collapsing into slivers.
        Candidate {
            cost: error + 1e-7 * length * length,
            ends,
            stamps: ends.map(|v| self.stamps[v as usize]),
        }
    }

    /// Neighbours of both ends must be exactly two, or a handle would be pinched.
    fn linked(&mut self, [a, b]: [u32; 2]) -> bool {
        self.mark += 2;
        for &t in &self.around[a as usize] {
            for &v in &self.triangles[t as usize] {
                self.marks[v as usize] = self.mark;
            }
        }
        let mut common = 0;
        for &t in &self.around[b as usize] {
            for &v in &self.triangles[t as usize] {
                if v != a && v != b && self.marks[v as usize] == self.mark {
                    self.marks[v as usize] = self.mark + 1;
                    common += 1;
                }
            }
        }
        common == 2
    }

    /// Would any triangle about `v` (other than those on the edge) turn over or grow thin?
    fn turns(&self, v: u32, other: u32, place: &Vec3) -> bool {
        self.around[v as usize].iter().any(|&t| {
            let corners = self.triangles[t as usize];
            if corners.contains(&other) {
                return false;
            }
            let old = corners.map(|c| self.vertices[c as usize]);
            let new = corners.map(|c| {
                if c == v {
                    *place
                } else {
                    self.vertices[c as usize]
                }
            });
            let normal = |p: &[Vec3; 3]| (p[1] - p[0]).cross(&(p[2] - p[0]));
            let (before, after) = (normal(&old), normal(&new));
            let longest = (new[1] - new[0])
                .norm_squared()
                .max((new[2] - new[1]).norm_squared())
                .max((new[0] - new[2]).norm_squared());
            let thin = after.norm() < 0.06 * longest;
            thin || before.dot(&after) < 0.3 * before.norm() * after.norm()
        })
    }

    fn collapse(&mut self, [a, b]: [u32; 2]) -> bool {
        let (place, _) = self.place([a, b]);
        if !self.linked([a, b]) || self.turns(a, b, &place) || self.turns(b, a, &place) {
            return false;
        }
        self.vertices[a as usize] = place;
        self.quadrics[a as usize] = self.quadrics[a as usize].add(&self.quadrics[b as usize]);
        for t in std::mem::take(&mut self.around[b as usize]) {
            let corners = &mut self.triangles[t as usize];
            if corners.contains(&a) {
                self.alive[t as usize] = false;
                let third = corners.iter().copied().find(|&v| v != a && v != b);
                if let Some(third) = third {
                    self.around[third as usize].retain(|&other| other != t);
                }
                self.around[a as usize].retain(|&other| other != t);
            } else {
                *corners = corners.map(|v| if v == b { a } else { v });
                self.around[a as usize].push(t);
            }
        }
        self.stamps[b as usize] += 1;
        self.stamps[a as usize] += 1;
        let mut ring: Vec<u32> = self.around[a as usize]
            .iter()
            .flat_map(|&t| self.triangles[t as usize])
            .filter(|&v| v != a)
            .collect();
        ring.sort_unstable();
        ring.dedup();
        for v in ring {
            let candidate = self.candidate([a, v]);
            self.heap.push(candidate);
        }
        true
    }

    fn finish(self) -> Mesh {
        let mut number = vec![u32::MAX; self.vertices.len()];
        let mut mesh = Mesh::default();
        for (t, corners) in self.triangles.iter().enumerate() {
            if !self.alive[t] {
                continue;
            }
            mesh.triangles.push(corners.map(|v| {
                if number[v as usize] == u32::MAX {
                    number[v as usize] = mesh.vertices.len() as u32;
                    mesh.vertices.push(self.vertices[v as usize]);
                }
                number[v as usize]
            }));
        }
        mesh
    }
}

#[cfg(test)]
mod tests {
    use super::super::field::{Field, Group};
    use super::super::shapes::{block, ring};
    use super::super::{health, triangulate};
    use super::*;

    #[test]
    fn a_ring_keeps_its_hole_and_its_volume() {
        let piece = ring([0.0; 3], [0.0, 0.0, 1.0], 3.0, 1.0);
        let fine = triangulate(&Field::new(vec![Group::new("ring", 0.0, piece)]), 0.15);
        let coarse = simplify(&fine, fine.triangles.len() / 6);
        let (before, after) = (health(&fine), health(&coarse));
        assert!(after.watertight && after.euler == 0 && after.shells == 1);
        assert!((after.volume / before.volume - 1.0).abs() < 3e-3);
        assert!(coarse.triangles.len() <= fine.triangles.len() / 6 + 1);
    }

    #[test]
    fn flats_of_a_block_need_few_triangles_and_stay_flat() {
        let piece = block([0.0; 3], [2.0, 1.5, 1.0], 0.0);
        let fine = triangulate(&Field::new(vec![Group::new("block", 0.0, piece)]), 0.2);
        let coarse = simplify(&fine, 400);
        assert!(health(&coarse).watertight);
        let flat = coarse
            .vertices
            .iter()
            .filter(|v| (v.z.abs() - 1.0).abs() < 2e-2)
            .count();
        assert!(
            flat * 3 > coarse.vertices.len(),
            "{flat} of {}",
            coarse.vertices.len()
        );
    }
}
