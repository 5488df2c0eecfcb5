//! Kicks of lasting contacts, and knocks.

use super::super::Contact;
use super::super::contact::Partner;
use super::super::exact::{BAND, KNOCKS, KNOWN_REST, REST};
use super::super::knock::{Knock, drag, knock, normal_impulse};
use super::super::lone::{Guests, ROUNDS};
use super::{Feel, Pair, Several, Touching};
use base::Vec3;

impl Several {
    pub(super) fn contact_step(&mut self, time: f64, guests: Guests, contacts: &mut Vec<Contact>) {
        self.drift(0.5 * time);
        self.collect(BAND);
        let mut list = std::mem::take(&mut self.touching);
        if guests == Guests::Known {
            let known = |t: &Touching| self.known.iter().any(|k| t.is(k));
            // One that came in slowly and already overlaps is held, or it would sink by less than
            // an event each step.
            let held = |t: &Touching| t.gap < -BAND || known(t);
            list.retain(|t| t.before.x > -REST || (t.before.x > -KNOWN_REST && held(t)));
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
                t.impulse = drag(
                    &t.mobility,
                    &old,
                    &slip,
                    (normal, self.feel(t).friction * normal),
                );
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

    pub(super) fn knocks(&mut self, contacts: &mut Vec<Contact>) {
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
            let outcome = knock(&t.mobility, before, self.feel(t).friction, e);
            self.push(t, &outcome.impulse);
            let begins = -before.x >= REST || !self.known.iter().any(|k| t.is(k));
            contacts.push(self.contact(t, before, &outcome, (0.0, begins)));
        }
        self.touching = list;
    }

    /// Friction and restitution at a wall, or between figures.
    fn feel(&self, t: &Touching) -> &Feel {
        match t.pair {
            Pair::Wall(..) => &self.on_box,
            Pair::Pieces(..) => &self.on_each_other,
        }
    }

    fn coefficient(&self, t: &Touching, speed: f64) -> f64 {
        if speed < REST {
            return 0.0;
        }
        let kind = self.kind_of(t.bodies().0);
        let hull_corner = t.corner.filter(|_| kind.is_hull);
        let radius = hull_corner.and_then(|c| kind.tips.get(c as usize).copied());
        self.feel(t)
            .restitution
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
}
