//! A body that sticks and slips on a shaken base.

use std::f64::consts::{FRAC_PI_2, PI};

/// Path a rigid block slides per cycle on a base shaken with a sinusoid, times w^2 / (mu g).
///
/// ```text
/// r = A / (mu g):  r <= 1 sticks;  1 < r < sqrt(1 + pi^2/4) sticks and slips;
/// above: slides all the time, 4 r sqrt(1 - (pi / 2r)^2)
/// ```
/// Source: continuous branch Den Hartog 1930, Phil. Mag. 9:801 with the spring gone; stick-slip
/// branch from the equation of motion, own derivation.
///
/// * `ratio`: peak acceleration of the base over mu g
#[must_use]
pub fn block_slip(ratio: f64) -> f64 {
    let r = ratio;
    if r <= 1.0 {
        return 0.0;
    }
    if r >= (1.0 + FRAC_PI_2 * FRAC_PI_2).sqrt() {
        return 4.0 * r * (1.0 - (FRAC_PI_2 / r).powi(2)).sqrt();
    }
    let start = (1.0 / r).asin();
    // Relative speed from the start of slip; it is back to zero at the end of it.
    let speed = |t: f64| r * (t.cos() - start.cos()) + (t - start);
    let (mut low, mut high) = (PI - start, start + PI);
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if (speed(middle) > 0.0) == (speed(low) > 0.0) {
            low = middle;
        } else {
            high = middle;
        }
    }
    let end = low;
    let way = r * (end.sin() - start.sin()) - r * start.cos() * (end - start)
        + 0.5 * (end - start).powi(2);
    2.0 * way.abs()
}

/// [J] loss per cycle of a spring in series with a friction element (Jenkins) that is moved to and
/// fro.
///
/// ```text
/// E = 4 mu N (X - mu N / k) for X > mu N / k, else 0
/// ```
/// * `amplitude`: \[m\] X
/// * `limit`: \[N\] mu N
/// * `stiffness`: \[N/m\] k
#[must_use]
pub fn jenkins_loss(amplitude: f64, limit: f64, stiffness: f64) -> f64 {
    4.0 * limit * (amplitude - limit / stiffness).max(0.0)
}

/// Spring in series with a friction element.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Jenkins {
    /// [N/m]
    pub stiffness: f64,
    /// [N] force at which it slides.
    pub limit: f64,
    /// [N] force now.
    pub force: f64,
    /// [m] path slid so far.
    pub slip: f64,
    /// [J] work lost so far.
    pub loss: f64,
}

impl Jenkins {
    /// Moves the end by `step` \[m\] and returns the force that resists.
    pub fn advance(&mut self, step: f64) -> f64 {
        let elastic = self.force + self.stiffness * step;
        let kept = elastic.clamp(-self.limit, self.limit);
        if self.stiffness > 0.0 {
            let slid = (elastic - kept).abs() / self.stiffness;
            self.slip += slid;
            self.loss += slid * self.limit;
        }
        self.force = kept;
        kept
    }
}

/// A mass held to a shaken base by a spring and sliding contacts.
#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    /// [kg]
    pub mass: f64,
    /// [N/m] of the spring beside the contacts.
    pub stiffness: f64,
    /// [N s/m]
    pub damping: f64,
    /// [m] free play: the spring acts beyond it on either side.
    pub play: f64,
    /// Contacts that stick and slip.
    pub contacts: Vec<Jenkins>,
    /// [m] place relative to the base.
    pub place: f64,
    /// [m/s] speed relative to the base.
    pub speed: f64,
}

impl Held {
    /// One time step (velocity Verlet with the contacts advanced by the path).
    ///
    /// * `base`: \[m/s2\] acceleration of the base
    /// * `step`: \[s\] a small part of every period in the system
    pub fn advance(&mut self, base: f64, step: f64) {
        let half = self.speed + 0.5 * step * self.push(base);
        let way = half * step;
        self.place += way;
        for contact in &mut self.contacts {
            contact.advance(way);
        }
        self.speed = half;
        // Damping is taken with the half step's speed; small, so the order does not matter.
        self.speed = half + 0.5 * step * self.push(base);
    }

