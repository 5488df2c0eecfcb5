//! Picking up and putting down: fingers that close, slip, carry and let go; a base that slides.

use super::grasp::{Grasp, Zone, sample};
use super::replicate::{Grown, Precision, grow};
use super::soft_notes::Limits;
use crate::Body;
use crate::dose::{Amounts, Dose, DoseRate, Imprint, Mark, Unit};
use crate::law::grip::{self, Hand};
use crate::law::skin;
use crate::pad::{Dome, Outline, Pad, Picture, Press, Presser, Push, Slide, Window, finger};
use base::note::Topic;
use base::random::{Stream, stream};
use base::sum::sum;
use base::{Error, Note, Result, Watch};
use mesh::figure::Figure;
use rand::RngExt;

/// [m] half the width of the window looked at under a finger: beyond it the dome is too high.
const HALF_WINDOW: f64 = 9e-3;
/// Two fingers against a thumb stand this far apart [rad] on either side of its axis.
const SPREAD: f64 = 30.0 * std::f64::consts::PI / 180.0;
/// Grasps tried until one lies within the friction cone.
const TRIES: usize = 8;
/// Grasps of each hold in a replicate, a quarter of the way round and of the height each: evenly
/// spread grasps tell more than as many drawn blindly.
pub const SET: usize = 4;
/// The base rests on what lies this close [m] to its lowest plane.
const RIM: f64 = 0.15e-3;

/// Picking up and putting down.
#[derive(Debug, Clone)]
pub struct Handle {
    /// Name of the exposure: part of the random streams.
    pub name: String,
    /// Friction of skin on the outer film at 1 N.
    pub friction: f64,
    /// Floor, margin and acceleration of the hand.
    pub hand: Hand,
    /// Fingers of a grasp: 2, or a thumb against two.
    pub fingers: u32,
    /// Shares of holding by base, body and top; they sum to 1.
    pub holds: [f64; 3],
    /// [m] slip of a finger per pick-up: closing scuff, creep and release drag. Engineering prior
    /// (grade D) 4 mm, range 1 to 12.
    pub slip: f64,
    /// [rad] turn of the figure between the fingers while it is looked at; 0 if it is not.
    pub twist: f64,
    /// Friction of the base's underside on the table.
    pub table_friction: f64,
    /// [m] slide of the base when it is put down. Engineering prior (grade D) 3 mm.
    pub table_slip: f64,
    /// When to stop: a replicate is [`SET`] grasps of each hold.
    pub precision: Precision,
    /// [m] grid.
    pub spacing: f64,
}

/// What handling left, with what a report shows of it.
#[derive(Debug, Clone)]
pub struct Handled {
    /// Dose per pick-up.
    pub rate: DoseRate,
    /// The thumb of the first grasp of each hold.
    pub pictures: Vec<Picture>,
    /// [N] normal force of the thumb.
    pub force: f64,
    /// True where the floor of the hand and not the slip limit sets the force.
    pub floor: bool,
    /// Sideways load over the slip load while carried: the share of the contact that slips.
    pub slipping: f64,
    /// Why a heavy and a light figure fare as they do.
    pub reason: String,
}

struct PickUp {
    pictures: Vec<Picture>,
    limits: Limits,
    outside: usize,
}

impl Handle {
    /// Runs all grasps.
    ///
    /// # Errors
    /// Input error for shares that are all zero; interrupted when the watcher says so.
    pub fn run(
        &self,
        figure: &Figure,
        body: &Body,
        seed: u64,
        watch: &dyn Watch,
    ) -> Result<Handled> {
        if self.holds.iter().all(|s| *s <= 0.0) {
            return Err(Error::input(format!("{}: no grasp to try", self.name)));
        }
        let force = grip::force(&self.hand, body.mass, self.friction);
        let opposed = if self.fingers >= 3 {
            0.5 * force / SPREAD.cos()
        } else {
            force
        };
        let (thumb, other) = (finger(force), finger(opposed));
        let pressers = [
            (Presser::new(figure, &thumb, self.spacing), force),
            (Presser::new(figure, &other, self.spacing), opposed),
        ];
        let one = |replicate| self.pick_up(&pressers, body, seed, replicate);
        let grown = grow(figure, &self.precision, one, watch)?;
        Ok(self.gather(figure, body, force, grown, &thumb))
    }

