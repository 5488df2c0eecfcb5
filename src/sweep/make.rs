//! The workshop: computes parts of one sweep, with what they share kept at hand.

use super::part::Part;
use super::plan::{FORMAT, Sweep, What};
use super::reading::read;
use crate::scenario::Scenario;
use crate::trial::carry::{Foreman, figure_of, one};
use crate::trial::part::ENGINES;
use crate::trial::{Done, PartId, Store};
use base::{Error, Place, Result, Watch};
use mesh::figure::Figure;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, OnceLock};

/// Figures kept in memory; a figure of 50 000 triangles takes about 30 MB.
const FIGURES: usize = 16;
/// [bytes] of doses kept on disk for parts that share them.
const SHARED_BYTES: u64 = 2 << 30;
/// Folder of those doses.
const SHARED: &str = "shared";

type Slot = Arc<OnceLock<Result<Arc<Figure>>>>;

/// Computes parts; several threads may use it at once.
pub struct Workshop<'a> {
    /// The sweep.
    pub sweep: &'a Sweep,
    figures: Mutex<VecDeque<(String, Slot)>>,
    store: Store,
}

/// A foreman who only passes on the wish to stop.
pub(super) struct Silent<'a>(pub &'a dyn Watch);

struct SilentWatch<'a>(&'a dyn Watch);

impl Watch for SilentWatch<'_> {
    fn progress(&self, _fraction: f64, _words: &str) {}
    fn stopped(&self) -> bool {
        self.0.stopped()
    }
}

impl Foreman for Silent<'_> {
    fn part(&self, _name: &str) -> Box<dyn Watch + '_> {
        Box::new(SilentWatch(self.0))
    }
    fn say(&self, _text: &str) {}
}

impl<'a> Workshop<'a> {
    /// Opens the workshop.
    ///
    /// # Errors
    /// Another program than the plan's, changed inputs, or a folder that cannot be written.
    pub fn open(sweep: &'a Sweep) -> Result<Workshop<'a>> {
        sweep.check_binary()?;
        sweep.check_inputs()?;
        Ok(Workshop {
            sweep,
            figures: Mutex::new(VecDeque::new()),
            store: Store::shared(&sweep.folder.join(SHARED), SHARED_BYTES)?,
        })
    }

    /// Computes part `k`; its bytes depend on the plan and `k` alone.
    ///
    /// # Errors
    /// Values that do not go together, a bad figure, a refused result, or the wish to stop.
    pub fn compute(&self, k: u64, watch: &dyn Watch) -> Result<Part> {
        self.computed(k, watch).map_err(|e| self.told(k, e))
    }

    fn computed(&self, k: u64, watch: &dyn Watch) -> Result<Part> {
        let plan = &self.sweep.plan;
        let scenario = self.sweep.scenario(k)?;
        let figure = self.figure(&scenario)?;
        let foreman = Silent(watch);
        let mut readings = Vec::new();
        for &exposure in &plan.reading.exposures {
            for &specimen in &plan.reading.specimens {
                let id = PartId { exposure, specimen };
                let done = self.done(&scenario, &figure, id, &foreman)?;
                readings.push(read(&plan.reading, &scenario, &figure, &done)?);
            }
        }
        Ok(Part {
            format: FORMAT,
            plan: self.sweep.hash.clone(),
            binary: plan.binary.clone(),
            version: plan.version.clone(),
            engines: ENGINES,
            part: k,
            readings,
        })
    }

    /// A dose alone needs no film but the outer one; a life needs each film outermost in turn.
    fn done(
        &self,
        scenario: &Scenario,
        figure: &Figure,
        id: PartId,
        foreman: &Silent<'_>,
    ) -> Result<Done> {
        if self.sweep.plan.reading.what != What::FrictionWork {
            return one(scenario, figure, id, (&self.store, foreman));
        }
        let part = crate::trial::part::Part::new(scenario, figure, id)?;
        let outcome = part.outcome(&self.store, &SilentWatch(foreman.0))?;
        Ok(Done {
            id,
            outcome,
            stages: Vec::new(),
            mass: part.body().mass,
            treatment: part.treatment,
        })
    }

    /// An error of a part, told with the part's number and values.
    fn told(&self, k: u64, error: Error) -> Error {
        use base::Kind;
        let what = format!("part {k} ({}): {}", self.sweep.words(k), error.what());
        let told = match error.kind() {
            Kind::Interrupted | Kind::System => return error,
            Kind::Input => Error::input(what),
            Kind::Refused => Error::refused(what),
        };
        let told = told.at(Place::file(&self.sweep.folder));
        error
            .hints()
            .iter()
            .fold(told, |e, hint| e.hint(hint.clone()))
    }

    /// The figure of a scenario, made once for all parts that share it.
    fn figure(&self, scenario: &Scenario) -> Result<Arc<Figure>> {
        let name = format!("{:?} {:?}", scenario.figure, scenario.settings);
        let slot = {
            let mut figures = self
                .figures
                .lock()
                .map_err(|_| Error::refused("a thread failed while it made a figure"))?;
            match figures.iter().find(|(n, _)| *n == name) {
                Some((_, slot)) => Arc::clone(slot),
                None => {
                    let slot = Slot::default();
                    figures.push_back((name, Arc::clone(&slot)));
                    if figures.len() > FIGURES {
                        figures.pop_front();
                    }
                    slot
                }
            }
        };
        slot.get_or_init(|| figure_of(scenario).map(Arc::new))
            .clone()
    }
}
