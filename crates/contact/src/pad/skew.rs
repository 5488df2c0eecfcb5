//! How friction skews the pressure fore and aft: the pulled surface of the pad rises on one side of
//! a contact and sinks on the other.
//!
//! The coupling is that of the elastic layer at the foam's start modulus, on top of the collapsing
//! pad: a perturbation, not a solution of sliding with collapse.

use super::foundation::{Filling, Foundation, Pad};
use super::imprint::Press;
use super::plane::{Real, Scratch, Wave};
use super::press::Workspace;
use crate::law::layer;
use base::Result;
use mesh::figure::Figure;
use serde::{Deserialize, Serialize};

const ROUNDS: usize = 3;

/// How much of the work would lie on other patches if the skew were followed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Shift {
    /// Share, for strokes one way; in proportion to friction.
    pub one_way: f64,
    /// Share, for strokes to and fro: what one way moves ahead the other way moves back, but for
    /// edges of the contact.
    pub to_and_fro: f64,
}

/// The shift of a press at a friction, from two perturbations.
///
/// # Errors
/// As [`Foundation::press`].
pub fn shift(pad: &Pad, press: &Press, figure: &Figure, friction: f64) -> Result<Shift> {
    let grid = press.relief.grid;
    let foundation = Foundation::new(pad, grid.columns, grid.rows, grid.spacing);
    let force = press.force().max(f64::MIN_POSITIVE);
    let still = press.patch_forces(figure);
    let ahead = on(&foundation, press, friction)?.patch_forces(figure);
    let behind = on(&foundation, press, -friction)?.patch_forces(figure);
    let moved = |other: &dyn Fn(usize) -> f64| {
        let terms = (0..still.len()).map(|p| (other(p) - still[p]).abs());
        0.5 * base::sum::sum(terms) / force
    };
    Ok(Shift {
        one_way: 0.5 * (moved(&|p| ahead[p]) + moved(&|p| behind[p])),
        to_and_fro: moved(&|p| 0.5 * (ahead[p] + behind[p])),
    })
}

/// The press while the pad slides along its first axis with `friction`, at the same indentation,
/// scaled back to the same force.
///
/// # Errors
/// As [`Foundation::press`].
pub fn skewed(pad: &Pad, press: &Press, friction: f64) -> Result<Press> {
    let grid = press.relief.grid;
    let foundation = Foundation::new(pad, grid.columns, grid.rows, grid.spacing);
    on(&foundation, press, friction)
}

fn on(foundation: &Foundation, press: &Press, friction: f64) -> Result<Press> {
    let pull = Pull::new(foundation);
    let mut workspace = Workspace::new(foundation);
    let still = press.relief.gap(press.settled.indentation);
    let mut pressed = press.settled.pressed.clone();
    for _ in 0..ROUNDS {
        // The figure holds the pad back: traction on the pad is against its way.
        let sinking = pull.sinking(foundation, &pressed.pressure, -friction);
        let gap: Vec<f64> = still.iter().zip(&sinking).map(|(g, w)| g - w).collect();
        pressed = foundation.press(&gap, Some(&pressed.pressure), &mut workspace)?;
    }
    let share = press.force() / pressed.force.max(f64::MIN_POSITIVE);
    pressed.pressure.iter_mut().for_each(|p| *p *= share);
    pressed.force = press.force();
    let mut settled = press.settled.clone();
    settled.pressed = pressed;
    Ok(Press::new(press.pose, press.relief.clone(), settled))
}

struct Pull {
    kernel: Vec<f64>,
}

impl Pull {
    fn new(foundation: &Foundation) -> Pull {
        let (youngs, poisson) = match &foundation.pad.filling {
            Filling::Foam(foam) => (foam.start_modulus(), 0.0),
            Filling::Elastic { youngs, poisson } => (*youngs, *poisson),
        };
        let highest = std::f64::consts::PI / foundation.spacing;
        let kernel = (foundation.plane.wave_numbers(foundation.spacing))
            .map(|(x, y)| {
                let q = x.hypot(y);
                // The mean and the highest wave have no fore and aft.
                if q == 0.0 || x >= highest * (1.0 - 1e-9) || y.abs() >= highest * (1.0 - 1e-9) {
                    return 0.0;
                }
                x / q * layer::coupled(q, foundation.pad.thickness, youngs, poisson).1
            })
            .collect();
        Pull { kernel }
    }