    fn pick_up(
        &self,
        pressers: &[(Presser, f64); 2],
        body: &Body,
        seed: u64,
        replicate: u64,
    ) -> Result<(Dose, PickUp)> {
        let figure = pressers[0].0.figure();
        let mut random = stream(seed, &["handle", &self.name], replicate);
        let mut dose = Dose::none(figure.patches.len());
        let mut pick_up = PickUp {
            pictures: Vec::new(),
            limits: Limits::default(),
            outside: 0,
        };
        for (zone, share) in Zone::ALL.into_iter().zip(self.holds) {
            if share <= 0.0 {
                continue;
            }
            let turn = random.random_range(0..SET);
            for number in 0..SET {
                let (presses, inside) = self.close(pressers, zone, (number, turn), &mut random)?;
                pick_up.outside += usize::from(!inside);
                for (k, (press, force)) in presses.iter().enumerate() {
                    let imprint = self.imprint(figure, press, *force, body);
                    dose.add(&imprint, share / SET as f64);
                    pick_up.limits.see(figure, press);
                    if replicate == 0 && number == 0 && k == 0 {
                        pick_up.pictures.push(Picture::of(press));
                    }
                }
            }
        }
        dose.add(&self.put_down(figure, body), 1.0);
        Ok((dose, pick_up))
    }

    /// The first of a few random grasps whose fingers all press within the friction cone, or the
    /// one nearest to it; whether it is within.
    fn close(
        &self,
        pressers: &[(Presser, f64); 2],
        zone: Zone,
        (number, turn): (usize, usize),
        random: &mut Stream,
    ) -> Result<(Vec<(Press, f64)>, bool)> {
        let figure = pressers[0].0.figure();
        let mut best: Option<(f64, Vec<(Press, f64)>)> = None;
        let mut last = String::from("nothing of it is there");
        for attempt in 0..2 * TRIES {
            // Where a part of the figure offers no hold the hand looks elsewhere.
            let part = match attempt < TRIES {
                true => (number, SET),
                false => (0, 1),
            };
            if attempt >= TRIES && best.is_some() {
                break;
            }
            let Some(grasp) = sample(figure, zone, part, turn, random) else {
                continue;
            };
            let mut worst: f64 = 0.0;
            let mut presses = Vec::new();
            for (k, place) in grasp.fingers(self.fingers, SPREAD).into_iter().enumerate() {
                let (presser, force) = &pressers[k.min(1)];
                match press_finger(presser, *force, &place) {
                    Ok(press) => {
                        worst = worst.max(lean(&press) / skin::friction(self.friction, *force));
                        presses.push((press, *force));
                    }
                    Err(error) => {
                        worst = f64::INFINITY;
                        last = error.what().to_owned();
                    }
                }
            }
            if worst <= 1.0 {
                return Ok((presses, true));
            }
            if worst.is_finite() && best.as_ref().is_none_or(|b| worst < b.0) {
                best = Some((worst, presses));
            }
        }
        match best {
            Some((_, presses)) => Ok((presses, false)),
            None => Err(Error::refused(format!(
                "{}: no place to hold the figure by ({last})",
                self.name
            ))
            .hint("give this hold the share 0")),
        }
    }

    /// Closing scuff and release over the whole contact, creep of the rim while carried, twist.
    fn imprint(&self, figure: &Figure, press: &Press, force: f64, body: &Body) -> Imprint {
        let friction = skin::friction(self.friction, force);
        let sideways = grip::sideways(&self.hand, body.mass) * force
            / grip::force(&self.hand, body.mass, self.friction);
        let creep = 2.0 * sideways / skin::SHEAR_STIFFNESS;
        let stuck = skin::stuck(sideways / (friction * force));
        let (middle, reach) = stuck_circle(press, stuck);
        let grid = press.relief.grid;
        press.imprint_by(figure, |cell| {
            let [x, y] = grid.middle(cell);
            let r = (x - middle[0]).hypot(y - middle[1]);
            let rim = if r > reach { creep } else { 0.0 };
            Slide {
                friction,
                slip: self.slip + rim + self.twist * r,
            }
        })
    }

