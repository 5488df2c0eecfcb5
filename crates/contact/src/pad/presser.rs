//! Presses a pad on a figure in any pose: looks first on a coarse grid how deep it will sink, then
//! lays a fine grid over what can be touched.

use super::finger::Dome;
use super::foundation::Pad;
use super::grid::Grid;
use super::imprint::Press;
use super::profile::Profile;
use super::relief::{self, Pose, Relief};
use super::settle::{Push, Pyramid};
use base::{Error, Result, Vec3};
use mesh::figure::Figure;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

/// [m] grid for results on figures of 28 to 40 mm: a quarter of a patch.
pub const FINE: f64 = 0.125e-3;
/// [m] grid for surveys; below 4 touched cells across, tips are lost.
pub const SURVEY: f64 = 0.25e-3;
/// The plane repeats itself; images are kept this many thicknesses apart.
const GAP: f64 = 1.0;
/// The fine grid covers what lies this much deeper than the coarse answer.
const RESERVE: f64 = 1.35;
/// [m] and at least this.
const LEAST_RESERVE: f64 = 0.3e-3;
const MOST_REPEATS: usize = 6;

/// Outline and roundness of a pad; a flat sheet larger than the figure by default.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Outline {
    /// The part of the plane it covers; everything without.
    pub window: Option<Window>,
    /// Its roundness; flat without.
    pub dome: Option<Dome>,
}

/// The part of the plane a pad covers, in the pad's frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// [m]
    pub low: [f64; 2],
    /// [m]
    pub high: [f64; 2],
}

/// A pad and a figure, ready for any pose.
pub struct Presser<'a> {
    figure: &'a Figure,
    pad: &'a Pad,
    spacing: f64,
    profile: Profile,
    /// By columns, rows and whether it is the coarse look.
    ready: Mutex<BTreeMap<Sides, Arc<Pyramid>>>,
}

type Sides = (usize, usize, bool);

