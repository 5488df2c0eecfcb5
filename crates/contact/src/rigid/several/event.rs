//! When something new touches: found, located, taken. Overlaps pushed apart.

use super::super::Contact;
use super::super::exact::{BAND, DEEP, TOLERANCE, crossing};
use super::super::lone::Guests;
use super::super::meet::meet;
use super::super::spin::Pose;
use super::survey::WATCH;
use super::{Pair, Several};
use base::Vec3;

/// [m] overlap that is left when figures are pushed apart, so that what touches goes on touching.
const KEPT: f64 = BAND;
/// Rounds of pushing apart.
const PUSHES: u32 = 50;
/// [m] distances are told exactly up to here when a touch is located.
const FAR: f64 = 5e-3;

/// What an attempted step must be able to take back.
struct Moment {
    poses: Vec<Pose>,
    time: f64,
    gap: f64,
    projection: f64,
    deepest: f64,
    active: Vec<Pair>,
    low: Vec<(Pair, f64)>,
}

impl Moment {
    /// [m] gap below which a pair has newly touched, or sunk further.
    fn floor(&self, pair: Pair) -> f64 {
        let before = self.low.iter().find(|l| l.0 == pair);
        before.map_or(0.0, |l| l.1.min(0.0)) - BAND
    }
}

impl Several {
    /// A step up to `rest`, or to the moment something new touches.
    pub(super) fn lasting_step(&mut self, rest: f64, contacts: &mut Vec<Contact>) {
        let mark = contacts.len();
        let start = self.moment();
        let mut length = rest;
        self.contact_step(length, Guests::Known, contacts);
        let event = self.sunk(&start) < 0.0;
        for attempt in 0..12 {
            if self.sunk(&start) >= -TOLERANCE {
                break;
            }
            // The forecast is not exact for figures in contact: halve if it does not settle.
            length = match attempt {
                0..4 => self.first_touch(&start, length),
                _ => 0.5 * length,
            }
            .max(1e-9);
            self.back_to(&start);
            contacts.truncate(mark);
            self.contact_step(length, Guests::Known, contacts);
        }
        if event {
            self.collect(BAND);
            self.knocks(contacts);
            self.near
                .extend(self.touching.iter().map(|t| (t.pair, t.corner)));
        }
        self.push_apart();
        std::mem::swap(&mut self.known, &mut self.near);
    }

    /// [m] of the pair that sank most since the start of a step: its gap above its floor.
    fn sunk(&self, start: &Moment) -> f64 {
        let above = self.low.iter().map(|l| l.1 - start.floor(l.0));
        above.fold(0.0, f64::min)
    }

    /// Pushes what overlaps too deeply apart, and books the work. All pairs together, over and over,
    /// with those that nearly touch: a push that drove a figure into its neighbour would only move
    /// the overlap on. Done on finished steps only: within a step an overlap may be a touch that is
    /// yet to be located, and its normal may point anywhere.
    pub(super) fn push_apart(&mut self) {
        self.deepest = self.deepest.max(-self.gap);
        if self.gap >= -DEEP {
            return;
        }
        self.collect(WATCH);
        let list = std::mem::take(&mut self.touching);
        // Shift in the world and turn about the principal axes, of each figure.
        let mut moved = vec![(Vec3::zeros(), Vec3::zeros()); self.poses.len()];
        for _ in 0..PUSHES {
            let mut worst = 0.0_f64;
            for t in &list {
                let (a, b) = t.bodies();
                let sides = [(Some(a), 1.0, 0), (b, -1.0, 1)];
                let mut gap = t.gap;
                for (body, sign, side) in sides {
                    let Some(body) = body else { continue };
                    let (shift, turn) = moved[body];
                    gap += sign * (t.frame[0].dot(&shift) + t.moments[side][0].dot(&turn));
                }
                let missing = -KEPT - gap;
                if missing <= 0.0 {
                    continue;
                }
                worst = worst.max(missing);
                let push = missing / t.mobility[(0, 0)];
                for (body, sign, side) in sides {
                    let Some(body) = body else { continue };
                    let kind = self.kind_of(body);
                    moved[body].0 += t.frame[0] * (sign * push / kind.mass);
                    moved[body].1 +=
                        t.moments[side][0].component_div(&kind.inertia) * (sign * push);
                }
            }
            if worst < 0.1 * KEPT {
                break;
            }
        }
        for (body, (shift, turn)) in moved.iter().enumerate() {
            self.projection += self.kind_of(body).mass * self.gravity * shift.z;
            self.poses[body] = self.poses[body].moved(shift, turn);
        }
        self.touching = list;
        self.survey();
    }

    /// [s] when the first of the overlapping pairs touched, if each figure got its kick in
    /// proportion to time: exact for flight, near for the rest.
    fn first_touch(&self, start: &Moment, length: f64) -> f64 {
        let at = |body: usize, time: f64| {
            let inertia = self.kind_of(body).inertia;
            let mut pose = start.poses[body].drift(&inertia, 0.5 * time);
            pose.velocity += self.kicks[body].0 * (time / length);
            pose.spin.momentum += self.kicks[body].1 * (time / length);
            pose.drift(&inertia, 0.5 * time)
        };
        let mut first = length;
        for &(pair, end) in &self.low {
            let floor = start.floor(pair);
            if end >= floor {
                continue;
            }
            let gap = |time: f64| match pair {
                Pair::Wall(a, w) => self.wall_gap(
                    a as usize,
                    w as usize,
                    &at(a as usize, time),
                    start.time + time,
                ),
                Pair::Pieces(a, b) => {
                    let poses = [at(a[0] as usize, time), at(b[0] as usize, time)];
                    let sides = ((self.piece(a), &poses[0]), (self.piece(b), &poses[1]));
                    meet(sides.0, sides.1, FAR).map_or(FAR, |m| m.gap)
                }
            };
            let begin = gap(0.0);
            if begin > floor {
                let ends = [(0.0, begin), (length, end)];
                first = first.min(crossing(ends, floor, TOLERANCE, gap));
            }
        }
        first
    }

    fn moment(&self) -> Moment {
        Moment {
            poses: self.poses.clone(),
            time: self.time,
            gap: self.gap,
            projection: self.projection,
            deepest: self.deepest,
            active: self.active.clone(),
            low: self.low.clone(),
        }
    }

    fn back_to(&mut self, moment: &Moment) {
        self.poses.copy_from_slice(&moment.poses);
        self.time = moment.time;
        self.gap = moment.gap;
        self.projection = moment.projection;
        self.deepest = moment.deepest;
        self.active.clone_from(&moment.active);
        self.low.clone_from(&moment.low);
    }
}
