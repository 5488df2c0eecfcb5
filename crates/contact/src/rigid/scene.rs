//! What an engine is given: figures, box, how they touch.

use super::path::BoxPath;
use crate::{Body, Restitution};
use base::{Error, Mat3, Quat, Result, Vec3};
use std::sync::Arc;

/// [m/s2] gravity unless told otherwise.
pub const GRAVITY: f64 = 9.81;

/// What of a figure can touch, and its mass.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    /// [m] corners of the convex hull, figure's frame.
    pub hull: Vec<Vec3>,
    /// [m] corners of each convex piece, figure's frame; empty: the hull is the only piece.
    /// A lone figure between flat walls needs none.
    pub pieces: Vec<Vec<Vec3>>,
    /// [m] radius of a ball swept over every corner: 0 for figures, used by the checks.
    pub round: f64,
    /// [m] tip radius at each hull corner, for a restitution that depends on it; empty: the
    /// reference radius everywhere.
    pub tips: Vec<f64>,
    /// Mass, centre, inertia.
    pub body: Body,
}

impl Shape {
    /// A figure that touches with the corners of its hull.
    #[must_use]
    pub fn convex(hull: Vec<Vec3>, body: Body) -> Shape {
        Shape {
            hull,
            pieces: Vec::new(),
            round: 0.0,
            tips: Vec::new(),
            body,
        }
    }

    /// A homogeneous ball about the origin.
    ///
    /// * `radius`: [m]
    /// * `mass`: [kg]
    #[must_use]
    pub fn ball(radius: f64, mass: f64) -> Shape {
        let inertia = Mat3::identity() * (0.4 * mass * radius * radius);
        Shape {
            hull: vec![Vec3::zeros()],
            pieces: Vec::new(),
            round: radius,
            tips: vec![radius],
            body: Body {
                mass,
                centre: Vec3::zeros(),
                inertia,
            },
        }
    }

    /// A homogeneous block about the origin.
    ///
    /// * `half`: [m] half its edges
    /// * `mass`: [kg]
    #[must_use]
    pub fn block(half: Vec3, mass: f64) -> Shape {
        let corner = |i: u32| {
            let sign = |bit: u32| if i >> bit & 1 == 0 { -1.0 } else { 1.0 };
            half.component_mul(&Vec3::new(sign(0), sign(1), sign(2)))
        };
        let square = half.component_mul(&half);
        let inertia = Mat3::from_diagonal(&Vec3::new(
            square.y + square.z,
            square.x + square.z,
            square.x + square.y,
        )) * (mass / 3.0);
        Shape::convex(
            (0..8).map(corner).collect(),
            Body {
                mass,
                centre: Vec3::zeros(),
                inertia,
            },
        )
    }

    /// [m] largest distance of anything that touches from the centre of mass.
    #[must_use]
    pub fn reach(&self) -> f64 {
        let far = |points: &[Vec3]| {
            points
                .iter()
                .map(|p| (p - self.body.centre).norm())
                .fold(0.0, f64::max)
        };
        self.pieces
            .iter()
            .map(|p| far(p))
            .fold(far(&self.hull), f64::max)
            + self.round
    }
}

/// Motion of one figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// [m] centre of mass in the world.
    pub position: Vec3,
    /// From the figure's frame to the world.
    pub rotation: Quat,
    /// [m/s] of the centre of mass.
    pub velocity: Vec3,
    /// [rad/s] in the world.
    pub spin: Vec3,
}

impl State {
    /// At rest.
    #[must_use]
    pub fn still(position: Vec3, rotation: Quat) -> State {
        State {
            position,
            rotation,
            velocity: Vec3::zeros(),
            spin: Vec3::zeros(),
        }
    }
}

/// A flat wall in the box's frame: all inside has `normal . x <= distance`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wall {
    /// Unit, out of the box.
    pub normal: Vec3,
    /// [m] from the box's middle.
    pub distance: f64,
}

/// Sides of the prism that stands for a round tin: its radius is true to 0.9 %.
const TIN_SIDES: u32 = 24;

impl Wall {
    /// The six walls of a box.
    ///
    /// * `half`: [m] half the inner edges
    #[must_use]
    pub fn cuboid(half: &Vec3) -> Vec<Wall> {
        (0..6)
            .map(|i| {
                let mut normal = Vec3::zeros();
                normal[i / 2] = if i % 2 == 0 { 1.0 } else { -1.0 };
                Wall {
                    normal,
                    distance: half[i / 2],
                }
            })
            .collect()
    }

    /// A round tin standing on its base, as a prism of 24 sides.
    ///
    /// * `radius`, `half_height`: [m] inside
    #[must_use]
    pub fn tin(radius: f64, half_height: f64) -> Vec<Wall> {
        let flat = |z| Wall {
            normal: Vec3::new(0.0, 0.0, z),
            distance: half_height,
        };
        let side = |i| {
            let angle = std::f64::consts::TAU * f64::from(i) / f64::from(TIN_SIDES);
            Wall {
                normal: Vec3::new(libm::cos(angle), libm::sin(angle), 0.0),
                distance: radius,
            }
        };
        [flat(1.0), flat(-1.0)]
            .into_iter()
            .chain((0..TIN_SIDES).map(side))
            .collect()
    }
}

/// How two surfaces take a contact.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Feel {
    /// Coulomb coefficient.
    pub friction: f64,
    /// Energetic restitution.
    pub restitution: Restitution,
}

