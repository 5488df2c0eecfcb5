//! Several figures in a box: convex pieces against each other, corners against walls.
//!
//! One kind of step for all: drift, kick with every lasting contact solved together, drift. A step
//! ends early when something new touches, and the knock is taken between steps. A figure in flight
//! follows its parabola exactly through such steps.

use super::contact::Partner;
use super::exact::{BAND, DEEP, EVENTS, KNOCKS, KNOWN_REST, REST, TOLERANCE, crossing};
use super::knock::{Knock, drag, knock, normal_impulse};
use super::lone::{Guests, ROUNDS};
use super::meet::{Meeting, Piece, meet, overlap};
use super::path::{BoxPath, Motion};
use super::spin::{Pose, Spin, principal, quaternion};
use super::support::Support;
use super::{Contact, Engine, Scene, Shape, State, Wall};
use crate::base::{Error, Mat3, Result, Vec3, geometry::tangents};
use crate::contact::Restitution;
use std::sync::Arc;

/// [m] two pieces nearer than this are asked for contacts in the next step.
const WATCH: f64 = 4.0 * BAND;
/// [m] distances are told exactly up to here when a touch is located.
const FAR: f64 = 5e-3;

/// What figures of one shape have in common.
struct Kind {
    mass: f64,
    inertia: Vec3,
    /// From the principal axes to the figure's frame.
    to_figure: Mat3,
    centre: Vec3,
    support: Support,
    pieces: Vec<Piece>,
    tips: Vec<f64>,
    round: f64,
    reach: f64,
    /// Corners are the hull's own, so their numbers mean something outside.
    is_hull: bool,
}

/// What can touch what.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Pair {
    /// Figure, wall.
    Wall(u32, u32),
    /// Figure and piece, figure and piece.
    Pieces([u32; 2], [u32; 2]),
}

/// A point of contact.
#[derive(Debug, Clone, Copy)]
struct Touching {
    pair: Pair,
    corner: Option<u16>,
    /// World directions: normal into the first figure, two tangents.
    frame: [Vec3; 3],
    /// [m] arms in principal axes, and moments of unit impulses along `frame`; first figure, second.
    arms: [Vec3; 2],
    moments: [[Vec3; 3]; 2],
    mobility: Mat3,
    /// [m/s] of the wall along `frame`; 0 between figures.
    wall: Vec3,
    gap: f64,
    before: Vec3,
    impulse: Vec3,
}

impl Touching {
    fn bodies(&self) -> (usize, Option<usize>) {
        match self.pair {
            Pair::Wall(a, _) => (a as usize, None),
            Pair::Pieces(a, b) => (a[0] as usize, Some(b[0] as usize)),
        }
    }

    fn is(&self, known: &(Pair, Option<u16>)) -> bool {
        self.pair == known.0 && self.corner == known.1
    }
}

/// What an attempted step must be able to take back.
struct Moment {
    poses: Vec<Pose>,
    time: f64,
    gap: f64,
    projection: f64,
    deepest: f64,
    active: Vec<Pair>,
}

/// The engine.
pub(super) struct Several {
    walls: Vec<Wall>,
    path: BoxPath,
    friction: f64,
    restitution: Restitution,
    gravity: f64,
    kinds: Vec<Kind>,
    /// Kind of each figure.
    kind: Vec<usize>,
    poses: Vec<Pose>,
    /// Change of velocity and momentum of each figure at the middle of the last step.
    kicks: Vec<(Vec3, Vec3)>,
    step: f64,
    steps: u64,
    time: f64,
    gap: f64,
    /// Pairs of pieces that are near.
    active: Vec<Pair>,
    /// Pairs and walls that overlap at the end of the last step, with their gaps.
    low: Vec<(Pair, f64)>,
    known: Vec<(Pair, Option<u16>)>,
    near: Vec<(Pair, Option<u16>)>,
    touching: Vec<Touching>,
    projection: f64,
    deepest: f64,
}

