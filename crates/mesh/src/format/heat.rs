//! A heat map as other programs take it: triangles, colours, raw values. Nothing of paint.
//!
//! Writers: [`ply`](super::ply_out), [`glb`](super::glb_out), [`obj`](super::obj_out),
//! [`vtu`](super::vtu_out), [`3mf`](super::threemf_out); all return bytes for [`super::atomic::write`].

use base::{Error, Result};

/// One raw channel on the corners.
#[derive(Debug, Clone, Copy)]
pub struct Channel<'a> {
    /// Name as in `patches.csv`, unit included: `friction_J_m2`.
    pub name: &'a str,
    /// One value per corner; NaN where there is none.
    pub values: &'a [f32],
}

/// A coloured mesh with raw channels.
#[derive(Debug, Clone, Copy)]
pub struct HeatMesh<'a> {
    /// Where it is from, one line.
    pub comment: &'a str,
    /// [mm] corners, z up.
    pub vertices_mm: &'a [[f32; 3]],
    /// Corner numbers, counter-clockwise from outside.
    pub triangles: &'a [[u32; 3]],
    /// sRGB per corner.
    pub colours: &'a [[u8; 3]],
    /// Raw values.
    pub channels: &'a [Channel<'a>],
}

impl HeatMesh<'_> {
    /// Nothing is written that another program could not read.
    ///
    /// # Errors
    /// Lengths that do not match, corners that do not exist, positions that are not finite, or a
    /// channel name with anything but letters, digits and `_`.
    pub fn check(&self) -> Result<()> {
        let corners = self.vertices_mm.len();
        let fault = if self.triangles.is_empty() {
            Some("it has no triangles".to_string())
        } else if self.colours.len() != corners {
            Some(format!(
                "{} colours for {corners} corners",
                self.colours.len()
            ))
        } else if self
            .triangles
            .iter()
            .flatten()
            .any(|&v| v as usize >= corners)
        {
            Some("a triangle names a corner that does not exist".into())
        } else if self.vertices_mm.iter().flatten().any(|x| !x.is_finite()) {
            Some("a corner is not a finite number".into())
        } else {
            self.channels
                .iter()
                .find_map(|channel| channel_fault(channel, corners))
        };
        match fault {
            None => Ok(()),
            Some(fault) => Err(Error::refused(format!("cannot export the mesh: {fault}"))),
        }
    }

    /// The comment without anything that could end a line or a tag.
    pub(super) fn safe_comment(&self) -> String {
        let keep = |c: char| !c.is_control() && !matches!(c, '<' | '>' | '&' | '"' | '-');
        let text: String = self
            .comment
            .chars()
            .map(|c| if keep(c) { c } else { ' ' })
            .collect();
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }
}

fn channel_fault(channel: &Channel<'_>, corners: usize) -> Option<String> {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '_';
    if channel.name.is_empty() || !channel.name.chars().all(plain) {
        return Some(format!("channel name '{}' is not plain", channel.name));
    }
    (channel.values.len() != corners).then(|| {
        format!(
            "channel {}: {} values for {corners} corners",
            channel.name,
            channel.values.len()
        )
    })
}

/// Linear light of an sRGB byte (IEC 61966-2-1).
pub(super) fn linear(byte: u8) -> f32 {
    let c = f32::from(byte) / 255.0;
    if c <= 0.04045 {
        return c / 12.92;
    }
    ((c + 0.055) / 1.055).powf(2.4)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    pub const CORNERS: [[f32; 3]; 4] = [
        [0.0, 0.0, 0.0],
        [10.0, 0.0, 0.0],
        [0.0, 20.0, 0.0],
        [0.0, 0.0, 30.0],
    ];
    pub const FACES: [[u32; 3]; 4] = [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]];
    pub const COLOURS: [[u8; 3]; 4] = [[255, 0, 0], [0, 255, 0], [0, 0, 255], [188, 128, 64]];
    pub const WORK: Channel<'static> = Channel {
        name: "friction_J_m2",
        values: &[0.0, 1.5, 2.25, f32::NAN],
    };

    pub fn sample() -> HeatMesh<'static> {
        HeatMesh {
            comment: "a --> <b>\nsecond line",
            vertices_mm: &CORNERS,
            triangles: &FACES,
            colours: &COLOURS,
            channels: &[WORK],
        }
    }

    #[test]
    fn what_no_program_could_read_is_refused() {
        assert!(sample().check().is_ok());
        let says = |mesh: HeatMesh<'_>| mesh.check().unwrap_err().what().to_string();
        let mut mesh = sample();
        mesh.colours = &COLOURS[..3];
        assert!(says(mesh).contains("3 colours for 4"));
        let mut mesh = sample();
        mesh.triangles = &[[0, 1, 4]];
        assert!(says(mesh).contains("does not exist"));
        let bad = [Channel {
            name: "friction [J]",
            values: &[0.0; 4],
        }];
        let mut mesh = sample();
        mesh.channels = &bad;
        assert!(says(mesh).contains("not plain"));
        assert_eq!(sample().safe_comment(), "a b second line");
    }
}
