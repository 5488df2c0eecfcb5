//! Riding in a tray slot: going in and out, and stick-slip on the road between.

use super::poses::tilted;
use super::replicate::{Grown, Precision, grow};
use super::rub::GRAVITY;
use super::shaken::{Axis, shake};
use super::soft_notes::{Limits, held};
use crate::Body;
use crate::dose::{Channel, Dose, DoseRate, Imprint, Unit};
use crate::law::schedule::Schedule;
use crate::law::stickslip::Jenkins;
use crate::pad::{Pad, Picture, Press, Presser, Push, Slide};
use base::note::Topic;
use base::random::{Stream, stream};
use base::{Error, Note, Result, Vec3, Watch};
use mesh::figure::{Figure, PatchId};

/// Sideways over normal stiffness of a foam wall: 1 for a small contact on thick nu = 0 foam, 0.5
/// for a wide one (shear over compression modulus).
const SHEAR_SHARE: f64 = 0.7;
/// [m] depth at which the walls of a loose slot are taken to answer.
const KNOCK: f64 = 0.5e-3;
/// [m] least depth for a stiffness.
const LEAST_DEPTH: f64 = 0.1e-3;

/// Riding in a slot of foam.
#[derive(Debug, Clone)]
pub struct Ride {
    /// Name of the exposure: part of the random streams.
    pub name: String,
    /// The foam of the slot.
    pub pad: Pad,
    /// Friction of the outer film on the foam.
    pub friction: f64,
    /// [m] how much smaller the slot is than the figure, on each side; negative is loose.
    pub interference: f64,
    /// Outward unit direction of the figure that lies on the slot's floor: -y (the front) or +y
    /// for a figure laid down, -z for one that stands.
    pub floor: Vec3,
    /// Vibration of the road.
    pub schedule: Schedule,
    /// [m/s] mean speed.
    pub speed: f64,
    /// [1/m] times the figure is put in and taken out, per way travelled.
    pub insertions: f64,
    /// [rad] standard deviation of the tilt in the slot.
    pub tilt: f64,
    /// When to stop: a replicate is one pose in the slot and its own stretch of road.
    pub precision: Precision,
    /// [m] grid.
    pub spacing: f64,
}

/// What riding left, with what a report shows of it.
#[derive(Debug, Clone)]
pub struct Ridden {
    /// Dose per kilometre.
    pub rate: DoseRate,
    /// Walls of the first pose, the floor last in a loose slot.
    pub pictures: Vec<Picture>,
    /// Share of the friction work that comes from going in and out.
    pub insertion_share: f64,
    /// [m] slip on the road per kilometre, mean over poses: in and out, then the two level axes.
    pub road_slip: [f64; 3],
    /// Patches that may catch instead of sliding.
    pub catching: Vec<PatchId>,
    /// Which of the two dominates, and why a heavy and a light figure fare as they do.
    pub reason: String,
}

struct Journey {
    first: bool,
    insertion: Dose,
    road: Dose,
    slip: [f64; 3],
    pictures: Vec<Picture>,
    limits: Limits,
}

impl Ride {
    /// Runs all poses.
    ///
    /// # Errors
    /// Input error for impossible settings; refused when the foam is pressed flat; interrupted
    /// when the watcher says so.
    pub fn run(
        &self,
        figure: &Figure,
        body: &Body,
        seed: u64,
        watch: &dyn Watch,
    ) -> Result<Ridden> {
        if self.speed <= 0.0 {
            return Err(Error::input(format!("{}: no speed", self.name)));
        }
        let presser = Presser::new(figure, &self.pad, self.spacing);
        let one = |replicate| {
            let mut random = stream(seed, &["ride", &self.name], replicate);
            let mut journey = Journey::none(figure, replicate == 0);
            match self.interference >= 0.0 {
                true => self.snug(&presser, body, &mut random, &mut journey),
                false => self.loose(&presser, body, &mut random, &mut journey),
            }?;
            let Journey {
                mut insertion,
                road,
                ..
            } = journey;
            let shares = [&insertion, &road].map(|d| d.total(Channel::Friction));
            insertion.add_dose(&road, 1.0);
            let side = Side {
                shares,
                slip: journey.slip,
                pictures: journey.pictures,
                limits: journey.limits,
            };
            Ok((insertion, side))
        };
        let grown = grow(figure, &self.precision, one, watch)?;
        Ok(self.gather(figure, body, grown))
    }

    /// [s] time of a kilometre.
    fn seconds(&self) -> f64 {
        1000.0 / self.speed
    }

    /// Two level unit directions across the slot.
    fn across(&self) -> [Vec3; 2] {
        let (a, b) = base::geometry::tangents(&self.floor);
        [a, b]
    }

