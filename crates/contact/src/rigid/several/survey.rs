//! What is near what, and how near.

use super::super::exact::BAND;
use super::super::meet::{Meeting, Piece, SKIN, meet};
use super::super::spin::Pose;
use super::{Pair, Several};

/// [m] two pieces nearer than this are asked for contacts in the next step.
pub(super) const WATCH: f64 = 4.0 * BAND;

impl Several {
    /// Finds the smallest gap, what overlaps, and which pieces are near.
    pub(super) fn survey(&mut self) {
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
        let slack = SKIN + WATCH;
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

    pub(super) fn piece(&self, place: [u32; 2]) -> &Piece {
        &self.kind_of(place[0] as usize).pieces[place[1] as usize]
    }

    pub(super) fn meeting(&self, pair: Pair, poses: &[Pose], prediction: f64) -> Option<Meeting> {
        let Pair::Pieces(a, b) = pair else {
            return None;
        };
        let (pa, pb) = (&poses[a[0] as usize], &poses[b[0] as usize]);
        meet((self.piece(a), pa), (self.piece(b), pb), prediction)
    }

    pub(super) fn wall_gap(&self, body: usize, wall: usize, pose: &Pose, time: f64) -> f64 {
        let (kind, wall) = (self.kind_of(body), &self.walls[wall]);
        let axes = *self.path.rotation(time).to_rotation_matrix().matrix();
        let normal = axes * wall.normal;
        let room = wall.distance - normal.dot(&(pose.position - self.path.position(time)));
        room - kind.support.reach(&(pose.axes.transpose() * normal)) - kind.round
    }
}
