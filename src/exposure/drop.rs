//! Dropped on a hard floor.

use super::replicate::{Precision, grow};
use super::tumble::{Names, yielding};
use crate::base::random::{Stream, stream};
use crate::base::{Error, Note, Quat, Result, Topic, Vec3, Watch};
use crate::contact::rigid::{self, BoxPath, EngineKind, Ledger, Scene, Shape, State, Wall, tally};
use crate::contact::{Body, Touch};
use crate::dose::{Dose, DoseRate, Unit};
use crate::figure::Figure;
use nalgebra::Quaternion;
use rand::RngExt;
use std::f64::consts::TAU;
use std::sync::Arc;

/// Drops in one replicate: their attitudes are spread evenly together.
pub const DROPS: u32 = 16;
/// [m] half the edge of the room.
const ROOM: f64 = 5.0;
/// [m] above the floor where the computed part of the fall begins; before it nothing happens.
const START: f64 = 1e-4;
/// [s] after which a figure that still rolls is left alone.
const LONGEST: f64 = 1.5;
/// A figure with less than this share of its fall energy in motion has come to rest.
const AT_REST: f64 = 1e-4;

/// Settings of a drop.
#[derive(Debug, Clone, PartialEq)]
pub struct Drop {
    /// [m] from the lowest point of the figure to the floor.
    pub height: f64,
    /// Attitude at the start; `None` draws each one from all attitudes.
    pub attitude: Option<Quat>,
    /// How figure and floor touch.
    pub touch: Touch,
    /// Which engine.
    pub engine: EngineKind,
    /// [s] the engine's time step.
    pub step: f64,
    /// When to stop; a replicate is [`DROPS`] drops.
    pub precision: Precision,
}

/// What a drop gave.
#[derive(Debug, Clone)]
pub struct Dropped {
    /// Dose per drop.
    pub rate: DoseRate,
    /// Energy ledger of each replicate, in order: [`DROPS`] drops together.
    pub ledgers: Vec<Ledger>,
}

impl Drop {
    /// The usual settings: any attitude, steps of 1/2000 s, intervals within 10 % or 400
    /// replicates of 16 drops.
    ///
    /// * `height`: [m] above 0, at most 10
    #[must_use]
    pub fn new(height: f64, touch: Touch) -> Drop {
        Drop {
            height,
            attitude: None,
            touch,
            engine: EngineKind::Exact,
            step: 1.0 / 2000.0,
            precision: Precision {
                relative: 0.1,
                budget: 400,
                groups: Vec::new(),
            },
        }
    }

    /// Drops a figure until the intervals are narrow enough or the budget ends.
    ///
    /// # Errors
    /// Input errors for a height out of range; refused when the energy books do not close;
    /// interrupted when the watcher says so.
    pub fn run(
        &self,
        figure: &Figure,
        body: &Body,
        names: Names<'_>,
        watch: &dyn Watch,
    ) -> Result<Dropped> {
        if !(self.height > START && self.height <= 10.0) {
            return Err(Error::input(format!(
                "a drop height must be above 0.1 mm and at most 10 m, not {} mm",
                1e3 * self.height
            )));
        }
        let shape = Arc::new(Shape {
            tips: tally::tips(figure),
            ..Shape::convex(figure.hull.clone(), body.clone())
        });
        let one = |number| self.replicate(figure, &shape, names, number);
        let grown = grow(figure, &self.precision, one, watch)?;
        let mut notes = grown.notes;
        notes.extend(Ledger::together(&grown.sides).gate(self.step)?);
        notes.push(yielding(&self.touch));
        notes.push(Note::new(
            Topic::Limit,
            format!(
                "landings flat on several points at once have no agreed answer (0.85-0.96 of the \
                 fall energy lost, by method); a figure still rolling after {LONGEST} s is left \
                 alone"
            ),
        ));
        Ok(Dropped {
            rate: DoseRate::from_replicates(Unit::Drop, grown.doses, notes),
            ledgers: grown.sides,
        })
    }

