//! The second opinion: a general-purpose constraint solver, read through its public interface.
//!
//! Known deviations, measured by the suite and no fault of the book-keeping (rapier3d-f64 0.36):
//! friction acts along K^-1 u instead of against the slip (a sliding block stops 11 % late), the
//! rebound of a knock carries no friction (tangential impulse short by 1/(1+e)), gravity within
//! the step of a knock lowers a bounce. Its ledger closes all the same.

use super::contact::Partner;
use super::path::BoxPath;
use super::{Contact, Engine, Scene, Shape, State, Wall};
use crate::Restitution;
use base::{Error, Mat3, Quat, Result, Vec3};
use nalgebra::Quaternion;
use rapier3d_f64::prelude as rp;
use std::sync::Arc;

/// [m/s] speed up to which a contact is foreseen one step ahead.
const FASTEST: f64 = 2.5;
/// [m] thickness of the walls.
const WALL: f64 = 0.05;

/// The engine.
pub struct Rapier {
    world: rp::PhysicsWorld,
    container: rp::RigidBodyHandle,
    figures: Vec<rp::RigidBodyHandle>,
    shapes: Vec<Arc<Shape>>,
    path: BoxPath,
    walls: Vec<Wall>,
    step: f64,
    steps: u64,
    before: Vec<State>,
    deepest: f64,
}

fn out(v: rp::Vector) -> Vec3 {
    Vec3::new(v.x, v.y, v.z)
}

fn into(v: &Vec3) -> rp::Vector {
    rp::Vector::new(v.x, v.y, v.z)
}

fn into_pose(position: &Vec3, rotation: &Quat) -> rp::Pose {
    rp::Pose::from_parts(
        into(position),
        rp::Rotation::from_xyzw(rotation.i, rotation.j, rotation.k, rotation.w),
    )
}

fn out_rotation(q: rp::Rotation) -> Quat {
    Quat::new_normalize(Quaternion::new(q.w, q.x, q.y, q.z))
}

impl Rapier {
    /// The engine at the start of `scene`.
    ///
    /// # Errors
    /// Input errors for a restitution that is not constant and for a hull without volume.
    pub fn new(scene: &Scene, step: f64) -> Result<Rapier> {
        let (wall, own) = (scene.on_box(), scene.on_each_other());
        let (Restitution::Constant(e_wall), Restitution::Constant(e_own)) =
            (wall.restitution, own.restitution)
        else {
            return Err(Error::input(
                "the second-opinion engine knows only a constant restitution",
            )
            .hint("give restitution as one number, or use the engine `exact`"));
        };
        let mut world = rp::PhysicsWorld {
            gravity: rp::Vector::new(0.0, 0.0, -scene.gravity),
            integration_parameters: parameters(step),
            ..rp::PhysicsWorld::default()
        };
        // Coefficients combine by product at walls and by mean between figures, so a wall carries
        // the quotient.
        let feel = (own.friction.max(1e-9), e_own.max(1e-9));
        let container = insert_box(&mut world, scene, (wall.friction / feel.0, e_wall / feel.1));
        let mut figures = Vec::new();
        for (shape, start) in scene.shapes.iter().zip(&scene.start) {
            figures.push(insert_figure(&mut world, shape, start, feel)?);
        }
        world.detect_collisions(&(), &());
        for handle in &figures {
            world.bodies[*handle].recompute_mass_properties_from_colliders(&world.colliders);
        }
        Ok(Rapier {
            world,
            container,
            figures,
            shapes: scene.shapes.clone(),
            path: scene.path.clone(),
            walls: scene.walls.clone(),
            step,
            steps: 0,
            before: Vec::new(),
            deepest: 0.0,
        })
    }

    fn number(&self, handle: Option<rp::RigidBodyHandle>) -> Option<usize> {
        self.figures.iter().position(|h| Some(*h) == handle)
    }

    fn book(&mut self, after: &[State], contacts: &mut Vec<Contact>) {
        let mut deepest = self.deepest;
        for pair in self.world.narrow_phase.contact_pairs() {
            for manifold in pair.solver_manifolds() {
                let data = &manifold.data;
                let bodies = (self.number(data.rigid_body1), self.number(data.rigid_body2));
                let normal = -out(data.normal);
                let tangents = rapier_tangents(&normal);
                for solver in &data.solver_contacts {
                    let point = &manifold.points[solver.contact_indices()[0] as usize];
                    let p = &point.data;
                    let tangential =
                        tangents.0 * p.tangent_impulse.x + tangents.1 * p.tangent_impulse.y;
                    // The solver may leave a tangential impulse beside a normal one of zero.
                    if p.impulse == 0.0 && tangential == Vec3::zeros() {
                        continue;
                    }
                    deepest = deepest.max(-point.dist);
                    let side = Sides {
                        bodies,
                        arms: (out(p.solver_dp1), out(p.solver_dp2)),
                        normal,
                        impulse: (normal * p.impulse, tangential),
                    };
                    contacts.extend(self.contact(&side, after));
                }
            }
        }
        self.deepest = deepest;
    }

