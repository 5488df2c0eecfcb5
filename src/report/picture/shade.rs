//! Light on samples: three lamps fixed to the camera, soft shadow in hollows, a shadow on the table.

use super::raster::{Camera, FINE, NOTHING, Seen, dot, unit, weights};
use super::scale::{BARE, Rgb, Scale};
use super::{Canvas, Surface};
use rayon::prelude::*;

/// [-] what a plain figure reflects, linear: pale primer.
const CAST: [f32; 3] = [0.66, 0.64, 0.605];
/// Paper at the top and at the bottom of a view, sRGB.
pub(super) const PAPER: [f32; 3] = [247.0, 246.0, 243.0];

/// Steps of the colour table.
const STEPS: usize = 1024;

/// Colours in linear light, ready for lamps.
pub(super) struct Palette {
    table: Vec<[f32; 3]>,
    bare: [f32; 3],
    scale: Option<Scale>,
    encode: Vec<u8>,
}

impl Palette {
    pub fn new(scale: Option<&Scale>) -> Palette {
        let linear = |c: Rgb| c.map(|v| to_linear(f32::from(v) / 255.0));
        let table = |s: &Scale| {
            (0..=STEPS)
                .map(|i| linear(s.colour_at(i as f64 / STEPS as f64)))
                .collect()
        };
        Palette {
            table: scale.map(table).unwrap_or_default(),
            bare: scale.map_or(CAST, |_| linear(BARE)),
            scale: scale.cloned(),
            encode: (0..=4096).map(|i| to_srgb(i as f32 / 4096.0)).collect(),
        }
    }

    /// Places on the bar for each vertex; negative for bare.
    pub fn places(&self, values: Option<&[f32]>) -> Vec<f32> {
        let (Some(scale), Some(values)) = (&self.scale, values) else {
            return Vec::new();
        };
        let place = |v: &f32| scale.place(f64::from(*v)).map_or(-1.0, |t| t as f32);
        values.iter().map(place).collect()
    }

    fn colour(&self, place: Option<f32>) -> [f32; 3] {
        match place {
            Some(t) if t >= 0.0 => self.table[(t * STEPS as f32 + 0.5) as usize],
            _ => self.bare,
        }
    }

    fn encode(&self, linear: f32) -> u8 {
        self.encode[(linear.clamp(0.0, 1.0) * 4096.0 + 0.5) as usize]
    }
}

fn to_linear(c: f32) -> f32 {
    if c <= 0.04045 {
        return c / 12.92;
    }
    ((c + 0.055) / 1.055).powf(2.4)
}

fn to_srgb(c: f32) -> u8 {
    let c = if c <= 0.003_130_8 {
        c * 12.92
    } else {
        1.055 * c.powf(1.0 / 2.4) - 0.055
    };
    (c * 255.0).round() as u8
}

/// All that is needed to light one view.
pub(super) struct Scene<'a> {
    pub surface: &'a Surface<'a>,
    pub normals: &'a [[[f32; 3]; 3]],
    pub places: &'a [f32],
    pub palette: &'a Palette,
    /// [mm] middle of the foot on the table and its radius.
    pub foot: ([f32; 3], f32),
    /// Colour of each place, instead of values.
    pub tint: Option<&'a Tint<'a>>,
}

/// A colour for a place of the surface, from its point [mm] and outward normal; `None` where the
/// plain cast shows.
pub type Tint<'a> = dyn Fn([f32; 3], [f32; 3]) -> Option<Rgb> + Sync + 'a;

