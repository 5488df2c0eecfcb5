//! Triangles to samples: orthographic projection and a depth buffer, no graphics card asked.

use super::Surface;
use rayon::prelude::*;

/// Samples along each side of a pixel.
pub(super) const FINE: usize = 3;

/// Where the eye is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct View {
    /// [deg] about the vertical: 0 sees the front, 90 the figure's own right side.
    pub turn: f64,
    /// [deg] looking down.
    pub tilt: f64,
}

/// Millimetres to samples of one view.
#[derive(Debug, Clone, Copy)]
pub(super) struct Camera {
    /// Right, up and towards the eye, in the figure's frame.
    pub axes: [[f32; 3]; 3],
    /// [mm] the point in the middle of the picture.
    pub middle: [f32; 3],
    /// Samples per millimetre.
    pub zoom: f32,
    /// Samples across and down.
    pub size: [usize; 2],
}

impl Camera {
    pub fn new(view: View, middle: [f32; 3], zoom: f32, size: [usize; 2]) -> Camera {
        let (st, ct) = (view.turn as f32).to_radians().sin_cos();
        let (sp, cp) = (view.tilt as f32).to_radians().sin_cos();
        Camera {
            axes: [
                [ct, -st, 0.0],
                [st * sp, ct * sp, cp],
                [-st * cp, -ct * cp, sp],
            ],
            middle,
            zoom,
            size,
        }
    }

    /// The same camera with the picture's middle `by` [mm] higher on the picture.
    pub fn raised(mut self, by: f32) -> Camera {
        self.middle = std::array::from_fn(|k| self.middle[k] + by * self.axes[1][k]);
        self
    }

    /// A direction of the figure's frame as right, up, towards the eye.
    pub fn turn(&self, v: [f32; 3]) -> [f32; 3] {
        self.axes.map(|a| a[0] * v[0] + a[1] * v[1] + a[2] * v[2])
    }

    /// Sample column, sample row and depth [mm] towards the eye.
    pub fn project(&self, p: [f32; 3]) -> [f32; 3] {
        let q = self.turn(std::array::from_fn(|k| p[k] - self.middle[k]));
        [
            0.5 * self.size[0] as f32 + q[0] * self.zoom,
            0.5 * self.size[1] as f32 - q[1] * self.zoom,
            q[2],
        ]
    }
}

/// What one view sees: per sample the triangle (or none) and its depth.
pub(super) struct Seen {
    pub triangle: Vec<u32>,
    pub depth: Vec<f32>,
    pub projected: Vec<[f32; 3]>,
}

/// No triangle.
pub(super) const NOTHING: u32 = u32::MAX;

/// Draws every triangle into a depth buffer; bands of rows in parallel, same result always.
pub(super) fn rasterise(surface: &Surface<'_>, camera: &Camera) -> Seen {
    let projected: Vec<[f32; 3]> = surface
        .vertices_mm
        .par_iter()
        .map(|v| camera.project(*v))
        .collect();
    let [width, height] = camera.size;
    let mut triangle = vec![NOTHING; width * height];
    let mut depth = vec![f32::NEG_INFINITY; width * height];
    let rows = height.div_ceil(8);
    triangle
        .par_chunks_mut(rows * width)
        .zip(depth.par_chunks_mut(rows * width))
        .enumerate()
        .for_each(|(band, (ids, depths))| {
            let from = band * rows;
            let to = from + ids.len() / width;
            for (number, corners) in surface.triangles.iter().enumerate() {
                let p = corners.map(|v| projected[v as usize]);
                draw(p, number as u32, (from, to, width), (ids, depths));
            }
        });
    Seen {
        triangle,
        depth,
        projected,
    }
}

/// Weights of the three corners at a sample, or `None` for a triangle seen edge on.
pub(super) fn weights(p: &[[f32; 3]; 3], x: f32, y: f32) -> Option<[f32; 3]> {
    let cross = |a: &[f32; 3], b: &[f32; 3]| (a[0] - x) * (b[1] - y) - (b[0] - x) * (a[1] - y);
    let w = [
        cross(&p[1], &p[2]),
        cross(&p[2], &p[0]),
        cross(&p[0], &p[1]),
    ];
    let total = w[0] + w[1] + w[2];
    (total.abs() > 1e-9).then(|| w.map(|v| v / total))
}

