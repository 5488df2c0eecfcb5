//! One axis of a figure held in foam, shaken by the road: how far its contacts slide per second.

use super::rub::GRAVITY;
use crate::law::schedule::Schedule;
use crate::law::stickslip::{Held, Jenkins};
use base::random::Stream;

/// [s] time step: a tenth of a millisecond resolves 200 Hz and stiff contacts.
const STEP: f64 = 1e-4;
/// Steps of one stage, about 13 s; the first eighth is let pass.
const STEPS: usize = 1 << 17;
/// Damping ratio of foam: half its loss factor of 0.3 (engineering prior, grade D).
const DAMPING: f64 = 0.15;

/// What holds the figure along one axis.
#[derive(Debug, Clone)]
pub(super) struct Axis {
    /// [kg]
    pub mass: f64,
    /// Amplitude over the schedule's.
    pub level: f64,
    /// [N/m] of walls met head on.
    pub stiffness: f64,
    /// [m] before they are met.
    pub play: f64,
    /// Walls slid along.
    pub contacts: Vec<Jenkins>,
    /// The contacts carry the weight: their limit follows the vertical shaking.
    pub weighed: bool,
}

/// [m/s] path each contact slides per second of the journey.
pub(super) fn shake(axis: &Axis, schedule: &Schedule, random: &mut Stream) -> Vec<f64> {
    let mut slips = vec![0.0; axis.contacts.len()];
    for stage in &schedule.stages {
        let base = stage.spectrum.series(STEP, STEPS, random);
        let up = stage.spectrum.series(STEP, STEPS, random);
        let total = axis.stiffness + axis.contacts.iter().map(|c| c.stiffness).sum::<f64>();
        let mut held = Held {
            mass: axis.mass,
            stiffness: axis.stiffness,
            damping: 2.0 * DAMPING * (total * axis.mass).sqrt(),
            play: axis.play,
            contacts: axis.contacts.clone(),
            place: 0.0,
            speed: 0.0,
        };
        let settled = STEPS / 8;
        let mut before: Vec<f64> = Vec::new();
        for (k, (a, v)) in base.iter().zip(&up).enumerate() {
            if axis.weighed {
                let weight = (1.0 + v / GRAVITY).max(0.0);
                for (contact, still) in held.contacts.iter_mut().zip(&axis.contacts) {
                    contact.limit = still.limit * weight;
                }
            }
            held.advance(a * axis.level, STEP);
            if k + 1 == settled {
                before = held.contacts.iter().map(|c| c.slip).collect();
            }
        }
        let seconds = (STEPS - settled) as f64 * STEP;
        for ((sum, contact), before) in slips.iter_mut().zip(&held.contacts).zip(before) {
            *sum += stage.share * (contact.slip - before) / seconds;
        }
    }
    slips
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::law::schedule::journey;
    use base::random::stream;

    fn axis(limit: f64) -> Axis {
        Axis {
            mass: 0.02,
            level: 1.0,
            stiffness: 400.0,
            play: 0.0,
            contacts: vec![Jenkins {
                stiffness: 300.0,
                limit,
                ..Jenkins::default()
            }],
            weighed: false,
        }
    }

    /// Firmly held: not a hair of slip. The weaker the grip, the longer the way.
    #[test]
    fn a_firm_hold_does_not_slip_and_a_weak_one_does() {
        let truck = journey("truck, mixed levels").unwrap();
        let slip = |limit: f64| shake(&axis(limit), &truck, &mut stream(1, &["shake"], 0))[0];
        assert_eq!(slip(5.0), 0.0);
        assert!(slip(0.05) > slip(0.1) && slip(0.1) > 0.0);
    }

    /// The same journey in a car at a quarter of the level slips far less than a quarter: a
    /// threshold lies between.
    #[test]
    fn slip_has_a_threshold() {
        let at = |name: &str| {
            shake(
                &axis(0.1),
                &journey(name).unwrap(),
                &mut stream(1, &["s"], 0),
            )[0]
        };
        assert!(at("car boot") < 0.1 * at("truck, mixed levels"));
    }

    /// Road vibration is a mixture of levels: held so that its mean level hardly slips, the five
    /// loud minutes of an hour do, and one level of the same mean square would miss them.
    #[test]
    fn a_mixture_slips_more_than_its_mean_level() {
        let truck = journey("truck, mixed levels").unwrap();
        let square = |s: &crate::law::schedule::Stage| s.share * s.spectrum.grms().powi(2);
        let level = truck.stages.iter().map(square).sum::<f64>().sqrt();
        let mut even = truck.clone();
        even.stages.truncate(1);
        even.stages[0].share = 1.0;
        even.stages[0].spectrum = even.stages[0].spectrum.scaled_to(level);
        let slip = |s: &Schedule, limit: f64| shake(&axis(limit), s, &mut stream(1, &["m"], 0))[0];
        // The limit at which the mean level slips a thousandth of what it does at a tenth newton.
        let free = slip(&even, 0.1);
        let firm = (1..40)
            .map(|k| 0.1 * 1.1_f64.powi(k))
            .find(|l| slip(&even, *l) < 1e-3 * free)
            .unwrap();
        let (mixed, mean) = (slip(&truck, firm), slip(&even, firm));
        assert!(mixed > 1.5 * mean, "{mixed} {mean} at {firm} N");
    }
}
