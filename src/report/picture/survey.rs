//! The sheet that shows what was made of a figure: places in colours of their own, a cage of lines
//! around it, and a mark inside it.

use super::canvas::{Align, Canvas};
use super::raster::{Camera, FINE, NOTHING, Seen, dot};
use super::shade::Tint;
use super::sheet::{INK, More, SOFT, around, ink, strip};
use super::text::Writer;
use super::{Rgb, Sheet, Surface};
use base::Result;

const LINE: Rgb = [24, 54, 110];
const WHITE: Rgb = [255, 255, 255];
/// How much of a line shows in front of the figure, and behind it.
const FRONT: f32 = 0.62;
const BEHIND: f32 = 0.22;
/// [px] radius of the mark.
const MARK: f32 = 9.0;

/// One line of the cage: an edge between two outer faces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Edge {
    /// [mm] where it begins and ends.
    pub ends: [[f32; 3]; 2],
    /// Outward normals of the faces beside it: it is seen in front if one of them faces the eye.
    pub beside: [[f32; 3]; 2],
}

/// What is drawn besides the figure.
pub struct Survey<'a> {
    /// Colour of a place from its point [mm] and outward normal; `None` shows the plain cast.
    pub tint: &'a Tint<'a>,
    /// Lines around the figure.
    pub cage: &'a [Edge],
    /// [mm] the marked point; it shows through the figure.
    pub mark: [f32; 3],
    /// Colours that the legend shows for the tints.
    pub swatches: &'a [Rgb],
    /// Words for the tints, the cage and the mark.
    pub legend: [String; 3],
}

/// Front, right, back and left side by side with everything of the survey, 1600 px wide.
///
/// # Errors
/// As [`super::four_views`].
pub fn survey(surface: &Surface<'_>, sheet: &Sheet, survey: &Survey<'_>) -> Result<Canvas> {
    strip(surface, sheet, &around(), 400, Some(survey))
}

impl More for Survey<'_> {
    fn tint(&self) -> &Tint<'_> {
        self.tint
    }

    fn over(&self, _: &Surface<'_>, view: &mut Canvas, camera: &Camera, seen: &Seen) {
        let pixel = |p: [f32; 3]| {
            let at = camera.project(p);
            [at[0] / FINE as f32 - 0.5, at[1] / FINE as f32 - 0.5]
        };
        let [wide, high] = [view.width as i32, view.height as i32];
        let bare = |x: i32, y: i32| {
            if x < 0 || y < 0 || x >= wide || y >= high {
                return false;
            }
            let [x, y] = [x, y].map(|v| v as usize * FINE + FINE / 2);
            seen.triangle[y * camera.size[0] + x] == NOTHING
        };
        for edge in self.cage {
            let front = edge.beside.iter().any(|n| dot(*n, camera.axes[2]) > 0.0);
            let ends = edge.ends.map(pixel);
            if front {
                view.line(ends, LINE, |_, _| FRONT);
            } else {
                view.line(ends, LINE, |x, y| if bare(x, y) { BEHIND } else { 0.0 });
            }
        }
        view.quartered(pixel(self.mark), MARK, [INK, WHITE]);
    }

    fn legend(&self, canvas: &mut Canvas, writer: &Writer, line: i32) {
        let [tints, cage, mark] = &self.legend;
        let words = (ink(20.0, 0.3, INK), Align::Left);
        let width = |text: &str| writer.width(text, 20.0);
        let signs = [18.0 * self.swatches.len() as f32 + 8.0, 44.0, 30.0];
        let gap = 34.0;
        let all: f32 = [tints, cage, mark]
            .iter()
            .zip(signs)
            .map(|(text, sign)| sign + width(text) + gap)
            .sum();
        let base = (line + 40) as f32;
        let mut x = (canvas.width as f32 - all).max(280.0);
        for (i, colour) in self.swatches.iter().enumerate() {
            let at = [x as i32 + 18 * i as i32, base as i32 - 16];
            canvas.fill(at, [18, 18], SOFT);
            canvas.fill([at[0] + 1, at[1] + 1], [16, 16], *colour);
        }
        canvas.write(writer, tints, [x + signs[0], base], words);
        x += signs[0] + width(tints) + gap;
        for shift in [-1.0, 0.0] {
            let ends = [[x, base - 6.0 + shift], [x + 34.0, base - 8.0 + shift]];
            canvas.line(ends, LINE, |_, _| 1.0);
        }
        canvas.write(writer, cage, [x + signs[1], base], words);
        x += signs[1] + width(cage) + gap;
        canvas.quartered([x + 10.0, base - 7.0], MARK, [INK, WHITE]);
        canvas.write(writer, mark, [x + signs[2], base], words);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CORNERS: [[f32; 3]; 4] = [
        [0.0, 0.0, 0.0],
        [9.0, 0.0, 0.0],
        [0.0, 9.0, 0.0],
        [0.0, 0.0, 9.0],
    ];
    const FACES: [[u32; 3]; 4] = [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]];

    fn draw(tint: &Tint<'_>, cage: &[Edge]) -> Canvas {
        let surface = Surface {
            vertices_mm: &CORNERS,
            triangles: &FACES,
            values: None,
        };
        let sheet = Sheet {
            title: "Tetrahedron".into(),
            ..Sheet::default()
        };
        let more = Survey {
            tint,
            cage,
            mark: [2.25; 3],
            swatches: &[[60, 60, 200]],
            legend: ["places", "cage", "middle"].map(String::from),
        };
        survey(&surface, &sheet, &more).unwrap()
    }

    #[test]
    fn places_are_coloured_where_they_are_and_lines_lie_over_them() {
        let red = |c: &Rgb| u32::from(c[0]) > 2 * u32::from(c[1]) && c[0] > 60;
        let count = |canvas: &Canvas| canvas.pixels.iter().filter(|c| red(c)).count();
        let none = draw(&|_, _| None, &[]);
        let all = draw(&|_, _| Some([220, 20, 20]), &[]);
        let half = draw(&|p, _| (p[2] < 4.5).then_some([220, 20, 20]), &[]);
        assert_eq!(count(&none), 0);
        assert!(count(&half) > 1000 && count(&half) < count(&all));
        let edge = Edge {
            ends: [[0.0, 0.0, 0.0], [0.0, 0.0, 9.0]],
            beside: [[0.0, -1.0, 0.0], [-1.0, 0.0, 0.0]],
        };
        let lined = draw(&|_, _| None, &[edge]);
        assert!(lined != none);
    }

    #[test]
    fn a_line_covers_as_much_as_it_is_long() {
        let mut canvas = Canvas::new(100, 60, [255; 3]);
        canvas.line([[10.0, 10.0], [60.0, 35.0]], [0; 3], |_, _| 1.0);
        let dark: f32 = (canvas.pixels.iter())
            .map(|c| 1.0 - f32::from(c[0]) / 255.0)
            .sum();
        assert!((dark - 51.0).abs() < 1.0, "one pixel a step: {dark}");
    }
}
