//! Flat lids for flat holes, as when the underside of a base was left out.
//!
//! The winding number above one half closes a flat hole with its own plane, but near that plane it
//! changes so slowly (by a half over the width of the hole) that its small error moves the plane by
//! tenths of a millimetre. A lid of triangles does not move.

use super::mesh::Mesh;
use base::Vec3;

/// A rim this close to its plane is flat: share of the square root of its area.
const FLAT: f64 = 5e-3;

/// The mesh with a lid on every hole that is flat.
pub(super) struct Lidded {
    pub mesh: Mesh,
    /// Are all holes closed now?
    pub closed: bool,
}

/// Closes flat holes; `None` if there is none.
pub(super) fn lids(mesh: &Mesh) -> Option<Lidded> {
    let (rims, mut closed) = rims(mesh);
    let mut with = Mesh::default();
    for rim in &rims {
        let Some(middle) = flat(mesh, rim) else {
            closed = false;
            continue;
        };
        if with.triangles.is_empty() {
            with = mesh.clone();
        }
        let number = with.vertices.len() as u32;
        with.vertices.push(middle);
        for (i, &from) in rim.iter().enumerate() {
            let to = rim[(i + 1) % rim.len()];
            with.triangles.push([to, from, number]);
        }
    }
    (!with.triangles.is_empty()).then_some(Lidded { mesh: with, closed })
}

/// Rims of holes in the sense of their triangles, and whether these are all open edges.
fn rims(mesh: &Mesh) -> (Vec<Vec<u32>>, bool) {
    let mut edges: Vec<(u32, u32, i8)> = mesh
        .triangles
        .iter()
        .flat_map(|t| [(t[0], t[1]), (t[1], t[2]), (t[2], t[0])])
        .map(|(a, b)| (a.min(b), a.max(b), if a < b { 1 } else { -1 }))
        .collect();
    edges.sort_unstable();
    let mut next: Vec<(u32, u32)> = Vec::new();
    let mut whole = true;
    for group in edges.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)) {
        let (low, high, _) = group[0];
        match group.iter().map(|e| i32::from(e.2)).sum::<i32>() {
            0 => {}
            1 => next.push((low, high)),
            -1 => next.push((high, low)),
            _ => whole = false,
        }
    }
    next.sort_unstable();
    let mut done = vec![false; next.len()];
    let mut rims = Vec::new();
    for start in 0..next.len() {
        if done[start] {
            continue;
        }
        let mut rim = Vec::new();
        let mut at = start;
        // A corner where two rims meet has two ways on; any of those left will do.
        loop {
            done[at] = true;
            rim.push(next[at].0);
            let from = next.partition_point(|e| e.0 < next[at].1);
            let way = (from..next.len())
                .take_while(|i| next[*i].0 == next[at].1)
                .find(|i| !done[*i]);
            match way {
                Some(i) => at = i,
                None => break,
            }
        }
        if next[at].1 == rim[0] && rim.len() >= 3 {
            rims.push(rim);
        } else {
            whole = false;
        }
    }
    (rims, whole)
}

/// The middle of a rim that lies in a plane.
fn flat(mesh: &Mesh, rim: &[u32]) -> Option<Vec3> {
    let at = |v: u32| mesh.vertices[v as usize];
    let middle = rim.iter().map(|v| at(*v)).sum::<Vec3>() / rim.len() as f64;
    let mut area = Vec3::zeros();
    for (i, &from) in rim.iter().enumerate() {
        let to = rim[(i + 1) % rim.len()];
        area += (at(from) - middle).cross(&(at(to) - middle)) / 2.0;
    }
    let normal = area.try_normalize(0.0)?;
    let allowed = FLAT * area.norm().sqrt();
    rim.iter()
        .all(|v| (at(*v) - middle).dot(&normal).abs() <= allowed)
        .then_some(middle)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::{shapes, solid, weld::weld};

    fn without(mesh: &Mesh, gone: impl Fn(&[Vec3; 3]) -> bool) -> Mesh {
        let mut mesh = weld(mesh).unwrap().0;
        let corners: Vec<[Vec3; 3]> = mesh.corners().collect();
        let mut number = 0;
        mesh.triangles.retain(|_| {
            number += 1;
            !gone(&corners[number - 1])
        });
        mesh
    }

    /// Box a x b x c, any table of solids; two holes of an L-shaped rim and a square one.
    #[test]
    fn flat_holes_are_closed_exactly() {
        let size = Vec3::new(3.0, 2.0, 1.0);
        let fine =
            shapes::split_in_four(&shapes::split_in_four(&shapes::block(Vec3::zeros(), size)));
        let open = without(&fine, |t| {
            let m = (t[0] + t[1] + t[2]) / 3.0;
            m.z < 1e-9 && (m.x < 1.5 || m.y < 1.0) || m.z > 1.0 - 1e-9 && m.x > 1.5
        });
        let lidded = lids(&open).unwrap();
        assert!(lidded.closed);
        let found = solid::divergence(&lidded.mesh);
        assert!((found.volume - 6.0).abs() < 1e-12, "{}", found.volume);
        let (centre, _) = found.centre_and_inertia();
        assert!((centre - size / 2.0).norm() < 1e-12);
    }

    #[test]
    fn bent_holes_stay_and_closed_meshes_need_nothing() {
        let ball = shapes::icosphere(4, 1.0);
        assert!(lids(&weld(&ball).unwrap().0).is_none());
        // A saddle-shaped hole: the triangles about the equator's front quarter.
        let bent = without(&ball, |t| {
            let m = (t[0] + t[1] + t[2]) / 3.0;
            m.x > 0.3 && m.z.abs() < 0.5
        });
        assert!(lids(&bent).is_none());
    }
}
