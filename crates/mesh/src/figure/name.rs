//! Names of places in plain words.
//!
//! Left and right are those of a person who faces the figure: the sword in a figure's right hand
//! is on that person's left. Words that use them end in "as you face it", so that nobody takes
//! them for the figure's own.

use super::patch::Shape;
use super::{Figure, Mesh};
use base::Vec3;

/// What the words need to know of a figure.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Reference {
    /// [m]
    pub height: f64,
    /// [m] half the wider side of the footprint.
    pub foot: f64,
    /// [m] height of the flat base, 0 without one.
    pub base: f64,
}

impl Reference {
    /// Measures a mesh in the figure's frame.
    #[must_use]
    pub fn of(mesh: &Mesh) -> Reference {
        let height = mesh.bounds().map_or(0.0, |(_, high)| high.z);
        let wide = |from: f64, to: f64| {
            mesh.vertices
                .iter()
                .filter(|p| (from..=to).contains(&p.z))
                .map(|p| p.x.hypot(p.y))
                .fold(0.0, f64::max)
        };
        let foot = wide(0.0, 0.02 * height);
        // The base ends where the outline has drawn in to four fifths of the foot.
        let step = 0.02 * height;
        let base = (1..15)
            .map(|i| f64::from(i) * step)
            .find(|z| wide(*z, z + step) < 0.8 * foot)
            .unwrap_or(0.0);
        Reference { height, foot, base }
    }
}

impl Figure {
    /// A place in words: what it is, where around the figure, how high.
    ///
    /// * `point`: [m] in the figure's frame
    #[must_use]
    pub fn place_words(&self, point: &Vec3, shape: Shape) -> String {
        words(&self.reference, point, shape)
    }
}

/// As [`Figure::place_words`], from measures alone.
#[must_use]
pub fn words(reference: &Reference, point: &Vec3, shape: Shape) -> String {
    let what = match shape {
        Shape::Tip => "tip",
        Shape::Edge => "edge",
        Shape::Face => "face",
        Shape::Hollow => "hollow",
    };
    let out = point.x.hypot(point.y);
    let part = if point.z < 0.004 * reference.height {
        if out < 0.85 * reference.foot {
            "underside"
        } else {
            "foot of the base"
        }
    } else if point.z < reference.base && out > 0.85 * reference.foot {
        "rim of the base"
    } else if point.z < reference.base {
        "top of the base"
    } else if point.z > 0.97 * reference.height {
        "very top"
    } else {
        ""
    };
    let centre = out < 0.12 * reference.foot.max(0.1 * reference.height);
    let side = if centre {
        "in the middle"
    } else {
        sector(point)
    };
    let mut words = what.to_string();
    for piece in [part, side] {
        if !piece.is_empty() {
            words += ", ";
            words += piece;
        }
    }
    let height_mm = point.z * 1e3;
    words
        + &if height_mm < 9.95 {
            format!(", {height_mm:.1} mm up")
        } else {
            format!(", {height_mm:.0} mm up")
        }
}

/// One of eight directions, seen by a person who faces the figure.
fn sector(point: &Vec3) -> &'static str {
    const NAMES: [&str; 8] = [
        "right as you face it",
        "back right as you face it",
        "back",
        "back left as you face it",
        "left as you face it",
        "front left as you face it",
        "front",
        "front right as you face it",
    ];
    let eighth = (point.y.atan2(point.x) / std::f64::consts::FRAC_PI_4).round();
    NAMES[(eighth as i64).rem_euclid(8) as usize]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_have_plain_words() {
        let r = Reference {
            height: 0.040,
            foot: 0.0125,
            base: 0.003,
        };
        let at = |x: f64, y: f64, z: f64, s| words(&r, &(Vec3::new(x, y, z) * 1e-3), s);
        assert_eq!(
            at(-5.0, -5.0, 34.0, Shape::Tip),
            "tip, front left as you face it, 34 mm up"
        );
        assert_eq!(at(0.0, 6.0, 20.0, Shape::Face), "face, back, 20 mm up");
        assert_eq!(
            at(12.5, 0.3, 2.0, Shape::Edge),
            "edge, rim of the base, right as you face it, 2.0 mm up"
        );
        assert_eq!(
            at(0.1, 0.0, 39.9, Shape::Tip),
            "tip, very top, in the middle, 40 mm up"
        );
        assert_eq!(
            at(3.0, 3.0, 0.0, Shape::Face),
            "face, underside, back right as you face it, 0.0 mm up"
        );
    }
}