    fn contact(&self, s: &Sides, after: &[State]) -> Option<Contact> {
        // Seen from the first figure of the pair; the impulse of the solver acts on body 1.
        let (body, arm, sign, other) = match s.bodies {
            (Some(a), b) => (a, s.arms.0, 1.0, (b, s.arms.1)),
            (None, Some(b)) => (b, s.arms.1, -1.0, (None, s.arms.0)),
            (None, None) => return None,
        };
        let wall = &self.world.bodies[self.container];
        let at = |states: &[State]| {
            let mine = states[body].velocity + states[body].spin.cross(&arm);
            let theirs = match other.0 {
                Some(b) => states[b].velocity + states[b].spin.cross(&other.1),
                None => {
                    let point = self.before[body].position + arm;
                    let lever = point - out(wall.center_of_mass());
                    out(wall.linvel()) + out(wall.angvel()).cross(&lever)
                }
            };
            (mine - theirs, theirs)
        };
        let ((before, theirs), (after, _)) = (at(&self.before), at(after));
        let (normal, tangential) = (s.impulse.0 * sign, s.impulse.1 * sign);
        let middle = (before + after) * 0.5;
        let start = &self.before[body];
        let home = start.rotation.inverse();
        let outward = -s.normal * sign;
        let place = self.shapes[body].body.centre + home * arm;
        let change = (after - before).dot(&outward).abs();
        let approach = before.dot(&outward).max(0.0);
        Some(Contact {
            body,
            partner: other.0.map(|b| {
                let home = self.before[b].rotation.inverse();
                Partner {
                    body: b,
                    place: self.shapes[b].body.centre + home * other.1,
                    normal: home * -outward,
                }
            }),
            vertex: self.nearest_corner(body, &place),
            place,
            normal: home * outward,
            impulse: home * (normal + tangential),
            before: home * before,
            after: home * after,
            impact: -normal.dot(&middle),
            friction: -tangential.dot(&middle),
            wall_work: match other.0 {
                None => (normal + tangential).dot(&theirs),
                Some(_) => 0.0,
            },
            effective_mass: if change > 1e-9 {
                normal.norm() / change
            } else {
                0.0
            },
            approach,
            duration: self.step,
            begins: approach > super::exact::REST,
        })
    }

    fn nearest_corner(&self, body: usize, place: &Vec3) -> Option<u32> {
        let shape = &self.shapes[body];
        if !shape.pieces.is_empty() {
            return None;
        }
        let far = |p: &Vec3| (p - place).norm_squared();
        let best = (0..shape.hull.len())
            .min_by(|&a, &b| far(&shape.hull[a]).total_cmp(&far(&shape.hull[b])))?;
        Some(best as u32)
    }

    fn check_inside(&self, states: &[State]) -> Result<()> {
        let time = self.time();
        let (middle, turn) = (self.path.position(time), self.path.rotation(time));
        for state in states {
            let local = turn.inverse() * (state.position - middle);
            if !self
                .walls
                .iter()
                .all(|w| w.normal.dot(&local) <= w.distance)
            {
                return Err(
                    Error::refused(format!("a figure left the box at {time:.3} s"))
                        .hint("use a shorter time step"),
                );
            }
        }
        Ok(())
    }
}

/// One contact as the solver saw it, in the world.
struct Sides {
    bodies: (Option<usize>, Option<usize>),
    arms: (Vec3, Vec3),
    /// Unit, towards body 1.
    normal: Vec3,
    /// [N s] normal and tangential, on body 1.
    impulse: (Vec3, Vec3),
}

/// The solver's tangent basis depends on the normal only and is not stored: rebuilt here.
fn rapier_tangents(normal: &Vec3) -> (Vec3, Vec3) {
    let sign = 1.0_f64.copysign(normal.z);
    let a = -1.0 / (sign + normal.z);
    let b = normal.x * normal.y * a;
    let first = Vec3::new(b, sign + normal.y * normal.y * a, -normal.y);
    (first, normal.cross(&first))
}

/// Coulomb friction because the default model does not report what it applied; no clustering and
/// no recycling because both hide contacts from a reader; no sleeping, no continuous detection.
fn parameters(step: f64) -> rp::IntegrationParameters {
    let length = 0.03;
    let softness = rp::SpringCoefficients::new(60.0, 10.0);
    rp::IntegrationParameters {
        dt: step,
        num_solver_iterations: 4,
        num_internal_pgs_iterations: 1,
        num_internal_stabilization_iterations: 1,
        contact_softness: softness,
        static_contact_softness: softness,
        length_unit: length,
        max_ccd_substeps: 0,
        contact_recycling: false,
        contact_clustering: false,
        friction_model: rp::FrictionModel::Coulomb,
        normalized_max_linear_velocity: f64::MAX,
        normalized_prediction_distance: (FASTEST * step).max(4e-4) / length,
        ..rp::IntegrationParameters::default()
    }
}