    /// The rim of the base slides over the table under the weight.
    fn put_down(&self, figure: &Figure, body: &Body) -> Imprint {
        let low = |s: &&mesh::figure::Sample| s.exposed && s.point.z < RIM && s.normal.z < -0.5;
        let under: Vec<_> = figure.surface.samples.iter().filter(low).collect();
        let wide = under
            .iter()
            .map(|s| s.point.xy().norm())
            .fold(0.0, f64::max);
        let rim = under.iter().filter(|s| s.point.xy().norm() > 0.8 * wide);
        let rim: Vec<_> = rim.map(|s| (s.patch, s.area)).collect();
        let area = sum(rim.iter().map(|r| r.1));
        let work = self.table_friction * body.mass * super::rub::GRAVITY * self.table_slip;
        let mark = |(patch, part): &(mesh::figure::PatchId, f64)| Mark {
            patch: *patch,
            amounts: Amounts {
                friction: work * part / area,
                slip: self.table_slip * part / area,
                touches: part / area,
                ..Amounts::default()
            },
        };
        Imprint {
            marks: rim.iter().map(mark).collect(),
        }
    }

    fn gather(
        &self,
        figure: &Figure,
        body: &Body,
        force: f64,
        grown: Grown<PickUp>,
        thumb: &Pad,
    ) -> Handled {
        let mut limits = Limits::default();
        let (mut pictures, mut outside) = (Vec::new(), 0);
        let holds = self.holds.iter().filter(|s| **s > 0.0).count();
        let count = grown.sides.len() * holds * SET;
        for run in grown.sides {
            limits.join(run.limits);
            outside += run.outside;
            pictures.extend(run.pictures);
        }
        let floor = force <= self.hand.floor;
        let slipping =
            grip::sideways(&self.hand, body.mass) / (skin::friction(self.friction, force) * force);
        let mut notes = grown.notes;
        notes.extend(limits.notes(figure, thumb));
        notes.push(Note::new(
            Topic::Prior,
            format!(
                "fingers slip {:.1} mm per pick-up (prior 4 mm, 1 to 12) and press with {force:.2} N",
                self.slip * 1e3
            ),
        ));
        if outside > 0 {
            notes.push(Note::new(
                Topic::Limit,
                format!(
                    "{outside} of {count} grasps found no place within the friction cone: the hand \
                     would turn or tilt the figure there"
                ),
            ));
        }
        if force > 2.0 {
            notes.push(Note::new(
                Topic::Limit,
                format!("a grip of {force:.1} N is beyond the 2 N up to which the finger's depth is known"),
            ));
        }
        Handled {
            rate: DoseRate::from_replicates(Unit::PickUp, grown.doses, notes),
            pictures,
            force,
            floor,
            slipping,
            reason: self.reason(body, force, floor),
        }
    }

    fn reason(&self, body: &Body, force: f64, floor: bool) -> String {
        let knee = grip::knee(&self.hand, self.friction) * 1e3;
        let mass = body.mass * 1e3;
        if floor {
            format!(
                "at {mass:.0} g the fingers press with their least force, {force:.2} N, whatever the \
                 figure weighs up to {knee:.0} g: a lighter body gains nothing at the fingers"
            )
        } else {
            format!(
                "at {mass:.0} g the grip follows the weight ({force:.2} N; the least force ends at \
                 {knee:.0} g): a heavier body or a slipperier coat is gripped harder"
            )
        }
    }
}

fn press_finger(presser: &Presser, force: f64, place: &Grasp) -> Result<Press> {
    let middle = place.pose.turn * place.middle;
    let around = [middle.x, middle.y];
    let outline = Outline {
        window: Some(Window {
            low: around.map(|c| c - HALF_WINDOW),
            high: around.map(|c| c + HALF_WINDOW),
        }),
        dome: Some(Dome {
            middle: around,
            radius: skin::PAD_RADIUS,
        }),
    };
    presser.press_in(&place.pose, Push::Force(force), &outline)
}

