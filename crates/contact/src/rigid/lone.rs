//! One figure in a box of flat walls: it can touch with corners of its hull only.

use super::exact::{BAND, DEEP, EVENTS, KNOCKS, KNOWN_REST, REST, TOLERANCE, crossing};
use super::knock::{Knock, drag, knock, normal_impulse};
use super::path::{BoxPath, Motion};
use super::spin::{Pose, Spin, principal, quaternion};
use super::support::Support;
use super::{Contact, Engine, Scene, State, Wall};
use crate::Restitution;
use base::{Error, Mat3, Quat, Result, Vec3, geometry::tangents};

/// Rounds of the contact solver before it stops unconverged; single contacts need 2-6.
pub(super) const ROUNDS: u32 = 200;

/// A corner at a wall.
#[derive(Debug, Clone, Copy)]
struct Touching {
    corner: u16,
    /// World directions: normal out of the wall, two tangents.
    frame: [Vec3; 3],
    /// [m] moment of a unit impulse along each direction, principal axes.
    moment: [Vec3; 3],
    /// [1/kg] change of velocity along `frame` per impulse along `frame`.
    mobility: Mat3,
    /// [m/s] of the wall along `frame`.
    wall: Vec3,
    /// [m]
    gap: f64,
    /// [m/s] relative velocity along `frame` before the solve.
    before: Vec3,
    /// [N s] along `frame`.
    impulse: Vec3,
}

/// Which corners a contact step holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Guests {
    /// Those that were there before, and those that come slowly.
    Known,
    /// All, the fast ones too, without rebound: ends endless sequences of ever smaller knocks.
    All,
}

/// What an attempted step must be able to take back.
struct Moment {
    pose: Pose,
    time: f64,
    gap: f64,
    projection: f64,
    deepest: f64,
}

/// The engine.
pub(super) struct Lone {
    walls: Vec<Wall>,
    path: BoxPath,
    turns: bool,
    friction: f64,
    restitution: Restitution,
    gravity: f64,
    mass: f64,
    inertia: Vec3,
    /// From the principal axes to the figure's frame.
    to_figure: Mat3,
    centre: Vec3,
    support: Support,
    tips: Vec<f64>,
    round: f64,
    reach: f64,
    step: f64,
    steps: u64,
    time: f64,
    pose: Pose,
    gap: f64,
    lasting: bool,
    touching: Vec<Touching>,
    /// Corners at a wall at the end of the last contact step or event.
    known: Vec<u16>,
    /// The same of the step under way.
    near: Vec<u16>,
    projection: f64,
    deepest: f64,
}

impl Lone {
    pub(super) fn new(scene: &Scene, step: f64) -> Result<Lone> {
        let (shape, start) = (&scene.shapes[0], &scene.start[0]);
        if shape.hull.len() > usize::from(u16::MAX) {
            return Err(Error::input(format!(
                "a hull of {} corners is more than this engine holds (65535)",
                shape.hull.len()
            )));
        }
        let (inertia, to_figure) = principal(&shape.body.inertia);
        let to_principal = to_figure.transpose();
        let centre = shape.body.centre;
        let corners = shape.hull.iter().map(|p| to_principal * (p - centre));
        let attitude = start.rotation * quaternion(&to_figure);
        let spin = Spin {
            attitude,
            momentum: (attitude.inverse() * start.spin).component_mul(&inertia),
        };
        let mut lone = Lone {
            walls: scene.walls.clone(),
            path: scene.path.clone(),
            turns: scene.path.turns(),
            friction: scene.friction,
            restitution: scene.restitution,
            gravity: scene.gravity,
            mass: shape.body.mass,
            inertia,
            to_figure,
            centre,
            support: Support::new(corners.collect()),
            tips: shape.tips.clone(),
            round: shape.round,
            reach: shape.reach(),
            step,
            steps: 0,
            time: 0.0,
            pose: Pose::new(start.position, start.velocity, spin),
            gap: 0.0,
            lasting: false,
            touching: Vec::new(),
            known: Vec::new(),
            near: Vec::new(),
            projection: 0.0,
            deepest: 0.0,
        };
        lone.gap = lone.gap_of(&lone.pose, 0.0);
        if lone.gap < -DEEP {
            return Err(Error::input(format!(
                "the figure starts {:.2} mm inside a wall",
                -1e3 * lone.gap
            ))
            .hint("start it nearer to the middle of the box"));
        }
        Ok(lone)
    }

    fn fly(&self, time: f64) -> Pose {
        self.pose.fly(&self.inertia, self.gravity, time)
    }