/// Figures in a closed box.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// One entry per figure; equal figures share one shape.
    pub shapes: Vec<Arc<Shape>>,
    /// Where each figure starts.
    pub start: Vec<State>,
    /// What closes the box in, in its own frame; convex.
    pub walls: Vec<Wall>,
    /// How the box moves.
    pub path: BoxPath,
    /// Coulomb coefficient of figures on the box.
    pub friction: f64,
    /// Energetic restitution of figures on the box.
    pub restitution: Restitution,
    /// Figures on each other; `None`: as on the box.
    pub between: Option<Feel>,
    /// [m/s2] downwards along -z of the world.
    pub gravity: f64,
}

impl Scene {
    /// One figure in a still box; friction 0.3, restitution 0.3, gravity, until set otherwise.
    ///
    /// * `half`: [m] half the inner edges of the box
    #[must_use]
    pub fn lone(shape: Shape, start: State, half: Vec3) -> Scene {
        Scene {
            shapes: vec![Arc::new(shape)],
            start: vec![start],
            walls: Wall::cuboid(&half),
            path: BoxPath::Still,
            friction: 0.3,
            restitution: Restitution::Constant(0.3),
            between: None,
            gravity: GRAVITY,
        }
    }

    /// How figures take contacts with the box.
    #[must_use]
    pub fn on_box(&self) -> Feel {
        Feel {
            friction: self.friction,
            restitution: self.restitution,
        }
    }

    /// How figures take contacts with each other.
    #[must_use]
    pub fn on_each_other(&self) -> Feel {
        self.between.unwrap_or(self.on_box())
    }

    /// [J] kinetic energy and height energy of all figures.
    #[must_use]
    pub fn energies(&self, states: &[State]) -> (f64, f64) {
        let (mut kinetic, mut height) = (0.0, 0.0);
        for (shape, state) in self.shapes.iter().zip(states) {
            let body = &shape.body;
            let spin = state.rotation.inverse() * state.spin;
            kinetic += 0.5 * body.mass * state.velocity.norm_squared()
                + 0.5 * spin.dot(&(body.inertia * spin));
            height += body.mass * self.gravity * state.position.z;
        }
        (kinetic, height)
    }

    /// Refuses what no engine can hold.
    ///
    /// # Errors
    /// Input errors with the value and the allowed range.
    pub fn validate(&self) -> Result<()> {
        if self.shapes.is_empty() || self.shapes.len() != self.start.len() {
            return Err(Error::input("a box needs at least one figure"));
        }
        for feel in [self.on_box(), self.on_each_other()] {
            if !(0.0..=3.0).contains(&feel.friction) {
                return Err(Error::input(format!(
                    "friction must be 0 to 3, not {}",
                    feel.friction
                )));
            }
            if let Restitution::Constant(e) = feel.restitution
                && !(0.0..=1.0).contains(&e)
            {
                return Err(Error::input(format!("restitution must be 0 to 1, not {e}")));
            }
        }
        for shape in &self.shapes {
            self.validate_shape(shape)?;
        }
        Ok(())
    }

    fn validate_shape(&self, shape: &Shape) -> Result<()> {
        let body = &shape.body;
        let sound = body.mass > 0.0
            && (0..3).all(|k| body.inertia[(k, k)] > 0.0)
            && shape.hull.iter().all(|p| p.iter().all(|c| c.is_finite()));
        if shape.hull.is_empty() || !sound {
            return Err(Error::input(
                "a figure in a box needs a hull, mass and inertia above 0",
            ));
        }
        let nearest = self.walls.iter().map(|w| w.distance);
        let (reach, smallest) = (shape.reach(), nearest.fold(f64::INFINITY, f64::min));
        if smallest < reach {
            return Err(Error::input(format!(
                "a box with a smallest inner edge of {:.1} mm cannot turn a figure whose farthest \
                 point is {:.1} mm from its centre of mass",
                2e3 * smallest,
                1e3 * reach
            ))
            .hint(format!(
                "give the box inner edges above {:.0} mm",
                2.0e3 * reach + 2.0
            )));
        }
        Ok(())
    }
}

impl Restitution {
    /// Energetic coefficient for one knock; 0 to 1.
    ///
    /// * `mass`: [kg] effective mass
    /// * `speed`: [m/s] approach
    /// * `radius`: [m] of the tip; `None` takes the reference radius
    #[must_use]
    pub fn coefficient(&self, mass: f64, speed: f64, radius: Option<f64>) -> f64 {
        match *self {
            Restitution::Constant(e) => e,
            Restitution::Scaled {
                at_reference,
                speed: speed0,
                radius: radius0,
                mass: mass0,
                ceiling,
            } => {
                let ratios = [
                    mass / mass0,
                    speed / speed0,
                    radius.unwrap_or(radius0) / radius0,
                ];
                crate::law::impact::scaled_restitution(at_reference, ratios).clamp(0.0, ceiling)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_box_too_small_to_turn_in_is_refused_with_a_size() {
        let shape = Shape::block(Vec3::new(0.01, 0.01, 0.02), 0.02);
        let start = State::still(Vec3::zeros(), Quat::identity());
        let scene = Scene::lone(shape, start, Vec3::new(0.1, 0.1, 0.02));
        let text = scene.validate().err().map(|e| e.to_string());
        assert!(
            text.is_some_and(|t| t.contains("above 51 mm")),
            "{:?}",
            scene.validate()
        );
    }

    #[test]
    fn restitution_falls_with_speed_and_stops_at_its_ceiling() {
        let law = Restitution::Scaled {
            at_reference: 0.14,
            speed: 1.0,
            radius: 1e-3,
            mass: 14.6e-3,
            ceiling: 0.8,
        };
        assert!((law.coefficient(14.6e-3, 16.0, None) - 0.07).abs() < 1e-12);
        assert_eq!(law.coefficient(1e-3, 1e-6, Some(1e-2)), 0.8);
    }
}