/// Lights what was seen and gathers samples into pixels.
pub(super) fn light(scene: &Scene<'_>, camera: &Camera, seen: &Seen) -> Canvas {
    let [wide, high] = camera.size.map(|n| n / FINE);
    let hollow = hollows(scene, camera, seen);
    let mut canvas = Canvas::new(wide, high, [0; 3]);
    canvas
        .pixels
        .par_chunks_mut(wide)
        .enumerate()
        .for_each(|(y, row)| {
            for (x, pixel) in row.iter_mut().enumerate() {
                let paper = table(scene, camera, [x, y]);
                let tint = tint(scene, camera, seen, [x, y]);
                let mut sum = [0.0_f32; 3];
                for sub in 0..FINE * FINE {
                    let at = [x * FINE + sub % FINE, y * FINE + sub / FINE];
                    let lit = sample(scene, camera, seen, at, tint);
                    let shade = hollow[y * wide + x];
                    for k in 0..3 {
                        sum[k] += lit.map_or(paper[k], |c| (c[k] * shade).min(1.0));
                    }
                }
                *pixel = sum.map(|s| scene.palette.encode(s / (FINE * FINE) as f32));
            }
        });
    canvas
}

/// Linear colour of one sample, before hollows darken it.
fn sample(
    scene: &Scene<'_>,
    camera: &Camera,
    seen: &Seen,
    at: [usize; 2],
    tint: Option<[f32; 3]>,
) -> Option<[f32; 3]> {
    let index = at[1] * camera.size[0] + at[0];
    let number = seen.triangle[index];
    if number == NOTHING {
        return None;
    }
    let corners = scene.surface.triangles[number as usize];
    let projected = corners.map(|v| seen.projected[v as usize]);
    let w = weights(&projected, at[0] as f32 + 0.5, at[1] as f32 + 0.5)?.map(|v| v.clamp(0.0, 1.0));
    let normal = normal_at(scene, camera, number, w);
    let place = (!scene.places.is_empty())
        .then(|| mixed_place(corners.map(|v| scene.places[v as usize]), w));
    Some(lamps(
        tint.unwrap_or_else(|| scene.palette.colour(place)),
        normal,
    ))
}

/// Linear colour of a whole pixel where places have colours of their own: one question a pixel,
/// at the first of its samples, middle first, that meets the figure.
fn tint(scene: &Scene<'_>, camera: &Camera, seen: &Seen, [x, y]: [usize; 2]) -> Option<[f32; 3]> {
    let ask = scene.tint?;
    let half = FINE * FINE / 2;
    let (at, number) = std::iter::once(half)
        .chain(0..FINE * FINE)
        .map(|sub| [x * FINE + sub % FINE, y * FINE + sub / FINE])
        .map(|at| (at, seen.triangle[at[1] * camera.size[0] + at[0]]))
        .find(|(_, number)| *number != NOTHING)?;
    let corners = scene.surface.triangles[number as usize];
    let projected = corners.map(|v| seen.projected[v as usize]);
    let w = weights(&projected, at[0] as f32 + 0.5, at[1] as f32 + 0.5)?.map(|v| v.clamp(0.0, 1.0));
    let mixed = |p: [[f32; 3]; 3]| std::array::from_fn(|k| (0..3).map(|c| w[c] * p[c][k]).sum());
    let point = mixed(corners.map(|v| scene.surface.vertices_mm[v as usize]));
    let normal = unit(mixed(scene.normals[number as usize]));
    let colour = ask(point, normal)?;
    Some(colour.map(|c| to_linear(f32::from(c) / 255.0)))
}

/// The place on the bar between three corners; bare where bare corners weigh more than half, so
/// that the border of what was touched runs straight through a triangle.
fn mixed_place(p: [f32; 3], w: [f32; 3]) -> f32 {
    let (mut sum, mut weight) = (0.0, 0.0);
    for (place, share) in p.into_iter().zip(w) {
        if place >= 0.0 {
            sum += place * share;
            weight += share;
        }
    }
    if weight < 0.5 {
        return -1.0;
    }
    (sum / weight).clamp(0.0, 1.0)
}

fn normal_at(scene: &Scene<'_>, camera: &Camera, number: u32, w: [f32; 3]) -> [f32; 3] {
    let n = &scene.normals[number as usize];
    let mixed = std::array::from_fn(|k| w[0] * n[0][k] + w[1] * n[1][k] + w[2] * n[2][k]);
    let normal = unit(camera.turn(mixed));
    // The inside of an open mesh is lit as if it were the outside.
    if normal[2] < 0.0 {
        normal.map(|x| -x)
    } else {
        normal
    }
}

