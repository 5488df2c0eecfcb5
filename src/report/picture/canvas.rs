//! A sheet of pixels: rectangles, words, other pictures, PNG.

use super::scale::Rgb;
use super::text::Writer;
use base::{Error, Result};

/// An sRGB picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Canvas {
    /// [px]
    pub width: usize,
    /// [px]
    pub height: usize,
    /// Rows from the top.
    pub pixels: Vec<Rgb>,
}

/// Which way words lie from their point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Start at the point.
    Left,
    /// Middle on the point.
    Middle,
    /// End at the point.
    Right,
}

/// Size, weight and colour of words.
#[derive(Debug, Clone, Copy)]
pub struct Ink {
    /// [px] letter size.
    pub size: f32,
    /// [px] extra stroke.
    pub weight: f32,
    /// Colour.
    pub colour: Rgb,
}

impl Canvas {
    /// One colour all over.
    #[must_use]
    pub fn new(width: usize, height: usize, colour: Rgb) -> Canvas {
        Canvas {
            width,
            height,
            pixels: vec![colour; width * height],
        }
    }

    /// Lays `colour` over one pixel; outside the sheet nothing happens.
    pub fn blend(&mut self, x: i32, y: i32, colour: Rgb, cover: f32) {
        let inside = x >= 0 && y >= 0 && (x as usize) < self.width && (y as usize) < self.height;
        if !inside {
            return;
        }
        let pixel = &mut self.pixels[y as usize * self.width + x as usize];
        let cover = cover.clamp(0.0, 1.0);
        for (old, new) in pixel.iter_mut().zip(colour) {
            let mixed = f32::from(*old) + (f32::from(new) - f32::from(*old)) * cover;
            *old = mixed.round() as u8;
        }
    }

    /// A filled rectangle.
    ///
    /// * `from`: [px] left top; `size`: [px] width and height
    pub fn fill(&mut self, from: [i32; 2], size: [i32; 2], colour: Rgb) {
        for y in from[1]..from[1] + size[1] {
            for x in from[0]..from[0] + size[0] {
                self.blend(x, y, colour, 1.0);
            }
        }
    }

    /// A line one pixel wide with soft sides; `cover` may refuse a pixel with 0.
    ///
    /// * `from`, `to`: [px] ends
    pub fn line(
        &mut self,
        [from, to]: [[f32; 2]; 2],
        colour: Rgb,
        cover: impl Fn(i32, i32) -> f32,
    ) {
        let way = [to[0] - from[0], to[1] - from[1]];
        let steep = way[1].abs() > way[0].abs();
        let (long, short) = if steep { (1, 0) } else { (0, 1) };
        let first = from[long].min(to[long]).max(-1.0);
        let last = from[long].max(to[long]);
        let most = [self.width, self.height][long] as f32;
        let slope = if way[long] == 0.0 {
            0.0
        } else {
            way[short] / way[long]
        };
        for step in first.round() as i32..=last.min(most).round() as i32 {
            let middle = from[short] + slope * (step as f32 - from[long]);
            let floor = middle.floor();
            let pair = [
                (floor, 1.0 - (middle - floor)),
                (floor + 1.0, middle - floor),
            ];
            for (at, share) in pair {
                let (x, y) = if steep {
                    (at as i32, step)
                } else {
                    (step, at as i32)
                };
                self.blend(x, y, colour, share * cover(x, y));
            }
        }
    }

    /// A filled disc, quartered in two colours like the sign for a centre of mass.
    ///
    /// * `at`: [px] middle; `radius`: [px]
    pub fn quartered(&mut self, at: [f32; 2], radius: f32, [dark, pale]: [Rgb; 2]) {
        let reach = radius.ceil() as i32 + 1;
        let (cx, cy) = (at[0].round() as i32, at[1].round() as i32);
        for dy in -reach..=reach {
            for dx in -reach..=reach {
                let (x, y) = (dx as f32, dy as f32);
                let out = x.hypot(y);
                let cover = (radius + 0.5 - out).clamp(0.0, 1.0);
                let ring = (1.0 - (out - radius + 1.0).abs()).clamp(0.0, 1.0);
                let colour = if (dx > 0) == (dy > 0) { pale } else { dark };
                self.blend(cx + dx, cy + dy, colour, cover);
                self.blend(cx + dx, cy + dy, dark, ring);
            }
        }
    }

    /// Words with their base line at `at`.
    pub fn write(&mut self, writer: &Writer, text: &str, at: [f32; 2], (ink, align): (Ink, Align)) {
        let width = writer.width(text, ink.size);
        let x = match align {
            Align::Left => at[0],
            Align::Middle => at[0] - 0.5 * width,
            Align::Right => at[0] - width,
        };
        writer.draw(text, (ink.size, ink.weight), [x, at[1]], |i, j, cover| {
            self.blend(i, j, ink.colour, cover);
        });
    }

    /// Puts another picture on this one.
    pub fn put(&mut self, other: &Canvas, at: [usize; 2]) {
        for y in 0..other.height.min(self.height.saturating_sub(at[1])) {
            let wide = other.width.min(self.width.saturating_sub(at[0]));
            let start = (y + at[1]) * self.width + at[0];
            self.pixels[start..start + wide]
                .copy_from_slice(&other.pixels[y * other.width..y * other.width + wide]);
        }
    }

    /// The picture as PNG; equal pictures give equal bytes.
    ///
    /// # Errors
    /// Only if the encoder fails.
    pub fn to_png(&self) -> Result<Vec<u8>> {
        let mut bytes = Vec::new();
        let encoded = (|| {
            let mut encoder = png::Encoder::new(&mut bytes, self.width as u32, self.height as u32);
            encoder.set_color(png::ColorType::Rgb);
            encoder.set_depth(png::BitDepth::Eight);
            encoder.set_source_srgb(png::SrgbRenderingIntent::Perceptual);
            let mut writer = encoder.write_header()?;
            writer.write_image_data(self.pixels.as_flattened())?;
            writer.finish()
        })();
        match encoded {
            Ok(()) => Ok(bytes),
            Err(cause) => Err(Error::refused(format!("cannot write a picture: {cause}"))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_png_reads_back_as_the_same_pixels() {
        let mut canvas = Canvas::new(7, 5, [10, 20, 30]);
        canvas.fill([2, 1], [3, 2], [200, 100, 50]);
        canvas.blend(-1, 0, [0; 3], 1.0);
        let bytes = canvas.to_png().unwrap();
        let mut reader = png::Decoder::new(std::io::Cursor::new(bytes))
            .read_info()
            .unwrap();
        let mut back = vec![0; 7 * 5 * 3];
        reader.next_frame(&mut back).unwrap();
        assert_eq!(back, canvas.pixels.as_flattened());
    }
}