impl Kind {
    fn new(shape: &Shape) -> Result<Kind> {
        let (inertia, to_figure) = principal(&shape.body.inertia);
        let turn = to_figure.transpose();
        let home = |points: &[Vec3]| -> Vec<Vec3> {
            points
                .iter()
                .map(|p| turn * (p - shape.body.centre))
                .collect()
        };
        let pieces: Vec<Vec<Vec3>> = match shape.pieces.is_empty() {
            true => vec![home(&shape.hull)],
            false => shape.pieces.iter().map(|p| home(p)).collect(),
        };
        let corners: Vec<Vec3> = pieces.concat();
        if corners.len() > usize::from(u16::MAX) {
            return Err(Error::input(format!(
                "{} corners in all pieces are more than this engine holds (65535)",
                corners.len()
            )));
        }
        let pieces = pieces.into_iter().map(|p| Piece::new(p, shape.round));
        Ok(Kind {
            mass: shape.body.mass,
            inertia,
            to_figure,
            centre: shape.body.centre,
            support: Support::new(corners),
            pieces: pieces.collect::<Result<_>>()?,
            tips: shape.tips.clone(),
            round: shape.round,
            reach: shape.reach(),
            is_hull: shape.pieces.is_empty(),
        })
    }
}

impl Several {
    pub(super) fn new(scene: &Scene, step: f64) -> Result<Several> {
        let mut shapes: Vec<&Arc<Shape>> = Vec::new();
        let mut kind = Vec::new();
        for shape in &scene.shapes {
            let found = shapes.iter().position(|s| Arc::ptr_eq(s, shape));
            kind.push(found.unwrap_or(shapes.len()));
            if found.is_none() {
                shapes.push(shape);
            }
        }
        let kinds: Vec<Kind> = shapes.iter().map(|s| Kind::new(s)).collect::<Result<_>>()?;
        let poses = scene.start.iter().zip(&kind).map(|(start, &k)| {
            let attitude = start.rotation * quaternion(&kinds[k].to_figure);
            let momentum = (attitude.inverse() * start.spin).component_mul(&kinds[k].inertia);
            Pose::new(start.position, start.velocity, Spin { attitude, momentum })
        });
        let mut several = Several {
            walls: scene.walls.clone(),
            path: scene.path.clone(),
            friction: scene.friction,
            restitution: scene.restitution,
            gravity: scene.gravity,
            poses: poses.collect(),
            kicks: vec![(Vec3::zeros(), Vec3::zeros()); kind.len()],
            kinds,
            kind,
            step,
            steps: 0,
            time: 0.0,
            gap: 0.0,
            active: Vec::new(),
            low: Vec::new(),
            known: Vec::new(),
            near: Vec::new(),
            touching: Vec::new(),
            projection: 0.0,
            deepest: 0.0,
        };
        several.survey();
        if several.gap < -DEEP {
            return Err(Error::input(format!(
                "figures start {:.2} mm inside each other or a wall",
                -1e3 * several.gap
            ))
            .hint("start fewer figures, or in a larger box"));
        }
        Ok(several)
    }

    fn kind_of(&self, body: usize) -> &Kind {
        &self.kinds[self.kind[body]]
    }

    /// Finds the smallest gap, what overlaps, and which pieces are near.
    fn survey(&mut self) {
        let (mut low, mut active) = (
            std::mem::take(&mut self.low),
            std::mem::take(&mut self.active),
        );
        low.clear();
        active.clear();
        let mut gap = f64::INFINITY;
        let mut note = |pair: Pair, value: f64| {
            gap = gap.min(value);
            if value < 0.0 {
                low.push((pair, value));
            }
        };
        let motion = (self.path.position(self.time), self.path.rotation(self.time));
        let box_axes = *motion.1.to_rotation_matrix().matrix();
        for (a, pose) in self.poses.iter().enumerate() {
            let kind = self.kind_of(a);
            let local = box_axes.transpose() * (pose.position - motion.0);
            for (w, wall) in self.walls.iter().enumerate() {
                let room = wall.distance - wall.normal.dot(&local);
                if room <= kind.reach {
                    let towards = pose.axes.transpose() * (box_axes * wall.normal);
                    let reach = kind.support.reach(&towards) + kind.round;
                    note(Pair::Wall(a as u32, w as u32), room - reach);
                }
            }
        }
        self.each_near_pair(|pair| {
            if let Some(meeting) = self.meeting(pair, &self.poses, WATCH) {
                note(pair, meeting.gap);
                active.push(pair);
            }
        });
        self.gap = gap;
        self.low = low;
        self.active = active;
    }

