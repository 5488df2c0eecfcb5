//! The sheet that tells where to look: places outlined and labelled in the four views.

use super::canvas::{Align, Canvas};
use super::raster::{Camera, FINE, NOTHING, Seen, rasterise, unit, weights};
use super::shade::Tint;
use super::sheet::{INK, More, SOFT, around, extent, fit, ink, strip};
use super::text::Writer;
use super::{Rgb, Sheet, Surface};
use base::Result;
use rayon::prelude::*;

/// [px] width of one view.
const WIDE: usize = 400;
/// [px] half the width of an outline.
const PEN: i32 = 1;
/// [px] least height between two labels.
const LINE: f32 = 26.0;
/// Fewer pixels of a place than this in a view carry no label there.
const FEW: usize = 100;
const WHITE: Rgb = [255, 255, 255];

/// Tells from a point [mm] and an outward normal which of some things lies there.
pub type Which<'a> = dyn Fn([f32; 3], [f32; 3]) -> Option<usize> + Sync + 'a;

/// Places to be outlined.
pub struct Outlines<'a> {
    /// Which place lies where.
    pub which: &'a Which<'a>,
    /// A short label of each.
    pub labels: &'a [String],
    /// A colour of each.
    pub colours: &'a [Rgb],
    /// What the colours and outlines mean, in a few words.
    pub legend: String,
}

/// Front, right, back and left with outlined places, 1600 px wide.
///
/// # Errors
/// As [`super::four_views`].
pub fn outlined(surface: &Surface<'_>, sheet: &Sheet, outlines: &Outlines<'_>) -> Result<Canvas> {
    let colour = |p: [f32; 3], n: [f32; 3]| {
        let place = (outlines.which)(p, n)?;
        outlines.colours.get(place).copied()
    };
    let drawn = Drawn {
        outlines,
        tint: &colour,
    };
    strip(surface, sheet, &around(), WIDE, Some(&drawn))
}

/// [mm2] of each of `count` things that each of the four views sees, as the eye sees it: surface
/// turned away counts less.
///
/// # Errors
/// As [`super::four_views`].
pub fn seen_in_views(
    surface: &Surface<'_>,
    which: &Which<'_>,
    count: usize,
) -> Result<Vec<[f64; 4]>> {
    let views = around();
    let extent = extent(surface)?;
    let (tall, zoom, shift) = fit(surface, &extent, &views, WIDE);
    let mut sums = vec![[0.0; 4]; count];
    for (v, (view, _)) in views.iter().enumerate() {
        let size = [WIDE * FINE, tall * FINE];
        let camera = Camera::new(*view, extent.middle, zoom * FINE as f32, size).raised(shift);
        let seen = rasterise(surface, &camera);
        let pixel = 1.0 / f64::from(zoom).powi(2);
        for thing in pixels(surface, &camera, &seen, which).into_iter().flatten() {
            if let Some(sum) = sums.get_mut(thing) {
                sum[v] += pixel;
            }
        }
    }
    Ok(sums)
}

/// What lies in the middle of each pixel.
fn pixels(
    surface: &Surface<'_>,
    camera: &Camera,
    seen: &Seen,
    which: &Which<'_>,
) -> Vec<Option<usize>> {
    let [wide, high] = camera.size.map(|n| n / FINE);
    (0..wide * high)
        .into_par_iter()
        .map(|i| {
            let at = [i % wide, i / wide].map(|p| p * FINE + FINE / 2);
            let number = seen.triangle[at[1] * camera.size[0] + at[0]];
            if number == NOTHING {
                return None;
            }
            let corners = surface.triangles[number as usize];
            let projected = corners.map(|v| seen.projected[v as usize]);
            let w = weights(&projected, at[0] as f32 + 0.5, at[1] as f32 + 0.5)?;
            let p = corners.map(|v| surface.vertices_mm[v as usize]);
            let point = std::array::from_fn(|k| (0..3).map(|c| w[c] * p[c][k]).sum());
            which(point, normal(p))
        })
        .collect()
}

