//! Points of contact: which there are, how they move, what an impulse there does.

use super::super::meet::overlap;
use super::super::path::Motion;
use super::Several;
use base::{Mat3, Vec3, geometry::tangents};

/// What can touch what.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pair {
    /// Figure, wall.
    Wall(u32, u32),
    /// Figure and piece, figure and piece.
    Pieces([u32; 2], [u32; 2]),
}

/// A point of contact.
#[derive(Debug, Clone, Copy)]
pub(super) struct Touching {
    pub pair: Pair,
    pub corner: Option<u16>,
    /// World directions: normal into the first figure, two tangents.
    pub frame: [Vec3; 3],
    /// [m] arms in principal axes, and moments of unit impulses along `frame`; first figure, second.
    pub arms: [Vec3; 2],
    pub moments: [[Vec3; 3]; 2],
    pub mobility: Mat3,
    /// [m/s] of the wall along `frame`; 0 between figures.
    pub wall: Vec3,
    pub gap: f64,
    pub before: Vec3,
    pub impulse: Vec3,
}

impl Touching {
    pub(super) fn bodies(&self) -> (usize, Option<usize>) {
        match self.pair {
            Pair::Wall(a, _) => (a as usize, None),
            Pair::Pieces(a, b) => (a[0] as usize, Some(b[0] as usize)),
        }
    }

    pub(super) fn is(&self, known: &(Pair, Option<u16>)) -> bool {
        self.pair == known.0 && self.corner == known.1
    }
}

impl Several {
    /// Lists contacts: walls nearer than `limit`, pairs among the active ones.
    pub(super) fn collect(&mut self, limit: f64) {
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

    pub(super) fn relative(&self, t: &Touching) -> Vec3 {
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

    pub(super) fn push(&mut self, t: &Touching, impulse: &Vec3) {
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
}
