//! One part: one exposure of one specimen, from settings to dose.

use super::store::{Key, Store};
use crate::base::{Error, Note, Result, Topic, Vec3, Watch};
use crate::contact::pad::{Filling, Pad, Picture, SURVEY};
use crate::contact::rigid::{BoxPath, EngineKind, Ledger};
use crate::contact::{Body, Restitution, Solidity, Touch};
use crate::dose::DoseRate;
use crate::exposure::rub::{self, Rub, side};
use crate::exposure::tumble::Names;
use crate::exposure::{Precision, Tumble};
use crate::figure::Figure;
use crate::law::foam::{Foam, OPEN_CELL};
use crate::reference::Counterface;
use crate::scenario::Scenario;
use crate::scenario::plan::{
    Deed, EngineChoice, ExposurePlan, Face, Load, Motion, PadPlan, SpecimenPlan,
};
use crate::study::stages::stages;
use crate::wear::Treatment;
use serde::{Deserialize, Serialize};

/// Raised by hand whenever an engine's numbers change, so that parts of an older engine are redone.
const ENGINES: u32 = 1;
/// Most replicates of a part: 400 x 20 s of tumbling.
const MOST_REPLICATES: u64 = 400;
/// Poses per face of a rub.
const POSES: usize = 8;

/// Which part of a scenario.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PartId {
    /// Index of the exposure.
    pub exposure: usize,
    /// Index of the specimen.
    pub specimen: usize,
}

/// What a part gave.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// Dose per unit of exposure.
    pub rate: DoseRate,
    /// Energy books, one per replicate; empty for pads.
    pub ledgers: Vec<Ledger>,
    /// Pressure footprints, one per face; empty for hard contact.
    pub footprints: Vec<Picture>,
}

/// A part ready to be computed.
#[derive(Debug, Clone)]
pub struct Part<'a> {
    scenario: &'a Scenario,
    figure: &'a Figure,
    plan: &'a SpecimenPlan,
    exposure: &'a ExposurePlan,
    /// Films on the counterface.
    pub treatment: Treatment,
    friction: f64,
    face: Counterface,
    body: Body,
}