    /// [m] smallest distance of a corner from a wall, negative inside it; a lower bound of it
    /// when nothing is near.
    fn gap_of(&self, pose: &Pose, time: f64) -> f64 {
        let offset = pose.position - self.path.position(time);
        if self.turns {
            let axes = *self.path.rotation(time).to_rotation_matrix().matrix();
            return self.gap_in(
                &(axes.transpose() * offset),
                &(pose.axes.transpose() * axes),
            );
        }
        self.gap_in(&offset, &pose.axes.transpose())
    }

    /// * `local`: [m] centre in the box's frame; `axes`: columns are the box's axes in principal
    fn gap_in(&self, local: &Vec3, axes: &Mat3) -> f64 {
        let mut gap = f64::INFINITY;
        for wall in &self.walls {
            let room = wall.distance - wall.normal.dot(local);
            gap = gap.min(if room > self.reach {
                room - self.reach
            } else {
                room - self.support.reach(&(axes * wall.normal)) - self.round
            });
        }
        gap
    }

    /// Lists the corners nearer than `limit` to a wall.
    fn collect(&mut self, limit: f64) {
        let motion = self.path.at(self.time);
        let box_axes = *motion.rotation.to_rotation_matrix().matrix();
        let to_principal = self.pose.axes.transpose();
        let local = box_axes.transpose() * (self.pose.position - motion.position);
        let mut found = std::mem::take(&mut self.touching);
        found.clear();
        for wall in &self.walls {
            let room = wall.distance - wall.normal.dot(&local) - self.round;
            if room > self.reach - self.round + limit {
                continue;
            }
            let outward = box_axes * wall.normal;
            let towards = to_principal * outward;
            for &corner in self.support.candidates(&towards) {
                let gap = room - self.support.corners()[corner as usize].dot(&towards);
                if gap <= limit {
                    found.push(self.touch(corner, -outward, gap, &motion));
                }
            }
        }
        self.touching = found;
    }

    fn touch(&self, corner: u16, normal: Vec3, gap: f64, motion: &Motion) -> Touching {
        let (t1, t2) = tangents(&normal);
        let frame = [normal, t1, t2];
        let to_principal = self.pose.axes.transpose();
        let arm = self.support.corners()[corner as usize] - to_principal * normal * self.round;
        let moment = frame.map(|axis| arm.cross(&(to_principal * axis)));
        let mobility = Mat3::from_fn(|a, b| {
            let unit = if a == b { 1.0 / self.mass } else { 0.0 };
            unit + moment[a].dot(&moment[b].component_div(&self.inertia))
        });
        let point = self.pose.position + self.pose.axes * arm;
        let velocity = motion.velocity_at(&point);
        let mut touching = Touching {
            corner,
            frame,
            moment,
            mobility,
            wall: Vec3::from_fn(|a, _| frame[a].dot(&velocity)),
            gap,
            before: Vec3::zeros(),
            impulse: Vec3::zeros(),
        };
        touching.before = self.relative(&touching);
        touching
    }

    /// [m/s] of the corner against the wall, along its frame.
    fn relative(&self, t: &Touching) -> Vec3 {
        let rate = self.pose.spin.momentum.component_div(&self.inertia);
        let along = |a: usize| t.frame[a].dot(&self.pose.velocity) + t.moment[a].dot(&rate);
        Vec3::new(along(0), along(1), along(2)) - t.wall
    }

    fn push(&mut self, t: &Touching, impulse: &Vec3) {
        for a in 0..3 {
            self.pose.velocity += t.frame[a] * (impulse[a] / self.mass);
            self.pose.spin.momentum += t.moment[a] * impulse[a];
        }
    }

    /// Knocks, most approaching first, until nothing approaches faster than `slowest`.
    /// Returns the fastest approach met.
    fn knocks(&mut self, slowest: f64, contacts: &mut Vec<Contact>) -> f64 {
        let list = std::mem::take(&mut self.touching);
        let mut fastest = 0.0_f64;
        for _ in 0..KNOCKS {
            let worst = list
                .iter()
                .map(|t| (t, self.relative(t)))
                .min_by(|a, b| a.1.x.total_cmp(&b.1.x));
            let Some((t, before)) = worst.filter(|(_, u)| u.x < -slowest) else {
                break;
            };
            fastest = fastest.max(-before.x);
            let outcome = knock(
                &t.mobility,
                before,
                self.friction,
                self.coefficient(t, -before.x),
            );
            self.push(t, &outcome.impulse);
            let begins = -before.x >= REST || !self.known.contains(&t.corner);
            contacts.push(self.contact(t, before, &outcome, (0.0, begins)));
        }
        self.touching = list;
        fastest
    }

