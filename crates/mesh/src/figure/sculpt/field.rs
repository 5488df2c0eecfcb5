//! Signed-distance pieces in millimetres and the ways to put them together.
//!
//! A [`Field`] is a list of [`Group`]s joined smoothly; a group is a list of pieces joined or cut
//! in order. Every piece carries the box that holds its solid, so that a block of the grid asks
//! only the pieces near it. Distances are exact for balls, rods and blocks and bounded estimates
//! for the rest: good enough near the surface, which is the only place where they are used.

use rayon::prelude::*;

/// [mm] a point.
pub type Point = [f64; 3];

/// [mm] narrowest fillet: a sharper inner corner comes out of the net as a saw.
const NARROWEST: f64 = 0.14;

/// What a field says where nothing is near.
const FAR: f64 = 1e6;

/// [mm] the box that holds a solid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Lowest corner.
    pub low: Point,
    /// Highest corner.
    pub high: Point,
}

impl Bounds {
    /// The box about `centre` reaching `reach` to either side.
    #[must_use]
    pub fn about(centre: Point, reach: Point) -> Bounds {
        Bounds {
            low: std::array::from_fn(|k| centre[k] - reach[k]),
            high: std::array::from_fn(|k| centre[k] + reach[k]),
        }
    }

    /// The smallest box that holds both.
    #[must_use]
    pub fn join(self, other: Bounds) -> Bounds {
        Bounds {
            low: std::array::from_fn(|k| self.low[k].min(other.low[k])),
            high: std::array::from_fn(|k| self.high[k].max(other.high[k])),
        }
    }

    /// [mm] shortest way between two boxes, 0 where they overlap.
    #[must_use]
    pub fn distance(&self, other: &Bounds) -> f64 {
        let gaps: Point = std::array::from_fn(|k| {
            (self.low[k] - other.high[k])
                .max(other.low[k] - self.high[k])
                .max(0.0)
        });
        length(gaps)
    }
}

type Distance = Box<dyn Fn(Point) -> f64 + Send + Sync>;

/// One solid: how far a point is from its surface, negative inside.
pub struct Piece {
    bounds: Bounds,
    distance: Distance,
}

impl Piece {
    /// A solid by its distance function.
    ///
    /// * `bounds`: holds every point where `distance` is negative
    pub fn new(bounds: Bounds, distance: impl Fn(Point) -> f64 + Send + Sync + 'static) -> Piece {
        Piece {
            bounds,
            distance: Box::new(distance),
        }
    }

    /// The same solid turned about the vertical through the origin, counter-clockwise seen from
    /// above, then moved.
    #[must_use]
    pub fn placed(self, degrees: f64, by: Point) -> Piece {
        let (sin, cos) = degrees.to_radians().sin_cos();
        let Bounds { low, high } = self.bounds;
        let corners = [
            [low[0], low[1]],
            [low[0], high[1]],
            [high[0], low[1]],
            [high[0], high[1]],
        ];
        let turned = corners.map(|[x, y]| [x * cos - y * sin + by[0], x * sin + y * cos + by[1]]);
        let pick = |axis: usize, f: fn(f64, f64) -> f64| {
            turned.iter().map(|c| c[axis]).fold(turned[0][axis], f)
        };
        let bounds = Bounds {
            low: [pick(0, f64::min), pick(1, f64::min), low[2] + by[2]],
            high: [pick(0, f64::max), pick(1, f64::max), high[2] + by[2]],
        };
        let inner = self.distance;
        Piece::new(bounds, move |p| {
            let (x, y) = (p[0] - by[0], p[1] - by[1]);
            inner([x * cos + y * sin, y * cos - x * sin, p[2] - by[2]])
        })
    }
}

/// How a piece meets what is there already.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Meeting {
    /// Added, with a fillet.
    Join(f64),
    /// Taken away, with a rounded edge.
    Cut(f64),
}

/// Pieces that belong together: an arm, a hat.
pub struct Group {
    /// What it is.
    pub name: &'static str,
    /// [mm] fillet to the rest of the figure.
    fillet: f64,
    bounds: Bounds,
    pieces: Vec<(Meeting, Piece)>,
}

