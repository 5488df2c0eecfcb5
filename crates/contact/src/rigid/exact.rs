//! The engine results come from: exact flight, events located in time, knocks integrated along
//! their impulse, lasting contact by drift-kick-drift steps.
//!
//! Guaranteed: in flight energy and angular momentum are kept to rounding; every joule a contact
//! takes is booked; no booked impact loss is negative. Not guaranteed: an agreed answer for flat
//! landings on several points at once (knocks are taken one after another, most approaching
//! first; rigid-body mechanics leaves the order open).

use super::{Engine, Scene};
use base::Result;

/// [m] how exactly an event is located.
pub(super) const TOLERANCE: f64 = 2e-6;
/// [m] corners this near to a wall take part in a lasting contact.
pub(super) const BAND: f64 = 5e-6;
/// [m] overlap above which bodies are pushed apart, booked as projection.
pub(super) const DEEP: f64 = 1.5e-5;
/// [m/s] slower approaches give nothing back and start a lasting contact. Between 0.001 and 0.05
/// shaken boxes give the same dose within noise; gravity alone changes speed by 0.005 per step.
pub(super) const REST: f64 = 0.01;
/// [m/s] the same for a point that was in contact before: an accelerating wall alone makes it
/// approach by some centimetres per second from step to step.
pub(super) const KNOWN_REST: f64 = 0.05;
/// Events per step before the rest of it is done as lasting contact (Zeno's bounces).
pub(super) const EVENTS: u32 = 12;
/// Knocks per event: each flat landing takes some tens to settle.
pub(super) const KNOCKS: u32 = 40;

/// The engine for this scene.
///
/// # Errors
/// Input errors when a figure starts inside a wall or another figure.
pub fn start(scene: &Scene, step: f64) -> Result<Box<dyn Engine>> {
    if scene.shapes.len() > 1 {
        return Ok(Box::new(super::several::Several::new(scene, step)?));
    }
    Ok(Box::new(super::lone::Lone::new(scene, step)?))
}

/// Time of a crossing: `gap(time)` falls through the band `floor .. floor + width`.
///
/// Regula falsi with the Illinois rule, with the band's middle as the aim; returns a time at which
/// the gap lies in the band, or the last one above it.
///
/// * `ends`: (time, gap) with the gap above the band, then below it
pub(super) fn crossing(
    ends: [(f64, f64); 2],
    floor: f64,
    width: f64,
    mut gap: impl FnMut(f64) -> f64,
) -> f64 {
    let aim = floor + 0.5 * width;
    let [(mut a, above), (mut b, below)] = ends;
    let (mut fa, mut fb) = (above - aim, below - aim);
    let mut side = 0_i32;
    for round in 0..60 {
        let middle = if round % 8 == 7 {
            0.5 * (a + b)
        } else {
            (a * fb - b * fa) / (fb - fa)
        };
        let f = gap(middle) - aim;
        if f.abs() <= 0.5 * width {
            return middle;
        }
        if f > 0.0 {
            (a, fa) = (middle, f);
            if side > 0 {
                fb *= 0.5;
            }
            side = 1;
        } else {
            (b, fb) = (middle, f);
            if side < 0 {
                fa *= 0.5;
            }
            side = -1;
        }
    }
    a
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_crossing_is_found_within_its_band() {
        let gap = |t: f64| 1e-3 - 2.0 * t * t;
        let t = super::crossing([(0.0, 1e-3), (0.1, gap(0.1))], -2e-6, 1e-6, gap);
        assert!((-2e-6..=-1e-6).contains(&gap(t)), "{}", gap(t));
    }
}
