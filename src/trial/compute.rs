//! How each kind of exposure is computed: settings of the scenario into settings of the engines.

use super::part::{ENGINES, Footprint, Outcome, Part};
use super::store::{Key, Store};
use crate::reference::{Against, table};
use crate::scenario::plan::{Deed, EngineChoice, Face, Load, Motion, PadPlan};
use base::note::Topic;
use base::{Error, Known, Note, Place, Result, Vec3, Watch};
use contact::exposure::handle::Handle;
use contact::exposure::ride::Ride;
use contact::exposure::rub::{self, Rub, side};
use contact::exposure::{Drop, Names, Precision, Tumble};
use contact::law::foam::{CLOSED_CELL, Foam, OPEN_CELL};
use contact::law::schedule;
use contact::pad::{Filling, Pad, Picture, SURVEY};
use contact::rigid::recording::Recording;
use contact::rigid::{BoxPath, EngineKind, Feel};
use contact::{Restitution, Solidity, Touch};
use mesh::figure::{Hull, pieces::Fit};
use serde::{Deserialize, Serialize};
use std::path::Path;
use std::sync::Arc;

/// Most replicates of hard contact: 400 x 20 s of tumbling, 400 x 16 drops.
const MOST_REPLICATES: u64 = 400;
/// Most poses per face of a rub.
const MOST_POSES: u64 = 32;
/// Most stretches of road, each in a pose of its own.
const MOST_STRETCHES: u64 = 16;
/// Most sets of [`contact::exposure::handle::SET`] grasps per hold: 40 grasps. A press costs some 8 ms,
/// nearly all of it looking at the mesh and booking, and 48 sets made an evening of play 3.5 times as long.
const MOST_SETS: u64 = 10;
/// [m] slip of a finger per pick-up when none is given (prior 1 to 12 mm, grade D).
const SLIP: f64 = 4e-3;
/// [m] slide of the base when put down (prior, grade D).
const TABLE_SLIP: f64 = 3e-3;
/// Friction of a painted base on a wooden table (prior 0.2 to 0.6, grade D).
const TABLE_FRICTION: f64 = 0.4;
/// [m/s] mean speed of a ride when none is given: 60 km/h.
const SPEED: f64 = 60.0 / 3.6;
/// [1/m] insertions per way when none are given: one in 20 km.
const INSERTIONS: f64 = 1.0 / 20e3;
/// [rad] standard deviation of the tilt in a slot: 3 degrees.
const SLOT_TILT: f64 = 0.0524;
/// [Pa] foams firmer than this at 40 % have closed cells.
const CLOSED_ABOVE: f64 = 20e3;

/// Convex pieces as they lie in the store.
#[derive(Serialize, Deserialize)]
struct KeptPieces {
    /// [m]
    corners: Vec<Vec<[f64; 3]>>,
    fit: Fit,
}

impl KeptPieces {
    fn note(&self) -> Note {
        Note::new(
            Topic::Limit,
            format!(
                "figures touch each other as {} convex pieces of {:.2} times the volume: such touches are placed to about {:.1} mm (99 % of the surface to {:.1} mm); touches of walls are exact",
                self.corners.len(),
                self.fit.volume_ratio,
                self.fit.buried_most * 1e3,
                self.fit.buried_99 * 1e3
            ),
        )
    }
}

