//! Stress-strain law of flexible foam in compression, its inverse, and the convex energy that
//! makes the pad solver's answer unique.

use super::foam_table::Table;

/// Shape of the curve, free of scale.
///
/// ```text
/// sigma(e) ~ plateau (1 - exp(-e/knee)) + slope e + pack (e/(1-e))^order
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shape {
    /// Height of the plateau in which the cells buckle.
    pub plateau: f64,
    /// Strain at which buckling sets in.
    pub knee: f64,
    /// Slope of the plateau.
    pub slope: f64,
    /// Strength of the densification.
    pub pack: f64,
    /// Order of the densification: 3 for open cells, 1.5 where the cells hold gas.
    pub order: f64,
}

/// Open-cell polyurethane. Stress at 25, 40 and 65 % as 1 : 1.10 : 2.0; start modulus 16.7 times
/// the stress at 40 %.
///
/// Engineering prior (grade D): support factor 2.0 is the usual 1.7-2.5 of conventional foam
/// (from memory); the start modulus lies at the upper end of 6-18 (Gibson and Ashby 1997,
/// Cellular Solids, from memory).
pub const OPEN_CELL: Shape = Shape {
    plateau: 2.6,
    knee: 0.05,
    slope: 1.2,
    pack: 0.375,
    order: 3.0,
};

/// Closed-cell polyethylene or EVA: the gas inside carries the load.
///
/// Meets 40, 75, 115 and 175 kPa at 25, 40, 50 and 60 % of a 33 kg/m3 cross-linked polyethylene
/// (a maker's data sheet) within 2 %. The form is Rusch's family (Rusch 1969, J. Appl. Polym.
/// Sci. 13:2297, from memory).
pub const CLOSED_CELL: Shape = Shape {
    plateau: 0.0759,
    knee: 0.04,
    slope: 1.171,
    pack: 0.853,
    order: 1.5,
};

/// Beyond this strain the curve is continued as a straight line: nothing is known there, and an
/// inverse with an end would stop the solver.
pub const LAST_STRAIN: f64 = 0.985;
/// Above this strain the law is used outside of what a foam's curve is measured on.
pub const CURVE_END: f64 = 0.65;

/// A foam: shape and scale.
#[derive(Debug, Clone)]
pub struct Foam {
    shape: Shape,
    /// [Pa] per unit of the shape.
    scale: f64,
    cld40: f64,
    table: Table,
}

impl Foam {
    /// A foam of given shape whose stress at 40 % compression is `cld40`.
    ///
    /// * `cld40`: \[Pa\] compression load deflection at 40 % (ISO 3386-1), above 0
    #[must_use]
    pub fn new(shape: Shape, cld40: f64) -> Foam {
        let scale = cld40 / shape.stress(0.4);
        let table = Table::new(&shape, scale, LAST_STRAIN);
        Foam {
            shape,
            scale,
            cld40,
            table,
        }
    }

    /// [Pa] stress at 40 % compression.
    #[must_use]
    pub fn cld40(&self) -> f64 {
        self.cld40
    }

    /// The curve's shape.
    #[must_use]
    pub fn shape(&self) -> Shape {
        self.shape
    }

    /// [Pa] slope at the start.
    #[must_use]
    pub fn start_modulus(&self) -> f64 {
        self.scale * self.shape.tangent(0.0)
    }

    /// [Pa] stress at a compressive strain; straight beyond [`LAST_STRAIN`].
    #[must_use]
    pub fn stress(&self, strain: f64) -> f64 {
        let inside = strain.min(LAST_STRAIN);
        let beyond = strain - inside;
        self.scale * (self.shape.stress(inside) + beyond * self.shape.tangent(LAST_STRAIN))
    }

    /// Compressive strain at a stress; linear with the start modulus in tension, linear beyond
    /// the curve's end.
    #[must_use]
    pub fn strain(&self, stress: f64) -> f64 {
        stress / self.start_modulus() + self.excess(stress).strain
    }

    /// Strain beyond the elastic one, its slope and its energy, at a stress.
    ///
    /// The three belong to each other exactly: the strain is piecewise linear in the stress and
    /// the energy its integral. A solver that lowers the energy step by step needs that.
    #[must_use]
    pub fn excess(&self, stress: f64) -> Excess {
        self.table.at(stress)
    }
}

/// Collapse of the cells at a stress: what the elastic law leaves out. Negative once the packed
/// foam is stiffer than at the start; the slope never falls below minus the elastic one.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Excess {
    /// Strain beyond stress over start modulus.
    pub strain: f64,
    /// [1/Pa] its slope.
    pub slope: f64,
    /// [Pa] its integral over the stress: complementary energy per volume.
    pub energy: f64,
}

impl Shape {
    /// Stress at a strain below 1, without scale.
    #[must_use]
    pub fn stress(&self, strain: f64) -> f64 {
        let e = strain.max(0.0);
        self.plateau * (1.0 - (-e / self.knee).exp())
            + self.slope * e
            + self.pack * (e / (1.0 - e)).powf(self.order)
    }

