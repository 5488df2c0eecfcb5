//! The mesh that is shown and exported: the figure's own triangles, long edges split so that a
//! heat map has corners to hang its colours on, and for each corner the patches it takes them from.

use super::mesh::Mesh;
use super::{Figure, PatchId};
use base::Vec3;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// [m] longest edge shown.
const EDGE: f64 = 5e-4;
/// [m] reach of the kernel a corner takes its value from.
const REACH: f64 = 5e-4;
/// More triangles than this are not made; long edges then stay longer.
const MOST_TRIANGLES: usize = 400_000;
/// Figures of more triangles than this are drawn with [`MOST_TRIANGLES`]: below the reach of the
/// kernel finer triangles show nothing, and files of a hundred megabytes help nobody.
const TOO_MANY: usize = 600_000;

/// Triangles of the page's mesh: keeps a page below 2 MB.
pub const LIGHT_TRIANGLES: usize = 50_000;

/// A mesh to be coloured.
#[derive(Debug, Clone)]
pub struct Display {
    /// [m] corners and triangles.
    pub mesh: Mesh,
    /// Patches each corner takes its value from; weights sum to 1.
    pub weights: Vec<Vec<(PatchId, f64)>>,
}

impl Display {
    /// The display mesh of a figure.
    #[must_use]
    pub fn of(figure: &Figure) -> Display {
        let mesh = if figure.mesh.triangles.len() > TOO_MANY {
            super::sculpt::simplify(&figure.mesh, MOST_TRIANGLES)
        } else {
            split(&figure.mesh)
        };
        Display::on(figure, mesh)
    }

    fn on(figure: &Figure, mesh: Mesh) -> Display {
        let normals = corner_normals(&mesh);
        let weights = mesh
            .vertices
            .par_iter()
            .zip(&normals)
            .map(|(v, n)| figure.surface.spread(v, n, REACH))
            .collect();
        Display { mesh, weights }
    }

    /// A lighter mesh for the page: at most about [`LIGHT_TRIANGLES`], tips kept.
    ///
    /// * `figure`: the one this display mesh was made of
    #[must_use]
    pub fn light(&self, figure: &Figure) -> Display {
        let own = figure.mesh.triangles.len();
        let mesh = if self.mesh.triangles.len() <= LIGHT_TRIANGLES {
            return self.clone();
        } else if own <= LIGHT_TRIANGLES {
            figure.mesh.clone()
        } else if own > TOO_MANY {
            super::sculpt::simplify(&self.mesh, LIGHT_TRIANGLES)
        } else {
            super::sculpt::simplify(&figure.mesh, LIGHT_TRIANGLES)
        };
        Display::on(figure, mesh)
    }

    /// A map over patches as values on the corners.
    ///
    /// * `map`: one value per patch; not finite where there is none
    #[must_use]
    pub fn values(&self, map: &[f64]) -> Vec<f32> {
        self.weights
            .iter()
            .map(|patches| {
                let (mut sum, mut weight) = (0.0, 0.0);
                for (patch, w) in patches {
                    let value = map[patch.index()];
                    if value.is_finite() {
                        sum += w * value;
                        weight += w;
                    }
                }
                if weight > 0.0 {
                    (sum / weight) as f32
                } else {
                    f32::NAN
                }
            })
            .collect()
    }

    /// The patch that decides most of a corner's value.
    #[must_use]
    pub fn patch_of(&self, corner: usize) -> Option<PatchId> {
        self.weights[corner]
            .iter()
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(patch, _)| *patch)
    }

    /// [mm] corners.
    #[must_use]
    pub fn vertices_mm(&self) -> Vec<[f32; 3]> {
        let mm = |x: f64| (x * 1e3) as f32;
        self.mesh
            .vertices
            .iter()
            .map(|v| [mm(v.x), mm(v.y), mm(v.z)])
            .collect()
    }
}

/// Splits edges longer than [`EDGE`] in the middle until none is left or the mesh is large enough.
fn split(mesh: &Mesh) -> Mesh {
    let mut mesh = mesh.clone();
    while mesh.triangles.len() < MOST_TRIANGLES {
        let middles = middles(&mut mesh);
        if middles.is_empty() {
            break;
        }
        let old = std::mem::take(&mut mesh.triangles);
        for triangle in old {
            divide(triangle, &middles, &mut mesh.triangles);
        }
    }
    mesh
}