    /// Walls press on four sides and hold by friction; none is booked for the floor.
    fn snug(
        &self,
        presser: &Presser,
        body: &Body,
        random: &mut Stream,
        journey: &mut Journey,
    ) -> Result<()> {
        let figure = presser.figure();
        let mut walls: Vec<(usize, Press)> = Vec::new();
        for (axis, direction) in self.across().into_iter().enumerate() {
            for outward in [direction, -direction] {
                let pose = tilted(&outward, self.tilt, random);
                let press = presser.press(&pose, Push::Depth(self.interference))?;
                journey.limits.see(figure, &press);
                journey.show(&press);
                walls.push((axis, press));
            }
        }
        for (_, press) in &walls {
            self.insert(figure, press, &mut journey.insertion);
        }
        // In and out, then the two level axes: a wall is a spring along its own normal and
        // slides along the other two axes.
        for motion in 0..3 {
            let across = |wall: usize| motion == 0 || wall + 1 != motion;
            let mut axis = Axis {
                mass: body.mass,
                level: if motion == 0 {
                    1.0
                } else {
                    self.schedule.level_axes
                },
                stiffness: 0.0,
                play: 0.0,
                contacts: Vec::new(),
                weighed: false,
            };
            for (wall, press) in &walls {
                let stiff = stiffness(press);
                if across(*wall) {
                    axis.contacts
                        .push(self.contact(press.force(), SHEAR_SHARE * stiff));
                } else {
                    axis.stiffness += stiff;
                }
            }
            let slips = shake(&axis, &self.schedule, random);
            let sliding = walls.iter().filter(|(wall, _)| across(*wall));
            for ((_, press), per_second) in sliding.zip(slips) {
                let slip = per_second * self.seconds();
                journey.slip[motion] += slip / axis.contacts.len() as f64;
                journey
                    .road
                    .add(&self.imprint(figure, press, |_| slip), 1.0);
            }
        }
        Ok(())
    }

    /// The figure lies on the slot's floor with its weight, as light as the floor's vertical
    /// motion makes it, and slides within the play.
    fn loose(
        &self,
        presser: &Presser,
        body: &Body,
        random: &mut Stream,
        journey: &mut Journey,
    ) -> Result<()> {
        let figure = presser.figure();
        let pose = tilted(&self.floor, self.tilt, random);
        let weight = body.mass * GRAVITY;
        let floor = presser.press(&pose, Push::Force(weight))?;
        journey.limits.see(figure, &floor);
        for (k, direction) in self.across().iter().enumerate() {
            let wall = presser.press(&tilted(direction, self.tilt, random), Push::Depth(KNOCK))?;
            let axis = Axis {
                mass: body.mass,
                level: self.schedule.level_axes,
                stiffness: stiffness(&wall),
                play: -self.interference,
                contacts: vec![self.contact(weight, SHEAR_SHARE * stiffness(&floor))],
                weighed: true,
            };
            let per_second = shake(&axis, &self.schedule, random);
            let slip = per_second.first().copied().unwrap_or(0.0) * self.seconds();
            journey.slip[k + 1] += slip;
            journey
                .road
                .add(&self.imprint(figure, &floor, |_| slip), 1.0);
        }
        journey.show(&floor);
        Ok(())
    }

    fn contact(&self, force: f64, stiffness: f64) -> Jenkins {
        Jenkins {
            stiffness,
            limit: self.friction * force,
            ..Jenkins::default()
        }
    }

    /// What a wall leaves, as far as its foam holds.
    ///
    /// * `slip`: \[m\] of a cell
    fn imprint(&self, figure: &Figure, press: &Press, slip: impl Fn(usize) -> f64) -> Imprint {
        press.imprint_by(figure, |cell| {
            let slide = Slide {
                friction: self.friction,
                slip: slip(cell),
            };
            held(press, cell, slide)
        })
    }

    /// In and out: what ends deep in the slot has slid all the way, what ends at its mouth not.
    fn insert(&self, figure: &Figure, press: &Press, dose: &mut Dose) {
        let back = press.pose.turn.inverse();
        let deep = |point: &Vec3| point.dot(&self.floor);
        let mouth = (figure.mesh.vertices.iter())
            .map(deep)
            .fold(f64::INFINITY, f64::min);
        let times = 2.0 * self.insertions * 1000.0;
        let imprint = self.imprint(figure, press, |cell| {
            times * (deep(&(back * press.relief.point(cell))) - mouth).max(0.0)
        });
        dose.add(&imprint, 1.0);
    }

    fn gather(&self, figure: &Figure, body: &Body, grown: Grown<Side>) -> Ridden {
        let share = 1.0 / grown.sides.len() as f64;
        let mut limits = Limits::default();
        let mut pictures = Vec::new();
        let (mut inserted, mut ridden, mut road_slip) = (0.0, 0.0, [0.0; 3]);
        for side in grown.sides {
            inserted += side.shares[0];
            ridden += side.shares[1];
            for (sum, slip) in road_slip.iter_mut().zip(side.slip) {
                *sum += share * slip;
            }
            limits.join(side.limits);
            pictures.extend(side.pictures);
        }
        let mut notes = grown.notes;
        notes.extend(limits.notes(figure, &self.pad));
        notes.push(Note::new(
            Topic::Prior,
            format!("{}: {}", self.schedule.name, self.schedule.remark),
        ));
        if self.interference < 0.0 {
            notes.push(Note::new(
                Topic::Limit,
                "knocks against the walls of a loose slot are soft and are not booked",
            ));
        }
        let insertion_share = inserted / (inserted + ridden).max(f64::MIN_POSITIVE);
        Ridden {
            rate: DoseRate::from_replicates(Unit::Kilometre, grown.doses, notes),
            pictures,
            catching: limits.catching(),
            insertion_share,
            road_slip,
            reason: self.reason(body, insertion_share, inserted + ridden),
        }
    }

