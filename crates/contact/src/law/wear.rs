//! Sliding wear: the two laws, the geometry of the standard abraders, and how their numbers
//! turn into a wear rate.
//!
//! Nothing here says that an abrader's number is a number of finger touches: it is not (ASTM
//! F2357 and F3152, significance clauses).

use std::f64::consts::{PI, TAU};

/// Standard gravity [m/s2] used by the abrader loads, as in the printed examples.
pub const GRAVITY: f64 = 9.81;

/// Depth when the wear per joule of friction work is the constant.
///
/// ```text
/// h = k_E W / A
/// ```
/// * `rate`: [m3/J] energy wear rate
/// * `work_per_area`: [J/m2] all of the friction work, not half of it
///
/// Returns [m]. Source: Fouvry et al. 2003, Wear 255:287 (from memory).
#[must_use]
pub fn energy_law(rate: f64, work_per_area: f64) -> f64 {
    rate * work_per_area
}

/// Depth when the wear per load and sliding distance is the constant (Archard 1953).
///
/// ```text
/// h = k p s = k_E mu_ref (W / mu) / A
/// ```
/// * `rate`: [m3/J] energy wear rate stated at friction `reference_friction`
/// * `work_per_area`: [J/m2] friction work done at friction `friction`
///
/// Returns [m]: equal to [`energy_law`] when both frictions agree.
#[must_use]
pub fn load_law(rate: f64, reference_friction: f64, work_per_area: f64, friction: f64) -> f64 {
    rate * reference_friction * work_per_area / friction
}

/// Archard's volume from the dimensionless coefficient.
///
/// * `coefficient`: K; `force`: [N]; `distance`: [m]; `hardness`: [Pa]
///
/// Returns [m3].
#[must_use]
pub fn archard(coefficient: f64, force: f64, distance: f64, hardness: f64) -> f64 {
    coefficient * force * distance / hardness
}

/// Friction work per area at a fixed point under a pad that passes over it.
///
/// ```text
/// W/A = mu p (pad length) (passes)
/// ```
/// The path at a fixed point is the pad's length, not the stroke's.
///
/// * `pressure`: [Pa]; `pad_length`: [m] along the stroke; `passes`: crossings of the point
///
/// Returns [J/m2].
#[must_use]
pub fn pad_pass(friction: f64, pressure: f64, pad_length: f64, passes: f64) -> f64 {
    friction * pressure * pad_length * passes
}

/// The rotary abrader of ISO 7784-2 and ASTM D4060: two wheels whose axle misses the turntable's
/// middle, so that they skid a little while they roll.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Abrader {
    /// [m] distance of the wheels' axle from the turntable's axis.
    pub offset: f64,
    /// [m] distance between the wheels' inner faces.
    pub inner: f64,
    /// [m] width of a wheel.
    pub width: f64,
    /// [m2] area of the worn ring as the standard states it.
    pub track: f64,
}

impl Abrader {
    /// Dimensions of the standards (from memory); track of about 30 cm2 (ASTM D4060, in print).
    pub const STANDARD: Abrader = Abrader {
        offset: 19.05e-3,
        inner: 52.4e-3,
        width: 12.7e-3,
        track: 30e-4,
    };

    /// [m] sliding of one wheel over the sample per turn.
    ///
    /// At each point across the width the skid has a part along the axle, `offset`, and a part
    /// from the wheel's own constant rim speed; the mean length of both is taken.
    #[must_use]
    pub fn slip_per_turn(&self) -> f64 {
        let points = 2000;
        let across = |i: i32| self.width * ((f64::from(i) + 0.5) / f64::from(points) - 0.5);
        let skid = base::sum::sum((0..points).map(|i| self.offset.hypot(across(i))));
        TAU * skid / f64::from(points)
    }

    /// [N m] load times sliding distance of both wheels.
    ///
    /// * `load`: [kg] on each wheel; `turns`: of the table
    #[must_use]
    pub fn load_path(&self, load: f64, turns: f64) -> f64 {
        2.0 * load * GRAVITY * self.slip_per_turn() * turns
    }

    /// [m2] the ring the wheels can reach, from the geometry alone.
    #[must_use]
    pub fn ring(&self) -> f64 {
        let near = (self.inner / 2.0).hypot(self.offset);
        let far = (self.inner / 2.0 + self.width).hypot(self.offset);
        PI * (far * far - near * near)
    }

    /// [m] mean depth of a mass loss over the track.
    ///
    /// * `loss`: [kg]; `density`: [kg/m3] of the dry film
    #[must_use]
    pub fn depth(&self, loss: f64, density: f64) -> f64 {
        loss / (density * self.track)
    }

    /// [m2/N] specific wear rate of a mass loss (1 mm3/(N m) is 1e-9 m2/N).
    ///
    /// * `loss`: [kg]; `density`: [kg/m3]; `load`: [kg] on each wheel; `turns`: of the table
    #[must_use]
    pub fn specific_rate(&self, loss: f64, density: f64, load: f64, turns: f64) -> f64 {
        loss / density / self.load_path(load, turns)
    }
}

