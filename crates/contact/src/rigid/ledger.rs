//! The energy ledger: a second reader of the contacts, with stored energy from states only.

use super::{Contact, Engine, Scene};
use base::{Error, Note, Result, Topic};
use serde::{Deserialize, Serialize};

/// Residual above which a run is shown with a warning, as a share of what was booked.
pub const WARN: f64 = 0.01;
/// Residual above which a run is refused.
pub const REFUSE: f64 = 0.03;

/// Where the energy of one run came from and went to.
///
/// ```text
/// work_walls + work_gravity + projection = stored + impact + friction + residual
/// ```
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Ledger {
    /// [J] done by the moving walls.
    pub work_walls: f64,
    /// [J] done by gravity: minus the change of height energy.
    pub work_gravity: f64,
    /// [J] change of kinetic energy.
    pub stored: f64,
    /// [J] impact loss of all contacts.
    pub impact: f64,
    /// [J] friction work of all contacts.
    pub friction: f64,
    /// [J] part of `impact` and `friction` booked between figures rather than at the box.
    pub between_figures: f64,
    /// [J] signed work of pushing overlapping bodies apart.
    pub projection: f64,
    /// [J] sum of the negative bookings of impact loss: 0 or less.
    pub negative_impact: f64,
    /// [J] sum of the negative bookings of friction work: 0 or less.
    pub negative_friction: f64,
    /// [J] what is not accounted for.
    pub residual: f64,
    /// [J] largest difference of one contact's own two accounts: -J.(v- + v+)/2 against the
    /// integrated impact loss and friction work.
    pub worst_contact: f64,
    /// Number of touches.
    pub touches: u64,
    /// [m] deepest overlap.
    pub deepest: f64,
    /// [s] simulated.
    pub seconds: f64,
}

impl Ledger {
    /// Opens the books at the engine's present state.
    #[must_use]
    pub fn open(engine: &dyn Engine, scene: &Scene) -> Ledger {
        let (kinetic, height) = scene.energies(&engine.states());
        Ledger {
            stored: -kinetic,
            work_gravity: height,
            projection: -engine.projection(),
            seconds: -engine.time(),
            ..Ledger::default()
        }
    }

    /// Books contacts.
    pub fn read(&mut self, contacts: &[Contact]) {
        for contact in contacts {
            self.work_walls += contact.wall_work;
            self.impact += contact.impact;
            self.friction += contact.friction;
            self.negative_impact += contact.impact.min(0.0);
            self.negative_friction += contact.friction.min(0.0);
            if contact.partner.is_some() {
                self.between_figures += contact.impact + contact.friction;
            }
            let apart = (contact.loss() - contact.impact - contact.friction).abs();
            self.worst_contact = self.worst_contact.max(apart);
            self.touches += u64::from(contact.begins);
        }
    }

    /// Closes the books and finds the residual.
    pub fn close(&mut self, engine: &dyn Engine, scene: &Scene) {
        let (kinetic, height) = scene.energies(&engine.states());
        self.stored += kinetic;
        self.work_gravity -= height;
        self.projection += engine.projection();
        self.seconds += engine.time();
        self.deepest = engine.deepest();
        self.residual =
            self.work_walls + self.work_gravity + self.projection - self.stored - self.booked();
    }

    /// [J] all that was booked as lost.
    #[must_use]
    pub fn booked(&self) -> f64 {
        self.impact + self.friction
    }

    /// Share of the booked loss that is not accounted for, signed; 0 when nothing was booked.
    #[must_use]
    pub fn residual_share(&self) -> f64 {
        self.share(self.residual)
    }

    /// An amount of energy as a share of the booked loss; 0 when nothing was booked.
    #[must_use]
    pub fn share(&self, energy: f64) -> f64 {
        if self.booked() > 0.0 {
            energy / self.booked()
        } else {
            0.0
        }
    }

    /// The books of several runs together.
    #[must_use]
    pub fn together(ledgers: &[Ledger]) -> Ledger {
        let mut all = Ledger::default();
        for one in ledgers {
            all.work_walls += one.work_walls;
            all.work_gravity += one.work_gravity;
            all.stored += one.stored;
            all.impact += one.impact;
            all.friction += one.friction;
            all.between_figures += one.between_figures;
            all.projection += one.projection;
            all.negative_impact += one.negative_impact;
            all.negative_friction += one.negative_friction;
            all.residual += one.residual;
            all.worst_contact = all.worst_contact.max(one.worst_contact);
            all.touches += one.touches;
            all.deepest = all.deepest.max(one.deepest);
            all.seconds += one.seconds;
        }
        all
    }

    /// The gate: silent below 1 % residual, a note up to 3 %, refusal above.
    ///
    /// * `step`: [s] the engine's, named in the remedy
    ///
    /// # Errors
    /// Refused above [`REFUSE`], or when the books are not finite.
    pub fn gate(&self, step: f64) -> Result<Option<Note>> {
        let share = self.residual_share().abs();
        if !share.is_finite() || share > REFUSE {
            return Err(Error::refused(format!(
                "{:.2} % of the energy booked at contacts is not accounted for (limit {} %): the \
                 time step of {:.3} ms is too long for these speeds, or a figure was pushed \
                 through a wall",
                100.0 * share,
                100.0 * REFUSE,
                1e3 * step
            ))
            .hint(format!("halve the time step to {:.3} ms", 0.5e3 * step))
            .hint("shake more gently, or enlarge the box"));
        }
        Ok((share > WARN).then(|| {
            Note::new(
                Topic::Limit,
                format!(
                    "{:.2} % of the energy booked at contacts is not accounted for; a shorter time \
                     step than {:.3} ms would lower that",
                    100.0 * share,
                    1e3 * step
                ),
            )
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_gate_has_three_positions() {
        let books = |residual| Ledger {
            impact: 0.6,
            friction: 0.4,
            residual,
            ..Ledger::default()
        };
        assert!(matches!(books(0.009).gate(5e-4), Ok(None)));
        assert!(matches!(books(-0.02).gate(5e-4), Ok(Some(_))));
        let error = books(0.031).gate(5e-4).err().map(|e| e.to_string());
        assert!(error.is_some_and(|text| text.contains("halve the time step to 0.250 ms")));
    }
}