impl Part<'_> {
    pub(super) fn compute(&self, store: &Store, watch: &dyn Watch) -> Result<Outcome> {
        let mut outcome = match &self.exposure.deed {
            Deed::Tumble { .. } => self.tumble(store, watch),
            Deed::Drop { .. } => self.drop(watch),
            Deed::Rub { .. } => self.rub(watch),
            Deed::Handle { .. } => self.handle(watch),
            Deed::Ride { .. } => self.ride(watch),
        }?;
        if self.plan.specimen.mass.is_none() {
            outcome.rate.notes.push(Note::new(
                Topic::Guess,
                format!(
                    "the figure weighs {:.1} g by volume and density; a kitchen scale (mass_g) beats this",
                    self.body.mass * 1e3
                ),
            ));
        }
        outcome.rate.notes.sort();
        outcome.rate.notes.dedup();
        Ok(outcome)
    }

    pub(super) fn restitution(&self, own: Option<f64>) -> Result<Restitution> {
        if let Some(e) = own {
            return Ok(Restitution::Constant(e));
        }
        let on = self
            .face
            .restitution_as
            .ok_or_else(|| Error::input(format!("\"{}\" is not a hard ground", self.face.name)))?;
        self.tabled_restitution(on)
    }

    fn tabled_restitution(&self, on: Against) -> Result<Restitution> {
        let tabled = self.plan.specimen.body.restitution(on)?;
        Ok(match tabled.reference {
            None => Restitution::Constant(tabled.value.value),
            Some(at) => Restitution::Scaled {
                at_reference: tabled.value.value,
                speed: at.speed,
                radius: at.radius,
                mass: at.mass,
                ceiling: tabled.value.high,
            },
        })
    }

    /// How figures take contacts with each other: film on the same film; a metal body as on steel,
    /// a plastic one as on plastic.
    fn between(&self, restitution: Option<f64>) -> Result<(Feel, Known)> {
        let friction = table("films")?
            .find("friction: film vs same film, aged", "mu_k", "")?
            .known()?;
        let restitution = match restitution {
            Some(e) => Restitution::Constant(e),
            None if self.plan.specimen.body.family == "metal" => {
                self.tabled_restitution(Against::Steel)?
            }
            None => self.tabled_restitution(Against::Plastic)?,
        };
        let feel = Feel {
            friction: friction.value,
            restitution,
        };
        Ok((feel, friction))
    }

    /// How the specimen touches hard ground.
    fn touch(&self, restitution: Option<f64>) -> Result<Touch> {
        let body = &self.plan.specimen.body;
        let [youngs, poisson, yield_stress] = self.face.solidity()?.map(|k| k.value);
        Ok(Touch {
            friction: self.friction,
            restitution: self.restitution(restitution)?,
            figure: Solidity {
                youngs: body.youngs.value,
                poisson: body.poisson.value,
                yield_stress: body.yield_stress.value,
            },
            counterface: Solidity {
                youngs,
                poisson,
                yield_stress,
            },
        })
    }

    fn names(&self) -> Names<'_> {
        Names {
            seed: self.scenario.seed,
            exposure: &self.exposure.name,
            specimen: &self.plan.specimen.name,
        }
    }

    fn precision(&self) -> Precision {
        Precision {
            relative: self.scenario.precision,
            budget: MOST_REPLICATES,
            groups: Vec::new(),
        }
    }

    /// Corners of the convex pieces, from the store or computed and kept: every specimen and
    /// exposure of the figure uses the same ones.
    fn pieces(&self, store: &Store) -> Result<KeptPieces> {
        let key = Key::of("pieces", &(ENGINES, self.figure.hash))?;
        if let Some(kept) = store.get(&key) {
            return Ok(kept);
        }
        let found = self.figure.pieces()?;
        let corners = |h: &Hull| h.points.iter().map(|p| [p.x, p.y, p.z]).collect();
        let kept = KeptPieces {
            corners: found.hulls.iter().map(corners).collect(),
            fit: found.fit,
        };
        store.put(&key, &kept)?;
        Ok(kept)
    }

    fn up_to(&self, budget: u64) -> Precision {
        Precision {
            budget,
            ..self.precision()
        }
    }

    fn tumble(&self, store: &Store, watch: &dyn Watch) -> Result<Outcome> {
        let Deed::Tumble {
            size,
            round,
            motion,
            figures,
            engine,
            restitution,
        } = &self.exposure.deed
        else {
            return Err(wrong_kind());
        };
        let kept = match figures {
            1 => None,
            _ => Some(self.pieces(store)?),
        };
        let pieces = kept.iter().flat_map(|k| &k.corners);
        let pieces: Vec<Vec<Vec3>> = pieces
            .map(|corners| corners.iter().map(|p| Vec3::from(*p)).collect())
            .collect();
        let (mut between, friction) = self.between(*restitution)?;
        if let (EngineChoice::Rapier, Restitution::Scaled { at_reference, .. }) =
            (engine, between.restitution)
        {
            // The second opinion knows constants only.
            between.restitution = Restitution::Constant(at_reference);
        }
        let several = *figures > 1;
        let tumble = Tumble {
            between: several.then_some(between),
            round: *round,
            figures: *figures as usize,
            pieces,
            engine: match engine {
                EngineChoice::Exact => EngineKind::Exact,
                EngineChoice::Rapier => EngineKind::Rapier,
            },
            precision: self.precision(),
            ..Tumble::new(Vec3::from(*size), path(motion)?, self.touch(*restitution)?)
        };
        let tumbled = tumble.run(self.figure, &self.body, self.names(), watch)?;
        let mut rate = tumbled.rate;
        if several {
            rate.notes.push(Note::new(
                Topic::Prior,
                format!(
                    "figures knock and rub on each other with friction {} ({} to {}: {})",
                    friction.value, friction.low, friction.high, friction.source
                ),
            ));
            if let Some(kept) = &kept {
                rate.notes.push(kept.note());
            }
        }
        Ok(Outcome {
            rate,
            ledgers: tumbled.ledgers,
            footprints: Vec::new(),
            catching: Vec::new(),
            skew: None,
            reason: String::new(),
        })
    }

    fn drop(&self, watch: &dyn Watch) -> Result<Outcome> {
        let Deed::Drop {
            height,
            down,
            restitution,
            ..
        } = &self.exposure.deed
        else {
            return Err(wrong_kind());
        };
        let attitude = down.and_then(|face| side(word(face))).map(|outward| {
            base::Quat::rotation_between(&outward, &-Vec3::z()).unwrap_or_else(|| {
                base::Quat::from_axis_angle(&Vec3::x_axis(), std::f64::consts::PI)
            })
        });
        let drop = Drop {
            attitude,
            precision: self.precision(),
            ..Drop::new(*height, self.touch(*restitution)?)
        };
        let dropped = drop.run(self.figure, &self.body, self.names(), watch)?;
        Ok(Outcome {
            rate: dropped.rate,
            ledgers: dropped.ledgers,
            footprints: Vec::new(),
            catching: Vec::new(),
            skew: None,
            reason: String::new(),
        })
    }

    fn rub(&self, watch: &dyn Watch) -> Result<Outcome> {
        let Deed::Rub {
            pad,
            load,
            stroke,
            pad_length,
            faces,
            tilt,
        } = &self.exposure.deed
        else {
            return Err(wrong_kind());
        };
        let rub = Rub {
            name: self.exposure.name.clone(),
            pad: foam(pad),
            friction: self.friction,
            load: match load {
                Load::Hand(force) => rub::Load::Hand(*force),
                Load::OwnWeight => rub::Load::OwnWeight,
                Load::Interference(depth) => rub::Load::Interference(*depth),
            },
            stroke: *stroke,
            pad_length: *pad_length,
            faces: faces.iter().filter_map(|f| side(word(*f))).collect(),
            tilt: *tilt,
            precision: self.up_to(MOST_POSES),
            spacing: SURVEY,
        };
        let rubbed = rub.run(self.figure, &self.body, self.scenario.seed, watch)?;
        let names = faces.iter().map(|f| format!("pad on the {}", word(*f)));
        Ok(Outcome {
            rate: rubbed.rate,
            ledgers: Vec::new(),
            footprints: footprints(names, rubbed.pictures),
            catching: rubbed.catching,
            skew: rubbed.skew,
            reason: rubbed.reason,
        })
    }

    fn handle(&self, watch: &dyn Watch) -> Result<Outcome> {
        let Deed::Handle {
            fingers,
            holds,
            slip,
            ..
        } = &self.exposure.deed
        else {
            return Err(wrong_kind());
        };
        let handle = Handle {
            name: self.exposure.name.clone(),
            friction: self.friction,
            hand: self.exposure.hand(),
            fingers: *fingers,
            holds: *holds,
            slip: slip.unwrap_or(SLIP),
            twist: 0.0,
            table_friction: TABLE_FRICTION,
            table_slip: TABLE_SLIP,
            precision: self.up_to(MOST_SETS),
            spacing: SURVEY,
        };
        let handled = handle.run(self.figure, &self.body, self.scenario.seed, watch)?;
        let mut rate = handled.rate;
        rate.notes
            .push(Note::new(Topic::Limit, handled.reason.clone()));
        let held = ["base", "body", "top"].iter().zip(holds);
        let names = (held.filter(|(_, share)| **share > 0.0))
            .map(|(zone, _)| format!("thumb, hold by the {zone}"));
        Ok(Outcome {
            rate,
            ledgers: Vec::new(),
            footprints: footprints(names, handled.pictures),
            catching: Vec::new(),
            skew: None,
            reason: handled.reason,
        })
    }

    fn ride(&self, watch: &dyn Watch) -> Result<Outcome> {
        let Deed::Ride {
            pad,
            interference,
            schedule,
            speed,
            insertions,
        } = &self.exposure.deed
        else {
            return Err(wrong_kind());
        };
        let ride = Ride {
            name: self.exposure.name.clone(),
            pad: foam(pad),
            friction: self.friction,
            interference: *interference,
            floor: -Vec3::y(),
            schedule: schedule::journey(schedule)
                .ok_or_else(|| Error::input(format!("there is no schedule \"{schedule}\"")))?,
            speed: speed.unwrap_or(SPEED),
            insertions: insertions.unwrap_or(INSERTIONS),
            tilt: SLOT_TILT,
            precision: self.up_to(MOST_STRETCHES),
            spacing: SURVEY,
        };
        let ridden = ride.run(self.figure, &self.body, self.scenario.seed, watch)?;
        let mut rate = ridden.rate;
        rate.notes
            .push(Note::new(Topic::Limit, ridden.reason.clone()));
        let loose = (*interference < 0.0).then_some("floor of the slot".to_string());
        let walls = (1..).map(|k| format!("wall {k} of the slot"));
        Ok(Outcome {
            rate,
            ledgers: Vec::new(),
            footprints: footprints(loose.into_iter().chain(walls), ridden.pictures),
            catching: ridden.catching,
            skew: None,
            reason: ridden.reason,
        })
    }
}