    fn coefficient(&self, t: &Touching, speed: f64) -> f64 {
        if speed < REST {
            return 0.0;
        }
        let radius = self.tips.get(t.corner as usize).copied();
        self.restitution
            .coefficient(1.0 / t.mobility[(0, 0)], speed, radius)
    }

    /// * `lasts`: [s] duration, and whether a touch begins
    fn contact(&self, t: &Touching, before: Vec3, outcome: &Knock, lasts: (f64, bool)) -> Contact {
        let turn = self.to_figure * self.pose.axes.transpose();
        let lift = |v: &Vec3| turn * (t.frame[0] * v.x + t.frame[1] * v.y + t.frame[2] * v.z);
        let normal = -(turn * t.frame[0]);
        let corner = self.support.corners()[t.corner as usize];
        Contact {
            body: 0,
            partner: None,
            vertex: Some(u32::from(t.corner)),
            place: self.centre + self.to_figure * corner + normal * self.round,
            normal,
            impulse: lift(&outcome.impulse),
            before: lift(&before),
            after: lift(&outcome.after),
            impact: outcome.impact,
            friction: outcome.friction,
            wall_work: outcome.impulse.dot(&t.wall),
            effective_mass: 1.0 / t.mobility[(0, 0)],
            approach: (-before.x).max(0.0),
            duration: lasts.0,
            begins: lasts.1,
        }
    }

    /// Drift, kick with all contacts solved together, drift. Knocks never fall within: gravity's
    /// work over the step is then exactly the loss of height energy.
    fn contact_step(&mut self, time: f64, guests: Guests, contacts: &mut Vec<Contact>) {
        self.advance_by_drift(0.5 * time);
        self.collect(BAND);
        let mut list = std::mem::take(&mut self.touching);
        if guests == Guests::Known {
            // A new corner that comes fast is left to go on: its knock is located afterwards.
            let known = |t: &Touching| self.known.contains(&t.corner);
            // One that came in slowly and already overlaps is held, or it would sink by less than
            // an event each step.
            let held = |t: &Touching| t.gap < -BAND || known(t);
            list.retain(|t| t.before.x > -REST || (t.before.x > -KNOWN_REST && held(t)));
        }
        self.near.clear();
        self.near.extend(list.iter().map(|t| t.corner));
        self.pose.velocity.z -= self.gravity * time;
        self.solve(&mut list);
        self.lasting = self.book_step(&list, time, contacts);
        self.push_out(&list);
        self.touching = list;
        self.advance_by_drift(0.5 * time);
        self.gap = self.gap_of(&self.pose, self.time);
    }

    /// Pushes the deepest corner out if it is too deep, and books the work.
    fn push_out(&mut self, list: &[Touching]) {
        let deep = list.iter().min_by(|a, b| a.gap.total_cmp(&b.gap));
        if let Some(t) = deep.filter(|t| t.gap < -DEEP) {
            self.deepest = self.deepest.max(-t.gap);
            let out = t.frame[0] * -t.gap;
            self.pose.position += out;
            self.projection += self.mass * self.gravity * out.z;
        }
    }

    /// The same after an event: without it a row of events could sink a corner bit by bit.
    fn push_out_after_event(&mut self) {
        if self.gap < -DEEP {
            let list = std::mem::take(&mut self.touching);
            self.push_out(&list);
            self.touching = list;
            self.gap = self.gap_of(&self.pose, self.time);
        }
    }

    fn advance_by_drift(&mut self, time: f64) {
        self.pose = self.pose.drift(&self.inertia, time);
        self.time += time;
    }

    /// Projected Gauss-Seidel over the contacts (Moreau 1988; Jean 1999).
    fn solve(&mut self, list: &mut [Touching]) {
        for _ in 0..ROUNDS {
            let mut change = 0.0_f64;
            for t in list.iter_mut() {
                let old = t.impulse;
                let normal = normal_impulse(&t.mobility, old.x, self.relative(t).x, t.before.x);
                self.push(t, &Vec3::new(normal - old.x, 0.0, 0.0));
                let slip = self.relative(t);
                t.impulse = drag(&t.mobility, &old, &slip, (normal, self.friction * normal));
                let step = Vec3::new(0.0, t.impulse.y - old.y, t.impulse.z - old.z);
                self.push(t, &step);
                change = change.max((t.impulse - old).abs().max());
            }
            if change <= 1e-13 * self.mass {
                break;
            }
        }
    }

    /// Hands out what the solved contacts did; true if any did something.
    fn book_step(&self, list: &[Touching], time: f64, contacts: &mut Vec<Contact>) -> bool {
        let mut any = false;
        for t in list.iter().filter(|t| t.impulse != Vec3::zeros()) {
            any = true;
            let after = self.relative(t);
            let middle = (t.before + after) * 0.5;
            let outcome = Knock {
                impulse: t.impulse,
                after,
                impact: -t.impulse.x * middle.x,
                friction: -(t.impulse.y * middle.y + t.impulse.z * middle.z),
            };
            let begins = !self.known.contains(&t.corner);
            contacts.push(self.contact(t, t.before, &outcome, (time, begins)));
        }
        any
    }

