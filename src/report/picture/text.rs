//! Words on a picture. The font travels with the program: Ubuntu Light (Ubuntu Font Licence 1.0),
//! Latin, Greek and Cyrillic. A letter it lacks is drawn as an open box.

use ab_glyph::{Font, FontRef, ScaleFont, point};

/// Draws words in one size.
pub struct Writer {
    font: FontRef<'static>,
}

impl Writer {
    /// The font that ships; `None` only if it could not be read, which a test rules out.
    #[must_use]
    pub fn new() -> Option<Writer> {
        FontRef::try_from_slice(epaint_default_fonts::UBUNTU_LIGHT)
            .ok()
            .map(|font| Writer { font })
    }

    /// [px] width of `text` at `size` [px].
    #[must_use]
    pub fn width(&self, text: &str, size: f32) -> f32 {
        let font = self.font.as_scaled(size);
        let mut last = None;
        let mut x = 0.0;
        for c in text.chars() {
            let id = font.glyph_id(c);
            if let Some(before) = last {
                x += font.kern(before, id);
            }
            x += font.h_advance(id);
            last = Some(id);
        }
        x
    }

    /// Gives `dot` every covered pixel with its coverage 0 to 1.
    ///
    /// * `at`: [px] left end of the base line
    /// * `weight`: [px] how much bolder than the font is
    pub fn draw(
        &self,
        text: &str,
        (size, weight): (f32, f32),
        at: [f32; 2],
        mut dot: impl FnMut(i32, i32, f32),
    ) {
        let font = self.font.as_scaled(size);
        let mut last = None;
        let mut x = at[0];
        for c in text.chars() {
            let id = font.glyph_id(c);
            if let Some(before) = last {
                x += font.kern(before, id);
            }
            for shift in [-0.5 * weight, 0.5 * weight] {
                let glyph = id.with_scale_and_position(size, point(x + shift, at[1]));
                if let Some(outline) = self.font.outline_glyph(glyph) {
                    let low = outline.px_bounds().min;
                    outline.draw(|i, j, cover| {
                        // Two strokes of half ink: where both fall the letter is full.
                        let ink = 1.0 - (1.0 - cover.clamp(0.0, 1.0)).powf(0.75);
                        dot(low.x as i32 + i as i32, low.y as i32 + j as i32, ink);
                    });
                }
            }
            x += font.h_advance(id);
            last = Some(id);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_font_reads_and_wide_words_are_wider() {
        let writer = Writer::new().unwrap();
        assert!(writer.width("mm", 20.0) > writer.width("il", 20.0));
        let mut ink = 0.0;
        writer.draw("J/m² µ é", (20.0, 0.3), [0.0, 20.0], |_, _, c| ink += c);
        assert!(ink > 100.0, "{ink}");
    }
}