    /// Dose per drop of one replicate, and its books.
    fn replicate(
        &self,
        figure: &Figure,
        shape: &Arc<Shape>,
        names: Names<'_>,
        number: u64,
    ) -> Result<(Dose, Ledger)> {
        let keys = ["drop", names.exposure, names.specimen];
        let mut random = stream(names.seed, &keys, number);
        let mut tally = tally::Tally::new(figure, &self.touch, &shape.tips);
        let mut ledgers = Vec::new();
        for attitude in self.attitudes(&mut random) {
            let scene = self.scene(shape, attitude);
            let mut engine = self.engine.start(&scene, self.step)?;
            let fall = shape.body.mass * scene.gravity * self.height;
            while engine.time() < LONGEST {
                let ledger = rigid::run(engine.as_mut(), &scene, 0.05, |c| tally.add(c))?;
                ledgers.push(ledger);
                if scene.energies(&engine.states()).0 < AT_REST * fall {
                    break;
                }
            }
        }
        let mut per_drop = Dose::none(figure.patches.len());
        per_drop.add_dose(&tally.dose(), 1.0 / f64::from(DROPS));
        Ok((per_drop, Ledger::together(&ledgers)))
    }

    fn attitudes(&self, random: &mut Stream) -> Vec<Quat> {
        match self.attitude {
            Some(attitude) => vec![attitude; DROPS as usize],
            None => spread_attitudes(random),
        }
    }

    /// The figure just above the floor at the speed it falls with; torque-free until then.
    fn scene(&self, shape: &Arc<Shape>, attitude: Quat) -> Scene {
        let lowest = shape
            .hull
            .iter()
            .map(|p| (attitude * (p - shape.body.centre)).z)
            .fold(f64::INFINITY, f64::min);
        let gravity = rigid::scene::GRAVITY;
        let mut start = State::still(Vec3::new(0.0, 0.0, START - lowest - ROOM), attitude);
        start.velocity.z = -(2.0 * gravity * (self.height - START)).sqrt();
        Scene {
            shapes: vec![shape.clone()],
            start: vec![start],
            walls: Wall::cuboid(&Vec3::repeat(ROOM)),
            path: BoxPath::Still,
            friction: self.touch.friction,
            restitution: self.touch.restitution,
            between: None,
            gravity,
        }
    }
}