    /// [m] sinking of the surface under the traction `friction` p along the first axis.
    fn sinking(&self, foundation: &Foundation, pressure: &[f64], friction: f64) -> Vec<f64> {
        let plane = &foundation.plane;
        let mut scratch = Scratch::default();
        let mut spectrum = vec![Wave::default(); plane.len()];
        let single: Vec<Real> = pressure.iter().map(|p| *p as Real).collect();
        plane.forward(&single, &mut spectrum, &mut scratch);
        let scale = friction / plane.cells() as f64;
        for (s, k) in spectrum.iter_mut().zip(&self.kernel) {
            *s *= Wave::new(0.0, (k * scale) as Real);
        }
        let mut sinking = vec![0.0; plane.cells()];
        plane.back(&mut spectrum, &mut sinking, &mut scratch);
        sinking.into_iter().map(f64::from).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::presser::{Presser, SURVEY};
    use super::super::relief::Pose;
    use super::super::settle::Push;
    use super::*;
    use crate::law::foam::{Foam, OPEN_CELL};
    use base::Vec3;
    use mesh::figure::{Settings, shapes};

    /// No friction, no skew; with friction the middle of the pressure shifts, the other way for
    /// the other way, and an incompressible layer has nearly none.
    #[test]
    fn friction_shifts_the_pressure_and_nothing_else_does() {
        let mesh = shapes::icosphere(4, 6e-3);
        let settings = Settings {
            height: Some(0.012),
            ..Settings::default()
        };
        let figure = Figure::from_mesh("ball", &mesh, &settings).unwrap();
        let shift = |pad: &Pad, friction: f64| {
            let presser = Presser::new(&figure, pad, SURVEY);
            let press = presser
                .press(&Pose::facing(&Vec3::z()), Push::Force(0.3))
                .unwrap();
            let skewed = skewed(pad, &press, friction).unwrap();
            let grid = skewed.relief.grid;
            let pressure = &skewed.settled.pressed.pressure;
            let moment: f64 = pressure
                .iter()
                .enumerate()
                .map(|(c, p)| p * grid.middle(c)[0])
                .sum();
            moment / pressure.iter().sum::<f64>()
        };
        let foam = Pad {
            filling: Filling::Foam(Foam::new(OPEN_CELL, 3500.0)),
            thickness: 0.01,
        };
        let still = shift(&foam, 0.0);
        let (ahead, behind) = (shift(&foam, 0.6) - still, shift(&foam, -0.6) - still);
        assert!(still.abs() < 2e-5, "{still}");
        assert!(
            ahead.abs() > 3e-5 && (ahead + behind).abs() < 0.1 * ahead.abs(),
            "{ahead} {behind}"
        );
        let tissue = Pad {
            filling: Filling::Elastic {
                youngs: 50e3,
                poisson: 0.49,
            },
            thickness: 0.01,
        };
        assert!((shift(&tissue, 0.6) - shift(&tissue, 0.0)).abs() < 0.5 * ahead.abs());
        // One way in proportion to friction; to and fro nearly nothing on a round thing.
        let presser = Presser::new(&figure, &foam, SURVEY);
        let press = presser
            .press(&Pose::facing(&Vec3::z()), Push::Force(0.3))
            .unwrap();
        let [half, whole] = [0.3, 0.6].map(|f| super::shift(&foam, &press, &figure, f).unwrap());
        let ratio = whole.one_way / half.one_way;
        assert!((ratio - 2.0).abs() < 0.2, "{ratio}");
        assert!(whole.one_way > 0.01 && whole.to_and_fro < 0.5 * whole.one_way);
    }
}
