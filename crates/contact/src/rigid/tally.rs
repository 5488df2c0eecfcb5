//! What contacts leave on a figure: summed per corner or small cell while the engine runs, spread
//! over patches once at the end.

use super::contact::Contact;
use super::exact::REST;
use crate::Touch;
use crate::dose::{Amounts, Dose, Imprint, Mark};
use crate::law::{dent, hertz};
use base::Vec3;
use mesh::figure::Figure;
use std::collections::HashMap;

/// [m] smallest radius of the kernel that spreads a contact: a patch's own size.
pub const KERNEL: f64 = 5e-4;
/// [m] tip radii outside this range are taken at its ends: below, the mesh and the paint round
/// a tip off; above, a flat is not a sphere and touches elsewhere than in its middle.
pub const TIP: (f64, f64) = (1e-4, 1e-2);
/// [m] edge of the cells in which contacts away from hull corners are summed.
const CELL: f64 = 2.5e-4;

/// [m] tip radius at a point of the figure: that of the nearest patch, within [`TIP`].
///
/// * `point`: [m] figure's frame
/// * `normal`: outward, zero if not known
#[must_use]
pub fn tip_radius(figure: &Figure, point: &Vec3, normal: &Vec3) -> f64 {
    let patch = figure
        .surface
        .nearest(point, normal)
        .map(|i| figure.surface.samples[i].patch.index());
    patch
        .and_then(|p| figure.patches.get(p))
        .map_or(TIP.1, |p| p.radius.clamp(TIP.0, TIP.1))
}

/// [m] tip radius at each corner of the figure's hull.
#[must_use]
pub fn tips(figure: &Figure) -> Vec<f64> {
    figure
        .hull
        .iter()
        .map(|p| tip_radius(figure, p, &Vec3::zeros()))
        .collect()
}

/// What one contact did, as amounts of every channel.
///
/// Dent energy is the part of an impact's loss above the yield speed of the softer side; peak
/// pressure is that of the elastic knock, capped at the softer side's hardness.
///
/// * `radius`: [m] relative radius of curvature at the contact
///
/// Returns the amounts and the contact radius [m] at peak force.
#[must_use]
pub fn amounts(contact: &Contact, touch: &Touch, radius: f64) -> (Amounts, f64) {
    let (modulus, (_, softer)) = (touch.modulus(), touch.softer());
    let mut sum = Amounts {
        friction: contact.friction,
        impact: contact.impact,
        touches: f64::from(u8::from(contact.begins)),
        slip: contact.slip_speed() * contact.duration,
        ..Amounts::default()
    };
    let spread = if contact.approach >= REST && contact.effective_mass > 0.0 {
        let (mass, speed) = (contact.effective_mass, contact.approach);
        let knock = hertz::knock(mass, speed, radius, modulus);
        let yields = dent::yield_speed(mass, softer, radius, modulus);
        sum.dent = contact.impact.max(0.0) * dent::dent_share(speed, yields);
        sum.peak = dent::capped_pressure(&knock, softer);
        if contact.duration == 0.0 {
            sum.slip = contact.slip_speed() * knock.duration;
        }
        knock.contact_radius
    } else if contact.duration > 0.0 {
        let force = contact.impulse.dot(&contact.normal).abs() / contact.duration;
        let pressure = hertz::peak_pressure(force, radius, modulus);
        sum.peak = pressure.min(dent::FULLY_PLASTIC * softer);
        hertz::contact_radius(force, radius, modulus)
    } else {
        0.0
    };
    (sum, spread)
}

/// Contacts at one corner or in one cell.
#[derive(Debug, Clone)]
struct Spot {
    sum: Amounts,
    /// [m] tip radius.
    tip: f64,
    /// Energy-weighted sums: energy, place, normal, contact radius.
    weight: f64,
    place: Vec3,
    normal: Vec3,
    spread: f64,
}

/// Sums over contacts of one figure, or of several equal ones.
pub struct Tally<'a> {
    figure: &'a Figure,
    touch: &'a Touch,
    /// The figure's own material on both sides.
    between: Touch,
    corners: Vec<Spot>,
    cells: Vec<Spot>,
    numbers: HashMap<[i32; 3], usize>,
}

impl<'a> Tally<'a> {
    /// An empty tally.
    ///
    /// * `tips`: [m] tip radius at each hull corner, from [`tips`]
    #[must_use]
    pub fn new(figure: &'a Figure, touch: &'a Touch, tips: &[f64]) -> Tally<'a> {
        Tally {
            figure,
            touch,
            between: touch.with_itself(),
            corners: tips.iter().map(|&tip| Spot::new(tip)).collect(),
            cells: Vec::new(),
            numbers: HashMap::new(),
        }
    }

    /// Adds a contact; where two figures touch, both surfaces get the contact's dose.
    pub fn add(&mut self, contact: &Contact) {
        let mine = (contact.vertex, contact.place, contact.normal);
        let Some(partner) = contact.partner else {
            let touch = self.touch;
            let spot = self.spot(mine);
            let parts = amounts(contact, touch, spot.tip);
            return spot.add(&parts, &contact.place, &contact.normal);
        };
        let theirs = (None, partner.place, partner.normal);
        let (a, b) = (self.spot(mine).tip, self.spot(theirs).tip);
        let parts = amounts(contact, &self.between, a * b / (a + b));
        self.spot(mine).add(&parts, &contact.place, &contact.normal);
        self.spot(theirs)
            .add(&parts, &partner.place, &partner.normal);
    }

    fn spot(&mut self, (corner, place, normal): (Option<u32>, Vec3, Vec3)) -> &mut Spot {
        if let Some(corner) = corner {
            return &mut self.corners[corner as usize];
        }
        let key = [0, 1, 2].map(|k| (place[k] / CELL).floor() as i32);
        let next = self.cells.len();
        let number = *self.numbers.entry(key).or_insert(next);
        if number == next {
            let tip = tip_radius(self.figure, &place, &normal);
            self.cells.push(Spot::new(tip));
        }
        &mut self.cells[number]
    }

    /// Spreads the sums over patches; energies on the figure sum to what was added.
    #[must_use]
    pub fn dose(&self) -> Dose {
        let mut dose = Dose::none(self.figure.patches.len());
        for spot in self.corners.iter().chain(&self.cells) {
            if spot.sum != Amounts::default() {
                dose.add(&spot.imprint(self.figure), 1.0);
            }
        }
        dose
    }
}

