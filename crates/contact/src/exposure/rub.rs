//! Strokes over a pad of foam or felt.

use super::poses::tilted;
use super::replicate::{Grown, Precision, grow};
use super::soft_notes::{Limits, held};
use crate::Body;
use crate::dose::{Dose, DoseRate, Unit};
use crate::pad::skew::{Shift, shift};
use crate::pad::{Outline, Pad, Picture, Pose, Press, Presser, Push, Slide, Window, relief};
use base::random::stream;
use base::{Error, Quat, Result, Vec3, Watch};
use mesh::figure::{Figure, PatchId};

/// [m/s2] standard gravity.
pub(super) const GRAVITY: f64 = 9.806_65;

/// What presses the pad on the figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Load {
    /// [N] a hand: does not know what the figure weighs.
    Hand(f64),
    /// The figure lies on the pad with its own weight.
    OwnWeight,
    /// [m] the pad is held this far below the figure's highest point.
    Interference(f64),
}

/// Strokes over a pad.
#[derive(Debug, Clone)]
pub struct Rub {
    /// Name of the exposure: part of the random streams.
    pub name: String,
    /// The pad.
    pub pad: Pad,
    /// Friction of the outer film on the pad.
    pub friction: f64,
    /// What presses.
    pub load: Load,
    /// [m] path of the pad over the figure in one stroke.
    pub stroke: f64,
    /// [m] length of the pad along the stroke if it is shorter than the figure; a sheet without.
    pub pad_length: Option<f64>,
    /// Outward unit directions of the figure that face the pad; they take turns, stroke by stroke.
    pub faces: Vec<Vec3>,
    /// [rad] standard deviation of the tilt of a pose about each level axis.
    pub tilt: f64,
    /// When to stop: a replicate is one pose of each face.
    pub precision: Precision,
    /// [m] grid: [`crate::pad::FINE`] or [`crate::pad::SURVEY`].
    pub spacing: f64,
}

/// What a rub left, with what a report shows of it.
#[derive(Debug, Clone)]
pub struct Rubbed {
    /// Dose per stroke.
    pub rate: DoseRate,
    /// The first pose of each face.
    pub pictures: Vec<Picture>,
    /// [N] mean normal force of a stroke.
    pub force: f64,
    /// Mean share of the normal force that the foam's own loss adds to the drag. It warms the
    /// foam and is not booked as friction work.
    pub hysteresis: f64,
    /// Patches that may catch instead of sliding.
    pub catching: Vec<PatchId>,
    /// Share of the work that is not booked, since the foam would hook or tear there.
    pub withheld: f64,
    /// How far friction would skew the pressure, mean over the faces of the first replicate, at
    /// the friction [`SKEW_AT`].
    pub skew: Option<Shift>,
    /// Why a heavy and a light figure fare as they do.
    pub reason: String,
}

/// Friction at which the skew of a rub is looked at; it grows in proportion.
pub const SKEW_AT: f64 = 0.6;

/// One pose under one face.
struct Stroke {
    picture: Option<Picture>,
    skew: Option<Shift>,
    limits: Limits,
    force: f64,
    hysteresis: f64,
}

impl Rub {
    /// Runs all poses.
    ///
    /// * `body`: its mass matters for own weight alone
    /// * `seed`: the scenario's
    ///
    /// # Errors
    /// Input error without faces or poses; refused when a load presses the pad flat; interrupted
    /// when the watcher says so.
    pub fn run(
        &self,
        figure: &Figure,
        body: &Body,
        seed: u64,
        watch: &dyn Watch,
    ) -> Result<Rubbed> {
        if self.faces.is_empty() {
            return Err(Error::input(format!("{}: no face to rub", self.name)));
        }
        let presser = Presser::new(figure, &self.pad, self.spacing);
        let share = 1.0 / self.faces.len() as f64;
        let one = |replicate| {
            let mut random = stream(seed, &["rub", &self.name], replicate);
            let poses: Vec<Pose> = (self.faces.iter())
                .map(|f| tilted(f, self.tilt, &mut random))
                .collect();
            let mut dose = Dose::none(figure.patches.len());
            let mut strokes = Vec::new();
            for pose in &poses {
                let (part, stroke) = self.stroke(&presser, pose, body, replicate == 0)?;
                dose.add_dose(&part, share);
                strokes.push(stroke);
            }
            Ok((dose, strokes))
        };
        let grown = grow(figure, &self.precision, one, watch)?;
        Ok(self.gather(figure, grown))
    }

