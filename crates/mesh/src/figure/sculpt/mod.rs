//! The demo figure as code: a stout ferry porter with boat-hook and lantern on a round of jetty.
//!
//! Our own design, so that every program, test and picture has a figure that may be shipped, with
//! a known true volume. Everything here is in **millimetres** (the figure's frame otherwise: z up,
//! base at z = 0, front towards -y): load it like any figure file.

mod field;
mod gear;
mod health;
mod nets;
mod person;
mod shapes;
mod simplify;
mod versions;

pub use field::{Bounds, Field, Group, Piece, Point};
pub use health::{Health, health};
pub use nets::triangulate;
pub use simplify::simplify;
pub use versions::{Version, versions};

use super::Mesh;

/// The porter as a field.
#[must_use]
pub fn porter_field() -> Field {
    let mut groups = gear::gear();
    groups.extend(person::person());
    Field::new(groups)
}

/// [mm] net of the porter: fine enough for tips of 0.5 mm.
pub const GRID_MM: f64 = 0.15;

/// The porter as one closed shell, in millimetres, with about `triangles` triangles.
///
/// Made on the fine net and simplified, so that a light mesh keeps its thin tips: 50 000 for
/// looking and trying, 150 000 for results to show.
#[must_use]
pub fn porter(triangles: usize) -> Mesh {
    let mut mesh = simplify(&triangulate(&porter_field(), GRID_MM), triangles);
    // Simplifying may dip a corner of the underside below the table by a hair.
    for vertex in &mut mesh.vertices {
        vertex.z = vertex.z.max(0.0);
    }
    mesh
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use std::sync::OnceLock;

    /// One porter for all tests: making it takes a second or two.
    pub fn light() -> &'static Mesh {
        static LIGHT: OnceLock<Mesh> = OnceLock::new();
        LIGHT.get_or_init(|| porter(50_000))
    }

    #[test]
    fn the_porter_is_one_closed_shell_of_the_size_asked() {
        let mesh = light();
        let report = health(mesh);
        assert!(report.watertight && report.shells == 1, "{report:?}");
        // Lantern cage, its ring and handle, arms, cloak: many handles, each worth -2.
        assert!(report.euler < 0 && report.euler % 2 == 0, "{report:?}");
        assert!((49_000..=50_000).contains(&mesh.triangles.len()));
        let (low, high) = mesh.bounds().unwrap();
        assert!((36.0..40.0).contains(&high.z) && low.z == 0.0);
        assert!((24.8..25.1).contains(&(high.y - low.y)), "25 mm base");
        let counted = porter_field().volume_mm3(0.25);
        assert!(
            (report.volume / counted - 1.0).abs() < 5e-3,
            "{report:?} {counted}"
        );
    }

    /// Simplified corners stay within 0.02 mm of the field, tips included.
    #[test]
    fn a_light_porter_keeps_its_shape_and_its_tips() {
        let (mesh, field) = (light(), porter_field());
        let mut off: Vec<f64> = mesh
            .vertices
            .iter()
            .step_by(11)
            .map(|v| field.at([v.x, v.y, v.z]).abs())
            .collect();
        off.sort_by(f64::total_cmp);
        let at = |q: f64| off[((off.len() - 1) as f64 * q) as usize];
        assert!(
            at(0.5) < 0.003 && at(0.99) < 0.03,
            "{} {}",
            at(0.5),
            at(0.99)
        );
        let (_, high) = mesh.bounds().unwrap();
        assert!(
            (high.z - field.bounds().high[2]).abs() < 0.05,
            "the spike keeps its tip"
        );
    }

    #[test]
    fn the_same_sculpt_on_one_thread_and_on_three() {
        let on = |threads| {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap();
            pool.install(|| simplify(&triangulate(&porter_field(), 0.4), 20_000))
        };
        let (one, three) = (on(1), on(3));
        assert_eq!(one.triangles, three.triangles);
        assert!(
            one.vertices
                .iter()
                .zip(&three.vertices)
                .all(|(a, b)| a == b)
        );
    }
}