    /// Every pair of pieces of different figures whose balls come within the watch distance.
    fn each_near_pair(&self, mut see: impl FnMut(Pair)) {
        let slack = super::meet::SKIN + WATCH;
        for a in 0..self.poses.len() {
            for b in a + 1..self.poses.len() {
                let (ka, kb) = (self.kind_of(a), self.kind_of(b));
                let (pa, pb) = (&self.poses[a], &self.poses[b]);
                let between = pb.position - pa.position;
                if between.norm_squared() > (ka.reach + kb.reach + slack).powi(2) {
                    continue;
                }
                // Middles of b's pieces seen from a's principal axes.
                let turn = pa.axes.transpose() * pb.axes;
                let shift = pa.axes.transpose() * between;
                for (j, q) in kb.pieces.iter().enumerate() {
                    let theirs = shift + turn * q.middle;
                    if theirs.norm() > ka.reach + q.radius + slack {
                        continue;
                    }
                    for (i, p) in ka.pieces.iter().enumerate() {
                        let limit = p.radius + q.radius + slack;
                        if (theirs - p.middle).norm_squared() <= limit * limit {
                            see(Pair::Pieces([a as u32, i as u32], [b as u32, j as u32]));
                        }
                    }
                }
            }
        }
    }

    fn piece(&self, place: [u32; 2]) -> &Piece {
        &self.kind_of(place[0] as usize).pieces[place[1] as usize]
    }

    fn meeting(&self, pair: Pair, poses: &[Pose], prediction: f64) -> Option<Meeting> {
        let Pair::Pieces(a, b) = pair else {
            return None;
        };
        let (pa, pb) = (&poses[a[0] as usize], &poses[b[0] as usize]);
        meet((self.piece(a), pa), (self.piece(b), pb), prediction)
    }

    /// Lists contacts: walls nearer than `limit`, pairs among the active ones.
    fn collect(&mut self, limit: f64) {
        let motion = self.path.at(self.time);
        let box_axes = *motion.rotation.to_rotation_matrix().matrix();
        let mut found = std::mem::take(&mut self.touching);
        found.clear();
        for a in 0..self.poses.len() {
            let (kind, pose) = (self.kind_of(a), &self.poses[a]);
            let local = box_axes.transpose() * (pose.position - motion.position);
            for (w, wall) in self.walls.iter().enumerate() {
                let room = wall.distance - wall.normal.dot(&local) - kind.round;
                if room > kind.reach - kind.round + limit {
                    continue;
                }
                let outward = box_axes * wall.normal;
                let towards = pose.axes.transpose() * outward;
                for &corner in kind.support.candidates(&towards) {
                    let arm = kind.support.corners()[corner as usize];
                    let gap = room - arm.dot(&towards);
                    if gap <= limit {
                        let pair = Pair::Wall(a as u32, w as u32);
                        let point = pose.position + pose.axes * arm + outward * kind.round;
                        found.push(self.touch(
                            (pair, Some(corner)),
                            -outward,
                            (point, gap),
                            &motion,
                        ));
                    }
                }
            }
        }
        for &pair in &self.active {
            let Pair::Pieces(a, b) = pair else { continue };
            let Some(meeting) = self.meeting(pair, &self.poses, limit) else {
                continue;
            };
            let sides = [a, b].map(|s| (self.piece(s), &self.poses[s[0] as usize]));
            for point in overlap(sides[0], sides[1], &meeting) {
                found.push(self.touch((pair, None), meeting.normal, (point, meeting.gap), &motion));
            }
        }
        self.touching = found;
    }