impl<'a> Presser<'a> {
    /// * `spacing`: \[m\] of the finest grid: [`FINE`] for results, [`SURVEY`] for surveys
    #[must_use]
    pub fn new(figure: &'a Figure, pad: &'a Pad, spacing: f64) -> Presser<'a> {
        Presser {
            figure,
            pad,
            spacing,
            profile: Profile::new(pad),
            ready: Mutex::default(),
        }
    }

    /// The figure.
    #[must_use]
    pub fn figure(&self) -> &'a Figure {
        self.figure
    }

    /// Presses a pad larger than the figure.
    ///
    /// # Errors
    /// Refused when the force would press the pad flat; input error without triangles.
    pub fn press(&self, pose: &Pose, push: Push) -> Result<Press> {
        self.press_in(pose, push, &Outline::default())
    }

    /// Presses a pad of a given outline; a free edge is taken as stiff as the middle, and a dome
    /// deforms like the flat layer under it.
    ///
    /// # Errors
    /// As [`Self::press`].
    pub fn press_in(&self, pose: &Pose, push: Push, outline: &Outline) -> Result<Press> {
        let (triangles, highest) = relief::turned_in(&self.figure.mesh, pose, |t| {
            outline.window.is_none_or(|w| w.meets(t))
        });
        if triangles.is_empty() {
            return Err(Error::input("there is no surface under the pad"));
        }
        // A depth counts from the figure's highest point, not from that under the window.
        let push = match push {
            Push::Depth(depth) => Push::Depth(depth - (highest - relief::top(&triangles))),
            force => force,
        };
        let deepest = 0.98 * self.pad.thickness;
        let mut reach = match push {
            Push::Depth(depth) => depth.max(0.0) + LEAST_RESERVE,
            Push::Force(_) => {
                let coarse = self.at_reach(&triangles, 2.0 * self.spacing, deepest, outline);
                let found = coarse.1.survey(&coarse.0, push)?;
                RESERVE * found + LEAST_RESERVE
            }
        };
        for _ in 0..MOST_REPEATS {
            reach = reach.min(deepest);
            let (relief, pyramid) = self.at_reach(&triangles, self.spacing, reach, outline);
            match pyramid.settle(&relief, push) {
                Ok(settled) if settled.indentation <= reach || reach >= deepest => {
                    return Ok(Press::new(*pose, relief, settled));
                }
                Ok(settled) => reach = RESERVE * settled.indentation + LEAST_RESERVE,
                Err(error) if reach >= deepest => return Err(error),
                // What is in reach cannot bear the force: there is more below.
                Err(_) => reach = 2.0 * reach + LEAST_RESERVE,
            }
        }
        Err(Error::refused("the pad kept sinking beyond the grid"))
    }

    fn at_reach(
        &self,
        triangles: &[[Vec3; 3]],
        spacing: f64,
        reach: f64,
        outline: &Outline,
    ) -> (Relief, Arc<Pyramid>) {
        let (mut low, mut high) = relief::footprint(triangles, reach);
        if let Some(window) = &outline.window {
            for a in 0..2 {
                low[a] = low[a].max(window.low[a]);
                high[a] = high[a].min(window.high[a]).max(low[a]);
            }
        }
        let grid = Grid::covering(low, high, GAP * self.pad.thickness, spacing);
        let mut relief = Relief::new(triangles, &grid, reach);
        relief.cut(outline);
        // A pyramid depends on the sides alone: which thread makes it does not matter.
        let key = (grid.columns, grid.rows, spacing != self.spacing);
        let held = self.lock().get(&key).cloned();
        let pyramid = held.unwrap_or_else(|| {
            let (columns, rows) = (grid.columns, grid.rows);
            let made = Pyramid::with(&self.profile, self.pad, columns, rows, spacing);
            let made = Arc::new(made);
            self.lock().insert(key, made.clone());
            made
        });
        (relief, pyramid)
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, BTreeMap<Sides, Arc<Pyramid>>> {
        self.ready.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Window {
    pub(super) fn holds(&self, [x, y]: [f64; 2]) -> bool {
        (self.low[0]..self.high[0]).contains(&x) && (self.low[1]..self.high[1]).contains(&y)
    }

    fn meets(&self, triangle: &[Vec3; 3]) -> bool {
        (0..2).all(|a| {
            let (low, high) = (triangle.iter()).fold((f64::INFINITY, f64::NEG_INFINITY), |s, v| {
                (s.0.min(v[a]), s.1.max(v[a]))
            });
            high >= self.low[a] && low < self.high[a]
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::law::foam::{Foam, OPEN_CELL};
    use crate::law::punch::{Punch, press};
    use crate::pad::{Filling, Slide};
    use mesh::figure::{Settings, shapes};

    fn ball(radius: f64) -> Figure {
        let mesh = shapes::icosphere(5, radius);
        match Figure::from_mesh(
            "ball",
            &mesh,
            &Settings {
                height: Some(2.0 * radius),
                ..Settings::default()
            },
        ) {
            Ok(figure) => figure,
            Err(error) => panic!("{error}"),
        }
    }

    /// The load is on the patches to rounding, the work is mu N s to rounding, and nothing is
    /// booked on the far side.
    #[test]
    fn force_and_work_are_conserved() {
        let figure = ball(6e-3);
        let pad = Pad {
            filling: Filling::Foam(Foam::new(OPEN_CELL, 3500.0)),
            thickness: 0.01,
        };
        let presser = Presser::new(&figure, &pad, SURVEY);
        for outward in [Vec3::z(), Vec3::new(0.6, 0.0, -0.8)] {
            let press = presser
                .press(&Pose::facing(&outward), Push::Force(0.3))
                .unwrap();
            let on_patches = base::sum::sum(press.patch_forces(&figure));
            assert!((on_patches / 0.3 - 1.0).abs() < 1e-12, "{on_patches}");
            let slide = Slide {
                friction: 0.55,
                slip: 0.1,
            };
            let imprint = press.imprint(&figure, &slide);
            let work = base::sum::sum(imprint.marks.iter().map(|m| m.amounts.friction));
            assert!((work / (0.55 * 0.3 * 0.1) - 1.0).abs() < 1e-12, "{work}");
            let middle = figure.solid.centre;
            for mark in &imprint.marks {
                let patch = &figure.patches[mark.patch.index()];
                assert!((patch.centroid - middle).dot(&outward) > 2e-3);
            }
        }
    }

    /// A sphere of R 6 mm under 50 mN on an elastic layer: depth and area of the exact punch.
    #[test]
    fn a_ball_on_an_elastic_pad_meets_the_exact_punch() {
        let figure = ball(6e-3);
        let (h, youngs) = (0.02, 60e3);
        let pad = Pad {
            filling: Filling::Elastic {
                youngs,
                poisson: 0.0,
            },
            thickness: h,
        };
        let presser = Presser::new(&figure, &pad, FINE);
        let force = 0.05;
        let pressed = presser
            .press(&Pose::facing(&Vec3::y()), Push::Force(force))
            .unwrap();
        let exact = |a: f64| press(Punch::Paraboloid(6e-3 / h), a, 0.0);
        let (mut low, mut high) = (1e-3, 0.3);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if exact(middle).force * youngs * h * h < force {
                low = middle
            } else {
                high = middle
            }
        }
        let depth = exact(low).indentation * h;
        assert!(
            (pressed.settled.indentation / depth - 1.0).abs() < 0.01,
            "{depth}"
        );
        assert_eq!(pressed.force(), force);
        let area = pressed
            .settled
            .pressed
            .pressure
            .iter()
            .filter(|p| **p > 0.0)
            .count() as f64
            * pressed.relief.grid.cell_area();
        let circle = std::f64::consts::PI * (low * h).powi(2);
        assert!((area / circle - 1.0).abs() < 0.05, "{area} {circle}");
    }
}
