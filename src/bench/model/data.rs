//! What the model is fitted to.

use base::{Error, Result};

/// One grade by one grader.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    /// Which specimen.
    pub specimen: usize,
    /// Which area.
    pub area: usize,
    /// Which inspection.
    pub inspection: usize,
    /// Which grader.
    pub grader: usize,
    /// Grade 0 to 5.
    pub grade: u8,
}

impl Reading {
    /// Every reading of a complete bench, none graded above 0 yet.
    #[must_use]
    pub fn all(specimens: usize, areas: usize, inspections: usize, graders: usize) -> Vec<Reading> {
        let mut readings = Vec::with_capacity(specimens * areas * inspections * graders);
        for specimen in 0..specimens {
            for area in 0..areas {
                for inspection in 0..inspections {
                    for grader in 0..graders {
                        readings.push(Reading {
                            specimen,
                            area,
                            inspection,
                            grader,
                            grade: 0,
                        });
                    }
                }
            }
        }
        readings
    }
}

/// A bench as the model sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    /// \[ln(m2/J)\] prior centre of ln(k_E / h) of each system.
    pub centre: Vec<f64>,
    /// Factor columns of each system (all of one length, which may be 0).
    pub factors: Vec<Vec<f64>>,
    /// The system of each specimen.
    pub system_of: Vec<usize>,
    /// \[ln(J/m2)\] predicted dose per unit of exposure of each area.
    pub ln_dose: Vec<f64>,
    /// \[ln units\] standard deviation of that dose over the simulator's seeds.
    pub ln_dose_sd: Vec<f64>,
    /// \[exposure units\] each inspection, above 0.
    pub exposure: Vec<f64>,
    /// Number of graders.
    pub graders: usize,
    /// All grades of rubbing.
    pub readings: Vec<Reading>,
}

impl Trial {
    /// Refuses what the model cannot be fitted to.
    ///
    /// # Errors
    /// Lists of unequal length, indices out of range, a dose or exposure that is not a positive
    /// finite number, a grade above 5, no reading.
    pub fn check(&self) -> Result<()> {
        let systems = self.centre.len();
        let width = self.factors.first().map_or(0, Vec::len);
        let sound = self.factors.len() == systems
            && self.factors.iter().all(|row| row.len() == width)
            && self.ln_dose_sd.len() == self.ln_dose.len()
            && self.system_of.iter().all(|s| *s < systems)
            && self.readings.iter().all(|r| {
                r.specimen < self.system_of.len()
                    && r.area < self.ln_dose.len()
                    && r.inspection < self.exposure.len()
                    && r.grader < self.graders
            });
        if !sound {
            return Err(Error::input(
                "the bench refers to a system, specimen, area, inspection or grader it does not list",
            ));
        }
        if self.readings.is_empty() {
            return Err(Error::input("there is no grade to fit")
                .hint("only readings of kind R at an exposure above 0 are fitted"));
        }
        if self.readings.iter().any(|r| r.grade > 5) {
            return Err(Error::input("a grade is above 5"));
        }
        let positive = self.exposure.iter().all(|n| n.is_finite() && *n > 0.0);
        let numbers = self
            .ln_dose
            .iter()
            .chain(&self.ln_dose_sd)
            .chain(&self.centre);
        if !positive || !numbers.copied().all(f64::is_finite) {
            return Err(Error::input(
                "every area needs a dose above 0 and every fitted inspection an exposure above 0",
            )
            .hint(
                "an area the simulator says gets nothing is the shadow area: mark it shadow = 1",
            ));
        }
        Ok(())
    }
}