/// Key from the upper left, fill from the right, a rim from above and behind.
fn lamps(albedo: [f32; 3], n: [f32; 3]) -> [f32; 3] {
    const KEY: [f32; 3] = [-0.478, 0.574, 0.665];
    const FILL: [f32; 3] = [0.784, 0.118, 0.609];
    let key = dot(n, KEY).max(0.0);
    let fill = dot(n, FILL).max(0.0);
    let sky = 0.5 + 0.5 * n[1];
    let rim = (1.0 - n[2]).powi(3) * (0.35 + 0.65 * sky);
    // Half vector of the key: a satin sheen.
    let half = unit([KEY[0], KEY[1], KEY[2] + 1.0]);
    let sheen = 0.055 * dot(n, half).max(0.0).powi(28);
    let warm = [1.0, 0.975, 0.93];
    let cool = [0.90, 0.955, 1.0];
    std::array::from_fn(|k| {
        let light = 0.11 + 0.17 * sky + 0.84 * key * warm[k] + 0.21 * fill * cool[k];
        albedo[k] * (light + 0.16 * rim) + sheen
    })
}

/// How open each pixel is, 0.4 to 1: sums neighbours that rise above the tangent plane
/// (McGuire et al. 2011, "The Alchemy screen-space ambient obscurance algorithm", HPG).
fn hollows(scene: &Scene<'_>, camera: &Camera, seen: &Seen) -> Vec<f32> {
    let [wide, high] = camera.size.map(|n| n / FINE);
    let per_mm = camera.zoom / FINE as f32;
    let centre = |x: usize, y: usize| (y * FINE + FINE / 2) * camera.size[0] + x * FINE + FINE / 2;
    // A spiral of 24 neighbours, out to 2.6 mm.
    let spiral: Vec<[f32; 2]> = (0..24)
        .map(|i| {
            let t = (i as f32 + 0.5) / 24.0;
            let (sin, cos) = (i as f32 * 2.399_963).sin_cos();
            let r = 2.6 * t.powf(0.9) * per_mm;
            [r * cos, r * sin]
        })
        .collect();
    (0..wide * high)
        .into_par_iter()
        .map(|i| {
            let (x, y) = (i % wide, i / wide);
            let number = seen.triangle[centre(x, y)];
            if number == NOTHING {
                return 1.0;
            }
            let normal = normal_at(scene, camera, number, [1.0 / 3.0; 3]);
            let depth = seen.depth[centre(x, y)];
            let mut sum = 0.0;
            for [dx, dy] in &spiral {
                let (u, v) = (x as f32 + dx, y as f32 + dy);
                if u < 0.0 || v < 0.0 || u >= wide as f32 || v >= high as f32 {
                    continue;
                }
                let there = seen.depth[centre(u as usize, v as usize)];
                if there == f32::NEG_INFINITY {
                    continue;
                }
                let way = [dx / per_mm, -dy / per_mm, there - depth];
                let square = dot(way, way);
                // What stands far in front throws no soft shadow.
                let fade = (1.0 - way[2] / 5.0).clamp(0.0, 1.0);
                sum += fade * (dot(way, normal) - 0.06).max(0.0) / (square + 0.08);
            }
            (1.0 - 2.0 * sum / 24.0).max(0.4)
        })
        .collect()
}

/// Paper with the soft shadow of the foot, linear.
fn table(scene: &Scene<'_>, camera: &Camera, at: [usize; 2]) -> [f32; 3] {
    let paper = PAPER.map(|c| to_linear(c / 255.0));
    let (foot, radius) = scene.foot;
    let squash = camera.axes[2][2];
    if squash < 0.05 {
        return paper;
    }
    let middle = camera.project(foot);
    let x = ((at[0] * FINE) as f32 - middle[0]) / camera.zoom;
    let y = ((at[1] * FINE) as f32 - middle[1]) / camera.zoom / squash;
    let out = (x.hypot(y) - radius * 0.97).max(0.0);
    let shade = 1.0 - 0.42 * (-(out / 1.7).powi(2)).exp();
    paper.map(|c| c * shade)
}
