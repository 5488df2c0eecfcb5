//! Which patches lie beside each other.

use mesh::figure::Figure;
use std::collections::BTreeMap;

/// Neighbours of every patch.
#[derive(Debug, Clone, PartialEq)]
pub struct Neighbours {
    lists: Vec<Vec<usize>>,
}

/// Patches count as neighbours up to this many patch widths between their middles.
const REACH: f64 = 1.6;

impl Neighbours {
    /// From the patches' middles: near each other and not on opposite sides of a thin part.
    #[must_use]
    pub fn of(figure: &Figure) -> Neighbours {
        let patches = &figure.patches;
        let exposed: Vec<usize> = (0..patches.len()).filter(|&p| patches[p].exposed).collect();
        let total: f64 = exposed.iter().map(|&p| patches[p].area).sum();
        let reach = REACH * (total / exposed.len().max(1) as f64).sqrt();
        let cell = |p: usize| {
            let c = patches[p].centroid / reach.max(f64::MIN_POSITIVE);
            [c.x, c.y, c.z].map(|v| v.floor() as i64)
        };
        let mut cells: BTreeMap<[i64; 3], Vec<usize>> = BTreeMap::new();
        for &p in &exposed {
            cells.entry(cell(p)).or_default().push(p);
        }
        let mut lists = vec![Vec::new(); patches.len()];
        for &p in &exposed {
            let [x, y, z] = cell(p);
            for (dx, dy, dz) in (0..27).map(|i| (i % 3 - 1, i / 3 % 3 - 1, i / 9 - 1)) {
                for &q in cells.get(&[x + dx, y + dy, z + dz]).into_iter().flatten() {
                    let gap = (patches[p].centroid - patches[q].centroid).norm();
                    let facing = patches[p].normal.dot(&patches[q].normal);
                    if p != q && gap <= reach && facing > -0.3 {
                        lists[p].push(q);
                    }
                }
            }
            lists[p].sort_unstable();
        }
        Neighbours { lists }
    }

    /// The neighbours of a patch.
    #[must_use]
    pub fn of_patch(&self, patch: usize) -> &[usize] {
        &self.lists[patch]
    }

    /// A row in which each touches the next.
    #[cfg(test)]
    pub(super) fn row(n: usize) -> Neighbours {
        let lists = (0..n)
            .map(|i| {
                [i.checked_sub(1), (i + 1 < n).then_some(i + 1)]
                    .into_iter()
                    .flatten()
                    .collect()
            })
            .collect();
        Neighbours { lists }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use mesh::figure::{Settings, shapes};

    fn figure(mesh: &mesh::figure::Mesh) -> Figure {
        // coarse patches on a small figure: quick to build
        let settings = Settings {
            height: Some(0.008),
            patch: 1e-3,
            ..Settings::default()
        };
        Figure::from_mesh("test", mesh, &settings).unwrap()
    }

    /// On a closed smooth surface every patch has a ring of about six (Euler: the mean of a
    /// triangulated sphere's vertices), and being neighbours is mutual.
    #[test]
    fn a_ball_is_covered_by_rings() {
        let ball = figure(&shapes::icosphere(3, 4.0));
        let neighbours = Neighbours::of(&ball);
        let counts: Vec<usize> = (0..ball.patches.len())
            .map(|p| neighbours.of_patch(p).len())
            .collect();
        let mean = counts.iter().sum::<usize>() as f64 / counts.len() as f64;
        assert!((5.0..9.0).contains(&mean), "{mean}");
        assert!(counts.iter().all(|c| *c >= 3));
        for p in 0..ball.patches.len() {
            assert!(
                neighbours
                    .of_patch(p)
                    .iter()
                    .all(|&q| neighbours.of_patch(q).contains(&p))
            );
        }
    }

    /// The two sides of a blade of 0.4 mm are nearer than patches are wide, yet no neighbours.
    #[test]
    fn the_sides_of_a_blade_are_apart() {
        let mut blade = super::super::fixture::plate(6, &[]);
        let other_side: Vec<_> = blade
            .patches
            .iter()
            .map(|p| {
                let mut q = p.clone();
                q.centroid.z -= 0.4e-3;
                q.normal = -q.normal;
                q
            })
            .collect();
        blade.patches.extend(other_side);
        let neighbours = Neighbours::of(&blade);
        for p in 0..36 {
            assert!(neighbours.of_patch(p).iter().all(|q| *q < 36));
            assert!((3..=8).contains(&neighbours.of_patch(p).len()));
        }
    }
}
