//! What the sculpt must be before it may teach anything: closed, one shell, of known volume.

use crate::figure::Mesh;

/// Topology and volume of a mesh.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Health {
    /// Every edge is shared by exactly two triangles that run it in opposite directions.
    pub watertight: bool,
    /// Connected parts.
    pub shells: usize,
    /// Vertices - edges + triangles: 2 per shell less 2 per handle.
    pub euler: i64,
    /// Signed volume by the divergence theorem, in the cube of the mesh's unit.
    pub volume: f64,
    /// Area, in the square of the mesh's unit.
    pub area: f64,
}

/// Examines a mesh; works for open and tangled ones too.
#[must_use]
pub fn health(mesh: &Mesh) -> Health {
    let mut directed: Vec<(u32, u32)> = mesh
        .triangles
        .iter()
        .flat_map(|&[a, b, c]| [(a, b), (b, c), (c, a)])
        .collect();
    directed.sort_unstable();
    let twice = directed.windows(2).any(|pair| pair[0] == pair[1]);
    let paired = |&(a, b): &(u32, u32)| directed.binary_search(&(b, a)).is_ok();
    let watertight = !twice && !directed.is_empty() && directed.iter().all(paired);
    let mut edges: Vec<(u32, u32)> = directed
        .iter()
        .map(|&(a, b)| (a.min(b), a.max(b)))
        .collect();
    edges.sort_unstable();
    edges.dedup();
    let used = used_vertices(mesh);
    let six = |[a, b, c]: [base::Vec3; 3]| a.dot(&b.cross(&c));
    let double = |[a, b, c]: [base::Vec3; 3]| (b - a).cross(&(c - a)).norm();
    Health {
        watertight,
        shells: shells(mesh, &edges),
        euler: used as i64 - edges.len() as i64 + mesh.triangles.len() as i64,
        volume: base::sum::sum(mesh.corners().map(six)) / 6.0,
        area: base::sum::sum(mesh.corners().map(double)) / 2.0,
    }
}

fn used_vertices(mesh: &Mesh) -> usize {
    let mut used = vec![false; mesh.vertices.len()];
    for &v in mesh.triangles.iter().flatten() {
        used[v as usize] = true;
    }
    used.iter().filter(|&&u| u).count()
}

/// Connected parts over shared corners: joins along edges until nothing changes hands.
fn shells(mesh: &Mesh, edges: &[(u32, u32)]) -> usize {
    let mut root: Vec<u32> = (0..mesh.vertices.len() as u32).collect();
    let find = |root: &mut Vec<u32>, mut v: u32| {
        while root[v as usize] != v {
            root[v as usize] = root[root[v as usize] as usize];
            v = root[v as usize];
        }
        v
    };
    for &(a, b) in edges {
        let (a, b) = (find(&mut root, a), find(&mut root, b));
        root[a.max(b) as usize] = a.min(b);
    }
    let mut tops: Vec<u32> = edges.iter().map(|&(a, _)| find(&mut root, a)).collect();
    tops.sort_unstable();
    tops.dedup();
    tops.len()
}

#[cfg(test)]
mod tests {
    use super::*;
    use base::Vec3;

    #[test]
    fn a_tetrahedron_is_whole_and_a_missing_face_is_seen() {
        let vertices = vec![Vec3::zeros(), Vec3::x(), Vec3::y(), Vec3::z()];
        let triangles = vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]];
        let mut mesh = Mesh {
            vertices,
            triangles,
        };
        let whole = health(&mesh);
        assert!(whole.watertight && whole.shells == 1 && whole.euler == 2);
        assert!((whole.volume - 1.0 / 6.0).abs() < 1e-15);
        mesh.triangles.pop();
        assert!(!health(&mesh).watertight);
    }
}
