//! The work surface: area samples cut from the triangles, and the kernel that spreads one
//! contact over them.

use super::grid::Grid;
use super::patch::PatchId;
use base::Vec3;
use base::sum::sum;

/// Samples facing further away than this from the contact take no part; full part from 0 on.
/// A ramp, not a step, so that a rounding error in a normal never moves a whole sample.
const AWAY: f64 = -0.3;

/// A small piece of surface with exact area.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// [m] centroid.
    pub point: Vec3,
    /// Outward unit normal.
    pub normal: Vec3,
    /// [m2]
    pub area: f64,
    /// The patch it belongs to.
    pub patch: PatchId,
    /// Can anything outside the figure reach it?
    pub exposed: bool,
}

/// All samples of a figure.
#[derive(Debug, Clone, Default)]
pub struct Surface {
    /// Samples in a fixed order.
    pub samples: Vec<Sample>,
    grid: Grid,
}

impl Surface {
    /// Indexes samples; their order stays.
    #[must_use]
    pub fn new(samples: Vec<Sample>) -> Surface {
        let area = sum(samples.iter().map(|s| s.area));
        // About twenty samples a cell.
        let cell = (20.0 * area / samples.len().max(1) as f64).sqrt();
        let grid = Grid::new(samples.iter().map(|s| s.point), cell);
        Surface { samples, grid }
    }

    /// [m2] area of all samples.
    #[must_use]
    pub fn area(&self) -> f64 {
        sum(self.samples.iter().map(|s| s.area))
    }

    /// [m2] area of what something outside can reach.
    #[must_use]
    pub fn exposed_area(&self) -> f64 {
        sum(self.samples.iter().filter(|s| s.exposed).map(|s| s.area))
    }

    /// Numbers of all samples within `radius` of a point, exposed or not, in a fixed order.
    ///
    /// * `radius`: [m]
    #[must_use]
    pub fn within(&self, point: &Vec3, radius: f64) -> Vec<usize> {
        let mut found = Vec::new();
        self.grid.near(point, radius, |i| {
            if (self.samples[i].point - point).norm_squared() <= radius * radius {
                found.push(i);
            }
        });
        found
    }

    /// [m] side of a square as large as a sample is on average.
    #[must_use]
    pub fn spacing(&self) -> f64 {
        (self.area() / self.samples.len().max(1) as f64).sqrt()
    }

    /// Number of the sample nearest to a place on the surface, exposed or not, among those that
    /// face the same half of space; `None` if none is within `radius` [m].
    #[must_use]
    pub fn at(&self, point: &Vec3, normal: &Vec3, radius: f64) -> Option<usize> {
        let mut best = (radius * radius, None);
        self.grid.near(point, radius, |i| {
            let sample = &self.samples[i];
            let distance = (sample.point - point).norm_squared();
            if distance <= best.0 && sample.normal.dot(normal) >= 0.0 {
                best = (distance, Some(i));
            }
        });
        best.1
    }

    /// How much of one contact each patch takes.
    ///
    /// Weights are area times a smooth kernel (Wendland 1995, Adv. Comput. Math. 4:389, C2) of
    /// the distance, over exposed samples that face the contact. They sum to 1 to rounding and
    /// are never empty on a figure with an exposed sample: with nothing in reach the nearest
    /// sample takes all, one that faces the contact if there is any.
    ///
    /// * `point`: [m] where the figure is touched
    /// * `normal`: outward normal of the figure there, unit length; zero if not known
    /// * `radius`: [m] of the kernel, above 0
    ///
    /// Returns patches in rising order, each once.
    #[must_use]
    pub fn spread(&self, point: &Vec3, normal: &Vec3, radius: f64) -> Vec<(PatchId, f64)> {
        let mut parts: Vec<(PatchId, f64)> = Vec::new();
        self.grid.near(point, radius, |i| {
            let sample = &self.samples[i];
            let q2 = (sample.point - point).norm_squared() / (radius * radius);
            if sample.exposed && q2 < 1.0 {
                let weight = sample.area * kernel(q2.sqrt()) * facing(&sample.normal, normal);
                if weight > 0.0 {
                    parts.push((sample.patch, weight));
                }
            }
        });
        if parts.is_empty() {
            return self
                .nearest(point, normal)
                .map_or_else(Vec::new, |i| vec![(self.samples[i].patch, 1.0)]);
        }
        parts.sort_by_key(|p| p.0);
        let mut shares: Vec<(PatchId, f64)> = Vec::new();
        for (patch, weight) in parts {
            match shares.last_mut() {
                Some(last) if last.0 == patch => last.1 += weight,
                _ => shares.push((patch, weight)),
            }
        }
        let total = sum(shares.iter().map(|s| s.1));
        shares.iter_mut().for_each(|s| s.1 /= total);
        shares
    }

    /// Number of the nearest exposed sample, one that faces `normal` if there is any within
    /// twice the distance. `None` without exposed samples.
    #[must_use]
    pub fn nearest(&self, point: &Vec3, normal: &Vec3) -> Option<usize> {
        let mut radius = self.grid.cell().max(f64::MIN_POSITIVE);
        let farthest = self.grid.reach(point);
        loop {
            let any = self.best_within(point, radius, |_| true);
            if let Some(any) = any {
                let reach = 2.0 * (self.samples[any].point - point).norm();
                let facing = self.best_within(point, reach, |n| facing(n, normal) > 0.0);
                return facing.or(Some(any));
            }
            if radius > 2.0 * farthest {
                return None;
            }
            radius *= 2.0;
        }
    }

    fn best_within(
        &self,
        point: &Vec3,
        radius: f64,
        fits: impl Fn(&Vec3) -> bool,
    ) -> Option<usize> {
        let mut best = (radius * radius, None);
        self.grid.near(point, radius, |i| {
            let sample = &self.samples[i];
            let distance = (sample.point - point).norm_squared();
            if sample.exposed && distance <= best.0 && fits(&sample.normal) {
                let better = best.1.is_none() || distance < best.0;
                if better {
                    best = (distance, Some(i));
                }
            }
        });
        best.1
    }
}

/// (1 - q)^4 (4 q + 1) for q from 0 to 1.
fn kernel(q: f64) -> f64 {
    let away = 1.0 - q;
    away * away * away * away * (4.0 * q + 1.0)
}

fn facing(sample: &Vec3, contact: &Vec3) -> f64 {
    ((sample.dot(contact) - AWAY) / -AWAY).clamp(0.0, 1.0)
}