impl Group {
    /// Starts a group with its first piece.
    ///
    /// * `fillet`: [mm] how softly the whole group meets the groups before it
    #[must_use]
    pub fn new(name: &'static str, fillet: f64, first: Piece) -> Group {
        Group {
            name,
            fillet: fillet.max(NARROWEST),
            bounds: first.bounds,
            pieces: vec![(Meeting::Join(0.0), first)],
        }
    }

    /// Adds a piece with a fillet [mm], at least [`NARROWEST`].
    #[must_use]
    pub fn join(mut self, fillet: f64, piece: Piece) -> Group {
        self.bounds = self.bounds.join(piece.bounds);
        self.pieces
            .push((Meeting::Join(fillet.max(NARROWEST)), piece));
        self
    }

    /// Takes a piece away with a rounded edge [mm].
    #[must_use]
    pub fn cut(mut self, rounding: f64, piece: Piece) -> Group {
        self.pieces.push((Meeting::Cut(rounding), piece));
        self
    }
}

/// A whole figure.
pub struct Field {
    groups: Vec<Group>,
}

impl Field {
    /// Joins the groups in the given order.
    #[must_use]
    pub fn new(groups: Vec<Group>) -> Field {
        Field { groups }
    }

    /// The groups, each as a field of its own: the parts a sculptor would model apart.
    #[must_use]
    pub fn apart(self) -> Vec<Field> {
        self.groups
            .into_iter()
            .map(|group| Field::new(vec![group]))
            .collect()
    }

    /// The same groups meeting without fillets: the plain union of the parts.
    #[must_use]
    pub fn unblended(mut self) -> Field {
        for group in &mut self.groups {
            group.fillet = 0.0;
        }
        self
    }

    /// [mm] the box that holds the solid.
    #[must_use]
    pub fn bounds(&self) -> Bounds {
        self.groups
            .iter()
            .map(|group| group.bounds)
            .reduce(Bounds::join)
            .unwrap_or(Bounds::about([0.0; 3], [0.0; 3]))
    }

    /// The field as seen from inside `place`: pieces farther than `reach` [mm] are left out.
    ///
    /// Where the full field is within `reach` minus the widest fillet of zero, the two agree.
    #[must_use]
    pub fn near(&self, place: &Bounds, reach: f64) -> Local<'_> {
        let groups = self
            .groups
            .iter()
            .filter(|group| group.bounds.distance(place) < reach)
            .map(|group| {
                let near = |entry: &&(Meeting, Piece)| entry.1.bounds.distance(place) < reach;
                (group.fillet, group.pieces.iter().filter(near).collect())
            })
            .collect();
        Local { groups }
    }

    /// [mm] signed distance estimate at `p`, asking every piece.
    #[must_use]
    pub fn at(&self, p: Point) -> f64 {
        self.near(&Bounds::about(p, [0.0; 3]), f64::INFINITY).at(p)
    }

    /// [mm3] volume of the solid, counted on a grid of points in a place of its own: knows
    /// nothing of the mesh.
    ///
    /// * `step_mm`: [mm] between points
    #[must_use]
    pub fn volume_mm3(&self, step_mm: f64) -> f64 {
        let Bounds { low, high } = self.bounds();
        let count = |k: usize| ((high[k] - low[k]) / step_mm).ceil() as usize + 1;
        let columns: Vec<usize> = (0..count(0) * count(1))
            .into_par_iter()
            .map(|column| {
                let (i, j) = (column / count(1), column % count(1));
                let x = low[0] + (i as f64 + 0.37) * step_mm;
                let y = low[1] + (j as f64 + 0.61) * step_mm;
                self.column_count([x, y], [low[2], high[2]], step_mm)
            })
            .collect();
        columns.iter().sum::<usize>() as f64 * step_mm.powi(3)
    }

    /// Points inside along one vertical, a dozen at a time so that each dozen asks few pieces.
    fn column_count(&self, [x, y]: [f64; 2], z: [f64; 2], step: f64) -> usize {
        let points = ((z[1] - z[0]) / step).ceil() as usize + 1;
        let height = |k: usize| z[0] + (k as f64 + 0.5) * step;
        let dozen = |first: usize| {
            let end = points.min(first + 12);
            let place = Bounds {
                low: [x, y, height(first)],
                high: [x, y, height(end)],
            };
            let local = self.near(&place, 2.0);
            (first..end)
                .filter(|&k| local.at([x, y, height(k)]) < 0.0)
                .count()
        };
        (0..points).step_by(12).map(dozen).sum()
    }
}