/// Adds the middle of every long edge; gives its number by the edge's corners.
fn middles(mesh: &mut Mesh) -> BTreeMap<(u32, u32), u32> {
    let mut middles = BTreeMap::new();
    for t in 0..mesh.triangles.len() {
        for k in 0..3 {
            let (a, b) = (mesh.triangles[t][k], mesh.triangles[t][(k + 1) % 3]);
            let (from, to) = (mesh.vertices[a as usize], mesh.vertices[b as usize]);
            let edge = (a.min(b), a.max(b));
            if (to - from).norm() > EDGE && !middles.contains_key(&edge) {
                middles.insert(edge, mesh.vertices.len() as u32);
                mesh.vertices.push((from + to) * 0.5);
            }
        }
    }
    middles
}

/// One triangle into one to four, by which of its edges have a middle.
fn divide(t: [u32; 3], middles: &BTreeMap<(u32, u32), u32>, out: &mut Vec<[u32; 3]>) {
    let middle = |a: u32, b: u32| middles.get(&(a.min(b), a.max(b))).copied();
    let m: Vec<Option<u32>> = (0..3).map(|k| middle(t[k], t[(k + 1) % 3])).collect();
    match m.iter().flatten().count() {
        0 => out.push(t),
        3 => {
            let m: Vec<u32> = m.into_iter().flatten().collect();
            out.extend([
                [t[0], m[0], m[2]],
                [m[0], t[1], m[1]],
                [m[2], m[1], t[2]],
                [m[0], m[1], m[2]],
            ]);
        }
        _ => {
            // Turn so that edge 0 has a middle and edge 2 has none.
            let turn = (0..3)
                .find(|k| m[*k].is_some() && m[(k + 2) % 3].is_none())
                .unwrap_or(0);
            let [a, b, c] = [t[turn], t[(turn + 1) % 3], t[(turn + 2) % 3]];
            let (Some(ab), bc) = (m[turn], m[(turn + 1) % 3]) else {
                out.push(t);
                return;
            };
            match bc {
                None => out.extend([[a, ab, c], [ab, b, c]]),
                Some(bc) => out.extend([[ab, b, bc], [a, ab, bc], [a, bc, c]]),
            }
        }
    }
}

fn corner_normals(mesh: &Mesh) -> Vec<Vec3> {
    let mut normals = vec![Vec3::zeros(); mesh.vertices.len()];
    for (t, [a, b, c]) in mesh.triangles.iter().zip(mesh.corners()) {
        let area = (b - a).cross(&(c - a));
        for v in t {
            normals[*v as usize] += area;
        }
    }
    for n in &mut normals {
        *n = n.try_normalize(0.0).unwrap_or_else(Vec3::z);
    }
    normals
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A 2 mm square plate: splitting keeps the area and leaves no long edge and no gap.
    #[test]
    fn splitting_keeps_area_and_neighbours() {
        let v = |x: f64, y: f64| Vec3::new(x * 1e-3, y * 1e-3, 0.0);
        let mesh = Mesh {
            vertices: vec![v(0.0, 0.0), v(2.0, 0.0), v(2.0, 1.1), v(0.0, 1.1)],
            triangles: vec![[0, 1, 2], [0, 2, 3]],
        };
        let fine = split(&mesh);
        let area: f64 = fine
            .corners()
            .map(|[a, b, c]| 0.5 * (b - a).cross(&(c - a)).z)
            .sum();
        assert!((area - 2.2e-6).abs() < 1e-15, "{area}");
        let mut edges: BTreeMap<(u32, u32), u32> = BTreeMap::new();
        for t in &fine.triangles {
            for k in 0..3 {
                let (a, b) = (t[k], t[(k + 1) % 3]);
                let length = (fine.vertices[a as usize] - fine.vertices[b as usize]).norm();
                assert!(length <= EDGE + 1e-12);
                *edges.entry((a.min(b), a.max(b))).or_default() += 1;
            }
        }
        let rim = edges.iter().filter(|(_, n)| **n == 1);
        assert!(
            rim.clone().all(|((a, b), _)| {
                let (p, q) = (fine.vertices[*a as usize], fine.vertices[*b as usize]);
                let on = |f: fn(&Vec3) -> f64, at: f64| {
                    (f(&p) - at).abs() < 1e-12 && (f(&q) - at).abs() < 1e-12
                };
                on(|v| v.x, 0.0) || on(|v| v.x, 2e-3) || on(|v| v.y, 0.0) || on(|v| v.y, 1.1e-3)
            }),
            "no gap inside"
        );
    }
}