    fn touch(
        &self,
        (pair, corner): (Pair, Option<u16>),
        normal: Vec3,
        (point, gap): (Vec3, f64),
        motion: &Motion,
    ) -> Touching {
        let (t1, t2) = tangents(&normal);
        let frame = [normal, t1, t2];
        let mut touching = Touching {
            pair,
            corner,
            frame,
            arms: [Vec3::zeros(); 2],
            moments: [[Vec3::zeros(); 3]; 2],
            mobility: Mat3::zeros(),
            wall: Vec3::zeros(),
            gap,
            before: Vec3::zeros(),
            impulse: Vec3::zeros(),
        };
        let (a, b) = touching.bodies();
        for (side, body) in [Some(a), b].into_iter().enumerate() {
            let Some(body) = body else { continue };
            let (kind, pose) = (self.kind_of(body), &self.poses[body]);
            let turn = pose.axes.transpose();
            let arm = turn * (point - pose.position);
            let moment = frame.map(|axis| arm.cross(&(turn * axis)));
            touching.mobility += Mat3::from_fn(|i, j| {
                let unit = if i == j { 1.0 / kind.mass } else { 0.0 };
                unit + moment[i].dot(&moment[j].component_div(&kind.inertia))
            });
            touching.arms[side] = arm;
            touching.moments[side] = moment;
        }
        if b.is_none() {
            let velocity = motion.velocity_at(&point);
            touching.wall = Vec3::from_fn(|i, _| frame[i].dot(&velocity));
        }
        touching.before = self.relative(&touching);
        touching
    }

    fn relative(&self, t: &Touching) -> Vec3 {
        let along = |body: usize, side: usize| {
            let pose = &self.poses[body];
            let rate = pose
                .spin
                .momentum
                .component_div(&self.kind_of(body).inertia);
            Vec3::from_fn(|i, _| t.frame[i].dot(&pose.velocity) + t.moments[side][i].dot(&rate))
        };
        let (a, b) = t.bodies();
        let mine = along(a, 0) - t.wall;
        b.map_or(mine, |b| mine - along(b, 1))
    }

    fn push(&mut self, t: &Touching, impulse: &Vec3) {
        let (a, b) = t.bodies();
        for (side, body) in [Some(a), b].into_iter().enumerate() {
            let Some(body) = body else { continue };
            let sign = if side == 0 { 1.0 } else { -1.0 };
            let mass = self.kind_of(body).mass;
            let pose = &mut self.poses[body];
            for i in 0..3 {
                pose.velocity += t.frame[i] * (sign * impulse[i] / mass);
                pose.spin.momentum += t.moments[side][i] * (sign * impulse[i]);
            }
        }
    }

    fn drift(&mut self, time: f64) {
        for body in 0..self.poses.len() {
            let inertia = self.kind_of(body).inertia;
            self.poses[body] = self.poses[body].drift(&inertia, time);
        }
        self.time += time;
    }

    fn contact_step(&mut self, time: f64, guests: Guests, contacts: &mut Vec<Contact>) {
        self.drift(0.5 * time);
        self.collect(BAND);
        let mut list = std::mem::take(&mut self.touching);
        if guests == Guests::Known {
            let known = |t: &Touching| self.known.iter().any(|k| t.is(k));
            list.retain(|t| t.before.x > -REST || (t.before.x > -KNOWN_REST && known(t)));
        }
        self.near.clear();
        self.near.extend(list.iter().map(|t| (t.pair, t.corner)));
        for (kick, pose) in self.kicks.iter_mut().zip(&self.poses) {
            *kick = (pose.velocity, pose.spin.momentum);
        }
        for pose in &mut self.poses {
            pose.velocity.z -= self.gravity * time;
        }
        self.solve(&mut list);
        for (kick, pose) in self.kicks.iter_mut().zip(&self.poses) {
            *kick = (pose.velocity - kick.0, pose.spin.momentum - kick.1);
        }
        self.book_step(&list, time, contacts);
        self.project(&list);
        self.touching = list;
        self.drift(0.5 * time);
        self.survey();
    }

    fn solve(&mut self, list: &mut [Touching]) {
        let lightest = self
            .kinds
            .iter()
            .map(|k| k.mass)
            .fold(f64::INFINITY, f64::min);
        for _ in 0..2 * ROUNDS {
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
            if change <= 1e-11 * lightest {
                break;
            }
        }
    }

