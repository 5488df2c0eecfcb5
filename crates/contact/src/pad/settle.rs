//! From force to indentation, on a pyramid of grids: the coarse ones find where, the fine one how
//! much.

use super::foundation::{Foundation, Pad};
use super::grid::Grid;
use super::press::{Pressed, TOLERANCE, Workspace};
use super::profile::Profile;
use super::relief::Relief;
use base::{Error, Result};

/// Cells per side of the coarser grids, coarsest first.
const COARSENESS: [usize; 3] = [4, 2, 1];
/// How near the force has to come on each of them.
const FORCE_TOLERANCE: [f64; 3] = [0.03, 0.01, 1e-3];
/// Gap error at which a solve of each of them ends.
const GAP_TOLERANCE: [f64; 3] = [2e-3, 1e-3, TOLERANCE];
/// No pad is pressed flatter than this share of its thickness.
const FLATTEST: f64 = 0.95;
const MOST_TRIES: usize = 40;

/// How hard a pad is pressed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Push {
    /// [N] with this force.
    Force(f64),
    /// [m] to this indentation below the figure's highest point.
    Depth(f64),
}

/// A pad prepared for one size of grid on all coarsenesses: shared by all poses and threads.
#[derive(Debug, Clone)]
pub struct Pyramid {
    steps: Vec<Foundation>,
}

/// A pad at rest on a figure.
#[derive(Debug, Clone)]
pub struct Settled {
    /// [m] indentation below the figure's highest point.
    pub indentation: f64,
    /// The pressure on the finest grid; with a force asked for, its sum is that force exactly.
    pub pressed: Pressed,
    /// d ln F / d ln indentation there.
    pub exponent: f64,
}

impl Pyramid {
    /// Prepares `pad` for `columns` x `rows` finest cells of side `spacing` \[m\].
    #[must_use]
    pub fn new(pad: &Pad, columns: usize, rows: usize, spacing: f64) -> Pyramid {
        Pyramid::with(&Profile::new(pad), pad, columns, rows, spacing)
    }

    /// The same with what is known of the pad's depth.
    pub(super) fn with(
        profile: &Profile,
        pad: &Pad,
        columns: usize,
        rows: usize,
        spacing: f64,
    ) -> Pyramid {
        let step =
            |t: &usize| Foundation::with(profile, pad, columns / t, rows / t, spacing * *t as f64);
        Pyramid {
            steps: COARSENESS.iter().map(step).collect(),
        }
    }

    /// True if it was made for this grid.
    #[must_use]
    pub fn fits(&self, grid: &Grid) -> bool {
        (self.steps.last()).is_some_and(|f| {
            (f.columns, f.rows, f.spacing) == (grid.columns, grid.rows, grid.spacing)
        })
    }

    /// Presses until the push is reached.
    ///
    /// # Errors
    /// Refused when the force would press the pad flat or the solver does not come to rest.
    pub fn settle(&self, relief: &Relief, push: Push) -> Result<Settled> {
        let mut state = State::fresh(match push {
            Push::Depth(depth) => depth,
            Push::Force(_) => 0.03 * self.thickness(),
        });
        let last = self.steps.len() - 1;
        for (k, foundation) in self.steps.iter().enumerate() {
            let relief = relief.coarser(COARSENESS[k]);
            if let (Some(pressed), true) = (&mut state.pressed, k > 0) {
                let times = COARSENESS[k - 1] / COARSENESS[k];
                pressed.pressure = relief.grid.spread(&pressed.pressure, times);
            }
            let mut workspace = Workspace::new(foundation);
            workspace.tolerance = GAP_TOLERANCE[k];
            let mut step = Step {
                foundation,
                relief: &relief,
                workspace,
            };
            match push {
                Push::Depth(depth) if k == 0 => step.sound(depth, &mut state)?,
                Push::Depth(_) => step.at(&mut state)?,
                Push::Force(force) => step.under(force, FORCE_TOLERANCE[k], &mut state)?,
            }
            if k == last
                && let (Push::Force(force), Some(pressed)) = (push, &mut state.pressed)
            {
                // The last thousandth by scale: what is booked must be the load to the last digit.
                let share = force / pressed.force;
                pressed.pressure.iter_mut().for_each(|p| *p *= share);
                pressed.force = force;
            }
        }
        state.into_settled()
    }