fn normal(p: [[f32; 3]; 3]) -> [f32; 3] {
    let edge = |a: usize, b: usize| -> [f32; 3] { std::array::from_fn(|k| p[b][k] - p[a][k]) };
    let (u, v) = (edge(0, 1), edge(0, 2));
    unit([
        u[1] * v[2] - u[2] * v[1],
        u[2] * v[0] - u[0] * v[2],
        u[0] * v[1] - u[1] * v[0],
    ])
}

struct Drawn<'a> {
    outlines: &'a Outlines<'a>,
    tint: &'a Tint<'a>,
}

/// A label beside the figure and the point it belongs to.
struct Label {
    place: usize,
    at: [f32; 2],
    y: f32,
}

impl More for Drawn<'_> {
    fn tint(&self) -> &Tint<'_> {
        self.tint
    }

    fn over(&self, surface: &Surface<'_>, view: &mut Canvas, camera: &Camera, seen: &Seen) {
        let places = pixels(surface, camera, seen, self.outlines.which);
        let (wide, high) = (view.width as i32, view.height as i32);
        let at = |x: i32, y: i32| -> Option<usize> {
            let inside = x >= 0 && y >= 0 && x < wide && y < high;
            inside.then(|| places[(y * wide + x) as usize]).flatten()
        };
        let mut sums = vec![(0_usize, [0.0_f32; 2]); self.outlines.labels.len()];
        for y in 0..high {
            for x in 0..wide {
                let own = at(x, y);
                let near = (-PEN..=PEN).flat_map(|dy| (-PEN..=PEN).map(move |dx| (dx, dy)));
                let edge = near.clone().any(|(dx, dy)| at(x + dx, y + dy) != own);
                match own {
                    Some(place) => {
                        if let Some((n, sum)) = sums.get_mut(place) {
                            *n += 1;
                            *sum = [sum[0] + x as f32, sum[1] + y as f32];
                        }
                        if edge {
                            view.blend(x, y, INK, 0.9);
                        }
                    }
                    None if edge => view.blend(x, y, WHITE, 0.6),
                    None => {}
                }
            }
        }
        self.labels(view, &sums);
    }

    fn legend(&self, canvas: &mut Canvas, writer: &Writer, line: i32) {
        let place = [canvas.width as f32 - 48.0, (line + 40) as f32];
        canvas.write(
            writer,
            &self.outlines.legend,
            place,
            (ink(20.0, 0.3, SOFT), Align::Right),
        );
    }
}

impl Drawn<'_> {
    /// Labels at the nearer side, spread so that none lies on another.
    fn labels(&self, view: &mut Canvas, sums: &[(usize, [f32; 2])]) {
        let Some(writer) = Writer::new() else { return };
        let (wide, high) = (view.width as f32, view.height as f32);
        let mut sides: [Vec<Label>; 2] = [Vec::new(), Vec::new()];
        for (place, (n, sum)) in sums.iter().enumerate() {
            if *n >= FEW {
                let at = sum.map(|s| s / *n as f32);
                let right = usize::from(at[0] > 0.5 * wide);
                sides[right].push(Label {
                    place,
                    at,
                    y: at[1],
                });
            }
        }
        for (right, list) in sides.iter_mut().enumerate() {
            list.sort_by(|a, b| a.at[1].total_cmp(&b.at[1]));
            spread(list, high);
            for label in list.iter() {
                let text = &self.outlines.labels[label.place];
                let (x, align) = match right {
                    0 => (8.0, Align::Left),
                    _ => (wide - 8.0, Align::Right),
                };
                let width = writer.width(text, 22.0) + 6.0;
                // A place in the margin itself has its label above it.
                let margin = if right == 0 {
                    label.at[0]
                } else {
                    wide - label.at[0]
                };
                let y = label.y - if margin < width + 16.0 { LINE } else { 0.0 };
                let from = [if right == 0 { x + width } else { x - width }, y];
                for shift in [-1.0, 1.0] {
                    let ends = [from, label.at].map(|p| [p[0], p[1] + shift]);
                    view.line(ends, WHITE, |_, _| 0.5);
                }
                view.line([from, label.at], INK, |_, _| 1.0);
                let base = [x, y + 8.0];
                view.write(&writer, text, base, (ink(22.0, 0.7, INK), align));
            }
        }
    }
}

