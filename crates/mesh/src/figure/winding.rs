//! Generalised winding number: how often a surface, closed or not, wraps around a point.
//!
//! Sum of solid angles over 4 pi (Jacobson, Kavan & Sorkine-Hornung 2013, ACM Trans. Graph.
//! 32(4):33; solid angle of a triangle after Van Oosterom & Strackee 1983, IEEE Trans. Biomed.
//! Eng. 30:125). Far clusters act as a dipole with its first moment (Barill, Dickson, Schmidt,
//! Levin & Jacobson 2018, ACM Trans. Graph. 37(4):43); error below 0.05 next to the surface.

use super::mesh::Mesh;
use super::shell::double_area;
use base::{Mat3, Vec3};

/// A cluster is far at this many of its radii.
const FAR: f64 = 2.5;
/// Triangles in a leaf.
const LEAF: usize = 8;

struct Node {
    centre: Vec3,
    /// Square of the distance from which it counts as far.
    far2: f64,
    normal: Vec3,
    moment: Mat3,
    from: u32,
    to: u32,
    /// Second child; the first follows its parent. 0 in a leaf.
    second: u32,
}

/// A tree over the triangles of a mesh.
pub struct Winding<'a> {
    mesh: &'a Mesh,
    order: Vec<u32>,
    nodes: Vec<Node>,
}

impl<'a> Winding<'a> {
    /// Builds the tree.
    #[must_use]
    pub fn new(mesh: &'a Mesh) -> Winding<'a> {
        let mut middles: Vec<(Vec3, u32)> = mesh
            .corners()
            .enumerate()
            .map(|(i, [a, b, c])| ((a + b + c) / 3.0, i as u32))
            .collect();
        let mut nodes = Vec::with_capacity(mesh.triangles.len() / 3 + 1);
        if !middles.is_empty() {
            build(mesh, &mut middles, 0, &mut nodes);
        }
        let order = middles.into_iter().map(|m| m.1).collect();
        Winding { mesh, order, nodes }
    }

    /// Winding number at a point: 1 inside one closed shell, 0 outside.
    #[must_use]
    pub fn at(&self, point: &Vec3) -> f64 {
        let mut total = 0.0;
        let mut next = 0;
        let mut after: Vec<usize> = Vec::with_capacity(64);
        while let Some(node) = self.nodes.get(next) {
            let d = node.centre - point;
            let d2 = d.norm_squared();
            if d2 > node.far2 {
                total += dipole(node, &d, d2);
            } else if node.second == 0 {
                let some = &self.order[node.from as usize..node.to as usize];
                for t in some {
                    let t = self.mesh.triangles[*t as usize];
                    total += solid_angle(&t.map(|v| self.mesh.vertices[v as usize]), point);
                }
            } else {
                after.push(node.second as usize);
                next += 1;
                continue;
            }
            match after.pop() {
                Some(n) => next = n,
                None => break,
            }
        }
        total / (4.0 * std::f64::consts::PI)
    }
}

fn dipole(node: &Node, d: &Vec3, d2: f64) -> f64 {
    let inverse = 1.0 / d2.sqrt();
    let cube = inverse / d2;
    let first = (node.moment.trace() - 3.0 * d.dot(&(node.moment * d)) / d2) * cube;
    d.dot(&node.normal) * cube + first
}

/// [sr] solid angle of a triangle, positive when its outside faces away from the point.
#[must_use]
pub fn solid_angle(t: &[Vec3; 3], point: &Vec3) -> f64 {
    let [a, b, c] = t.map(|p| p - point);
    let (la, lb, lc) = (a.norm(), b.norm(), c.norm());
    let up = a.dot(&b.cross(&c));
    let along = la * lb * lc + a.dot(&b) * lc + b.dot(&c) * la + c.dot(&a) * lb;
    2.0 * up.atan2(along)
}

fn build(mesh: &Mesh, some: &mut [(Vec3, u32)], from: usize, nodes: &mut Vec<Node>) {
    let number = nodes.len();
    nodes.push(summary(mesh, some, from));
    if some.len() <= LEAF {
        return;
    }
    let first = some[0].0;
    let (lo, hi) = some
        .iter()
        .fold((first, first), |(lo, hi), m| (lo.inf(&m.0), hi.sup(&m.0)));
    let axis = (hi - lo).imax();
    let half = some.len() / 2;
    some.select_nth_unstable_by(half, |a, b| {
        a.0[axis].total_cmp(&b.0[axis]).then(a.1.cmp(&b.1))
    });
    let (left, right) = some.split_at_mut(half);
    build(mesh, left, from, nodes);
    nodes[number].second = nodes.len() as u32;
    build(mesh, right, from + half, nodes);
}

fn summary(mesh: &Mesh, some: &[(Vec3, u32)], from: usize) -> Node {
    let corners = |t: u32| mesh.triangles[t as usize].map(|v| mesh.vertices[v as usize]);
    let (mut total, mut centre, mut normal, mut plain) =
        (0.0, Vec3::zeros(), Vec3::zeros(), Vec3::zeros());
    for (middle, t) in some {
        let vector = double_area(&corners(*t)) / 2.0;
        let area = vector.norm();
        total += area;
        centre += middle * area;
        plain += middle;
        normal += vector;
    }
    let centre = if total > 0.0 {
        centre / total
    } else {
        plain / some.len() as f64
    };
    let (mut moment, mut radius2) = (Mat3::zeros(), 0.0_f64);
    for (middle, t) in some {
        let corners = corners(*t);
        moment += (middle - centre) * (double_area(&corners) / 2.0).transpose();
        for p in corners {
            radius2 = radius2.max((p - centre).norm_squared());
        }
    }
    Node {
        centre,
        far2: FAR * FAR * radius2,
        normal,
        moment,
        from: from as u32,
        to: (from + some.len()) as u32,
        second: 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::shapes;
    use rand::RngExt;

    #[test]
    fn the_tree_agrees_with_the_plain_sum() {
        let mut mesh = shapes::icosphere(4, 1.0);
        mesh.triangles
            .retain(|t| mesh.vertices[t[0] as usize].z < 0.6);
        let tree = Winding::new(&mesh);
        let mut random = base::random::stream(1, &["winding"], 0);
        let mut worst = 0.0_f64;
        for _ in 0..400 {
            let p = Vec3::from_fn(|_, _| random.random::<f64>() * 3.0 - 1.5);
            let exact = mesh.corners().map(|t| solid_angle(&t, &p)).sum::<f64>()
                / (4.0 * std::f64::consts::PI);
            worst = worst.max((tree.at(&p) - exact).abs());
        }
        assert!(worst < 0.05, "{worst}");
    }

    /// Half of space seen from the middle of the opening, by symmetry.
    #[test]
    fn an_open_half_sphere_wraps_its_middle_half() {
        let mesh = shapes::turned(
            &[
                (0.0, -1.0),
                (0.5, -0.866_025_4),
                (0.866_025_4, -0.5),
                (1.0, 0.0),
            ],
            32,
        );
        assert!((Winding::new(&mesh).at(&Vec3::zeros()) - 0.5).abs() < 0.02);
    }
}