    /// Slope of the stress, without scale.
    #[must_use]
    pub fn tangent(&self, strain: f64) -> f64 {
        let e = strain.max(0.0);
        self.plateau / self.knee * (-e / self.knee).exp()
            + self.slope
            + self.pack * self.order * (e / (1.0 - e)).powf(self.order - 1.0) / (1.0 - e).powi(2)
    }
}

/// CLD40 from one scale reading under a flat disc.
///
/// ```text
/// CLD40 = F / (pi a^2 S) * sigma40 / sigma(d/H)
/// ```
///
/// * `force`: \[N\] scale reading times g
/// * `radius`: \[m\] of the disc
/// * `strain`: indentation over thickness
/// * `factor`: S, how much stiffer the disc finds the foam than a plate as wide as the foam
///
/// Errors of 50 % to 200 % follow when S is left out: see the disc table.
#[must_use]
pub fn cld40_from_disc(force: f64, radius: f64, strain: f64, factor: f64, shape: &Shape) -> f64 {
    let pressure = force / (std::f64::consts::PI * radius * radius);
    pressure / factor * shape.stress(0.4) / shape.stress(strain)
}

/// Friction coefficient from the angle at which a block begins to slide: tan(angle).
///
/// * `angle`: \[rad\] of the tilted board, 0 to below pi/2
#[must_use]
pub fn friction_from_tilt(angle: f64) -> f64 {
    angle.tan()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn foam() -> Foam {
        Foam::new(OPEN_CELL, 3500.0)
    }

    /// The numbers of the law the foam tables were made with (kPa at CLD40 3.5 kPa).
    #[test]
    fn reference_curve() {
        let f = foam();
        assert!((f.start_modulus() / 58_370.0 - 1.0).abs() < 1e-4);
        for (e, kpa) in [(0.05, 1.869), (0.25, 3.178), (0.40, 3.500), (0.65, 6.343)] {
            assert!(
                (f.stress(e) / 1e3 - kpa).abs() < 1e-3,
                "{e}: {}",
                f.stress(e)
            );
        }
        let support = f.stress(0.65) / f.stress(0.25);
        assert!(
            (1.7..=2.5).contains(&support),
            "usual support factor, from memory"
        );
    }

    /// Data sheet of a 33 kg/m3 cross-linked polyethylene foam: 40, 75, 115, 175 kPa.
    #[test]
    fn closed_cells_meet_a_data_sheet() {
        let f = Foam::new(CLOSED_CELL, 75e3);
        for (e, kpa) in [(0.25, 40.0), (0.5, 115.0), (0.6, 175.0)] {
            assert!(
                (f.stress(e) / (kpa * 1e3) - 1.0).abs() < 0.06,
                "{e}: {}",
                f.stress(e)
            );
        }
    }

    #[test]
    fn the_inverse_returns_the_strain_even_beyond_the_end() {
        for shape in [OPEN_CELL, CLOSED_CELL] {
            let f = Foam::new(shape, 3500.0);
            for e in [0.001, 0.01, 0.049, 0.2, 0.4, 0.7, 0.95, 0.98, 1.4] {
                let back = f.strain(f.stress(e));
                assert!(
                    (back - e).abs() < 3e-4 * (1.0 + e),
                    "{e} came back as {back}"
                );
            }
            assert!((f.strain(-100.0) + 100.0 / f.start_modulus()).abs() < 1e-15);
        }
    }

    /// Slope and energy belong to the strain: finite differences, at any scale.
    #[test]
    fn energy_slope_and_strain_belong_together() {
        let f = foam();
        for s in [10.0, 1000.0, 3000.0, 3400.0, 9000.0, 1e6, 1e9] {
            let h = s * 1e-4;
            let (low, mid, high) = (f.excess(s - h), f.excess(s), f.excess(s + h));
            let strain = (high.energy - low.energy) / (2.0 * h);
            assert!((strain / mid.strain - 1.0).abs() < 1e-4, "{s}");
            assert!(mid.slope >= -1.0 / f.start_modulus(), "convex at {s}");
        }
    }

    /// Scaling law: stresses scale with CLD40, strains do not.
    #[test]
    fn twice_the_firmness_is_twice_the_stress() {
        let (a, b) = (foam(), Foam::new(OPEN_CELL, 7000.0));
        for e in [0.02, 0.3, 0.6] {
            assert!((b.stress(e) / a.stress(e) - 2.0).abs() < 1e-12);
            assert!((b.strain(2.0 * a.stress(e)) / a.strain(a.stress(e)) - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn a_disc_reading_gives_the_firmness_back() {
        let (a, e, s) = (0.012, 0.25, 1.484);
        let force = std::f64::consts::PI * a * a * s * foam().stress(e);
        assert!((cld40_from_disc(force, a, e, s, &OPEN_CELL) - 3500.0).abs() < 1e-6);
        assert!((friction_from_tilt(30f64.to_radians()) - 1.0 / 3f64.sqrt()).abs() < 1e-12);
    }
}
