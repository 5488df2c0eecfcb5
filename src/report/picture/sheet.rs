//! The sheet: views side by side, words, colour bar, length bar.

use super::canvas::{Align, Canvas, Ink};
use super::raster::{Camera, FINE, Seen, View, corner_normals, rasterise};
use super::scale::BARE;
use super::shade::{PAPER, Palette, Scene, Tint, light};
use super::text::Writer;
use super::{Rgb, Scale, Spread, Surface};
use base::{Error, Result};

pub(super) const INK: Rgb = [38, 36, 34];
pub(super) const SOFT: Rgb = [104, 99, 93];
/// [deg] neighbours that bend more than this show an edge.
const CREASE: f32 = 48.0;
/// [deg] all views look down a little.
const TILT: f64 = 12.0;

/// Words and scale of a sheet.
#[derive(Debug, Clone, Default)]
pub struct Sheet {
    /// One line on top.
    pub title: String,
    /// One line below it, smaller; may be empty.
    pub subtitle: String,
    /// The scale of the values; `None` leaves the bar out and draws a plain cast.
    pub scale: Option<Scale>,
}

/// Front, right, back and left side by side, 1600 px wide.
///
/// # Errors
/// A mesh without triangles, numbers that are not finite, or values that do not match.
pub fn four_views(surface: &Surface<'_>, sheet: &Sheet) -> Result<Canvas> {
    strip(surface, sheet, &around(), 400, None)
}

/// Front, right, back and left.
pub(super) fn around() -> [(View, String); 4] {
    let views = [
        (0.0, "front"),
        (90.0, "its right"),
        (180.0, "back"),
        (270.0, "its left"),
    ];
    views.map(|(turn, name)| (View { turn, tilt: TILT }, name.to_string()))
}

/// Eight views round the figure, 45 degrees apart, 1840 px wide.
///
/// # Errors
/// As [`four_views`].
pub fn turntable(surface: &Surface<'_>, sheet: &Sheet) -> Result<Canvas> {
    let views: Vec<(View, String)> = (0..8)
        .map(|i| {
            let turn = 45.0 * f64::from(i);
            (View { turn, tilt: 18.0 }, format!("{turn:.0}°"))
        })
        .collect();
    strip(surface, sheet, &views, 230, None)
}

/// One large view, front from its right, 900 px wide.
///
/// # Errors
/// As [`four_views`].
pub fn portrait(surface: &Surface<'_>, sheet: &Sheet) -> Result<Canvas> {
    let view = View {
        turn: 28.0,
        tilt: 14.0,
    };
    strip(surface, sheet, &[(view, String::new())], 900, None)
}

/// [mm] what all views must hold: lowest, highest, radius about the middle axis.
pub(super) struct Extent {
    pub middle: [f32; 3],
    radius: f32,
    height: f32,
    foot: f32,
}

pub(super) fn extent(surface: &Surface<'_>) -> Result<Extent> {
    let bad = |what: &str| Err(Error::input(format!("cannot draw: {what}")));
    if surface.triangles.is_empty() {
        return bad("the mesh has no triangles");
    }
    if surface.vertices_mm.iter().flatten().any(|x| !x.is_finite()) {
        return bad("a corner is not a finite number");
    }
    let corners = surface.vertices_mm.len();
    if surface
        .triangles
        .iter()
        .flatten()
        .any(|&v| v as usize >= corners)
    {
        return bad("a triangle names a corner that does not exist");
    }
    if surface.values.is_some_and(|v| v.len() != corners) {
        return bad("there is not one value per corner");
    }
    let fold = |k: usize, f: fn(f32, f32) -> f32| {
        surface
            .vertices_mm
            .iter()
            .map(|v| v[k])
            .fold(surface.vertices_mm[0][k], f)
    };
    let (low, high): ([f32; 3], [f32; 3]) = (
        std::array::from_fn(|k| fold(k, f32::min)),
        std::array::from_fn(|k| fold(k, f32::max)),
    );
    let middle: [f32; 3] = std::array::from_fn(|k| 0.5 * (low[k] + high[k]));
    let out = |v: &[f32; 3]| (v[0] - middle[0]).hypot(v[1] - middle[1]);
    let radius = surface.vertices_mm.iter().map(out).fold(1e-6, f32::max);
    let near_foot = low[2] + 0.03 * (high[2] - low[2]);
    let foot = surface.vertices_mm.iter().filter(|v| v[2] < near_foot);
    Ok(Extent {
        middle,
        radius,
        height: (high[2] - low[2]).max(1e-6),
        foot: foot.map(out).fold(0.0, f32::max),
    })
}

