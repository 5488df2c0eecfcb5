//! One part: one exposure of one specimen, from settings to dose.

use super::store::{Key, Store};
use crate::reference::Counterface;
use crate::scenario::Scenario;
use crate::scenario::plan::{Deed, ExposurePlan, Load, Motion, SpecimenPlan};
use crate::study::stages::stages;
use crate::wear::Treatment;
use base::Note;
use base::note::Topic;
use base::{Error, Result, Watch};
use contact::dose::DoseRate;
use contact::exposure::rub::SKEW_AT;
use contact::law::grip;
use contact::pad::Picture;
use contact::pad::skew::Shift;
use contact::rigid::Ledger;
use contact::{Body, Restitution};
use mesh::figure::{Figure, PatchId};
use serde::{Deserialize, Serialize};

/// Raised by hand whenever an engine's numbers change, so that parts of an older engine are redone.
pub const ENGINES: u32 = 6;

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
    pub footprints: Vec<Footprint>,
    /// Patches that may catch in the pad instead of sliding.
    pub catching: Vec<PatchId>,
    /// How much of a rub's work friction's pull would move, at friction
    /// [`contact::exposure::rub::SKEW_AT`]: not in the dose.
    pub skew: Option<Shift>,
    /// Why a heavy and a light figure fare as they do; empty for hard contact.
    pub reason: String,
}

/// A pressure footprint and which one it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Footprint {
    /// What presses where: "pad on the front", "thumb, hold by the base".
    pub what: String,
    /// Pressure and depth.
    pub picture: Picture,
}

/// A part ready to be computed.
#[derive(Debug, Clone)]
pub struct Part<'a> {
    pub(super) scenario: &'a Scenario,
    pub(super) figure: &'a Figure,
    pub(super) plan: &'a SpecimenPlan,
    pub(super) exposure: &'a ExposurePlan,
    /// Films on the counterface.
    pub treatment: Treatment,
    pub(super) friction: f64,
    pub(super) face: Counterface,
    pub(super) body: Body,
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
            outer.friction = base::Known::exact(own, "the exposure in the scenario");
        }
        if let Some((face, rate)) = &plan.measured
            && *face == treatment.counterface
        {
            treatment.measured(&plan.specimen, rate);
        }
        if plan.undermining {
            treatment.undermine(&plan.stock)?;
        }
        treatment.pressure = scenario.pressure;
        let friction = treatment
            .outer_friction()
            .map(|f| f.value)
            .ok_or_else(|| Error::input("a specimen needs at least one coat"))?;
        let body = match plan.specimen.mass {
            Some(mass) => Body::weighed(&figure.solid, mass),
            None => Body::homogeneous(&figure.solid, plan.specimen.body.density.value),
        };
        if let Deed::Handle { .. } = exposure.deed
            && grip::force(&exposure.hand(), body.mass, friction) > exposure.hand().floor
        {
            // Above the least force the hand makes up for a slippery coat: the work stays.
            treatment.work_follows_friction = 0.0;
        }
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
            outcome.rate.notes.extend(self.skew_note(outcome.skew));
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

    /// What the pull of friction would move, at this part's friction.
    fn skew_note(&self, skew: Option<Shift>) -> Option<Note> {
        let skew = skew?;
        let share = |s: f64| 100.0 * s * self.friction / SKEW_AT;
        Some(Note::new(
            Topic::Limit,
            format!(
                "friction drags the pad's surface and shifts pressure fore and aft, which is not in \
                 the numbers: at friction {:.2} about {:.1} % of this rub's work would lie on other \
                 patches if all strokes went one way, about {:.1} % for strokes to and fro",
                self.friction,
                share(skew.one_way),
                share(skew.to_and_fro)
            ),
        ))
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
        let outcome = self.compute(store, watch)?;
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
}

/// Everything of body against counterface that a hard contact depends on.
#[derive(Serialize)]
struct HardNumbers<'a> {
    name: &'a str,
    body: [f64; 3],
    face: Option<[f64; 3]>,
    restitution: Option<Restitution>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::{Source, lift};
    use base::Vec3;
    use mesh::figure::{Settings, shapes};

    fn follows(half: f64) -> f64 {
        let path = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/scenarios/evening_of_play.toml"
        );
        let source = Source::read(path.as_ref()).unwrap();
        let scenario = lift(&source, &source.parse().unwrap()).unwrap();
        let corner = Vec3::new(half, half, 2.0 * half);
        let mesh = shapes::block(Vec3::new(-half, -half, 0.0), corner);
        let settings = Settings {
            height: Some(2.0 * half),
            ..Settings::default()
        };
        let figure = Figure::from_mesh("block", &mesh, &settings).unwrap();
        let id = PartId {
            exposure: 0,
            specimen: 0,
        };
        let part = Part::new(&scenario, &figure, id).unwrap();
        part.treatment.work_follows_friction
    }

    /// A pewter block of 58 g is gripped above the least force: the hand makes up for a slippery
    /// coat and the work does not follow friction. One of 1.6 g is not.
    #[test]
    fn a_friction_limited_grip_does_not_follow_friction() {
        assert_eq!(follows(0.01), 0.0);
        assert_eq!(follows(0.003), 1.0);
    }
}