    fn book_step(&self, list: &[Touching], time: f64, contacts: &mut Vec<Contact>) {
        for t in list.iter().filter(|t| t.impulse != Vec3::zeros()) {
            let after = self.relative(t);
            let middle = (t.before + after) * 0.5;
            let outcome = Knock {
                impulse: t.impulse,
                after,
                impact: -t.impulse.x * middle.x,
                friction: -(t.impulse.y * middle.y + t.impulse.z * middle.z),
            };
            let begins = !self.known.iter().any(|k| t.is(k));
            contacts.push(self.contact(t, t.before, &outcome, (time, begins)));
        }
    }

    /// Pushes apart what overlaps too deeply, each pair once.
    fn project(&mut self, list: &[Touching]) {
        let mut done: Vec<Pair> = Vec::new();
        for t in list.iter().filter(|t| t.gap < -DEEP) {
            if done.contains(&t.pair) {
                continue;
            }
            done.push(t.pair);
            self.deepest = self.deepest.max(-t.gap);
            let (a, b) = t.bodies();
            let out = t.frame[0] * -t.gap * if b.is_some() { 0.5 } else { 1.0 };
            for (body, shift) in [(Some(a), out), (b, -out)] {
                let Some(body) = body else { continue };
                self.poses[body].position += shift;
                self.projection += self.kind_of(body).mass * self.gravity * shift.z;
            }
        }
    }

    fn knocks(&mut self, contacts: &mut Vec<Contact>) {
        let list = std::mem::take(&mut self.touching);
        for _ in 0..KNOCKS * self.poses.len() as u32 {
            let worst = list
                .iter()
                .map(|t| (t, self.relative(t)))
                .min_by(|a, b| a.1.x.total_cmp(&b.1.x));
            let Some((t, before)) = worst.filter(|(_, u)| u.x < -1e-9) else {
                break;
            };
            let e = self.coefficient(t, -before.x);
            let outcome = knock(&t.mobility, before, self.friction, e);
            self.push(t, &outcome.impulse);
            let begins = -before.x >= REST || !self.known.iter().any(|k| t.is(k));
            contacts.push(self.contact(t, before, &outcome, (0.0, begins)));
        }
        self.touching = list;
    }

    fn coefficient(&self, t: &Touching, speed: f64) -> f64 {
        if speed < REST {
            return 0.0;
        }
        let kind = self.kind_of(t.bodies().0);
        let hull_corner = t.corner.filter(|_| kind.is_hull);
        let radius = hull_corner.and_then(|c| kind.tips.get(c as usize).copied());
        self.restitution
            .coefficient(1.0 / t.mobility[(0, 0)], speed, radius)
    }