fn footprints(names: impl Iterator<Item = String>, pictures: Vec<Picture>) -> Vec<Footprint> {
    (names.zip(pictures))
        .map(|(what, picture)| Footprint { what, picture })
        .collect()
}

fn wrong_kind() -> Error {
    Error::refused("an exposure was computed as another kind")
}

/// The path of a box.
fn path(motion: &Motion) -> Result<BoxPath> {
    Ok(match motion {
        Motion::Shake {
            amplitude,
            frequency,
        } => BoxPath::Shake {
            amplitude: Vec3::from(*amplitude),
            frequency: Vec3::from(*frequency),
            phase: Vec3::zeros(),
        },
        Motion::Roll { rate, axis } => BoxPath::Roll {
            axis: Vec3::ith(*axis, 1.0),
            frequency: rate / std::f64::consts::TAU,
            phase: 0.0,
        },
        Motion::Recorded { file } => BoxPath::Recorded {
            recording: Arc::new(recording(file)?),
            offset: 0.0,
        },
    })
}

fn recording(file: &Path) -> Result<Recording> {
    let text = std::fs::read_to_string(file)
        .map_err(|cause| Error::system("read the recorded path", file, &cause))?;
    Recording::parse(&text).map_err(|e| e.at(Place::file(file)))
}

/// The foam of a pad.
fn foam(plan: &PadPlan) -> Pad {
    let shape = if plan.cld40 > CLOSED_ABOVE {
        CLOSED_CELL
    } else {
        OPEN_CELL
    };
    Pad {
        filling: Filling::Foam(Foam::new(shape, plan.cld40)),
        thickness: plan.thickness,
    }
}

fn word(face: Face) -> &'static str {
    match face {
        Face::Top => "top",
        Face::Base => "base",
        Face::Front => "front",
        Face::Back => "back",
        Face::Left => "left",
        Face::Right => "right",
    }
}