/// Cuboid walls: half-spaces find contacts on four corners of the hull's best face only.
fn insert_box(
    world: &mut rp::PhysicsWorld,
    scene: &Scene,
    feel: (f64, f64),
) -> rp::RigidBodyHandle {
    let motion = scene.path.at(0.0);
    let body = rp::RigidBodyBuilder::kinematic_position_based()
        .pose(into_pose(&motion.position, &motion.rotation));
    let handle = world.bodies.insert(body);
    let farthest = scene.walls.iter().map(|w| w.distance).fold(0.0, f64::max);
    for wall in &scene.walls {
        let middle = wall.normal * (wall.distance + WALL);
        let turn = Quat::rotation_between(&Vec3::z(), &wall.normal)
            .unwrap_or_else(|| Quat::from_axis_angle(&Vec3::x_axis(), std::f64::consts::PI));
        let wide = 2.0 * farthest + 2.0 * WALL;
        let collider = rp::ColliderBuilder::cuboid(wide, wide, WALL)
            .position(into_pose(&middle, &turn))
            .friction(feel.0)
            .friction_combine_rule(rp::CoefficientCombineRule::Multiply)
            .restitution(feel.1)
            .restitution_combine_rule(rp::CoefficientCombineRule::Multiply);
        world
            .colliders
            .insert_with_parent(collider, handle, &mut world.bodies);
    }
    handle
}

fn insert_figure(
    world: &mut rp::PhysicsWorld,
    shape: &Shape,
    start: &State,
    feel: (f64, f64),
) -> Result<rp::RigidBodyHandle> {
    let body = &shape.body;
    let inertia = into_matrix(&body.inertia);
    let origin = start.position - start.rotation * body.centre;
    let builder = rp::RigidBodyBuilder::dynamic()
        .pose(into_pose(&origin, &start.rotation))
        .linvel(into(&start.velocity))
        .angvel(into(&start.spin))
        .can_sleep(false)
        .gyroscopic_forces_enabled(true)
        .additional_mass_properties(rp::MassProperties::with_inertia_matrix(
            into(&body.centre),
            body.mass,
            inertia,
        ));
    let handle = world.bodies.insert(builder);
    let hull = std::slice::from_ref(&shape.hull);
    let pieces = if shape.pieces.is_empty() {
        hull
    } else {
        &shape.pieces
    };
    for piece in pieces {
        let collider = collider(piece, shape.round)?
            .density(0.0)
            .friction(feel.0)
            .restitution(feel.1);
        world
            .colliders
            .insert_with_parent(collider, handle, &mut world.bodies);
    }
    Ok(handle)
}

fn collider(points: &[Vec3], round: f64) -> Result<rp::ColliderBuilder> {
    if let [centre] = points {
        return Ok(rp::ColliderBuilder::ball(round).translation(into(centre)));
    }
    let points: Vec<rp::Vector> = points.iter().map(into).collect();
    rp::ColliderBuilder::convex_hull(&points)
        .ok_or_else(|| Error::input("a hull without volume cannot collide"))
}

fn into_matrix(m: &Mat3) -> rp::Matrix {
    let column = |k: usize| rp::Vector::new(m[(0, k)], m[(1, k)], m[(2, k)]);
    rp::Matrix::from_cols(column(0), column(1), column(2))
}

impl Engine for Rapier {
    fn name(&self) -> &'static str {
        "rapier"
    }

    fn time(&self) -> f64 {
        self.steps as f64 * self.step
    }

    fn advance(&mut self, contacts: &mut Vec<Contact>) -> Result<()> {
        self.before = self.states();
        self.steps += 1;
        let time = self.time();
        let (position, rotation) = (self.path.position(time), self.path.rotation(time));
        self.world.bodies[self.container]
            .set_next_kinematic_position(into_pose(&position, &rotation));
        self.world.step();
        let after = self.states();
        self.book(&after, contacts);
        self.check_inside(&after)
    }

    fn states(&self) -> Vec<State> {
        self.figures
            .iter()
            .map(|handle| {
                let body = &self.world.bodies[*handle];
                State {
                    position: out(body.center_of_mass()),
                    rotation: out_rotation(body.position().rotation),
                    velocity: out(body.linvel()),
                    spin: out(body.angvel()),
                }
            })
            .collect()
    }

    /// Its push-out velocity is removed within the step, so it shows in heights, not as a work.
    fn projection(&self) -> f64 {
        0.0
    }

    fn deepest(&self) -> f64 {
        self.deepest
    }
}