    fn push(&self, base: f64) -> f64 {
        let beyond = self.place - self.place.clamp(-self.play, self.play);
        let held: f64 = self.contacts.iter().map(|c| c.force).sum();
        -(self.stiffness * beyond + self.damping * self.speed + held) / self.mass - base
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    /// Values of an exact solution by an independent Python program, checked by time stepping
    /// there to 1 %.
    #[test]
    fn block_table() {
        for (r, slip) in [
            (0.99, 0.0),
            (1.05, 0.02164),
            (1.1, 0.08336),
            (1.2, 0.31068),
            (1.5, 1.61491),
            (1.8, 3.54541),
            (2.0, 4.95193),
            (3.0, 10.22358),
            (10.0, 39.50344),
        ] {
            assert!(
                (block_slip(r) - slip).abs() < 1e-5,
                "{r}: {}",
                block_slip(r)
            );
        }
    }

    /// The integrator with a stiff contact is the block: stick, stick-slip and steady sliding.
    #[test]
    fn the_integrator_meets_the_block() {
        for r in [0.9, 1.2, 1.5, 3.0] {
            let mut held = Held {
                mass: 1.0,
                stiffness: 0.0,
                damping: 0.0,
                play: 0.0,
                contacts: vec![Jenkins {
                    stiffness: 1e6,
                    limit: 1.0,
                    ..Jenkins::default()
                }],
                place: 0.0,
                speed: 0.0,
            };
            let (steps, cycles) = (40_000, 24);
            let mut before = 0.0;
            for i in 0..steps * cycles {
                let t = TAU * f64::from(i) / f64::from(steps);
                held.advance(r * t.sin(), TAU / f64::from(steps));
                if i == steps * 16 {
                    before = held.contacts[0].slip;
                }
            }
            let slip = (held.contacts[0].slip - before) / f64::from(cycles - 16);
            assert!(
                (slip - block_slip(r)).abs() < 0.01 * r,
                "{r}: {slip} {}",
                block_slip(r)
            );
        }
    }

    /// Published loss 4 mu N (X - mu N/k) of the element against its own stepping.
    #[test]
    fn jenkins_loop() {
        for (x, loss) in [(0.5, 0.0), (1.0, 0.0), (1.5, 2.0), (2.0, 4.0), (5.0, 16.0)] {
            assert!((jenkins_loss(x, 1.0, 1.0) - loss).abs() < 1e-12);
            let mut element = Jenkins {
                stiffness: 1.0,
                limit: 1.0,
                ..Jenkins::default()
            };
            let (n, mut last, mut before) = (20_000, 0.0, 0.0);
            for i in 1..=3 * n {
                let at = x * (TAU * f64::from(i) / f64::from(n)).sin();
                element.advance(at - last);
                last = at;
                if i == 2 * n {
                    before = element.loss;
                }
            }
            assert!((element.loss - before - loss).abs() < 2e-3, "{x}");
        }
    }

    /// Den Hartog 1930: spring beside Coulomb friction in steady motion,
    /// x0 k/P0 = sqrt(V^2 - (F/P0)^2 U^2).
    #[test]
    fn the_integrator_meets_den_hartog() {
        for (b, f) in [(0.7, 0.2), (0.7, 0.4), (1.3, 0.2), (1.5, 0.4), (2.0, 0.5)] {
            let v: f64 = 1.0 / (1.0 - b * b);
            let u = (PI / b).sin() / (b * (1.0 + (PI / b).cos()));
            let exact = (v * v - f * f * u * u).sqrt();
            let mut held = Held {
                mass: 1.0,
                stiffness: 1.0,
                damping: 0.3,
                play: 0.0,
                contacts: vec![Jenkins {
                    stiffness: 4e5,
                    limit: f,
                    ..Jenkins::default()
                }],
                place: 0.0,
                speed: 0.0,
            };
            let steps = 20_000;
            let mut most: f64 = 0.0;
            for i in 0..steps * 110 {
                let t = TAU * f64::from(i) / f64::from(steps);
                // Damped until the start has died away, then free of it.
                held.damping = if i < steps * 60 { 0.3 } else { 0.002 };
                // The base's inertia force stands for P0 cos(w t).
                held.advance(-(t.cos()), TAU / b / f64::from(steps));
                if i > steps * 100 {
                    most = most.max(held.place.abs());
                }
            }
            assert!((most / exact - 1.0).abs() < 0.01, "{b} {f}: {most} {exact}");
        }
    }
}
