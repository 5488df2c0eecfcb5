//! Pressure footprints: what a pad or a finger presses on, seen along its way in, side by side at
//! one zoom and one scale.

use super::canvas::{Align, Canvas};
use super::scale::BARE;
use super::shade::PAPER;
use super::sheet::{INK, SOFT, colour_bar, ink, length_bar};
use super::text::Writer;
use super::{Rgb, Scale};
use base::{Error, Result};

/// One footprint.
#[derive(Debug, Clone)]
pub struct Panel<'a> {
    /// Which face or finger.
    pub name: String,
    /// Load and depth, one line.
    pub about: String,
    /// Cells from left to right and from the bottom up.
    pub cells: [usize; 2],
    /// [mm] side of a cell.
    pub spacing_mm: f64,
    /// In the unit of the scale, row by row from the bottom; 0 where nothing is touched.
    pub pressure: &'a [f32],
    /// [mm] depth of the surface below its highest point; infinite beside it.
    pub depth_mm: &'a [f32],
    /// Direction in the cells' plane that points up in the picture, unit length.
    pub up: [f64; 2],
}

impl Panel<'_> {
    /// [mm] half the width and height of the turned panel.
    fn reach(&self) -> [f64; 2] {
        let half = [0, 1].map(|a| 0.5 * self.cells[a] as f64 * self.spacing_mm);
        let (c, s) = (self.up[1].abs(), self.up[0].abs());
        [c * half[0] + s * half[1], s * half[0] + c * half[1]]
    }

    /// The cell under a point of the picture.
    ///
    /// * `at`: [mm] right and up of the panel's middle
    fn cell(&self, at: [f64; 2]) -> Option<usize> {
        let [ux, uy] = self.up;
        let plane = [at[0] * uy + at[1] * ux, at[1] * uy - at[0] * ux];
        let index = |a: usize| {
            let i = plane[a] / self.spacing_mm + 0.5 * self.cells[a] as f64;
            (i >= 0.0 && i < self.cells[a] as f64).then_some(i as usize)
        };
        Some(index(1)? * self.cells[0] + index(0)?)
    }

    fn colour(&self, cell: usize, deepest: f64, scale: &Scale) -> Option<Rgb> {
        let depth = f64::from(self.depth_mm[cell]);
        let pressed = f64::from(self.pressure[cell]);
        match scale.place(pressed) {
            Some(t) if pressed > 0.0 => Some(scale.colour_at(t)),
            _ if depth.is_finite() => {
                let shade = 1.0 - 0.35 * (depth / deepest).clamp(0.0, 1.0);
                Some(BARE.map(|c| (f64::from(c) * shade) as u8))
            }
            _ => None,
        }
    }
}

/// Draws footprints side by side.
///
/// * `wide`: [px] width of a panel, at least 60
///
/// # Errors
/// Without panels, or with numbers that do not fit their grid.
pub fn footprints(
    panels: &[Panel<'_>],
    (title, subtitle): (&str, &str),
    scale: &Scale,
    wide: usize,
) -> Result<Canvas> {
    let fits = |p: &Panel<'_>| {
        let cells = p.cells[0] * p.cells[1];
        cells > 0 && p.pressure.len() == cells && p.depth_mm.len() == cells
    };
    if panels.is_empty() || wide < 60 || !panels.iter().all(fits) {
        return Err(Error::refused(
            "cannot draw footprints: there are none, or they do not fit their grid",
        ));
    }
    let writer =
        Writer::new().ok_or_else(|| Error::refused("the font that ships cannot be read"))?;
    let most = |a: usize| panels.iter().map(|p| p.reach()[a]).fold(1e-6, f64::max);
    let margin = 0.06 * wide as f64;
    let zoom = ((wide as f64 - 2.0 * margin) / (2.0 * most(0))).min(wide as f64 / most(1));
    let tall = (2.0 * most(1) * zoom + 2.0 * margin).ceil() as usize;
    let (top, names, foot) = (104, 60, 112);
    let width = (wide * panels.len()).max(720);
    let mut canvas = Canvas::new(width, top + tall + names + foot, PAPER.map(|c| c as u8));
    let left = (width - wide * panels.len()) / 2;
    for (k, panel) in panels.iter().enumerate() {
        let from = [left + k * wide, top];
        draw(&mut canvas, panel, (from, [wide, tall]), zoom, scale);
        let middle = from[0] as f32 + 0.5 * wide as f32;
        let line = (top + tall + 20) as f32;
        let name = (ink(20.0, 0.3, INK), Align::Middle);
        canvas.write(&writer, &panel.name, [middle, line], name);
        let about = (ink(17.0, 0.2, SOFT), Align::Middle);
        canvas.write(&writer, &panel.about, [middle, line + 24.0], about);
    }
    let heading = (ink(30.0, 0.7, INK), Align::Left);
    canvas.write(&writer, title, [32.0, 50.0], heading);
    let below = (ink(20.0, 0.25, SOFT), Align::Left);
    canvas.write(&writer, subtitle, [32.0, 84.0], below);
    let line = (top + tall + names) as i32;
    length_bar(&mut canvas, &writer, zoom as f32, line);
    colour_bar(&mut canvas, &writer, scale, line);
    Ok(canvas)
}