    /// Lasting contact up to the end of the step, or to the moment a new corner arrives.
    fn lasting_step(&mut self, rest: f64, contacts: &mut Vec<Contact>) {
        let floor = self.gap.min(0.0) - BAND;
        let mark = contacts.len();
        let start = self.moment();
        self.contact_step(rest, Guests::Known, contacts);
        if self.gap < floor {
            let ends = [(0.0, start.gap), (rest, self.gap)];
            let mut attempt = |length: f64, lone: &mut Lone| {
                lone.back_to(&start);
                contacts.truncate(mark);
                lone.contact_step(length, Guests::Known, contacts);
                lone.gap
            };
            let time = crossing(ends, floor, TOLERANCE, |length| attempt(length, self));
            attempt(time.max(1e-9), self);
            self.deepest = self.deepest.max(-self.gap);
            self.collect(BAND);
            self.knocks(1e-9, contacts);
            self.push_out_after_event();
            self.near.extend(self.touching.iter().map(|t| t.corner));
            self.lasting = true;
        }
        std::mem::swap(&mut self.known, &mut self.near);
    }

    fn moment(&self) -> Moment {
        Moment {
            pose: self.pose,
            time: self.time,
            gap: self.gap,
            projection: self.projection,
            deepest: self.deepest,
        }
    }

    fn back_to(&mut self, moment: &Moment) {
        self.pose = moment.pose;
        self.time = moment.time;
        self.gap = moment.gap;
        self.projection = moment.projection;
        self.deepest = moment.deepest;
    }

    fn flight(&mut self, rest: f64, contacts: &mut Vec<Contact>) {
        // A start below the surface (a lasting contact just ended) may not sink further.
        let floor = (-TOLERANCE).min(self.gap - 0.5 * TOLERANCE);
        let end = self.fly(rest);
        let gap = self.gap_of(&end, self.time + rest);
        if gap >= floor {
            self.pose = end;
            self.gap = gap;
            self.time += rest;
            self.known.clear();
            return;
        }
        let probe = |time: f64| self.gap_of(&self.fly(time), self.time + time);
        let ends = [(0.0, self.gap), (rest, gap)];
        let time = crossing(ends, floor, 0.5 * TOLERANCE, probe);
        self.pose = self.fly(time);
        self.time += time;
        self.gap = self.gap_of(&self.pose, self.time);
        self.deepest = self.deepest.max(-self.gap);
        self.collect(self.gap.max(floor) + 2.0 * TOLERANCE);
        self.lasting = self.knocks(1e-9, contacts) < REST;
        self.push_out_after_event();
        self.known.clear();
        self.known.extend(self.touching.iter().map(|t| t.corner));
    }
}

impl Engine for Lone {
    fn name(&self) -> &'static str {
        "exact"
    }

    fn time(&self) -> f64 {
        self.time
    }

    fn advance(&mut self, contacts: &mut Vec<Contact>) -> Result<()> {
        self.steps += 1;
        let end = self.steps as f64 * self.step;
        let mut events = 0;
        while end - self.time > 1e-12 {
            let rest = end - self.time;
            events += 1;
            if events > 4 * EVENTS {
                // Short, because a new corner may come within it.
                let short = rest.min(0.02 * self.step);
                self.contact_step(short, Guests::All, contacts);
                std::mem::swap(&mut self.known, &mut self.near);
            } else if self.lasting || events > EVENTS {
                self.lasting_step(rest, contacts);
            } else {
                self.flight(rest, contacts);
            }
        }
        self.time = end;
        if !self.gap.is_finite() || self.gap < -1e-3 {
            return Err(Error::refused(format!(
                "the figure went {:.1} mm through a wall at {:.3} s",
                -1e3 * self.gap,
                self.time
            ))
            .hint("use a shorter time step"));
        }
        Ok(())
    }

    fn states(&self) -> Vec<State> {
        let rate = self.pose.spin.momentum.component_div(&self.inertia);
        let to_principal: Quat = quaternion(&self.to_figure).inverse();
        vec![State {
            position: self.pose.position,
            rotation: self.pose.spin.attitude * to_principal,
            velocity: self.pose.velocity,
            spin: self.pose.axes * rate,
        }]
    }

    fn projection(&self) -> f64 {
        self.projection
    }

    fn deepest(&self) -> f64 {
        self.deepest
    }
}