/// [m] middle of the pressure.
fn middle_of(press: &Press) -> [f64; 2] {
    let grid = &press.relief.grid;
    let pressure = &press.settled.pressed.pressure;
    let total = sum(pressure.iter().copied()).max(f64::MIN_POSITIVE);
    let along = |a: usize| {
        sum(pressure
            .iter()
            .enumerate()
            .filter(|(_, p)| **p > 0.0)
            .map(|(c, p)| p * grid.middle(c)[a]))
            / total
    };
    [along(0), along(1)]
}

/// Side force the surface asks of a frictionless finger over its normal force. An even layer does
/// not care where it is pressed, so sum p grad(figure) = -sum p grad(dome): the distance of the
/// middle of the pressure from the dome's axis over the dome's radius.
fn lean(press: &Press) -> f64 {
    let Some(dome) = press.relief.dome else {
        return 0.0;
    };
    let at = middle_of(press);
    (at[0] - dome.middle[0]).hypot(at[1] - dome.middle[1]) / dome.radius
}

/// Circle about the middle of the pressure that holds the sticking share of the touched cells.
fn stuck_circle(press: &Press, stuck: f64) -> ([f64; 2], f64) {
    let middle = middle_of(press);
    let pressure = &press.settled.pressed.pressure;
    let mut distances: Vec<f64> = (pressure.iter().enumerate())
        .filter(|(_, p)| **p > 0.0)
        .map(|(c, _)| {
            let [x, y] = press.relief.grid.middle(c);
            (x - middle[0]).hypot(y - middle[1])
        })
        .collect();
    distances.sort_by(f64::total_cmp);
    let inside = (stuck * distances.len() as f64) as usize;
    let reach = match inside {
        0 => 0.0,
        n => distances[n - 1],
    };
    (middle, reach)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dose::Channel;
    use crate::pad::SURVEY;
    use base::Unwatched;
    use mesh::figure::{Settings, shapes};

    /// A round post 10 mm thick on a 24 mm base, 30 mm high.
    fn post() -> Figure {
        let profile = [
            (0.0, 0.0),
            (12e-3, 0.0),
            (12e-3, 3e-3),
            (5e-3, 3.5e-3),
            (5e-3, 27e-3),
            (3e-3, 29.4e-3),
            (0.0, 30e-3),
        ];
        let mesh = shapes::turned(&profile, 64);
        match Figure::from_mesh(
            "post",
            &mesh,
            &Settings {
                height: Some(0.03),
                ..Settings::default()
            },
        ) {
            Ok(figure) => figure,
            Err(error) => panic!("{error}"),
        }
    }

    fn handle() -> Handle {
        Handle {
            name: "evening".into(),
            friction: 0.6,
            hand: Hand::default(),
            fingers: 2,
            holds: [0.0, 1.0, 0.0],
            slip: 4e-3,
            twist: 0.0,
            table_friction: 0.3,
            table_slip: 3e-3,
            precision: Precision {
                relative: 0.1,
                budget: 2,
                groups: Vec::new(),
            },
            spacing: SURVEY,
        }
    }

    fn work(handle: &Handle, body: &Body) -> (f64, Handled) {
        let handled = handle.run(&post(), body, 1, &Unwatched).unwrap();
        (handled.rate.total(Channel::Friction).mean, handled)
    }

    /// Two fingers' friction times slip, a little creep of the rim, and the base on the table.
    #[test]
    fn a_pick_up_costs_its_slip_and_the_put_down() {
        let figure = post();
        let body = Body::weighed(&figure.solid, 0.012);
        let (total, handled) = work(&handle(), &body);
        let fingers = 2.0 * skin::friction(0.6, 0.4) * 0.4 * 4e-3;
        let table = 0.3 * 0.012 * 9.806_65 * 3e-3;
        assert!(handled.floor && handled.force == 0.4);
        let creep = total / (fingers + table) - 1.0;
        assert!((0.0..0.02).contains(&creep), "{creep}");
        assert!(handled.slipping > 0.0 && handled.slipping < 0.6);
    }

    /// The hand's own law: below the knee a slippery coat halves the work; above it the hand
    /// presses harder, the work stays and the pressure rises. Three fingers share the work of two.
    #[test]
    fn a_slippery_coat_helps_light_figures_and_not_heavy_ones() {
        let figure = post();
        let (light, heavy) = (
            Body::weighed(&figure.solid, 0.008),
            Body::weighed(&figure.solid, 0.09),
        );
        let mut slick = handle();
        slick.friction = 0.3;
        slick.table_slip = 0.0;
        let mut plain = handle();
        plain.table_slip = 0.0;
        let ratio = work(&slick, &light).0 / work(&plain, &light).0;
        assert!((ratio - 0.5).abs() < 0.02, "{ratio}");
        let (hard, soft) = (work(&slick, &heavy), work(&plain, &heavy));
        assert!(
            (hard.0 / soft.0 - 1.0).abs() < 0.02,
            "{} {}",
            hard.0,
            soft.0
        );
        assert!(hard.1.force > 1.9 * soft.1.force);
        let peak = |h: &Handled| h.rate.total(Channel::Peak).mean;
        assert!(peak(&hard.1) > 1.2 * peak(&soft.1));
        plain.fingers = 3;
        let three = work(&plain, &light).0 / work(&handle(), &light).0;
        assert!((0.9..1.2).contains(&three), "{three}");
    }

    /// Where a hold is, there the dose is; the base's rim has it by the put-down alone.
    #[test]
    fn dose_lies_where_the_fingers_are() {
        let figure = post();
        let body = Body::weighed(&figure.solid, 0.02);
        for (holds, low, high) in [
            ([0.0, 0.0, 1.0], 0.013, 0.03),
            ([1.0, 0.0, 0.0], -1e-9, 0.012),
        ] {
            let mut handle = handle();
            (handle.holds, handle.table_slip) = (holds, 0.0);
            let handled = handle.run(&figure, &body, 3, &Unwatched).unwrap();
            for (patch, amounts) in figure.patches.iter().zip(handled.rate.mean.totals()) {
                let z = patch.centroid.z;
                assert!(
                    amounts.friction == 0.0 || (low..=high).contains(&z),
                    "{holds:?} at {z}"
                );
            }
        }
    }

    /// The same grasps on cells half as large: the map moves by little, so grasps may be cheap.
    #[test]
    fn the_fingers_grid_is_fine_enough() {
        let figure = post();
        let body = Body::weighed(&figure.solid, 0.012);
        let map = |spacing: f64| {
            let mut handle = handle();
            handle.holds = [0.0, 0.5, 0.5];
            handle.spacing = spacing;
            let handled = handle.run(&figure, &body, 5, &Unwatched).unwrap();
            handled
                .rate
                .mean
                .totals()
                .iter()
                .map(|a| a.friction)
                .collect::<Vec<f64>>()
        };
        let fine = map(crate::pad::FINE);
        let total: f64 = fine.iter().sum();
        let coarse = map(SURVEY);
        let away: f64 = coarse.iter().zip(&fine).map(|(a, b)| (a - b).abs()).sum();
        assert!(0.5 * away / total < 0.05, "{}", 0.5 * away / total);
    }

    /// Grasps are added until the areas are known: a round post, held by its body, is the same all
    /// round, and two seeds agree far better with many grasps than with few.
    #[test]
    fn more_grasps_agree_better_between_seeds() {
        let figure = post();
        let body = Body::weighed(&figure.solid, 0.012);
        let sizes = figure.patch_areas();
        let map = |seed: u64, budget: u64| {
            let mut handle = handle();
            handle.holds = [0.0, 0.5, 0.5];
            handle.precision.budget = budget;
            let handled = handle.run(&figure, &body, seed, &Unwatched).unwrap();
            handled.rate.mean.map(Channel::Friction, &sizes)
        };
        let agree = |budget: u64| {
            let (a, b) = (map(1, budget), map(2, budget));
            let both: Vec<usize> = (0..a.len()).filter(|&p| a[p] > 0.0 || b[p] > 0.0).collect();
            let pick = |m: &[f64]| both.iter().map(|&p| m[p]).collect::<Vec<f64>>();
            base::stats::spearman(&pick(&a), &pick(&b))
        };
        let (few, many) = (agree(2), agree(16));
        println!("{few} {many}");
        assert!(many > 0.7 && many > few + 0.1, "{few} {many}");
    }
}