fn draw(
    canvas: &mut Canvas,
    panel: &Panel<'_>,
    (from, size): ([usize; 2], [usize; 2]),
    zoom: f64,
    scale: &Scale,
) {
    let deepest =
        (panel.depth_mm.iter().filter(|d| d.is_finite())).fold(1e-6_f32, |m, d| m.max(*d));
    for y in 0..size[1] {
        for x in 0..size[0] {
            let at = [
                (x as f64 + 0.5 - 0.5 * size[0] as f64) / zoom,
                (0.5 * size[1] as f64 - y as f64 - 0.5) / zoom,
            ];
            let colour = panel
                .cell(at)
                .and_then(|cell| panel.colour(cell, f64::from(deepest), scale));
            if let Some(colour) = colour {
                canvas.blend((from[0] + x) as i32, (from[1] + y) as i32, colour, 1.0);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::Spread;
    use super::*;

    fn scale() -> Scale {
        Scale {
            label: "Pressure".into(),
            unit: "kPa".into(),
            low: 1.0,
            high: 100.0,
            spread: Spread::Log,
        }
    }

    /// One loaded cell at the low end of both axes is drawn left and below; with the picture
    /// turned a quarter (up along the first axis) it moves to the right and below.
    #[test]
    fn a_loaded_cell_is_where_it_belongs() {
        let mut pressure = vec![0.0; 12];
        pressure[0] = 100.0;
        let depth_mm = vec![0.5; 12];
        let dark = scale().colour(100.0);
        let middle_of = |up: [f64; 2]| {
            let panel = Panel {
                name: "pad on the front".into(),
                about: "1 N".into(),
                cells: [4, 3],
                spacing_mm: 1.0,
                pressure: &pressure,
                depth_mm: &depth_mm,
                up,
            };
            assert_eq!(panel.cells[0] * panel.cells[1], 12);
            let canvas = footprints(&[panel], ("t", "s"), &scale(), 200).unwrap();
            let (mut sum, mut count) = ([0.0; 2], 0.0);
            // Above the colour bar, whose end has the same colour.
            for y in 104..canvas.height - 172 {
                for x in 0..canvas.width {
                    if canvas.pixels[y * canvas.width + x] == dark {
                        sum = [sum[0] + x as f64, sum[1] + y as f64];
                        count += 1.0;
                    }
                }
            }
            assert!(count > 1000.0, "a cell of some 44 x 44 pixels: {count}");
            let area = [104.0, (canvas.height - 172) as f64];
            [
                sum[0] / count - 0.5 * canvas.width as f64,
                sum[1] / count - 0.5 * (area[0] + area[1]),
            ]
        };
        let [x, y] = middle_of([0.0, 1.0]);
        assert!(x < -40.0 && y > 30.0, "{x} {y}");
        let [x, y] = middle_of([1.0, 0.0]);
        assert!(x > 20.0 && y > 30.0, "{x} {y}");
    }

    #[test]
    fn what_does_not_fit_is_refused() {
        assert!(footprints(&[], ("t", "s"), &scale(), 200).is_err());
    }
}