/// A field thinned to the pieces near one place.
pub struct Local<'a> {
    groups: Vec<(f64, Vec<&'a (Meeting, Piece)>)>,
}

impl Local<'_> {
    /// [mm] signed distance estimate.
    #[must_use]
    pub fn at(&self, p: Point) -> f64 {
        let mut figure = FAR;
        for (fillet, pieces) in &self.groups {
            let mut group = FAR;
            for (meeting, piece) in pieces {
                let d = (piece.distance)(p);
                group = match meeting {
                    Meeting::Join(k) => smooth_min(group, d, *k),
                    Meeting::Cut(k) => -smooth_min(-group, d, *k),
                };
            }
            figure = smooth_min(figure, group, *fillet);
        }
        figure
    }

    /// Gradient by central differences of step `h` [mm].
    #[must_use]
    pub fn gradient(&self, p: Point, h: f64) -> Point {
        std::array::from_fn(|k| {
            let (mut a, mut b) = (p, p);
            a[k] -= h;
            b[k] += h;
            (self.at(b) - self.at(a)) / (2.0 * h)
        })
    }
}

/// Minimum of two distances with a fillet of width `k` [mm] (quadratic blend; Quilez 2013, "Smooth
/// minimum", iquilezles.org, from memory).
#[must_use]
pub fn smooth_min(a: f64, b: f64, k: f64) -> f64 {
    let h = (k - (a - b).abs()).max(0.0);
    if h == 0.0 {
        return a.min(b);
    }
    a.min(b) - h * h / (4.0 * k)
}

/// Difference of two points.
#[must_use]
pub fn minus(a: Point, b: Point) -> Point {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

/// Scalar product.
#[must_use]
pub fn dot(a: Point, b: Point) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Length of a vector.
#[must_use]
pub fn length(a: Point) -> f64 {
    dot(a, a).sqrt()
}

#[cfg(test)]
mod tests {
    use super::super::shapes::{ball, rod};
    use super::*;

    #[test]
    fn a_counted_ball_has_the_volume_of_a_ball() {
        let field = Field::new(vec![Group::new("ball", 0.0, ball([1.0, 2.0, 3.0], 2.0))]);
        let exact = 4.0 / 3.0 * std::f64::consts::PI * 8.0;
        assert!((field.volume_mm3(0.1) / exact - 1.0).abs() < 2e-3);
    }

    #[test]
    fn cutting_removes_and_a_fillet_fills() {
        let two = |k| {
            Field::new(vec![
                Group::new("a", 0.0, ball([0.0; 3], 1.0)).join(k, ball([1.9, 0.0, 0.0], 1.0)),
            ])
        };
        let waist = [0.95, 0.5, 0.0];
        assert!(two(0.0).at(waist) > 0.0 && two(0.8).at(waist) < 0.0);
        let bored = Group::new("a", 0.0, ball([0.0; 3], 1.0))
            .cut(0.0, rod([0.0, 0.0, -2.0], [0.0, 0.0, 2.0], 0.3, 0.3));
        assert!((Field::new(vec![bored]).at([0.0; 3]) - 0.3).abs() < 1e-12);
    }

    #[test]
    fn a_turned_piece_keeps_its_box_about_it() {
        let piece = rod([2.0, 0.0, 0.0], [4.0, 0.0, 0.0], 0.5, 0.5).placed(90.0, [0.0, 0.0, 1.0]);
        let field = Field::new(vec![Group::new("a", 0.0, piece)]);
        assert!(field.at([0.0, 3.0, 1.0]) < -0.49);
        let b = field.bounds();
        assert!((b.high[1] - 4.5).abs() < 1e-12 && (b.low[0] + 0.5).abs() < 1e-12);
    }
}
