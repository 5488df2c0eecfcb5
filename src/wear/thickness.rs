//! How thick the coats lie on each patch.

use super::specimen::Film;
use contact::law::film::edge_retention;
use mesh::figure::{Patch, Shape};

/// What one painter did with one coat: a draw from the priors, or their medians.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Laid {
    /// [m] on flats.
    pub flat: f64,
    /// [m] edge radius that keeps half.
    pub edge_radius: f64,
    /// Hollow over flat.
    pub hollow: f64,
}

impl Laid {
    /// At given standard normal draws of thickness, edge radius and hollow.
    #[must_use]
    pub fn at(film: &Film, z: [f64; 3]) -> Laid {
        Laid {
            flat: film.thickness.at(z[0]),
            edge_radius: film.material.edge_radius.at(z[1]),
            hollow: film.material.hollow.at(z[2]),
        }
    }

    /// The medians.
    #[must_use]
    pub fn median(film: &Film) -> Laid {
        Laid::at(film, [0.0; 3])
    }

    /// [m] median thickness on a patch: thinner over edges and tips by the patch's own radius,
    /// thicker in hollows.
    #[must_use]
    pub fn on(&self, patch: &Patch) -> f64 {
        match patch.shape {
            Shape::Hollow => self.flat * self.hollow,
            Shape::Tip => {
                // a tip curves both ways and loses film to both sides
                let kept = edge_retention(patch.radius, self.edge_radius);
                self.flat * kept.powf(TIP_POWER)
            }
            Shape::Edge | Shape::Face => self.flat * edge_retention(patch.radius, self.edge_radius),
        }
    }
}

/// A doubly curved tip keeps the edge's share to this power. The pull of surface tension goes with
/// the mean curvature, which at equal radii is twice an edge's; 1 would treat a tip as an edge, 2
/// as two edges one after the other. Engineering prior.
pub const TIP_POWER: f64 = 1.5;

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::reference::Stock;
    use base::Vec3;

    pub(crate) fn patch(shape: Shape, radius: f64) -> Patch {
        Patch {
            centroid: Vec3::zeros(),
            normal: Vec3::z(),
            area: 0.25e-6,
            radius,
            shape,
            exposed: true,
        }
    }

    /// Prior rows: brushed edges of 0.1-0.3 mm keep 0.45 (0.2-0.8), sprayed 0.7 (0.4-1.1).
    #[test]
    fn edges_tips_and_hollows() {
        let stock = Stock::load().unwrap();
        let film = |name: &str| {
            let material = stock.film(name).unwrap();
            let thickness = material.thickness.clone();
            Film {
                material,
                thickness,
            }
        };
        let brush = Laid::median(&film("acrylic paint, brush"));
        let spray = Laid::median(&film("acrylic paint, airbrush"));
        let edge = patch(Shape::Edge, 0.2e-3);
        let flat = patch(Shape::Face, f64::INFINITY);
        let kept = |l: &Laid| l.on(&edge) / l.on(&flat);
        assert!((kept(&brush) - 0.444).abs() < 1e-3 && (kept(&spray) - 0.714).abs() < 1e-3);
        assert!(brush.on(&patch(Shape::Tip, 0.2e-3)) < brush.on(&edge));
        assert!((brush.on(&patch(Shape::Hollow, f64::INFINITY)) - 40e-6).abs() < 1e-15);
    }
}