fn draw(
    p: [[f32; 3]; 3],
    number: u32,
    (from, to, width): (usize, usize, usize),
    (ids, depths): (&mut [u32], &mut [f32]),
) {
    let low = |k: usize| p[0][k].min(p[1][k]).min(p[2][k]);
    let high = |k: usize| p[0][k].max(p[1][k]).max(p[2][k]);
    let first_row = ((low(1) - 0.5).ceil().max(from as f32)) as usize;
    let end_row = ((high(1) + 0.5).floor().min(to as f32)).max(0.0) as usize;
    let first = (low(0) - 0.5).ceil().max(0.0) as usize;
    let end = ((high(0) + 0.5).floor().min(width as f32)).max(0.0) as usize;
    for row in first_row..end_row {
        for column in first..end {
            let Some(w) = weights(&p, column as f32 + 0.5, row as f32 + 0.5) else {
                return;
            };
            if w.iter().any(|&v| v < -1e-6) {
                continue;
            }
            let z = w[0] * p[0][2] + w[1] * p[1][2] + w[2] * p[2][2];
            let at = (row - from) * width + column;
            if z > depths[at] {
                depths[at] = z;
                ids[at] = number;
            }
        }
    }
}

/// Unit normals at the three corners of each triangle: the mean over neighbours that bend away
/// less than `crease` [deg], weighted by area. 0 gives flat triangles.
pub(super) fn corner_normals(surface: &Surface<'_>, crease: f32) -> Vec<[[f32; 3]; 3]> {
    let faces: Vec<[f32; 3]> = surface
        .triangles
        .iter()
        .map(|t| face_normal(surface, t))
        .collect();
    let mut start = vec![0_u32; surface.vertices_mm.len() + 1];
    for &v in surface.triangles.iter().flatten() {
        start[v as usize + 1] += 1;
    }
    for v in 1..start.len() {
        start[v] += start[v - 1];
    }
    let mut next = start.clone();
    let mut around = vec![0_u32; surface.triangles.len() * 3];
    for (number, corners) in surface.triangles.iter().enumerate() {
        for &v in corners {
            around[next[v as usize] as usize] = number as u32;
            next[v as usize] += 1;
        }
    }
    let limit = crease.to_radians().cos();
    surface
        .triangles
        .par_iter()
        .enumerate()
        .map(|(number, corners)| {
            let mine = unit(faces[number]);
            corners.map(|v| {
                let range = start[v as usize] as usize..start[v as usize + 1] as usize;
                let mut sum = faces[number];
                for &other in &around[range] {
                    let n = faces[other as usize];
                    if other as usize != number && dot(unit(n), mine) > limit {
                        sum = std::array::from_fn(|k| sum[k] + n[k]);
                    }
                }
                unit(sum)
            })
        })
        .collect()
}

fn face_normal(surface: &Surface<'_>, t: &[u32; 3]) -> [f32; 3] {
    let [a, b, c] = t.map(|v| surface.vertices_mm[v as usize]);
    let u: [f32; 3] = std::array::from_fn(|k| b[k] - a[k]);
    let v: [f32; 3] = std::array::from_fn(|k| c[k] - a[k]);
    [
        u[1] * v[2] - u[2] * v[1],
        u[2] * v[0] - u[0] * v[2],
        u[0] * v[1] - u[1] * v[0],
    ]
}

pub(super) fn dot(a: [f32; 3], b: [f32; 3]) -> f32 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(super) fn unit(a: [f32; 3]) -> [f32; 3] {
    let length = dot(a, a).sqrt();
    if length < 1e-30 {
        return [0.0, 0.0, 1.0];
    }
    a.map(|x| x / length)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_front_is_seen_from_minus_y_and_the_right_from_minus_x() {
        let camera = |turn| Camera::new(View { turn, tilt: 0.0 }, [0.0; 3], 1.0, [100, 100]);
        let near = |a: [f32; 3], b: [f32; 3]| a.iter().zip(b).all(|(x, y)| (x - y).abs() < 1e-5);
        assert!(near(camera(0.0).turn([1.0, -2.0, 3.0]), [1.0, 3.0, 2.0]));
        assert!(near(camera(90.0).turn([-1.0, -2.0, 3.0]), [2.0, 3.0, 1.0]));
    }

    #[test]
    fn the_nearer_triangle_wins() {
        let vertices_mm = [
            [-1.0, 0.0, -1.0],
            [1.0, 0.0, -1.0],
            [0.0, 0.0, 1.0],
            [-1.0, -1.0, -1.0],
            [1.0, -1.0, -1.0],
            [0.0, -1.0, 1.0],
        ];
        let surface = Surface {
            vertices_mm: &vertices_mm,
            triangles: &[[3, 4, 5], [0, 1, 2]],
            values: None,
        };
        let camera = Camera::new(
            View {
                turn: 0.0,
                tilt: 0.0,
            },
            [0.0; 3],
            10.0,
            [40, 40],
        );
        let seen = rasterise(&surface, &camera);
        assert_eq!(seen.triangle[20 * 40 + 20], 0);
        assert_eq!(seen.triangle[0], NOTHING);
        let covered = seen.triangle.iter().filter(|&&t| t != NOTHING).count();
        assert!(
            (190..=212).contains(&covered),
            "area 200 samples, got {covered}"
        );
    }
}
