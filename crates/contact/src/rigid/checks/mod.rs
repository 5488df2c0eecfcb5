//! The suite of classical checks, the same for every engine.
//!
//! Each row has a published or derivable expectation. Where an engine is known to deviate, the row
//! also carries what it gives instead and why; it passes only at that value, so that a change of
//! the engine is noticed.

mod lone;
mod moved;
mod several;
#[cfg(test)]
mod tests;
mod turning;

use super::{EngineKind, Ledger, Scene, Shape, State};
use crate::Restitution;
use base::{Result, Vec3};

/// A known deviation of one engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deviation {
    /// What the engine gives.
    pub gives: f64,
    /// Absolute tolerance about `gives`.
    pub tolerance: f64,
    /// Why.
    pub reason: &'static str,
}

/// One check: expected against got.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// What is checked.
    pub name: String,
    /// What theory or print says.
    pub expected: f64,
    /// What the engine gave.
    pub got: f64,
    /// Absolute tolerance.
    pub tolerance: f64,
    /// Author, year, place; or why it must be so.
    pub source: &'static str,
    /// Written down where the engine is known to be off.
    pub deviation: Option<Deviation>,
}

impl Row {
    /// Does the engine give what is expected of it, known deviation included?
    #[must_use]
    pub fn holds(&self) -> bool {
        let (aim, tolerance) = self
            .deviation
            .map_or((self.expected, self.tolerance), |d| (d.gives, d.tolerance));
        (self.got - aim).abs() <= tolerance
    }
}

/// Runs the whole suite.
///
/// * `kind`: which engine
/// * `step`: [s] time step
///
/// # Errors
/// Passed on from the engine.
pub fn suite(kind: EngineKind, step: f64) -> Result<Vec<Row>> {
    let bench = Bench { kind, step };
    let mut rows = Vec::new();
    bench.bounces(&mut rows)?;
    bench.blocks(&mut rows)?;
    bench.rolling(&mut rows)?;
    bench.oblique(&mut rows)?;
    bench.landings(&mut rows)?;
    bench.free_top(&mut rows)?;
    bench.shaken(&mut rows)?;
    bench.corner(&mut rows)?;
    bench.top(&mut rows)?;
    bench.tilted(&mut rows)?;
    bench.rolled(&mut rows)?;
    bench.collision(&mut rows)?;
    bench.stack(&mut rows)?;
    bench.crowd(&mut rows)?;
    Ok(rows)
}

/// One engine at one step, and how its rows are written.
struct Bench {
    kind: EngineKind,
    step: f64,
}

/// [m] half the edge of the large box in which the checks run.
const ROOM: f64 = 1.0;

fn on_floor(height: f64) -> Vec3 {
    Vec3::new(0.0, 0.0, height - ROOM)
}

fn room(shape: Shape, start: State, friction: f64, restitution: f64) -> Scene {
    Scene {
        friction,
        restitution: Restitution::Constant(restitution),
        ..Scene::lone(shape, start, Vec3::repeat(ROOM))
    }
}

/// What a check sees of a run.
struct Seen {
    ledger: Ledger,
    end: State,
    /// [m] highest centre after the first contact.
    apex: f64,
}

impl Bench {
    fn see(&self, scene: &Scene, seconds: f64) -> Result<Seen> {
        let mut engine = self.kind.start(scene, self.step)?;
        let mut ledger = Ledger::open(engine.as_ref(), scene);
        let (mut apex, mut met) = (f64::NEG_INFINITY, false);
        let mut contacts = Vec::new();
        while engine.time() < seconds - 1e-9 {
            contacts.clear();
            engine.advance(&mut contacts)?;
            ledger.read(&contacts);
            met |= !contacts.is_empty();
            if met {
                let state = engine.states()[0];
                // Between steps the flight is a parabola: its top is known from height and speed.
                let rise = state.velocity.z.max(0.0).powi(2) / (2.0 * scene.gravity.max(1e-9));
                apex = apex.max(state.position.z + rise);
            }
        }
        ledger.close(engine.as_ref(), scene);
        Ok(Seen {
            ledger,
            end: engine.states()[0],
            apex,
        })
    }

    fn row(&self, name: String, values: [f64; 3], source: &'static str) -> Row {
        let [expected, got, tolerance] = values;
        Row {
            name,
            expected,
            got,
            tolerance,
            source,
            deviation: None,
        }
    }

    /// Attaches a known deviation if the engine is the second opinion.
    fn rapier(&self, mut row: Row, gives: f64, tolerance: f64, reason: &'static str) -> Row {
        if self.kind == EngineKind::Rapier {
            row.deviation = Some(Deviation {
                gives,
                tolerance,
                reason,
            });
        }
        row
    }
}
