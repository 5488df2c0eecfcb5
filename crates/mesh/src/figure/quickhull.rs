//! Quickhull with a slack (Barber, Dobkin & Huhdanpaa 1996, ACM Trans. Math. Softw. 22:469),
//! without facet merging: planes that all but contain the new point count as seen by it, so a
//! flat base full of points leaves no slivers. Where that is not enough (a horizon that is no
//! single loop, a face without height) it gives up and says so by `None`.

use super::hull::{Hull, SLACK};
use base::Vec3;

/// [m] a plane this little above the point still counts as seen.
const COPLANAR: f64 = 1e-8;
/// [m] a face lower than this has no reliable normal.
const THIN: f64 = 4e-9;

struct Face {
    corners: [u32; 3],
    /// Face across the edge from corner i to corner i + 1.
    across: [u32; 3],
    normal: Vec3,
    offset: f64,
    /// Points outside this face, the farthest last.
    outside: Vec<u32>,
    alive: bool,
}

struct Builder<'a> {
    points: &'a [Vec3],
    /// [m]
    slack: f64,
    faces: Vec<Face>,
}

/// The hull of the points to within `slack` [m].
pub(super) fn quickhull(points: &[Vec3], slack: f64) -> Option<Hull> {
    let first = tetrahedron(points)?;
    let mut builder = Builder {
        points,
        slack,
        faces: Vec::new(),
    };
    let [a, b, c, d] = first;
    for (corners, across) in [
        ([a, b, c], [1, 2, 3]),
        ([b, a, d], [0, 3, 2]),
        ([c, b, d], [0, 1, 3]),
        ([a, c, d], [0, 2, 1]),
    ] {
        builder.push(corners, across)?;
    }
    let all = (0..points.len() as u32).collect();
    builder.share_out(all, 0);
    let mut next = 0;
    while next < builder.faces.len() {
        let face = &builder.faces[next];
        if face.alive && !face.outside.is_empty() {
            builder.raise(next as u32)?;
        }
        next += 1;
    }
    Some(builder.finish())
}

/// Four points far apart, the last on the inner side of the first three.
fn tetrahedron(points: &[Vec3]) -> Option<[u32; 4]> {
    let farthest = |measure: &dyn Fn(&Vec3) -> f64| {
        let mut best = (f64::NEG_INFINITY, 0);
        for (i, p) in points.iter().enumerate() {
            let value = measure(p);
            if value > best.0 {
                best = (value, i);
            }
        }
        best.1
    };
    let way = Vec3::new(0.613, 0.377, 0.694);
    let a = farthest(&|p| p.dot(&way));
    let pa = points.get(a)?;
    let b = farthest(&|p| (p - pa).norm_squared());
    let along = (points[b] - pa).try_normalize(SLACK)?;
    let c = farthest(&|p| (p - pa).cross(&along).norm_squared());
    let normal = along.cross(&(points[c] - pa)).try_normalize(SLACK)?;
    let d = farthest(&|p| (p - pa).dot(&normal).abs());
    let height = (points[d] - pa).dot(&normal);
    let (b, c) = if height < 0.0 { (b, c) } else { (c, b) };
    (height.abs() > 2.0 * SLACK).then_some([a, b, c, d].map(|i| i as u32))
}