impl Spot {
    fn new(tip: f64) -> Spot {
        Spot {
            sum: Amounts::default(),
            tip,
            weight: 0.0,
            place: Vec3::zeros(),
            normal: Vec3::zeros(),
            spread: 0.0,
        }
    }

    fn add(&mut self, parts: &(Amounts, f64), place: &Vec3, normal: &Vec3) {
        let (amounts, spread) = parts;
        self.sum.add(amounts, 1.0);
        // Never zero, so that a spot that only ever stuck still has a place.
        let weight = amounts.friction.max(0.0) + amounts.impact.max(0.0) + f64::MIN_POSITIVE;
        self.weight += weight;
        self.place += place * weight;
        self.normal += normal * weight;
        self.spread += spread * weight;
    }

    fn imprint(&self, figure: &Figure) -> Imprint {
        let place = self.place / self.weight;
        let normal = self.normal.try_normalize(0.0).unwrap_or_default();
        let radius = (self.spread / self.weight).max(KERNEL);
        let shares = figure.surface.spread(&place, &normal, radius);
        let largest = shares
            .iter()
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|s| s.0);
        let marks = shares.iter().map(|&(patch, share)| {
            let mut amounts = Amounts::default();
            amounts.add(&self.sum, share);
            // Pressure acts where the contact is, not all over the kernel.
            if Some(patch) != largest {
                amounts.peak = 0.0;
            }
            Mark { patch, amounts }
        });
        Imprint {
            marks: marks.collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Restitution, Side, Solidity};
    use mesh::figure::{Settings, shapes};

    fn pewter_on_steel() -> Touch {
        let side = |youngs, poisson, yield_stress| Solidity {
            youngs,
            poisson,
            yield_stress,
        };
        Touch {
            friction: 0.3,
            restitution: Restitution::Constant(0.2),
            figure: side(52e9, 0.35, 40e6),
            counterface: side(210e9, 0.3, 300e6),
        }
    }

    fn knock(place: Vec3) -> Contact {
        Contact {
            body: 0,
            partner: None,
            vertex: None,
            place,
            normal: Vec3::z(),
            impulse: Vec3::new(-1e-3, 0.0, -1e-2),
            before: Vec3::new(0.5, 0.0, 1.0),
            after: Vec3::new(0.4, 0.0, -0.2),
            impact: 4e-3,
            friction: 4.5e-4,
            wall_work: 0.0,
            effective_mass: 8e-3,
            approach: 1.0,
            duration: 0.0,
            begins: true,
        }
    }

    /// Pewter yields at a third of a millimetre per second, so all of a knock at 1 m/s dents, and
    /// the pressure is capped at three times its yield stress.
    #[test]
    fn a_knock_of_pewter_dents_the_pewter() {
        let touch = pewter_on_steel();
        assert_eq!(touch.softer(), (Side::Figure, 40e6));
        let (sum, spread) = amounts(&knock(Vec3::zeros()), &touch, 1e-3);
        assert!((sum.dent / sum.impact - 1.0).abs() < 1e-5);
        assert!((sum.peak - 120e6).abs() < 1e-3);
        assert!(spread > 1e-5 && spread < 5e-4 && sum.slip > 1e-6 && sum.slip < 1e-4);
    }

    #[test]
    fn the_dose_on_patches_is_what_was_added() {
        let mesh = shapes::block(Vec3::new(-5.0, -5.0, 0.0), Vec3::new(5.0, 5.0, 20.0));
        let figure = Figure::from_mesh("block", &mesh, &Settings::default()).unwrap();
        let touch = pewter_on_steel();
        let tips = tips(&figure);
        let mut tally = Tally::new(&figure, &touch, &tips);
        let mut contact = knock(Vec3::new(5e-3, 5e-3, 20e-3));
        tally.add(&contact);
        contact.vertex = Some(0);
        contact.place = figure.hull[0];
        tally.add(&contact);
        let dose = tally.dose();
        use crate::dose::Channel;
        assert!((dose.total(Channel::Impact) - 8e-3).abs() < 1e-14);
        assert!((dose.total(Channel::Friction) - 9e-4).abs() < 1e-14);
        assert!((dose.total(Channel::Touches) - 2.0).abs() < 1e-12);
    }
}