    /// * `lasts`: [s] duration, and whether a touch begins
    fn contact(&self, t: &Touching, before: Vec3, outcome: &Knock, lasts: (f64, bool)) -> Contact {
        let (a, b) = t.bodies();
        let kind = self.kind_of(a);
        let turn = kind.to_figure * self.poses[a].axes.transpose();
        let lift = |v: &Vec3| turn * (t.frame[0] * v.x + t.frame[1] * v.y + t.frame[2] * v.z);
        Contact {
            body: a,
            partner: b.map(|b| {
                let (kind, pose) = (self.kind_of(b), &self.poses[b]);
                Partner {
                    body: b,
                    place: kind.centre + kind.to_figure * t.arms[1],
                    normal: kind.to_figure * (pose.axes.transpose() * t.frame[0]),
                }
            }),
            vertex: t.corner.filter(|_| kind.is_hull).map(u32::from),
            place: kind.centre + kind.to_figure * t.arms[0],
            normal: -(turn * t.frame[0]),
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

    /// A step up to `rest`, or to the moment something new touches.
    fn lasting_step(&mut self, rest: f64, contacts: &mut Vec<Contact>) {
        let floor = self.gap.min(0.0) - BAND;
        let mark = contacts.len();
        let start = self.moment();
        let mut length = rest;
        self.contact_step(length, Guests::Known, contacts);
        let event = self.gap < floor;
        for attempt in 0..12 {
            if self.gap >= floor - TOLERANCE {
                break;
            }
            // The forecast is not exact for figures in contact: halve if it does not settle.
            length = match attempt {
                0..4 => self.first_touch(&start, length, floor),
                _ => 0.5 * length,
            }
            .max(1e-9);
            self.back_to(&start);
            contacts.truncate(mark);
            self.contact_step(length, Guests::Known, contacts);
        }
        if event {
            self.deepest = self.deepest.max(-self.gap);
            self.collect(BAND);
            self.knocks(contacts);
            self.near
                .extend(self.touching.iter().map(|t| (t.pair, t.corner)));
        }
        std::mem::swap(&mut self.known, &mut self.near);
    }

    /// [s] when the first of the overlapping pairs touched, if each figure got its kick in
    /// proportion to time: exact for flight, near for the rest.
    fn first_touch(&self, start: &Moment, length: f64, floor: f64) -> f64 {
        let at = |body: usize, time: f64| {
            let inertia = self.kind_of(body).inertia;
            let mut pose = start.poses[body].drift(&inertia, 0.5 * time);
            pose.velocity += self.kicks[body].0 * (time / length);
            pose.spin.momentum += self.kicks[body].1 * (time / length);
            pose.drift(&inertia, 0.5 * time)
        };
        let mut first = length;
        for &(pair, end) in self.low.iter().filter(|l| l.1 < floor) {
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

    fn wall_gap(&self, body: usize, wall: usize, pose: &Pose, time: f64) -> f64 {
        let (kind, wall) = (self.kind_of(body), &self.walls[wall]);
        let axes = *self.path.rotation(time).to_rotation_matrix().matrix();
        let normal = axes * wall.normal;
        let room = wall.distance - normal.dot(&(pose.position - self.path.position(time)));
        room - kind.support.reach(&(pose.axes.transpose() * normal)) - kind.round
    }

    fn moment(&self) -> Moment {
        Moment {
            poses: self.poses.clone(),
            time: self.time,
            gap: self.gap,
            projection: self.projection,
            deepest: self.deepest,
            active: self.active.clone(),
        }
    }

    fn back_to(&mut self, moment: &Moment) {
        self.poses.copy_from_slice(&moment.poses);
        self.time = moment.time;
        self.gap = moment.gap;
        self.projection = moment.projection;
        self.deepest = moment.deepest;
        self.active.clone_from(&moment.active);
    }
}

impl Engine for Several {
    fn name(&self) -> &'static str {
        "exact"
    }

    fn time(&self) -> f64 {
        self.time
    }

    fn advance(&mut self, contacts: &mut Vec<Contact>) -> Result<()> {
        self.steps += 1;
        let end = self.steps as f64 * self.step;
        let (mut events, limit) = (0, EVENTS * (self.poses.len() as u32 + 1));
        while end - self.time > 1e-12 {
            events += 1;
            let rest = end - self.time;
            if events > limit {
                // Short, because a new contact may come within it.
                let short = rest.min(0.02 * self.step);
                self.contact_step(short, Guests::All, contacts);
                std::mem::swap(&mut self.known, &mut self.near);
            } else {
                self.lasting_step(rest, contacts);
            }
        }
        self.time = end;
        if !self.gap.is_finite() && !self.poses.iter().all(|p| p.position.norm().is_finite())
            || self.gap < -1e-3
        {
            return Err(Error::refused(format!(
                "a figure went {:.1} mm through a wall or another figure at {:.3} s",
                -1e3 * self.gap,
                self.time
            ))
            .hint("use a shorter time step"));
        }
        Ok(())
    }

    fn states(&self) -> Vec<State> {
        let each = self.poses.iter().enumerate().map(|(body, pose)| {
            let kind = self.kind_of(body);
            let rate = pose.spin.momentum.component_div(&kind.inertia);
            State {
                position: pose.position,
                rotation: pose.spin.attitude * quaternion(&kind.to_figure).inverse(),
                velocity: pose.velocity,
                spin: pose.axes * rate,
            }
        });
        each.collect()
    }

    fn projection(&self) -> f64 {
        self.projection
    }

    fn deepest(&self) -> f64 {
        self.deepest
    }
}