impl<'a> Part<'a> {
    /// Looks up what the part needs.
    ///
    /// # Errors
    /// When a name is not in the stock.
    pub fn new(scenario: &'a Scenario, figure: &'a Figure, id: PartId) -> Result<Part<'a>> {
        let plan = &scenario.specimens[id.specimen];
        let exposure = &scenario.exposures[id.exposure];
        let face = plan.stock.counterface(&exposure.counterface)?;
        let mut treatment = Treatment::new(
            &plan.stock,
            &plan.specimen,
            &exposure.counterface,
            exposure.modifiers(plan),
        )?;
        if let (Some(own), Some(outer)) = (exposure.friction, treatment.films.last_mut()) {
            outer.friction = crate::base::Known::exact(own, "the exposure in the scenario");
        }
        let friction = treatment
            .outer_friction()
            .map(|f| f.value)
            .ok_or_else(|| Error::input("a specimen needs at least one coat"))?;
        let body = match plan.specimen.mass {
            Some(mass) => Body::weighed(&figure.solid, mass),
            None => Body::homogeneous(&figure.solid, plan.specimen.body.density.value),
        };
        Ok(Part {
            scenario,
            figure,
            plan,
            exposure,
            treatment,
            friction,
            face,
            body,
        })
    }

    /// The body that is moved.
    #[must_use]
    pub fn body(&self) -> &Body {
        &self.body
    }

    /// Name for progress lines.
    #[must_use]
    pub fn name(&self) -> String {
        format!("{} / {}", self.exposure.name, self.plan.specimen.name)
    }

    /// The finished part from the store, or computed and kept: dose per unit while the outer film
    /// is outermost.
    ///
    /// # Errors
    /// Whatever the engine or the disk says.
    pub fn outcome(&self, store: &Store, watch: &dyn Watch) -> Result<Outcome> {
        if self.is_proportional_to_friction() {
            let mut outcome = self.at_friction(1.0).found_or_computed(store, watch)?;
            outcome.rate = outcome.rate.with_friction_work(self.friction);
            return Ok(outcome);
        }
        self.found_or_computed(store, watch)
    }

    /// Dose per unit with each film outermost, body outward: pads scale with friction, hard contact
    /// is computed again for each friction that differs.
    ///
    /// # Errors
    /// As [`Part::outcome`].
    pub fn stages(&self, store: &Store, watch: &dyn Watch) -> Result<Vec<DoseRate>> {
        stages(&self.plan.specimen, &self.treatment, |friction| {
            Ok(self.at_friction(friction).outcome(store, watch)?.rate)
        })
    }

    /// On a pad that is pressed with a set force or depth the work is friction times force times
    /// path, exactly, so one computation serves every friction.
    fn is_proportional_to_friction(&self) -> bool {
        matches!(self.exposure.deed, Deed::Rub { .. })
    }

    fn at_friction(&self, friction: f64) -> Part<'a> {
        Part {
            friction,
            ..self.clone()
        }
    }

    fn found_or_computed(&self, store: &Store, watch: &dyn Watch) -> Result<Outcome> {
        let key = self.key()?;
        if let Some(outcome) = store.get(&key) {
            return Ok(outcome);
        }
        let outcome = self.compute(watch)?;
        // A part cut short by the time budget depends on the machine: it is shown, not kept.
        if !watch.enough() {
            store.put(&key, &outcome)?;
        }
        Ok(outcome)
    }

    /// Is the finished part here?
    ///
    /// # Errors
    /// As [`Part::outcome`].
    pub fn is_finished(&self, store: &Store) -> Result<bool> {
        Ok(store.get::<Outcome>(&self.key()?).is_some())
    }

    fn key(&self) -> Result<Key> {
        let recorded = match &self.exposure.deed {
            Deed::Tumble {
                motion: Motion::Recorded { file },
                ..
            } => std::fs::read(file).ok(),
            _ => None,
        };
        let inputs = (
            (
                ENGINES,
                self.scenario.seed,
                self.scenario.precision.to_bits(),
            ),
            self.figure.hash,
            &self.exposure.name,
            &self.exposure.deed,
            self.friction,
            self.specimen_numbers(),
            recorded,
        );
        Key::of("dose", &inputs)
    }

    /// What of the specimen decides the part: nothing for a hand on a pad, the mass for own weight,
    /// everything for hard contact.
    fn specimen_numbers(&self) -> Option<(f64, Option<HardNumbers<'_>>)> {
        match &self.exposure.deed {
            Deed::Rub {
                load: Load::OwnWeight,
                ..
            } => Some((self.body.mass, None)),
            Deed::Rub { .. } => None,
            _ => {
                let body = &self.plan.specimen.body;
                let face = self.face.solidity().ok().map(|s| s.map(|k| k.value));
                let hard = HardNumbers {
                    name: &self.plan.specimen.name,
                    body: [
                        body.youngs.value,
                        body.poisson.value,
                        body.yield_stress.value,
                    ],
                    face,
                    restitution: self.restitution(None).ok(),
                };
                Some((self.body.mass, Some(hard)))
            }
        }
    }

    fn compute(&self, watch: &dyn Watch) -> Result<Outcome> {
        let mut outcome = match &self.exposure.deed {
            Deed::Tumble { .. } => self.tumble(watch),
            Deed::Rub { .. } => self.rub(watch),
            Deed::Drop { .. } | Deed::Handle { .. } | Deed::Ride { .. } => {
                Err(Error::refused("this kind of exposure is not computed yet"))
            }
        }?;
        outcome.rate.notes.sort();
        outcome.rate.notes.dedup();
        Ok(outcome)
    }

    fn restitution(&self, own: Option<f64>) -> Result<Restitution> {
        if let Some(e) = own {
            return Ok(Restitution::Constant(e));
        }
        let on = self
            .face
            .restitution_as
            .ok_or_else(|| Error::input(format!("\"{}\" is not a hard ground", self.face.name)))?;
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

    fn tumble(&self, watch: &dyn Watch) -> Result<Outcome> {
        let Deed::Tumble {
            size,
            motion,
            figures,
            engine,
            restitution,
        } = &self.exposure.deed
        else {
            return Err(Error::refused("not a tumble"));
        };
        let path = match motion {
            Motion::Shake {
                amplitude,
                frequency,
            } => BoxPath::Shake {
                amplitude: Vec3::from(*amplitude),
                frequency: Vec3::from(*frequency),
                phase: Vec3::zeros(),
            },
            Motion::Roll { .. } | Motion::Recorded { .. } => {
                return Err(Error::refused("only shaken boxes are computed yet"));
            }
        };
        let tumble = Tumble {
            figures: *figures as usize,
            engine: match engine {
                EngineChoice::Exact => EngineKind::Exact,
                EngineChoice::Rapier => EngineKind::Rapier,
            },
            precision: self.precision(),
            ..Tumble::new(Vec3::from(*size), path, self.touch(*restitution)?)
        };
        let tumbled = tumble.run(self.figure, &self.body, self.names(), watch)?;
        let mut outcome = Outcome {
            rate: tumbled.rate,
            ledgers: tumbled.ledgers,
            footprints: Vec::new(),
        };
        if self.plan.specimen.mass.is_none() {
            outcome.rate.notes.push(Note::new(
                Topic::Guess,
                format!(
                    "{} weighs {:.1} g by volume and density; a kitchen scale (mass_g) beats this",
                    self.plan.specimen.name,
                    self.body.mass * 1e3
                ),
            ));
        }
        Ok(outcome)
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
            return Err(Error::refused("not a rub"));
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
            poses: POSES,
            spacing: SURVEY,
        };
        let rubbed = rub.run(self.figure, &self.body, self.scenario.seed, watch)?;
        Ok(Outcome {
            rate: rubbed.rate,
            ledgers: Vec::new(),
            footprints: rubbed.pictures,
        })
    }
}

/// Everything of body against counterface that a hard contact depends on.
#[derive(Serialize)]
struct HardNumbers<'a> {
    name: &'a str,
    body: [f64; 3],
    face: Option<[f64; 3]>,
    restitution: Option<Restitution>,
}

/// The foam of a pad.
fn foam(plan: &PadPlan) -> Pad {
    Pad {
        filling: Filling::Foam(Foam::new(OPEN_CELL, plan.cld40)),
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
