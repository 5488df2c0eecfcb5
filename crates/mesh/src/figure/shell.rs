//! Shells: pieces of surface joined by shared edges, and what their edges say.
//!
//! Half-edges are bucketed by their lower corner (a counting sort), so that three million
//! triangles need 24 bytes a half-edge at most and no hash map. Orientation is a union-find with
//! parity: two triangles that run along a shared edge the same way have opposite parity.

use super::mesh::Mesh;
use base::Vec3;
use base::sum::sum;

/// One shell.
#[derive(Debug, Clone, PartialEq)]
pub struct Shell {
    /// Triangles in it.
    pub triangles: usize,
    /// Edges with one triangle only.
    pub open_edges: usize,
    /// Edges with more than two triangles.
    pub crowded_edges: usize,
    /// Edges whose two triangles disagree about outside.
    pub crossed_edges: usize,
    /// Can its triangles agree about outside at all? A strip with a half twist cannot.
    pub orientable: bool,
    /// [m2]
    pub area: f64,
    /// [m3] by the divergence theorem; negative when inside out, meaningless when open.
    pub volume: f64,
    /// [m] lowest corner of its bounding box.
    pub low: Vec3,
    /// [m] highest corner.
    pub high: Vec3,
}

impl Shell {
    /// No open edge: it has an inside.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        self.open_edges == 0
    }
}

/// All shells of a mesh.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Shells {
    /// Shell number of each triangle.
    pub of: Vec<u32>,
    /// In the order of their first triangle.
    pub list: Vec<Shell>,
    /// Along every edge as many triangles run one way as the other: winding numbers are whole.
    pub balanced: bool,
}

/// Finds the shells, and turns triangles so that each orientable shell agrees with itself about
/// outside (the larger area keeps its sense).
///
/// Returns the shells as they are after turning, and how many triangles were turned.
#[must_use]
pub fn agree(mesh: &mut Mesh) -> (Shells, usize) {
    let edges = HalfEdges::new(mesh);
    let mut union = ParityUnion::new(mesh.triangles.len());
    let mut torn = Vec::new();
    edges.groups(|group| {
        for pair in group.windows(2) {
            // At crowded edges orientation cannot be told: join, claim agreement as found.
            let same = group.len() > 2 || pair[0].forward != pair[1].forward;
            if !union.join(pair[0].triangle, pair[1].triangle, !same) {
                torn.push(pair[0].triangle);
            }
        }
    });
    let turned = turn_minorities(mesh, &mut union, &torn);
    let edges = if turned > 0 {
        HalfEdges::new(mesh)
    } else {
        edges
    };
    (measure(mesh, &edges, &mut union, &torn), turned)
}

fn turn_minorities(mesh: &mut Mesh, union: &mut ParityUnion, torn: &[u32]) -> usize {
    let count = mesh.triangles.len();
    let found: Vec<(u32, bool)> = (0..count).map(|t| union.find(t as u32)).collect();
    if found.iter().all(|(_, parity)| !parity) {
        return 0;
    }
    let mut torn_roots: Vec<u32> = torn.iter().map(|t| found[*t as usize].0).collect();
    torn_roots.sort_unstable();
    let mut odd_area = vec![0.0; count];
    for (corners, (root, parity)) in mesh.corners().zip(&found) {
        let area = double_area(&corners).norm();
        odd_area[*root as usize] += if *parity { area } else { -area };
    }
    let mut turned = 0;
    for (triangle, (root, parity)) in mesh.triangles.iter_mut().zip(&found) {
        let minority = *parity == (odd_area[*root as usize] <= 0.0);
        if minority && torn_roots.binary_search(root).is_err() {
            triangle.swap(1, 2);
            turned += 1;
        }
    }
    turned
}