    fn reason(&self, body: &Body, insertion_share: f64, work: f64) -> String {
        let mass = body.mass * 1e3;
        if work <= 0.0 {
            return format!(
                "the slot holds {mass:.0} g without a slip and nothing is put in or out"
            );
        }
        if self.interference < 0.0 {
            return format!(
                "loose slot: the floor's friction grows with the weight, and a heavier figure is \
                 thrown further against the walls' spring, so the dose grows faster than the mass \
                 ({mass:.0} g); going in and out costs nothing"
            );
        }
        if insertion_share > 0.5 {
            format!(
                "going in and out does {:.0} % of the friction work; the walls press as the slot \
                 is cut, whatever the figure weighs",
                insertion_share * 100.0
            )
        } else {
            format!(
                "the road does {:.0} % of the friction work: the walls' grip does not know the \
                 mass, the shaking force does, so a heavier figure slips more ({mass:.0} g)",
                (1.0 - insertion_share) * 100.0
            )
        }
    }
}

impl Journey {
    fn none(figure: &Figure, first: bool) -> Journey {
        let none = Dose::none(figure.patches.len());
        Journey {
            first,
            insertion: none.clone(),
            road: none,
            slip: [0.0; 3],
            pictures: Vec::new(),
            limits: Limits::default(),
        }
    }

    /// Keeps the picture of a wall of the first replicate.
    fn show(&mut self, press: &Press) {
        if self.first {
            self.pictures.push(Picture::of(press));
        }
    }
}

/// What a replicate tells beside its dose.
struct Side {
    /// [J] in and out, and on the road.
    shares: [f64; 2],
    slip: [f64; 3],
    pictures: Vec<Picture>,
    limits: Limits,
}

/// [N/m] slope of force over indentation.
fn stiffness(press: &Press) -> f64 {
    let depth = press.settled.indentation.max(LEAST_DEPTH);
    press.settled.exponent * press.force() / depth
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::law::foam::{Foam, OPEN_CELL};
    use crate::law::schedule::journey;
    use crate::pad::{Filling, SURVEY};
    use base::Unwatched;
    use mesh::figure::{Settings, shapes};

    fn block() -> Figure {
        let mesh = shapes::block(Vec3::new(-5e-3, -4e-3, 0.0), Vec3::new(5e-3, 4e-3, 0.02));
        match Figure::from_mesh(
            "block",
            &mesh,
            &Settings {
                height: Some(0.02),
                ..Settings::default()
            },
        ) {
            Ok(figure) => figure,
            Err(error) => panic!("{error}"),
        }
    }

    fn ride(interference: f64, name: &str) -> Ride {
        Ride {
            name: "tray".into(),
            pad: Pad {
                filling: Filling::Foam(Foam::new(OPEN_CELL, 3500.0)),
                thickness: 0.02,
            },
            friction: 0.7,
            interference,
            floor: Vec3::y(),
            schedule: journey(name).unwrap(),
            speed: 50.0 / 3.6,
            insertions: 2.0 / 20e3,
            tilt: 0.0,
            precision: Precision {
                relative: 0.1,
                budget: 2,
                groups: Vec::new(),
            },
            spacing: SURVEY,
        }
    }

    /// Zero interference and a firm floor: nothing. A snug slot in a car: going in and out is all.
    #[test]
    fn a_snug_slot_wears_by_going_in_and_out() {
        let figure = block();
        let body = Body::weighed(&figure.solid, 0.01);
        let snug = ride(1e-3, "car boot")
            .run(&figure, &body, 1, &Unwatched)
            .unwrap();
        assert!(snug.insertion_share > 0.9, "{}", snug.reason);
        let mut still = ride(0.0, "car boot");
        still.insertions = 0.0;
        let none = still.run(&figure, &body, 1, &Unwatched).unwrap();
        assert_eq!(none.rate.total(Channel::Friction).mean, 0.0);
    }

    /// In a loose slot nothing is booked by going in and out; a heavier body has more friction
    /// work on the road, a firmer slot less slip.
    #[test]
    fn a_loose_slot_wears_by_the_road_and_the_weight() {
        let figure = block();
        let work = |mass: f64| {
            let body = Body::weighed(&figure.solid, mass);
            let loose = ride(-1e-3, "highway truck")
                .run(&figure, &body, 1, &Unwatched)
                .unwrap();
            assert_eq!(loose.insertion_share, 0.0);
            loose.rate.total(Channel::Friction).mean
        };
        let (light, heavy) = (work(0.005), work(0.035));
        assert!(light > 0.0 && heavy > 3.0 * light, "{light} {heavy}");
    }
}
