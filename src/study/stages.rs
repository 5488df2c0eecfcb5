//! Dose film by film: when the outer film is gone, the exposure goes on with the friction of the
//! film now exposed.

use crate::wear::{Specimen, Treatment};
use base::{Note, Result, note::Topic};
use contact::dose::DoseRate;

/// Asks a closure for the dose with each film of a specimen outermost.
///
/// Films of equal friction share one answer. The list goes into [`super::Exposed::rates`].
///
/// * `dose`: dose per unit at a friction; it may run an engine
///
/// # Errors
/// Whatever the closure refuses.
pub fn stages(
    specimen: &Specimen,
    treatment: &Treatment,
    mut dose: impl FnMut(f64) -> Result<DoseRate>,
) -> Result<Vec<DoseRate>> {
    let mut known: Vec<(f64, DoseRate)> = Vec::new();
    let mut list = Vec::with_capacity(specimen.films.len());
    for film in treatment.films.iter().rev() {
        let friction = film.friction.value;
        let rate = match known.iter().find(|(f, _)| *f == friction) {
            Some((_, rate)) => rate.clone(),
            None => {
                let rate = dose(friction)?;
                known.push((friction, rate.clone()));
                rate
            }
        };
        list.push(rate);
    }
    list.reverse();
    Ok(list)
}

/// The cheap way: one dose for all films, scaled by friction where the work follows it. Says so.
#[must_use]
pub fn stages_by_scaling(treatment: &Treatment, outer: &DoseRate) -> (Vec<DoseRate>, Option<Note>) {
    let Some(top) = treatment.outer_friction().map(|f| f.value) else {
        return (vec![outer.clone()], None);
    };
    let rates: Vec<DoseRate> = treatment
        .films
        .iter()
        .map(|film| {
            let ratio = (film.friction.value / top).powf(treatment.work_follows_friction);
            scaled(outer, ratio)
        })
        .collect();
    let note = (treatment.work_follows_friction != 1.0).then(|| {
        Note::new(
            Topic::Limit,
            format!(
                "on {}: films below the outer one were given the outer film's dose",
                treatment.counterface
            ),
        )
    });
    (rates, note)
}

/// A dose rate with its friction work multiplied.
fn scaled(rate: &DoseRate, times: f64) -> DoseRate {
    use contact::dose::{Amounts, Dose, Imprint, Mark};
    use mesh::figure::PatchId;
    let one = |dose: &Dose| {
        let mut copy = Dose::none(dose.totals().len());
        let marks = dose.totals().iter().enumerate().map(|(p, a)| Mark {
            patch: PatchId(p as u32),
            amounts: Amounts {
                friction: a.friction * times,
                ..*a
            },
        });
        copy.add(
            &Imprint {
                marks: marks.collect(),
            },
            1.0,
        );
        copy
    };
    DoseRate::from_replicates(
        rate.unit,
        rate.replicates.iter().map(one).collect(),
        rate.notes.clone(),
    )
}

#[cfg(test)]
mod tests {
    use super::super::fixture::rate;
    use super::*;
    use crate::reference::{Modifiers, Stock};
    use contact::dose::Channel;

    #[test]
    fn each_film_gets_the_dose_of_its_own_friction() {
        let stock = Stock::load().unwrap();
        let coats = [
            "acrylic primer, aerosol",
            "acrylic paint, brush",
            "PU topcoat satin, airbrush",
        ];
        let s = Specimen::from_stock(&stock, "s", "ABS", &coats).unwrap();
        let t = Treatment::new(&stock, &s, "soft foam", Modifiers::default()).unwrap();
        let mut asked = 0;
        let list = stages(&s, &t, |mu| {
            asked += 1;
            Ok(rate(&[mu * 100.0; 4], 1e5, (2, 0.0), 1))
        })
        .unwrap();
        assert_eq!(
            (list.len(), asked),
            (3, 2),
            "primer and paint are equally rough"
        );
        let total = |i: usize| list[i].mean.total(Channel::Friction);
        assert!((total(1) / total(2) - 0.75 / 0.45).abs() < 1e-9);
        // on a pad of set load scaling gives the same without asking
        let (cheap, note) = stages_by_scaling(&t, &list[2]);
        assert!(note.is_none());
        assert!((cheap[1].mean.total(Channel::Friction) - total(1)).abs() < 1e-12);
    }
}