impl Builder<'_> {
    fn push(&mut self, corners: [u32; 3], across: [u32; 3]) -> Option<u32> {
        let [a, b, c] = corners.map(|i| self.points[i as usize]);
        let cross = (b - a).cross(&(c - a));
        let longest = (b - a).norm().max((c - b).norm()).max((a - c).norm());
        if cross.norm() < THIN * longest {
            return None;
        }
        let normal = cross.normalize();
        let number = self.faces.len() as u32;
        self.faces.push(Face {
            corners,
            across,
            normal,
            offset: normal.dot(&((a + b + c) / 3.0)),
            outside: Vec::new(),
            alive: true,
        });
        Some(number)
    }

    fn height(&self, face: u32, point: u32) -> f64 {
        let face = &self.faces[face as usize];
        face.normal.dot(&self.points[point as usize]) - face.offset
    }

    /// Gives each point to the first face from `from` on that it lies outside of; inner points
    /// are forgotten.
    fn share_out(&mut self, orphans: Vec<u32>, from: usize) {
        let mut best = vec![self.slack; self.faces.len() - from];
        for point in orphans {
            let p = &self.points[point as usize];
            for (number, face) in self.faces[from..].iter_mut().enumerate() {
                let height = face.normal.dot(p) - face.offset;
                if height > self.slack {
                    face.outside.push(point);
                    if height > best[number] {
                        best[number] = height;
                    } else {
                        let last = face.outside.len() - 1;
                        face.outside.swap(last, last - 1);
                    }
                    break;
                }
            }
        }
    }

    /// Adds the farthest point outside a face to the hull.
    fn raise(&mut self, start: u32) -> Option<()> {
        let apex = *self.faces[start as usize].outside.last()?;
        let mut seen = vec![start];
        self.faces[start as usize].alive = false;
        let mut horizon: Vec<(u32, u32, u32)> = Vec::new();
        let mut next = 0;
        while let Some(&face) = seen.get(next) {
            next += 1;
            for edge in 0..3 {
                let other = self.faces[face as usize].across[edge];
                if !self.faces[other as usize].alive {
                    continue;
                }
                if self.height(other, apex) > -COPLANAR {
                    self.faces[other as usize].alive = false;
                    seen.push(other);
                }
            }
        }
        for &face in &seen {
            let f = &self.faces[face as usize];
            for edge in 0..3 {
                let other = f.across[edge];
                if self.faces[other as usize].alive {
                    horizon.push((f.corners[edge], f.corners[(edge + 1) % 3], other));
                }
            }
        }
        let from = self.faces.len();
        self.cone(apex, horizon)?;
        let orphans: Vec<u32> = seen
            .iter()
            .flat_map(|f| std::mem::take(&mut self.faces[*f as usize].outside))
            .filter(|p| *p != apex)
            .collect();
        self.share_out(orphans, from);
        Some(())
    }

    /// New faces between the horizon and the apex.
    fn cone(&mut self, apex: u32, mut horizon: Vec<(u32, u32, u32)>) -> Option<()> {
        let mut loop_: Vec<(u32, u32, u32)> = Vec::with_capacity(horizon.len());
        horizon.sort_unstable();
        let count = horizon.len() as u32;
        let mut edge = *horizon.first()?;
        for _ in 0..count {
            loop_.push(edge);
            let at = horizon.partition_point(|e| e.0 < edge.1);
            let next = horizon.get(at).filter(|e| e.0 == edge.1)?;
            if horizon.get(at + 1).is_some_and(|e| e.0 == edge.1) {
                return None;
            }
            edge = *next;
        }
        if count < 3 || edge != loop_[0] {
            return None;
        }
        let base = self.faces.len() as u32;
        for (i, (a, b, other)) in loop_.into_iter().enumerate() {
            let i = i as u32;
            let across = [
                other,
                base + (i + 1) % count,
                base + (i + count - 1) % count,
            ];
            let new = self.push([a, b, apex], across)?;
            let neighbour = &mut self.faces[other as usize];
            let edge = (0..3)
                .find(|e| neighbour.corners[*e] == b && neighbour.corners[(*e + 1) % 3] == a)?;
            neighbour.across[edge] = new;
        }
        Some(())
    }

    fn finish(self) -> Hull {
        let alive = || self.faces.iter().filter(|f| f.alive);
        let mut used: Vec<u32> = alive().flat_map(|f| f.corners).collect();
        used.sort_unstable();
        used.dedup();
        let number = |v: &u32| used.partition_point(|u| u < v) as u32;
        Hull {
            points: used.iter().map(|i| self.points[*i as usize]).collect(),
            faces: alive()
                .map(|f| [0, 1, 2].map(|k| number(&f.corners[k])))
                .collect(),
        }
    }
}
