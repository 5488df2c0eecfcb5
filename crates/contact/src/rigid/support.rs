//! Which corners can be farthest in a direction: a cube map of short candidate lists.

use base::Vec3;

/// Cells along one edge of a cube face. 8 leaves some 30 of 100 corners in a list, 24 some 6; the
/// table of 48 is larger than the first cache.
const CELLS: usize = 24;
/// [m] corners this much behind the farthest are still listed: more than any contact tolerance.
const BEHIND: f64 = 1e-4;

/// Candidate corners by direction.
#[derive(Debug, Clone)]
pub struct Support {
    /// [m] corners about the centre of mass.
    corners: Vec<Vec3>,
    starts: Vec<u32>,
    lists: Vec<u16>,
}

impl Support {
    /// Builds the table.
    ///
    /// * `corners`: [m] at most 65535, in the frame in which directions will be asked
    #[must_use]
    pub fn new(corners: Vec<Vec3>) -> Support {
        let mut starts = vec![0];
        let mut lists = Vec::new();
        for cell in 0..6 * CELLS * CELLS {
            let (centre, chord) = cell_direction(cell);
            let far = corners.iter().fold(corners[0], |best, c| {
                if c.dot(&centre) > best.dot(&centre) {
                    *c
                } else {
                    best
                }
            });
            // A corner can come within BEHIND of `far` somewhere in the cell only if it passes this.
            lists.extend((0..corners.len()).filter_map(|i| {
                let behind = far - corners[i];
                (behind.dot(&centre) <= behind.norm() * chord + BEHIND).then_some(i as u16)
            }));
            starts.push(lists.len() as u32);
        }
        Support {
            corners,
            starts,
            lists,
        }
    }

    /// [m] corners about the centre of mass.
    #[must_use]
    pub fn corners(&self) -> &[Vec3] {
        &self.corners
    }

    /// Numbers of all corners that may be farthest, or within 0.1 mm of it, along `direction`.
    #[must_use]
    pub fn candidates(&self, direction: &Vec3) -> &[u16] {
        let cell = cell_of(direction);
        &self.lists[self.starts[cell] as usize..self.starts[cell + 1] as usize]
    }

    /// [m] how far the body reaches along a unit `direction`.
    #[must_use]
    pub fn reach(&self, direction: &Vec3) -> f64 {
        self.candidates(direction)
            .iter()
            .fold(f64::NEG_INFINITY, |far, &i| {
                far.max(self.corners[i as usize].dot(direction))
            })
    }
}

fn cell_of(direction: &Vec3) -> usize {
    let size = direction.abs();
    let axis = if size.x >= size.y && size.x >= size.z {
        0
    } else if size.y >= size.z {
        1
    } else {
        2
    };
    let main = direction[axis];
    let index = |value: f64| {
        let along = (value / size[axis] + 1.0) * (0.5 * CELLS as f64);
        (along as usize).min(CELLS - 1)
    };
    let face = 2 * axis + usize::from(main < 0.0);
    let (u, v) = (direction[(axis + 1) % 3], direction[(axis + 2) % 3]);
    (face * CELLS + index(u)) * CELLS + index(v)
}

/// Unit direction of a cell's middle and the longest chord from it within the cell.
fn cell_direction(cell: usize) -> (Vec3, f64) {
    let (face, iu, iv) = (cell / (CELLS * CELLS), cell / CELLS % CELLS, cell % CELLS);
    let axis = face / 2;
    let at = |u: f64, v: f64| {
        let mut d = Vec3::zeros();
        d[axis] = if face % 2 == 0 { 1.0 } else { -1.0 };
        d[(axis + 1) % 3] = u;
        d[(axis + 2) % 3] = v;
        d.normalize()
    };
    let edge = |i: usize, shift: f64| (i as f64 + shift) * 2.0 / CELLS as f64 - 1.0;
    let centre = at(edge(iu, 0.5), edge(iv, 0.5));
    let corners = [(0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (1.0, 1.0)];
    let chord = corners
        .iter()
        .map(|&(a, b)| (at(edge(iu, a), edge(iv, b)) - centre).norm())
        .fold(0.0, f64::max);
    (centre, chord * (1.0 + 1e-12))
}

#[cfg(test)]
mod tests {
    use super::*;
    use base::random::{attitude, stream};

    #[test]
    fn the_lists_never_miss_the_farthest_corner() {
        let mut random = stream(3, &["support"], 0);
        let points: Vec<Vec3> = (0..100)
            .map(|i| attitude(&mut random) * Vec3::new(0.012 + 1e-5 * f64::from(i), 0.0, 0.004))
            .collect();
        let table = Support::new(points.clone());
        let mut listed = 0;
        for _ in 0..5000 {
            let d = attitude(&mut random) * Vec3::z();
            let far = points.iter().map(|p| p.dot(&d)).fold(f64::MIN, f64::max);
            assert_eq!(table.reach(&d), far);
            let list = table.candidates(&d);
            listed += list.len();
            for (i, p) in points.iter().enumerate() {
                assert!(p.dot(&d) < far - BEHIND || list.contains(&(i as u16)));
            }
        }
        assert!(listed < 5000 * 25, "lists are short: {}", listed / 5000);
    }
}
