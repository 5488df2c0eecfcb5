//! A small figure for tests: a flat plate of patches, and doses booked on it.

use base::Vec3;
use base::random::stream;
use contact::dose::{Amounts, Dose, DoseRate, Imprint, Mark, Unit};
use mesh::figure::{
    Figure, Mesh, Patch, PatchId, Shape, Shells, Solid, SolidMethod, Surface, name,
};
use rand_distr::{Distribution, StandardNormal};

/// [m] side of a patch.
pub(crate) const SIDE: f64 = 0.5e-3;

/// A plate of `n` by `n` square patches; the given ones are edges of 0.2 mm radius.
pub(crate) fn plate(n: usize, edges: &[usize]) -> Figure {
    let patches = (0..n * n)
        .map(|i| {
            let (x, y) = ((i % n) as f64, (i / n) as f64);
            let edge = edges.contains(&i);
            Patch {
                centroid: Vec3::new(
                    (x - n as f64 / 2.0 + 0.5) * SIDE,
                    (y - n as f64 / 2.0 + 0.5) * SIDE,
                    0.0,
                ),
                normal: Vec3::z(),
                area: SIDE * SIDE,
                radius: if edge { 0.2e-3 } else { f64::INFINITY },
                shape: if edge { Shape::Edge } else { Shape::Face },
                exposed: true,
            }
        })
        .collect();
    Figure {
        name: "plate".into(),
        hash: [0; 32],
        mesh: Mesh::default(),
        shells: Shells::default(),
        health: mesh::figure::Health::default(),
        solid: Solid {
            volume: 1e-6,
            centre: Vec3::zeros(),
            inertia: base::Mat3::identity(),
            method: SolidMethod::Divergence,
        },
        surface: Surface::default(),
        patches,
        hull: Vec::new(),
        hull_faces: Vec::new(),
        reference: name::Reference::default(),
        notes: Vec::new(),
    }
}

/// Doses with the given friction work per area [J/m2] on each patch, replicates scattering by `cv`.
pub(crate) fn rate(map: &[f64], peak: f64, (replicates, cv): (usize, f64), seed: u64) -> DoseRate {
    let doses = (0..replicates)
        .map(|r| {
            let mut random = stream(seed, &["fixture"], r as u64);
            let marks = map
                .iter()
                .enumerate()
                .map(|(p, w)| {
                    let z: f64 = StandardNormal.sample(&mut random);
                    let friction = w * SIDE * SIDE * (1.0 + cv * z).max(0.0);
                    Mark {
                        patch: PatchId(p as u32),
                        amounts: Amounts {
                            friction,
                            peak: if *w > 0.0 { peak } else { 0.0 },
                            touches: 1.0,
                            ..Amounts::default()
                        },
                    }
                })
                .collect();
            let mut dose = Dose::none(map.len());
            dose.add(&Imprint { marks }, 1.0);
            dose
        })
        .collect();
    DoseRate::from_replicates(Unit::Stroke, doses, Vec::new())
}
