//! Plain bodies whose volume, centre and curvature are in every handbook, for the checks of this
//! room and of the rooms above it.

use super::mesh::Mesh;
use base::Vec3;

/// A sphere about the origin from a subdivided icosahedron, corners on the sphere.
#[must_use]
pub fn icosphere(splits: usize, radius: f64) -> Mesh {
    let g = (1.0 + 5.0_f64.sqrt()) / 2.0;
    let seeds = [
        [-1.0, g, 0.0],
        [1.0, g, 0.0],
        [-1.0, -g, 0.0],
        [1.0, -g, 0.0],
        [0.0, -1.0, g],
        [0.0, 1.0, g],
        [0.0, -1.0, -g],
        [0.0, 1.0, -g],
        [g, 0.0, -1.0],
        [g, 0.0, 1.0],
        [-g, 0.0, -1.0],
        [-g, 0.0, 1.0],
    ];
    let faces = [
        [0, 11, 5],
        [0, 5, 1],
        [0, 1, 7],
        [0, 7, 10],
        [0, 10, 11],
        [1, 5, 9],
        [5, 11, 4],
        [11, 10, 2],
        [10, 7, 6],
        [7, 1, 8],
        [3, 9, 4],
        [3, 4, 2],
        [3, 2, 6],
        [3, 6, 8],
        [3, 8, 9],
        [4, 9, 5],
        [2, 4, 11],
        [6, 2, 10],
        [8, 6, 7],
        [9, 8, 1],
    ];
    let mut flat: Vec<[Vec3; 3]> = faces
        .iter()
        .map(|f: &[usize; 3]| f.map(|v| Vec3::from(seeds[v]).normalize()))
        .collect();
    for _ in 0..splits {
        flat = flat
            .iter()
            .flat_map(|[a, b, c]| {
                let (ab, bc, ca) = (
                    (a + b).normalize(),
                    (b + c).normalize(),
                    (c + a).normalize(),
                );
                [[*a, ab, ca], [ab, *b, bc], [ca, bc, *c], [ab, bc, ca]]
            })
            .collect();
    }
    gather(flat.into_iter().map(|t| t.map(|p| p * radius)))
}

/// A box from `low` to `high`, twelve triangles.
#[must_use]
pub fn block(low: Vec3, high: Vec3) -> Mesh {
    let corner = |i: usize| {
        Vec3::new(
            if i & 1 == 0 { low.x } else { high.x },
            if i & 2 == 0 { low.y } else { high.y },
            if i & 4 == 0 { low.z } else { high.z },
        )
    };
    Mesh {
        vertices: (0..8).map(corner).collect(),
        triangles: vec![
            [0, 2, 1],
            [1, 2, 3],
            [4, 5, 6],
            [5, 7, 6],
            [0, 1, 4],
            [1, 5, 4],
            [2, 6, 3],
            [3, 6, 7],
            [0, 4, 2],
            [2, 4, 6],
            [1, 3, 5],
            [3, 7, 5],
        ],
    }
}

/// A body of revolution about z, closed by its ends on the axis.
///
/// * `profile`: [m] (distance from the axis, height) from the lower end to the upper one; first
///   and last on the axis
/// * `sides`: at least 3
#[must_use]
pub fn turned(profile: &[(f64, f64)], sides: usize) -> Mesh {
    let at = |ring: usize, side: usize| {
        let angle = std::f64::consts::TAU * (side % sides) as f64 / sides as f64;
        let (r, z) = profile[ring];
        Vec3::new(r * angle.cos(), r * angle.sin(), z)
    };
    let mut flat = Vec::new();
    for ring in 1..profile.len() {
        for side in 0..sides {
            let [a, b] = [at(ring - 1, side), at(ring - 1, side + 1)];
            let [c, d] = [at(ring, side), at(ring, side + 1)];
            if profile[ring - 1].0 > 0.0 {
                flat.push([a, b, d]);
            }
            if profile[ring].0 > 0.0 {
                flat.push([a, d, c]);
            }
        }
    }
    gather(flat.into_iter())
}

/// Several meshes in one, not welded to each other.
#[must_use]
pub fn together(parts: &[Mesh]) -> Mesh {
    let mut all = Mesh::default();
    for part in parts {
        let base = all.vertices.len() as u32;
        all.vertices.extend_from_slice(&part.vertices);
        all.triangles
            .extend(part.triangles.iter().map(|t| t.map(|v| v + base)));
    }
    all
}

/// The same mesh turned inside out.
#[must_use]
pub fn inside_out(mesh: &Mesh) -> Mesh {
    Mesh {
        vertices: mesh.vertices.clone(),
        triangles: mesh.triangles.iter().map(|&[a, b, c]| [a, c, b]).collect(),
    }
}

/// The same mesh after `map` on every corner.
#[must_use]
pub fn moved(mesh: &Mesh, map: impl Fn(&Vec3) -> Vec3) -> Mesh {
    Mesh {
        vertices: mesh.vertices.iter().map(map).collect(),
        triangles: mesh.triangles.clone(),
    }
}

fn gather(triangles: impl Iterator<Item = [Vec3; 3]>) -> Mesh {
    let mut mesh = Mesh::default();
    for t in triangles {
        let base = mesh.vertices.len() as u32;
        mesh.vertices.extend(t);
        mesh.triangles.push([base, base + 1, base + 2]);
    }
    mesh
}

/// The same shape in other triangles: each is split at random points inside it until none is
/// larger than asked. Corners on straight edges are not added, so slivers abound, as in meshes
/// from careless programs.
///
/// * `largest`: [m2] area of the largest triangle left
#[must_use]
pub fn split_at_random(mesh: &Mesh, largest: f64, seed: u64) -> Mesh {
    use rand::RngExt;
    let mut random = base::random::stream(seed, &["split"], 0);
    let mut out = Mesh {
        vertices: mesh.vertices.clone(),
        triangles: Vec::new(),
    };
    let mut todo = mesh.triangles.clone();
    todo.reverse();
    let mut rounds = 0;
    while let Some(t) = todo.pop() {
        let [a, b, c] = t.map(|v| out.vertices[v as usize]);
        rounds += 1;
        if (b - a).cross(&(c - a)).norm() / 2.0 <= largest || rounds > 4_000_000 {
            out.triangles.push(t);
            continue;
        }
        let w: [f64; 3] = std::array::from_fn(|_| 0.2 + random.random::<f64>());
        let middle = (a * w[0] + b * w[1] + c * w[2]) / (w[0] + w[1] + w[2]);
        let new = out.vertices.len() as u32;
        out.vertices.push(middle);
        todo.extend([[t[0], t[1], new], [t[1], t[2], new], [t[2], t[0], new]]);
    }
    out
}

/// The same shape with every triangle split in four at the middles of its edges.
#[must_use]
pub fn split_in_four(mesh: &Mesh) -> Mesh {
    gather(mesh.corners().flat_map(|[a, b, c]| {
        let (ab, bc, ca) = ((a + b) / 2.0, (b + c) / 2.0, (c + a) / 2.0);
        [[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]
    }))
}