fn measure(mesh: &Mesh, edges: &HalfEdges, union: &mut ParityUnion, torn: &[u32]) -> Shells {
    let mut number_of_root = vec![u32::MAX; mesh.triangles.len()];
    let mut of = Vec::with_capacity(mesh.triangles.len());
    let mut count = 0;
    for t in 0..mesh.triangles.len() {
        let root = union.find(t as u32).0 as usize;
        if number_of_root[root] == u32::MAX {
            number_of_root[root] = count;
            count += 1;
        }
        of.push(number_of_root[root]);
    }
    let mut members: Vec<Vec<u32>> = vec![Vec::new(); count as usize];
    of.iter()
        .enumerate()
        .for_each(|(t, s)| members[*s as usize].push(t as u32));
    let mut list: Vec<Shell> = members.iter().map(|m| weigh(mesh, m)).collect();
    for t in torn {
        list[of[*t as usize] as usize].orientable = false;
    }
    let mut balanced = true;
    edges.groups(|group| {
        let shell = &mut list[of[group[0].triangle as usize] as usize];
        let forward = group.iter().filter(|e| e.forward).count();
        balanced &= forward * 2 == group.len();
        match group.len() {
            1 => shell.open_edges += 1,
            2 => shell.crossed_edges += usize::from(forward != 1),
            _ => shell.crowded_edges += 1,
        }
    });
    Shells { of, list, balanced }
}

/// Twice the area of a triangle, along its normal.
#[must_use]
pub fn double_area(t: &[Vec3; 3]) -> Vec3 {
    (t[1] - t[0]).cross(&(t[2] - t[0]))
}

fn weigh(mesh: &Mesh, members: &[u32]) -> Shell {
    let corners = |t: &u32| mesh.triangles[*t as usize].map(|v| mesh.vertices[v as usize]);
    let origin = members.first().map_or_else(Vec3::zeros, |t| corners(t)[0]);
    let area = sum(members.iter().map(|t| double_area(&corners(t)).norm())) / 2.0;
    let volume = sum(members.iter().map(|t| {
        let [a, b, c] = corners(t).map(|p| p - origin);
        a.dot(&b.cross(&c))
    })) / 6.0;
    let (low, high) = members
        .iter()
        .flat_map(corners)
        .fold((origin, origin), |(lo, hi), p| (lo.inf(&p), hi.sup(&p)));
    Shell {
        triangles: members.len(),
        open_edges: 0,
        crowded_edges: 0,
        crossed_edges: 0,
        orientable: true,
        area,
        volume,
        low,
        high,
    }
}

#[derive(Debug, Clone, Copy)]
struct HalfEdge {
    /// The higher corner.
    to: u32,
    triangle: u32,
    /// Runs from the lower corner to the higher one.
    forward: bool,
}

struct HalfEdges {
    starts: Vec<u32>,
    /// (higher corner, triangle x 2 + forward), sorted by higher corner within a bucket.
    entries: Vec<(u32, u32)>,
}

impl HalfEdges {
    fn new(mesh: &Mesh) -> HalfEdges {
        let ends = |t: &[u32; 3]| [(t[0], t[1]), (t[1], t[2]), (t[2], t[0])];
        let mut starts = vec![0_u32; mesh.vertices.len() + 1];
        for (a, b) in mesh.triangles.iter().flat_map(ends) {
            starts[a.min(b) as usize + 1] += 1;
        }
        for v in 1..starts.len() {
            starts[v] += starts[v - 1];
        }
        let mut fill = starts.clone();
        let mut entries = vec![(0, 0); mesh.triangles.len() * 3];
        for (number, t) in mesh.triangles.iter().enumerate() {
            for (a, b) in ends(t) {
                let slot = &mut fill[a.min(b) as usize];
                entries[*slot as usize] = (a.max(b), number as u32 * 2 + u32::from(a < b));
                *slot += 1;
            }
        }
        for bucket in starts.windows(2) {
            entries[bucket[0] as usize..bucket[1] as usize].sort_unstable();
        }
        HalfEdges { starts, entries }
    }

    /// Hands all half-edges of each edge to `sink`, edges in a fixed order.
    fn groups(&self, mut sink: impl FnMut(&[HalfEdge])) {
        let mut group = Vec::new();
        for bucket in self.starts.windows(2) {
            let bucket = &self.entries[bucket[0] as usize..bucket[1] as usize];
            for run in bucket.chunk_by(|a, b| a.0 == b.0) {
                group.clear();
                group.extend(run.iter().map(|&(to, code)| HalfEdge {
                    to,
                    triangle: code / 2,
                    forward: code & 1 == 1,
                }));
                debug_assert!(group.iter().all(|e| e.to == run[0].0));
                sink(&group);
            }
        }
    }
}

/// Union-find whose members know whether they agree with their root.
struct ParityUnion {
    parent: Vec<u32>,
    odd: Vec<bool>,
}

