//! Several figures in a box: convex pieces against each other, corners against walls.
//!
//! One kind of step for all: drift, kick with every lasting contact solved together, drift. A step
//! ends early when something new touches, and the knock is taken between steps. A figure in flight
//! follows its parabola exactly through such steps.
//!
//! Reading order: `kind`, `touching`, `survey` (what is near), `step` (kicks and knocks), `event`
//! (when something new touches; pushing apart).

mod event;
mod kind;
mod step;
mod survey;
mod touching;

use super::exact::{DEEP, EVENTS};
use super::lone::Guests;
use super::path::BoxPath;
use super::scene::Feel;
use super::spin::{Pose, Spin, quaternion};
use super::{Contact, Engine, Scene, Shape, State, Wall};
use base::{Error, Result, Vec3};
use kind::Kind;
use std::sync::Arc;
use touching::{Pair, Touching};

/// The engine.
pub(super) struct Several {
    walls: Vec<Wall>,
    path: BoxPath,
    on_box: Feel,
    on_each_other: Feel,
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
            on_box: scene.on_box(),
            on_each_other: scene.on_each_other(),
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

    fn drift(&mut self, time: f64) {
        for body in 0..self.poses.len() {
            let inertia = self.kind_of(body).inertia;
            self.poses[body] = self.poses[body].drift(&inertia, time);
        }
        self.time += time;
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
                self.push_apart();
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

#[cfg(test)]
mod tests {
    use super::super::meet::SKIN;
    use super::super::run;
    use super::*;
    use crate::Restitution;
    use base::Quat;

    /// Two plates of which the upper comes down fast on a strip of the lower one's rim, from just
    /// within touching distance. Half a step on they overlap more than the strip is wide, and the
    /// way out points sideways: it must be a knock all the same, never a push.
    #[test]
    fn a_graze_at_the_rim_is_a_knock_and_not_a_push() {
        let half = Vec3::new(0.01, 0.01, 0.005);
        let (strip, speed) = (5e-5, 0.84);
        let lower = State::still(Vec3::new(0.0, 0.0, -0.005), Quat::identity());
        let place = Vec3::new(0.02 - strip, 0.0, 0.005 + SKIN - 3e-6);
        let mut upper = State::still(place, Quat::identity());
        upper.velocity.z = -speed;
        let mut scene = Scene::lone(Shape::block(half, 0.02), lower, Vec3::repeat(0.1));
        scene.shapes.push(scene.shapes[0].clone());
        scene.start.push(upper);
        scene.gravity = 0.0;
        scene.restitution = Restitution::Constant(0.5);
        let mut engine = Several::new(&scene, 1.0 / 2000.0).unwrap();
        let mut first = None;
        let books = run(&mut engine, &scene, 0.002, |c| {
            first.get_or_insert(*c);
        })
        .unwrap();
        let first = first.unwrap();
        assert!(
            (first.approach - speed).abs() < 1e-6 && first.impact > 0.0,
            "{first:?}"
        );
        assert!(books.deepest < 3e-5, "{books:?}");
    }

    /// A block pinched between two others that overlap it from both sides and cannot give way
    /// sideways alone: all overlaps are shared out, none is moved on to the neighbour.
    #[test]
    fn pushing_apart_moves_no_overlap_on() {
        let half = Vec3::new(0.01, 0.01, 0.005);
        let start = |z: f64| State::still(Vec3::new(0.0, 0.0, z), Quat::identity());
        let mut scene = Scene::lone(Shape::block(half, 0.02), start(0.0), Vec3::repeat(0.1));
        let apart = 0.01 + SKIN - 1e-5;
        scene.shapes = vec![scene.shapes[0].clone(); 3];
        scene.start = vec![start(0.0), start(apart), start(-apart)];
        scene.gravity = 0.0;
        let mut several = Several::new(&scene, 1.0 / 2000.0).unwrap();
        several.poses[1].position.z -= 2e-5;
        several.survey();
        assert!((several.gap + 3e-5).abs() < 1e-9);
        several.push_apart();
        assert!(several.gap > -6e-6, "{}", several.gap);
        // Momentum is not the push's to change, but the middle of all masses stays.
        let middle: f64 = several.poses.iter().map(|p| p.position.z).sum();
        assert!((middle + 2e-5).abs() < 1e-12);
    }
}