    fn gather(&self, figure: &Figure, grown: Grown<Vec<Stroke>>) -> Rubbed {
        let mut limits = Limits::default();
        let (mut pictures, mut skews) = (Vec::new(), Vec::new());
        let (mut forces, mut losses) = (Vec::new(), Vec::new());
        for stroke in grown.sides.into_iter().flatten() {
            limits.join(stroke.limits);
            forces.push(stroke.force);
            losses.push(stroke.hysteresis);
            pictures.extend(stroke.picture);
            skews.extend(stroke.skew);
        }
        let mut notes = grown.notes;
        notes.extend(limits.notes(figure, &self.pad));
        let mean = |v: &[f64]| base::sum::sum(v.iter().copied()) / v.len().max(1) as f64;
        let over = |f: fn(&Shift) -> f64| mean(&skews.iter().map(f).collect::<Vec<f64>>());
        let skew = (!skews.is_empty()).then(|| Shift {
            one_way: over(|s| s.one_way),
            to_and_fro: over(|s| s.to_and_fro),
        });
        Rubbed {
            rate: DoseRate::from_replicates(Unit::Stroke, grown.doses, notes),
            pictures,
            force: mean(&forces),
            hysteresis: mean(&losses),
            catching: limits.catching(),
            withheld: limits.withheld(),
            skew,
            reason: self.reason(mean(&forces)),
        }
    }

    fn reason(&self, force: f64) -> String {
        match self.load {
            Load::Hand(_) => format!(
                "the hand presses with {force:.2} N whatever the figure weighs: heavy and light \
                 figures of one shape and film get the same dose"
            ),
            Load::OwnWeight => format!(
                "the figure lies on the pad with its weight, {force:.3} N: the dose grows in \
                 proportion to the mass, and a heavier one sinks in and is touched in more places"
            ),
            Load::Interference(depth) => format!(
                "the pad is held {:.1} mm into the figure, which takes {force:.2} N: the mass \
                 does not matter",
                depth * 1e3
            ),
        }
    }

    /// * `first`: the replicate that is looked at closely
    fn stroke(
        &self,
        presser: &Presser,
        pose: &Pose,
        body: &Body,
        first: bool,
    ) -> Result<(Dose, Stroke)> {
        let push = match self.load {
            Load::Hand(force) => Push::Force(force),
            Load::OwnWeight => Push::Force(body.mass * GRAVITY),
            Load::Interference(depth) => Push::Depth(depth),
        };
        let figure = presser.figure();
        let mut dose = Dose::none(figure.patches.len());
        let mut stroke = Stroke {
            picture: None,
            skew: None,
            limits: Limits::default(),
            force: 0.0,
            hysteresis: 0.0,
        };
        let stations = self.stations(figure, pose);
        let path: f64 = stations.iter().map(|s| s.1).sum();
        for (outline, slip) in &stations {
            let press = presser.press_in(pose, push, outline)?;
            let slide = Slide {
                friction: self.friction,
                slip: *slip,
            };
            dose.add(
                &press.imprint_by(figure, |cell| held(&press, cell, slide)),
                1.0,
            );
            stroke.force += press.force() * slip / path;
            stroke.hysteresis += leading_loss(&press) * slip / path;
            stroke.limits.see(figure, &press);
            if first {
                stroke.picture = Some(Picture::of(&press));
                // A press the perturbation cannot follow is left out of its mean.
                stroke.skew = shift(&self.pad, &press, figure, SKEW_AT).ok();
            }
        }
        Ok((dose, stroke))
    }

    /// Where the pad stands during a stroke and how far it slides there. A sheet covers the
    /// figure all the way; a short pad passes over it in half lengths, so that a point receives
    /// mu p times the pad's length, as it must.
    fn stations(&self, figure: &Figure, pose: &Pose) -> Vec<(Outline, f64)> {
        let triangles = relief::turned(&figure.mesh, pose);
        let (low, high) = relief::footprint(&triangles, self.pad.thickness);
        let Some(length) = self.pad_length.filter(|l| *l < high[0] - low[0]) else {
            return vec![(Outline::default(), self.stroke)];
        };
        let middle = 0.5 * (low[0] + high[0]);
        let travel = self.stroke.min(high[0] - low[0]);
        let count = (travel / (0.5 * length)).ceil().max(1.0);
        (0..count as u32)
            .map(|k| {
                let at = middle + travel * ((f64::from(k) + 0.5) / count - 0.5);
                let window = Window {
                    low: [at - 0.5 * length, f64::NEG_INFINITY],
                    high: [at + 0.5 * length, f64::INFINITY],
                };
                let outline = Outline {
                    window: Some(window),
                    dome: None,
                };
                (outline, travel / count)
            })
            .collect()
    }
}

/// Share of the foam's deformation work that is lost in a cycle. Engineering prior (grade D)
/// between 0.21 and 0.40 of makers' hysteresis figures for conventional foam.
const FOAM_LOSS: f64 = 0.3;