/// [m2/N] specific wear rate of a wet-scrub loss (ISO 11998: pad 135 g on 90 x 39 mm, a fixed
/// point slides over two pad lengths per cycle; pad mass and size from memory).
///
/// * `depth`: [m] lost; `cycles`: to and fro
#[must_use]
pub fn scrub_rate(depth: f64, cycles: f64) -> f64 {
    let (length, width) = (0.090, 0.039);
    let pressure = 0.135 * GRAVITY / (length * width);
    depth / (pressure * 2.0 * length * cycles)
}

/// [m] mean depth of a mass loss per area.
///
/// * `loss_per_area`: [kg/m2]; `density`: [kg/m3] of the dry film
#[must_use]
pub fn depth_from_loss(loss_per_area: f64, density: f64) -> f64 {
    loss_per_area / density
}

/// [m3] volume pushed aside by hard asperities when all friction work goes into ploughing: the
/// groove's cross-section times the hardness is the force (Bowden & Tabor 1950, from memory).
/// An upper bound for what can be lost.
///
/// * `work`: [J]; `hardness`: [Pa]
#[must_use]
pub fn ploughed_volume(work: f64, hardness: f64) -> f64 {
    work / hardness
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Path and load path: 0.122 m and 2391 N m per 1000 turns at 1 kg (geometry of
    /// ISO 7784-2, ISO 9352); the standard's ring is about 30 cm2, bare geometry gives 26.
    #[test]
    fn the_abraders_geometry() {
        let a = Abrader::STANDARD;
        assert!(
            (a.slip_per_turn() - 0.12188).abs() < 2e-5,
            "{}",
            a.slip_per_turn()
        );
        assert!((a.load_path(1.0, 1000.0) - 2391.0).abs() < 1.0);
        assert!((TAU * a.offset - 0.1197).abs() < 1e-4);
        assert!((a.ring() - 26e-4).abs() < 1e-4, "{}", a.ring());
    }

    /// Worked case: 50 mg in 1000 turns, 1200 kg/m3: 13.889 um and 0.017425 mm3/(N m).
    #[test]
    fn an_abrader_index_becomes_a_depth_and_a_rate() {
        let a = Abrader::STANDARD;
        assert!((a.depth(50e-6, 1200.0) - 13.889e-6).abs() < 1e-9);
        let k = a.specific_rate(50e-6, 1200.0, 1.0, 1000.0);
        assert!((k * 1e9 - 0.017425).abs() < 2e-6, "{}", k * 1e9);
        // 1 mg: 0.278 um and 3.48e-4 mm3/(N m)
        assert!((a.specific_rate(1e-6, 1200.0, 1.0, 1000.0) * 1e9 - 3.48e-4).abs() < 1e-6);
    }

    /// EN 13300 classes 1, 2, 3 end at 5, 20, 70 um in 200 cycles (in print).
    #[test]
    fn scrub_class_limits_become_rates() {
        for (um, rate) in [(5.0, 0.37), (20.0, 1.4724), (70.0, 5.15)] {
            let k = scrub_rate(um * 1e-6, 200.0) * 1e9;
            assert!((k / rate - 1.0).abs() < 6e-3, "{um}: {k}");
        }
        // scrub test report in print: 1.15 g/m2 reported as 0.65 um, so 1770 kg/m3
        assert!((depth_from_loss(1.15e-3, 1770.0) - 0.65e-6).abs() < 0.01e-6);
    }

    /// ISO 11640: 1 kg on 15 x 15 mm felt, friction 0.5, the pad crosses twice: 654 J/m2.
    #[test]
    fn a_felt_cycle_and_its_energy_balance() {
        let pressure = 1.0 * GRAVITY / (0.015 * 0.015);
        assert!((pressure - 43.6e3).abs() < 10.0);
        assert!((pad_pass(0.5, pressure, 0.015, 2.0) - 654.0).abs() < 0.1);
        // the whole rubbed strip receives what the pad dissipates
        let (stroke, width) = (0.1, 0.015);
        let dissipated = 0.5 * 9.81 * stroke;
        let booked = pad_pass(0.5, pressure, 0.015, 1.0) * stroke * width;
        assert!((dissipated - booked).abs() < 1e-12);
    }

    /// K 1e-4, 10 N, 1000 m, 200 MPa: 5 mm3.
    #[test]
    fn archards_volume() {
        assert!((archard(1e-4, 10.0, 1000.0, 200e6) - 5e-9).abs() < 1e-18);
    }

    /// Both laws agree at the reference friction; with load and path held, halving friction
    /// halves the energy law's depth and leaves the load law's.
    #[test]
    fn the_two_laws_part_ways_over_friction() {
        let (rate, reference, load_path) = (1e-12, 0.6, 4.0e6);
        let at = |mu: f64| {
            let work = mu * load_path;
            (energy_law(rate, work), load_law(rate, reference, work, mu))
        };
        assert!((at(0.6).0 - at(0.6).1).abs() < 1e-20);
        assert!((at(0.3).0 / at(0.6).0 - 0.5).abs() < 1e-12);
        assert!((at(0.3).1 / at(0.6).1 - 1.0).abs() < 1e-12);
    }
}