/// Attitudes each uniform over all, together more even than independent draws: a rank-1 lattice
/// of 16 points (Korobov generator 1, 5, 9) shifted by one draw (Cranley & Patterson 1976, SIAM
/// J. Numer. Anal. 13:904), carried to rotations by Shoemake's map (1992, Graphics Gems III).
fn spread_attitudes(random: &mut Stream) -> Vec<Quat> {
    let shift: [f64; 3] = [random.random(), random.random(), random.random()];
    (0..DROPS)
        .map(|i| {
            let at = |k: usize, generator: f64| {
                (f64::from(i) * generator / f64::from(DROPS) + shift[k]).fract()
            };
            let [u1, u2, u3] = [at(0, 1.0), at(1, 5.0), at(2, 9.0)];
            let (a, b) = ((1.0 - u1).sqrt(), u1.sqrt());
            let (t2, t3) = (TAU * u2, TAU * u3);
            Quat::new_normalize(Quaternion::new(
                b * libm::cos(t3),
                a * libm::sin(t2),
                a * libm::cos(t2),
                b * libm::sin(t3),
            ))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::tumble::tests::{NAMES, figure, touch};
    use super::*;
    use crate::base::Unwatched;
    use crate::dose::Channel;

    /// Conservation: a figure that came to rest lost its fall energy, less what its centre keeps.
    #[test]
    fn a_drop_spends_the_fall() {
        let figure = figure();
        let body = Body::homogeneous(&figure.solid, 7300.0);
        let mut drop = Drop::new(0.5, touch());
        drop.precision.budget = 4;
        let dropped = drop.run(&figure, &body, NAMES, &Unwatched).unwrap();
        let due = body.mass * rigid::scene::GRAVITY * drop.height;
        let lost =
            dropped.rate.total(Channel::Friction).mean + dropped.rate.total(Channel::Impact).mean;
        assert!((lost / due - 1.0).abs() < 0.05, "{lost} {due}");
        for ledger in &dropped.ledgers {
            assert!(ledger.residual_share().abs() < 1e-9, "{ledger:?}");
        }
    }

    /// A tip hit upright takes nearly all: the dose lies where it must.
    #[test]
    fn dropped_on_its_tip_the_tip_is_hit() {
        let figure = figure();
        let body = Body::homogeneous(&figure.solid, 7300.0);
        let mut drop = Drop::new(0.05, touch());
        drop.attitude = Some(Quat::from_axis_angle(&Vec3::x_axis(), std::f64::consts::PI));
        drop.precision.budget = 2;
        let dropped = drop.run(&figure, &body, NAMES, &Unwatched).unwrap();
        let hardest = dropped
            .rate
            .mean
            .totals()
            .iter()
            .enumerate()
            .max_by(|a, b| a.1.peak.total_cmp(&b.1.peak))
            .unwrap();
        assert!(hardest.1.peak > 0.0);
        let near_tip = |p: usize| figure.patches[p].centroid.z > 0.018;
        let energy = |p: usize| dropped.rate.mean.totals()[p].impact;
        let tip: f64 = (0..figure.patches.len())
            .filter(|&p| near_tip(p))
            .map(energy)
            .sum();
        assert!(
            tip > 0.2 * dropped.rate.total(Channel::Impact).mean,
            "{tip}"
        );
    }

    /// How much the lattice gains over independent attitudes; printed, and never a loss.
    #[test]
    #[ignore = "a minute; run with --ignored to see the factor"]
    fn spread_attitudes_narrow_the_interval() {
        use crate::base::random::attitude;
        use crate::base::stats::estimate;
        let figure = figure();
        let body = Body::homogeneous(&figure.solid, 7300.0);
        let drop = Drop::new(0.5, touch());
        let shape = Arc::new(Shape {
            tips: tally::tips(&figure),
            ..Shape::convex(figure.hull.clone(), body.clone())
        });
        let areas = {
            let doses: Vec<Dose> = (0..40)
                .map(|n| drop.replicate(&figure, &shape, NAMES, n).unwrap().0)
                .collect();
            super::super::replicate::top_areas(&figure, &doses, 5)
        };
        let spread = |independent: bool| -> Vec<f64> {
            let doses: Vec<Dose> = (0..200)
                .map(|n| {
                    if !independent {
                        return drop.replicate(&figure, &shape, NAMES, 1000 + n).unwrap().0;
                    }
                    let mut random = stream(5, &["independent"], n);
                    let mut all = Dose::none(figure.patches.len());
                    for _ in 0..DROPS {
                        let mut one = drop.clone();
                        one.attitude = Some(attitude(&mut random));
                        let mut tally = tally::Tally::new(&figure, &one.touch, &shape.tips);
                        let scene = one.scene(&shape, one.attitude.unwrap());
                        let mut engine = one.engine.start(&scene, one.step).unwrap();
                        rigid::run(engine.as_mut(), &scene, 1.0, |c| tally.add(c)).unwrap();
                        all.add_dose(&tally.dose(), 1.0 / f64::from(DROPS));
                    }
                    all
                })
                .collect();
            areas
                .iter()
                .map(|area| {
                    let values: Vec<f64> = doses
                        .iter()
                        .map(|d| super::super::replicate::energy(d, area))
                        .collect();
                    let e = estimate(&values);
                    (e.half_width / e.mean).powi(2)
                })
                .collect()
        };
        let (lattice, independent) = (spread(false), spread(true));
        let factors: Vec<f64> = lattice
            .iter()
            .zip(&independent)
            .map(|(l, i)| i / l)
            .collect();
        println!("variance of independent over spread attitudes, five areas: {factors:.2?}");
        let mean = factors.iter().map(|f| f.ln()).sum::<f64>() / factors.len() as f64;
        assert!(mean.exp() > 0.9, "{factors:?}");
    }
}
