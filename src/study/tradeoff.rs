//! Thick stacks: each more topcoat rubs through later and chips sooner.

use crate::reference::Stock;
use crate::wear::{Film, Law, Specimen, Treatment, assess, layers, units_through};
use base::Result;
use contact::dose::Amounts;
use contact::law::chip::ChipClass;
use mesh::figure::Patch;
use serde::{Deserialize, Serialize};

/// One stack.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Rung {
    /// Topcoats added to the specimen's own.
    pub added: usize,
    /// [m] all films on flats.
    pub thickness: f64,
    /// [units of the rubbing exposure] until all films are through on the patch, at the medians.
    pub rubbing_life: f64,
    /// Delamination drive over toughness in the knocking exposure.
    pub delamination: f64,
    /// Larger of dent and delamination index.
    pub chip_index: f64,
    /// Its class.
    pub chip_class: ChipClass,
}

/// One patch rubbed by one exposure and knocked by another, per unit of each.
#[derive(Debug, Clone, Copy)]
pub struct RubAndKnock<'a> {
    /// The patch.
    pub patch: &'a Patch,
    /// Counterface of the rubbing.
    pub rubbed_by: &'a Treatment,
    /// Dose of the rubbing.
    pub rub: &'a Amounts,
    /// Dose of the knocking.
    pub knock: &'a Amounts,
}

/// Rows for 0 to `most` more topcoats of one kind.
///
/// # Errors
/// When the coat is not in the stock.
pub fn thick_stacks(
    stock: &Stock,
    specimen: &Specimen,
    case: RubAndKnock<'_>,
    (coat, most): (&str, usize),
) -> Result<Vec<Rung>> {
    (0..=most)
        .map(|added| {
            let mut stack = specimen.clone();
            for _ in 0..added {
                let material = stock.film(coat)?;
                let thickness = material.thickness.clone();
                stack.films.push(Film {
                    material,
                    thickness,
                });
            }
            let modifiers = case.rubbed_by.modifiers;
            let t = Treatment::new(stock, &stack, &case.rubbed_by.counterface, modifiers)?;
            let rubbed = layers(&stack, &t, case.patch, case.rub);
            let chip = assess(&stack, &t, case.patch, (case.knock, 1.0)).chip;
            Ok(Rung {
                added,
                thickness: stack.total_thickness(),
                rubbing_life: units_through(&rubbed, rubbed.len(), Law::Energy),
                delamination: chip.delamination,
                chip_index: chip.index(),
                chip_class: chip.class,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::fixture::plate;
    use super::*;
    use crate::reference::Modifiers;

    #[test]
    fn more_topcoat_rubs_longer_and_lets_go_sooner() {
        let stock = Stock::load().unwrap();
        let coats = ["acrylic primer, aerosol", "acrylic paint, brush"];
        let s = Specimen::from_stock(&stock, "s", "tin pewter", &coats).unwrap();
        let t = Treatment::new(&stock, &s, "soft foam", Modifiers::default()).unwrap();
        let figure = plate(2, &[0]);
        let rub = Amounts {
            friction: 1e-5,
            peak: 5e4,
            ..Amounts::default()
        };
        let knock = Amounts {
            dent: 1e-4,
            peak: 120e6,
            touches: 1.0,
            ..Amounts::default()
        };
        let case = RubAndKnock {
            patch: &figure.patches[0],
            rubbed_by: &t,
            rub: &rub,
            knock: &knock,
        };
        let rungs = thick_stacks(&stock, &s, case, ("gloss topcoat, aerosol", 3)).unwrap();
        for pair in rungs.windows(2) {
            assert!(pair[1].rubbing_life > pair[0].rubbing_life);
            assert!(pair[1].delamination > pair[0].delamination);
            assert!(pair[1].chip_index >= pair[0].chip_index);
        }
    }
}