    /// [m] indentation under a push on the coarsest grid alone: to a tenth, and fast.
    ///
    /// # Errors
    /// As [`Self::settle`].
    pub fn survey(&self, relief: &Relief, push: Push) -> Result<f64> {
        let Push::Force(force) = push else {
            return Ok(self.thickness());
        };
        let foundation = &self.steps[1];
        let relief = relief.coarser(COARSENESS[1]);
        let mut workspace = Workspace::new(foundation);
        workspace.tolerance = GAP_TOLERANCE[0];
        let mut state = State::fresh(0.03 * self.thickness());
        let mut step = Step {
            foundation,
            relief: &relief,
            workspace,
        };
        step.under(force, FORCE_TOLERANCE[0], &mut state)?;
        Ok(state.indentation)
    }

    fn thickness(&self) -> f64 {
        self.steps[0].pad.thickness
    }
}

struct State {
    indentation: f64,
    exponent: f64,
    pressed: Option<Pressed>,
}

impl State {
    fn fresh(indentation: f64) -> State {
        State {
            indentation,
            exponent: 1.7,
            pressed: None,
        }
    }

    fn into_settled(self) -> Result<Settled> {
        match self.pressed {
            Some(pressed) => Ok(Settled {
                indentation: self.indentation,
                exponent: self.exponent,
                pressed,
            }),
            None => Err(Error::refused("nothing was pressed")),
        }
    }
}

struct Step<'a> {
    foundation: &'a Foundation,
    relief: &'a Relief,
    workspace: Workspace,
}

impl Step<'_> {
    fn at(&mut self, state: &mut State) -> Result<()> {
        let start = state.pressed.as_ref().map(|p| p.pressure.as_slice());
        let gap = self.relief.gap(state.indentation);
        state.pressed = Some(self.foundation.press(&gap, start, &mut self.workspace)?);
        Ok(())
    }

    /// At a given depth, and a tenth less deep to see how the force grows.
    fn sound(&mut self, depth: f64, state: &mut State) -> Result<()> {
        let force = |state: &State| state.pressed.as_ref().map_or(0.0, |p| p.force);
        state.indentation = 0.9 * depth;
        self.at(state)?;
        let before = force(state);
        state.indentation = depth;
        self.at(state)?;
        if before > 0.0 {
            state.exponent = (force(state) / before).ln() / (1.0 / 0.9f64).ln();
        }
        Ok(())
    }

    /// Safeguarded secant in ln F over ln indentation.
    fn under(&mut self, force: f64, tolerance: f64, state: &mut State) -> Result<()> {
        let flattest = FLATTEST * self.foundation.pad.thickness;
        let (mut low, mut high) = (0.0, flattest);
        let mut last: Option<(f64, f64)> = None;
        for _ in 0..MOST_TRIES {
            self.at(state)?;
            let (d, f) = (
                state.indentation,
                state.pressed.as_ref().map_or(0.0, |p| p.force),
            );
            if (f / force - 1.0).abs() < tolerance {
                return Ok(());
            }
            if f < force {
                low = d
            } else {
                high = d
            }
            if let Some((d0, f0)) = last
                && f > 0.0
                && f0 > 0.0
                && (d / d0 - 1.0).abs() > 1e-4
            {
                state.exponent = ((f / f0).ln() / (d / d0).ln()).clamp(0.3, 12.0);
            }
            last = Some((d, f));
            let secant = if f > 0.0 {
                d * (force / f).powf(1.0 / state.exponent)
            } else {
                2.0 * d
            };
            // Never more than a factor four at a time: the exponent is that of here.
            let next = secant.clamp(0.25 * d, 4.0 * d);
            state.indentation = match next > low && next < high {
                true => next,
                false => 0.5 * (low + high),
            };
            if high - low < 1e-9 * flattest {
                break;
            }
            if let Some(pressed) = &mut state.pressed {
                let share = (force / f.max(0.01 * force)).clamp(0.2, 5.0);
                pressed.pressure.iter_mut().for_each(|p| *p *= share);
            }
        }
        Err(Error::refused(format!(
            "a force of {force:.3} N presses the pad flat ({:.0} mm thick)",
            self.foundation.pad.thickness * 1e3
        ))
        .hint("a smaller load, a thicker or a firmer pad"))
    }
}