/// Drag of the foam's loss over the normal force: the leading half of the contact pays the full
/// side force, the trailing half gives back all but the loss.
fn leading_loss(press: &Press) -> f64 {
    let pressure = &press.settled.pressed.pressure;
    let terms = pressure.iter().enumerate().filter(|(_, p)| **p > 0.0);
    let side = terms.map(|(cell, p)| 0.5 * p * press.relief.slope(cell)[0].abs());
    FOAM_LOSS * base::sum::sum(side) * press.relief.grid.cell_area()
        / press.force().max(f64::MIN_POSITIVE)
}

/// The outward direction of a side by its name: "top", "base", "front" (-y), "back", "left" (-x,
/// seen from the front), "right"; `None` for another word.
#[must_use]
pub fn side(name: &str) -> Option<Vec3> {
    Some(match name {
        "top" => Vec3::z(),
        "base" | "bottom" => -Vec3::z(),
        "front" => -Vec3::y(),
        "back" => Vec3::y(),
        "left" => -Vec3::x(),
        "right" => Vec3::x(),
        _ => return None,
    })
}

/// A pose by attitude: `turn` takes the figure's frame to one in which the pad lies above.
#[must_use]
pub fn outward_of(turn: &Quat) -> Vec3 {
    turn.inverse() * Vec3::z()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dose::Channel;
    use crate::law::foam::{Foam, OPEN_CELL};
    use crate::pad::{Filling, SURVEY};
    use base::Unwatched;
    use mesh::figure::{Settings, shapes};

    /// A post with a dome on a plate, 16 mm high.
    fn figure() -> Figure {
        let post = shapes::turned(
            &[
                (0.0, 0.0),
                (6e-3, 0.0),
                (6e-3, 2e-3),
                (2e-3, 3e-3),
                (2e-3, 14e-3),
                (1.4e-3, 15.4e-3),
                (0.0, 16e-3),
            ],
            48,
        );
        match Figure::from_mesh(
            "post",
            &post,
            &Settings {
                height: Some(0.016),
                ..Settings::default()
            },
        ) {
            Ok(figure) => figure,
            Err(error) => panic!("{error}"),
        }
    }

    fn rub(load: Load, faces: &[&str]) -> Rub {
        Rub {
            name: "wipe".into(),
            pad: Pad {
                filling: Filling::Foam(Foam::new(OPEN_CELL, 3500.0)),
                thickness: 0.02,
            },
            friction: 0.55,
            load,
            stroke: 0.1,
            pad_length: None,
            faces: faces.iter().filter_map(|f| side(f)).collect(),
            tilt: 5f64.to_radians(),
            precision: Precision {
                relative: 0.1,
                budget: 2,
                groups: Vec::new(),
            },
            spacing: SURVEY,
        }
    }

    /// Work of a stroke is mu N s whatever the shape; a hand does not feel the mass, own weight
    /// is nothing but the mass.
    #[test]
    fn a_stroke_costs_friction_times_load_times_path() {
        let figure = figure();
        let light = Body::homogeneous(&figure.solid, 1050.0);
        let heavy = Body::homogeneous(&figure.solid, 7300.0);
        let work = |rub: &Rub, body: &Body| {
            rub.run(&figure, body, 1, &Unwatched)
                .unwrap()
                .rate
                .total(Channel::Friction)
                .mean
        };
        let hand = rub(Load::Hand(0.2), &["top", "front"]);
        let expected = 0.55 * 0.2 * 0.1;
        assert!((work(&hand, &light) / expected - 1.0).abs() < 1e-12);
        assert_eq!(work(&hand, &light), work(&hand, &heavy));
        let own = rub(Load::OwnWeight, &["front"]);
        let ratio = work(&own, &heavy) / work(&own, &light);
        assert!((ratio / (7300.0 / 1050.0) - 1.0).abs() < 1e-12, "{ratio}");
    }

    /// Same seed, any number of threads: the same bytes.
    #[test]
    fn threads_do_not_change_a_byte() {
        let figure = figure();
        let body = Body::homogeneous(&figure.solid, 1050.0);
        let rub = rub(Load::Hand(0.2), &["right"]);
        let with = |threads| {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap();
            pool.install(|| rub.run(&figure, &body, 5, &Unwatched).unwrap().rate)
        };
        assert_eq!(with(1), with(3));
    }

    /// Nothing touched at zero interference; twice the path, twice the dose.
    #[test]
    fn zero_interference_is_no_dose_and_dose_grows_with_the_path() {
        let figure = figure();
        let body = Body::homogeneous(&figure.solid, 1050.0);
        let none = rub(Load::Interference(0.0), &["top"])
            .run(&figure, &body, 1, &Unwatched)
            .unwrap();
        assert_eq!(none.rate.total(Channel::Friction).mean, 0.0);
        let mut one = rub(Load::Interference(1e-3), &["top"]);
        let short = one.run(&figure, &body, 1, &Unwatched).unwrap().rate;
        one.stroke *= 2.0;
        let long = one.run(&figure, &body, 1, &Unwatched).unwrap().rate;
        let ratio = long.total(Channel::Friction).mean / short.total(Channel::Friction).mean;
        assert!((ratio - 2.0).abs() < 1e-12);
        assert!(short.total(Channel::Friction).mean > 0.0);
    }

    /// Under a short pad held at a set interference a point receives mu p times the pad's length
    /// in a pass, not the stroke's length.
    #[test]
    fn a_short_pad_gives_its_own_length() {
        let figure = figure();
        let body = Body::homogeneous(&figure.solid, 1050.0);
        let mut sheet = rub(Load::Interference(1e-3), &["right"]);
        sheet.tilt = 0.0;
        let mut short = sheet.clone();
        short.pad_length = Some(0.008);
        let run = |r: &Rub| {
            r.run(&figure, &body, 1, &Unwatched)
                .unwrap()
                .rate
                .total(Channel::Friction)
                .mean
        };
        let ratio = run(&short) / run(&sheet);
        // Same pressure to a third (the rest of the figure no longer shields), 8 mm of 100 mm.
        assert!(ratio > 0.05 && ratio < 0.12, "{ratio}");
    }

    /// Poses are added until the interval is as narrow as asked, or the most are reached; both are
    /// said. The skew of friction is told with a number.
    #[test]
    fn poses_grow_until_the_interval_is_narrow_and_the_end_is_told() {
        let figure = figure();
        let body = Body::homogeneous(&figure.solid, 1050.0);
        let mut rub = rub(Load::Hand(0.2), &["right"]);
        let run = |rub: &Rub| rub.run(&figure, &body, 1, &Unwatched).unwrap();
        let told = |r: &Rubbed, words: &str| r.rate.notes.iter().any(|n| n.text.contains(words));
        (rub.precision.relative, rub.precision.budget) = (5.0, 40);
        let easy = run(&rub);
        assert_eq!(easy.rate.replicates.len(), 16);
        assert!(told(&easy, "16 independent replicates") && told(&easy, "asked: 500 %"));
        (rub.precision.relative, rub.precision.budget) = (1e-4, 18);
        let hard = run(&rub);
        assert_eq!(hard.rate.replicates.len(), 18);
        assert!(told(&hard, "because the budget ended"));
        let skew = hard.skew.unwrap();
        assert!(skew.one_way > 0.005 && skew.one_way < 0.4, "{skew:?}");
        assert!(skew.to_and_fro < skew.one_way);
    }

    /// A needle under a force its foam cannot bear: the place is named, the work is booked up to
    /// the foam's strength, and what is not booked is told and adds up.
    #[test]
    fn a_needle_that_tears_the_foam_is_not_rubbed_through_in_silence() {
        let profile = [
            (0.0, 0.0),
            (6e-3, 0.0),
            (6e-3, 2e-3),
            (0.5e-3, 3e-3),
            (0.3e-3, 15.7e-3),
            (0.2e-3, 15.9e-3),
            (0.0, 16e-3),
        ];
        let settings = Settings {
            height: Some(0.016),
            ..Settings::default()
        };
        let needle = Figure::from_mesh("needle", &shapes::turned(&profile, 24), &settings).unwrap();
        let body = Body::homogeneous(&needle.solid, 1050.0);
        let mut rub = rub(Load::Hand(0.2), &["top"]);
        rub.tilt = 0.0;
        let rubbed = rub.run(&needle, &body, 1, &Unwatched).unwrap();
        assert!(
            rubbed.withheld > 0.02 && rubbed.withheld < 0.9,
            "{}",
            rubbed.withheld
        );
        let whole = 0.55 * 0.2 * 0.1;
        let booked = rubbed.rate.total(Channel::Friction).mean;
        assert!((booked / (whole * (1.0 - rubbed.withheld)) - 1.0).abs() < 1e-9);
        let highest = |p: &PatchId| needle.patches[p.index()].centroid.z > 15e-3;
        assert!(rubbed.catching.iter().any(highest));
        let told = |words: &str| rubbed.rate.notes.iter().any(|n| n.text.contains(words));
        assert!(
            told("very top") && told("not booked at all"),
            "{:?}",
            rubbed.rate.notes
        );
        // Twice the path: twice the booked work, the same share withheld.
        rub.stroke *= 2.0;
        let twice = rub.run(&needle, &body, 1, &Unwatched).unwrap();
        assert_eq!(twice.withheld, rubbed.withheld);
        // A gentle hand does not tear.
        rub.load = Load::Hand(0.01);
        assert_eq!(
            rub.run(&needle, &body, 1, &Unwatched).unwrap().withheld,
            0.0
        );
    }
}