impl ParityUnion {
    fn new(count: usize) -> ParityUnion {
        ParityUnion {
            parent: (0..count as u32).collect(),
            odd: vec![false; count],
        }
    }

    /// Root, and whether `x` is odd to it. Halves the path on the way.
    fn find(&mut self, mut x: u32) -> (u32, bool) {
        let mut odd = false;
        loop {
            let up = self.parent[x as usize];
            if up == x {
                return (x, odd);
            }
            let above = self.parent[up as usize];
            if above != up {
                self.odd[x as usize] ^= self.odd[up as usize];
                self.parent[x as usize] = above;
            }
            odd ^= self.odd[x as usize];
            x = self.parent[x as usize];
        }
    }

    /// Joins two members that differ or agree. False if that contradicts what is known.
    fn join(&mut self, a: u32, b: u32, differ: bool) -> bool {
        let ((ra, oa), (rb, ob)) = (self.find(a), self.find(b));
        if ra == rb {
            return (oa ^ ob) == differ;
        }
        let (low, high) = (ra.min(rb), ra.max(rb));
        self.parent[high as usize] = low;
        self.odd[high as usize] = oa ^ ob ^ differ;
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::{shapes, weld::weld};

    fn sphere() -> Mesh {
        weld(&shapes::icosphere(3, 1.0)).unwrap().0
    }

    #[test]
    fn a_sphere_is_one_closed_shell_and_a_missing_triangle_opens_three_edges() {
        let mut mesh = sphere();
        let (shells, turned) = agree(&mut mesh);
        assert_eq!((shells.list.len(), turned, shells.balanced), (1, 0, true));
        assert!(shells.list[0].is_closed() && shells.list[0].volume > 0.0);
        mesh.triangles.pop();
        let (shells, _) = agree(&mut mesh);
        assert_eq!(shells.list[0].open_edges, 3);
        assert!(!shells.balanced);
    }

    #[test]
    fn every_third_triangle_turned_is_turned_back() {
        let whole = sphere();
        let mut mesh = whole.clone();
        mesh.triangles
            .iter_mut()
            .step_by(3)
            .for_each(|t| t.swap(1, 2));
        let (shells, turned) = agree(&mut mesh);
        assert_eq!(turned, whole.triangles.len().div_ceil(3));
        assert!(shells.balanced && shells.list[0].crossed_edges == 0);
        assert!((shells.list[0].volume - agree(&mut whole.clone()).0.list[0].volume).abs() < 1e-12);
    }

    #[test]
    fn a_moebius_strip_cannot_agree() {
        let n = 24;
        let at = |i: usize, side: usize| {
            let (turn, half) = (i / n, i as f64 / n as f64 * std::f64::consts::PI);
            let side = if (side + turn).is_multiple_of(2) {
                0.3
            } else {
                -0.3
            };
            let half = half - turn as f64 * std::f64::consts::PI;
            let r = 1.0 + side * half.cos();
            let angle = 2.0 * half;
            Vec3::new(r * angle.cos(), r * angle.sin(), side * half.sin())
        };
        let mut soup = Mesh::default();
        for i in 0..n {
            let [a, b, c, d] = [at(i, 0), at(i, 1), at(i + 1, 0), at(i + 1, 1)];
            for t in [[a, b, c], [c, b, d]] {
                let base = soup.vertices.len() as u32;
                soup.vertices.extend(t);
                soup.triangles.push([base, base + 1, base + 2]);
            }
        }
        let mut mesh = weld(&soup).unwrap().0;
        let (shells, _) = agree(&mut mesh);
        assert_eq!(shells.list.len(), 1);
        assert!(!shells.list[0].orientable && shells.list[0].open_edges == 2 * n);
    }

    #[test]
    fn two_boxes_are_two_shells() {
        let cube = shapes::block(Vec3::zeros(), Vec3::repeat(1.0));
        let far = shapes::moved(&cube, |p| p + Vec3::x() * 3.0);
        let mut mesh = weld(&shapes::together(&[cube, far])).unwrap().0;
        let (shells, _) = agree(&mut mesh);
        assert_eq!(shells.list.len(), 2);
        assert!(shells.list.iter().all(|s| (s.volume - 1.0).abs() < 1e-12));
    }
}