/// Pushes labels apart, downwards, then back up from the lower end.
fn spread(list: &mut [Label], high: f32) {
    let mut least = 12.0;
    for label in list.iter_mut() {
        label.y = label.y.max(least);
        least = label.y + LINE;
    }
    let mut most = high - 12.0;
    for label in list.iter_mut().rev() {
        label.y = label.y.min(most);
        most = label.y - LINE;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cube of 10 mm: the front view sees its front face foreshortened by the tilt of 12
    /// degrees, and the top face by the rest.
    #[test]
    fn a_cube_is_seen_as_geometry_says() {
        let corners: Vec<[f32; 3]> = (0..8)
            .map(|i| [i & 1, i >> 1 & 1, i >> 2 & 1].map(|b| 10.0 * b as f32))
            .collect();
        let faces = [
            [0, 2, 3],
            [0, 3, 1],
            [4, 5, 7],
            [4, 7, 6],
            [0, 1, 5],
            [0, 5, 4],
            [2, 6, 7],
            [2, 7, 3],
            [0, 4, 6],
            [0, 6, 2],
            [1, 3, 7],
            [1, 7, 5],
        ];
        let surface = Surface {
            vertices_mm: &corners,
            triangles: &faces,
            values: None,
        };
        // 0 front (-y), 1 right side of the figure (-x), 2 back, 3 left (+x), 4 top.
        let which = |_: [f32; 3], n: [f32; 3]| match n {
            [_, y, _] if y < -0.5 => Some(0),
            [x, _, _] if x < -0.5 => Some(1),
            [_, y, _] if y > 0.5 => Some(2),
            [x, _, _] if x > 0.5 => Some(3),
            _ => Some(4),
        };
        let seen = seen_in_views(&surface, &which, 5).unwrap();
        let tilt = 12_f64.to_radians();
        for (face, views) in seen[..4].iter().enumerate() {
            for (view, area) in views.iter().enumerate() {
                let expected = if face == view {
                    100.0 * tilt.cos()
                } else {
                    0.0
                };
                assert!((area - expected).abs() < 2.5, "{face} {view}: {area}");
            }
        }
        for area in seen[4] {
            assert!((area - 100.0 * tilt.sin()).abs() < 1.5, "{area}");
        }
        let labels = ["A1", "A2"].map(String::from);
        let outlines = Outlines {
            which: &|p, _| (p[1] < 0.1).then_some(usize::from(p[2] > 5.0)),
            labels: &labels,
            colours: &[[230, 159, 0], [86, 180, 233]],
            legend: "where to look".into(),
        };
        let sheet = Sheet {
            title: "Cube".into(),
            ..Sheet::default()
        };
        let drawn = outlined(&surface, &sheet, &outlines).unwrap();
        let orange = |c: &Rgb| c[0] > 100 && f32::from(c[0]) > 1.8 * f32::from(c[2]);
        assert!(drawn.pixels.iter().filter(|c| orange(c)).count() > 2000);
    }

    #[test]
    fn labels_do_not_lie_on_each_other() {
        let mut list: Vec<Label> = [100.0, 101.0, 102.0, 395.0]
            .iter()
            .enumerate()
            .map(|(place, y)| Label {
                place,
                at: [0.0, *y],
                y: *y,
            })
            .collect();
        spread(&mut list, 400.0);
        assert!(list.windows(2).all(|w| w[1].y - w[0].y >= LINE));
        assert!(list[3].y <= 388.0);
    }
}