/// Height of the views [px], zoom [px/mm] and the shift that centres them: every view of the sheet
/// shares all three, so that heights can be compared across it.
pub(super) fn fit(
    surface: &Surface<'_>,
    extent: &Extent,
    views: &[(View, String)],
    wide: usize,
) -> (usize, f32, f32) {
    let mut high = [f32::INFINITY, f32::NEG_INFINITY];
    for (view, _) in views {
        let camera = Camera::new(*view, extent.middle, 1.0, [0, 0]);
        for v in surface.vertices_mm {
            let y = -camera.project(*v)[1];
            high = [high[0].min(y), high[1].max(y)];
        }
    }
    let tall = high[1] - high[0];
    let zoom = (0.92 * wide as f32 / (2.0 * extent.radius)).min(2.0 * wide as f32 / tall);
    (
        (tall * zoom).ceil() as usize + 36,
        zoom,
        0.5 * (high[0] + high[1]),
    )
}

/// What is drawn beyond the figure itself.
pub(super) trait More: Sync {
    /// Colour of a place.
    fn tint(&self) -> &Tint<'_>;
    /// Draws over (and behind) one finished view.
    fn over(&self, surface: &Surface<'_>, view: &mut Canvas, camera: &Camera, seen: &Seen);
    /// Draws into the foot of the sheet.
    fn legend(&self, canvas: &mut Canvas, writer: &Writer, line: i32);
}

pub(super) fn strip(
    surface: &Surface<'_>,
    sheet: &Sheet,
    views: &[(View, String)],
    wide: usize,
    more: Option<&dyn More>,
) -> Result<Canvas> {
    let extent = extent(surface)?;
    let writer =
        Writer::new().ok_or_else(|| Error::refused("the font that ships cannot be read"))?;
    let (tall, zoom, shift) = fit(surface, &extent, views, wide);
    let palette = Palette::new(sheet.scale.as_ref());
    let places = palette.places(surface.values);
    let normals = corner_normals(surface, CREASE);
    let foot = [
        extent.middle[0],
        extent.middle[1],
        extent.middle[2] - 0.5 * extent.height,
    ];
    let scene = Scene {
        surface,
        normals: &normals,
        places: &places,
        palette: &palette,
        foot: (foot, extent.foot),
        tint: more.map(More::tint),
    };
    let top = if sheet.subtitle.is_empty() { 72 } else { 104 };
    let names = if views.len() > 1 { 34 } else { 6 };
    let foot_height = if sheet.scale.is_some() { 112 } else { 64 };
    let width = wide * views.len();
    let mut canvas = Canvas::new(
        width,
        top + tall + names + foot_height,
        PAPER.map(|c| c as u8),
    );
    for (i, (view, name)) in views.iter().enumerate() {
        let size = [wide * FINE, tall * FINE];
        let camera = Camera::new(*view, extent.middle, zoom * FINE as f32, size).raised(shift);
        let seen = rasterise(surface, &camera);
        let mut lit = light(&scene, &camera, &seen);
        if let Some(more) = more {
            more.over(surface, &mut lit, &camera, &seen);
        }
        canvas.put(&lit, [i * wide, top]);
        let at = [
            (i * wide) as f32 + 0.5 * wide as f32,
            (top + tall + 22) as f32,
        ];
        canvas.write(&writer, name, at, (ink(20.0, 0.2, SOFT), Align::Middle));
    }
    canvas.write(
        &writer,
        &sheet.title,
        [32.0, 50.0],
        (ink(33.0, 0.7, INK), Align::Left),
    );
    canvas.write(
        &writer,
        &sheet.subtitle,
        [32.0, 84.0],
        (ink(21.0, 0.25, SOFT), Align::Left),
    );
    let line = (top + tall + names) as i32;
    length_bar(&mut canvas, &writer, zoom, line);
    if let Some(scale) = &sheet.scale {
        colour_bar(&mut canvas, &writer, scale, line);
    }
    if let Some(more) = more {
        more.legend(&mut canvas, &writer, line);
    }
    Ok(canvas)
}

pub(super) fn ink(size: f32, weight: f32, colour: Rgb) -> Ink {
    Ink {
        size,
        weight,
        colour,
    }
}

/// A bar of 10 mm, or of the round length nearest to a tenth of the sheet's width.
pub(super) fn length_bar(canvas: &mut Canvas, writer: &Writer, zoom: f32, line: i32) {
    let room = (0.16 * canvas.width as f32).clamp(60.0, 220.0);
    let lengths = [
        0.1_f32, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0,
    ];
    let length = lengths
        .iter()
        .rev()
        .find(|l| **l * zoom <= room)
        .unwrap_or(&0.1);
    let (x, y, long) = (32, line + 24, (length * zoom).round() as i32);
    canvas.fill([x, y], [long, 3], INK);
    canvas.fill([x, y - 6], [2, 15], INK);
    canvas.fill([x + long - 2, y - 6], [2, 15], INK);
    let at = [x as f32 + 0.5 * long as f32, y as f32 + 28.0];
    let text = format!("{length} mm");
    canvas.write(writer, &text, at, (ink(20.0, 0.3, INK), Align::Middle));
}

/// The bar with its numbers and heading, at the right.
pub(super) fn colour_bar(canvas: &mut Canvas, writer: &Writer, scale: &Scale, line: i32) {
    let long = (0.42 * canvas.width as f32) as i32;
    let (x, y) = (canvas.width as i32 - long - 48, line + 36);
    let heading = (ink(21.0, 0.45, INK), Align::Left);
    canvas.write(
        writer,
        &scale.heading(),
        [x as f32, y as f32 - 12.0],
        heading,
    );
    canvas.fill([x - 1, y - 1], [long + 2, 22], SOFT);
    for i in 0..long {
        let t = f64::from(i) / f64::from(long - 1);
        canvas.fill([x + i, y], [1, 20], scale.colour_at(t));
    }
    if scale.spread == Spread::Log {
        let right = x + long;
        let width = writer.width("untouched", 20.0).ceil() as i32;
        canvas.fill([right - width - 27, y - 28], [18, 18], SOFT);
        canvas.fill([right - width - 26, y - 27], [16, 16], BARE);
        let place = [right as f32, y as f32 - 12.0];
        canvas.write(
            writer,
            "untouched",
            place,
            (ink(20.0, 0.2, SOFT), Align::Right),
        );
    }
    for (t, text) in scale.ticks() {
        let at = x + (t * f64::from(long - 1)).round() as i32;
        canvas.fill([at, y + 20], [1, 6], INK);
        let place = [at as f32, y as f32 + 47.0];
        canvas.write(writer, &text, place, (ink(20.0, 0.3, INK), Align::Middle));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TETRA: [[f32; 3]; 4] = [
        [0.0, 0.0, 0.0],
        [9.0, 0.0, 0.0],
        [0.0, 9.0, 0.0],
        [0.0, 0.0, 9.0],
    ];
    const FACES: [[u32; 3]; 4] = [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]];

    fn sheet() -> Sheet {
        Sheet {
            title: "Tetrahedron".into(),
            subtitle: String::new(),
            scale: Some(Scale {
                label: "Friction work".into(),
                unit: "J/m2".into(),
                low: 1.0,
                high: 100.0,
                spread: Spread::Log,
            }),
        }
    }

    #[test]
    fn the_same_figure_gives_the_same_bytes_and_values_change_the_picture() {
        let draw = |values: &[f32]| {
            let surface = Surface {
                vertices_mm: &TETRA,
                triangles: &FACES,
                values: Some(values),
            };
            four_views(&surface, &sheet()).unwrap().to_png().unwrap()
        };
        assert_eq!(draw(&[1.0, 5.0, 20.0, 90.0]), draw(&[1.0, 5.0, 20.0, 90.0]));
        assert_ne!(draw(&[1.0, 5.0, 20.0, 90.0]), draw(&[1.0, 5.0, 20.0, 10.0]));
    }

    #[test]
    fn what_cannot_be_drawn_is_refused_in_words() {
        let refuse = |vertices_mm: &[[f32; 3]], triangles: &[[u32; 3]], values: Option<&[f32]>| {
            let surface = Surface {
                vertices_mm,
                triangles,
                values,
            };
            four_views(&surface, &sheet())
                .unwrap_err()
                .what()
                .to_string()
        };
        assert!(refuse(&[], &[], None).contains("no triangles"));
        assert!(refuse(&TETRA, &[[0, 1, 9]], None).contains("does not exist"));
        assert!(refuse(&TETRA, &FACES, Some(&[1.0])).contains("one value per corner"));
        let mut broken = TETRA;
        broken[0][0] = f32::NAN;
        assert!(refuse(&broken, &FACES, None).contains("finite"));
    }
}
