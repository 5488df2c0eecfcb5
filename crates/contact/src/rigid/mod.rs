//! Hard contact: rigid figures in a closed box on a prescribed path. One interface for engines
//! ([`Engine`]), one suite of checks for all of them ([`checks`]).
//!
//! [`exact`] locates events in time and integrates every knock along its impulse; it is what
//! results come from. [`rapier`] is the independent second opinion. Both hand out the same
//! [`Contact`]s; the [`Ledger`] reads the same slice and takes stored energy from the bodies'
//! states only. A closing ledger is necessary and not sufficient: the checks gate both engines.
//!
//! Reading order: [`scene`], [`path`], [`contact`], [`ledger`], [`exact`], [`tally`].

pub mod checks;
pub mod contact;
pub mod exact;
pub mod knock;
pub mod ledger;
mod lone;
mod meet;
pub mod path;
pub mod rapier;
pub mod recording;
pub mod scene;
mod several;
pub mod specimens;
pub mod spin;
pub mod support;
pub mod tally;

pub use contact::Contact;
pub use ledger::Ledger;
pub use path::BoxPath;
pub use recording::Recording;
pub use scene::{Feel, Scene, Shape, State, Wall};

use base::{Error, Result};
use serde::{Deserialize, Serialize};

/// What every engine of hard contact does.
pub trait Engine {
    /// For people.
    fn name(&self) -> &'static str;

    /// [s] simulated so far.
    fn time(&self) -> f64;

    /// Advances by one step and appends what touched.
    ///
    /// # Errors
    /// Refused when a figure left the box or a state is no longer finite.
    fn advance(&mut self, contacts: &mut Vec<Contact>) -> Result<()>;

    /// State of each figure now, in scene order.
    fn states(&self) -> Vec<State>;

    /// [J] signed work done by pushing overlapping bodies apart, so far.
    fn projection(&self) -> f64;

    /// [m] deepest overlap seen so far.
    fn deepest(&self) -> f64;
}

/// Which engine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EngineKind {
    /// Events located in time, knocks integrated along their impulse.
    #[default]
    Exact,
    /// General-purpose constraint solver: a second opinion with known deviations.
    Rapier,
}

impl EngineKind {
    /// An engine at the start of `scene`.
    ///
    /// * `step`: [s] above 0
    ///
    /// # Errors
    /// Input errors for a scene no engine can hold: no figure, a flat hull, a figure larger than
    /// the box, a step of zero.
    pub fn start(self, scene: &Scene, step: f64) -> Result<Box<dyn Engine>> {
        scene.validate()?;
        if !(step > 0.0 && step <= 0.01) {
            return Err(Error::input(format!(
                "time step must be above 0 and at most 0.01 s, not {step} s"
            ))
            .hint("1/2000 s suits figures of 20-60 mm"));
        }
        match self {
            EngineKind::Exact => exact::start(scene, step),
            EngineKind::Rapier => Ok(Box::new(rapier::Rapier::new(scene, step)?)),
        }
    }
}

/// Runs an engine for some time, handing every contact to `see` and to the ledger.
///
/// * `seconds`: [s] rounded to whole steps by the engine's own clock
///
/// # Errors
/// As [`Engine::advance`].
pub fn run(
    engine: &mut dyn Engine,
    scene: &Scene,
    seconds: f64,
    mut see: impl FnMut(&Contact),
) -> Result<Ledger> {
    let mut ledger = Ledger::open(engine, scene);
    let mut contacts = Vec::new();
    let end = engine.time() + seconds - 1e-9;
    while engine.time() < end {
        contacts.clear();
        engine.advance(&mut contacts)?;
        ledger.read(&contacts);
        contacts.iter().for_each(&mut see);
    }
    ledger.close(engine, scene);
    Ok(ledger)
}
