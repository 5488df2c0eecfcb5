//! Large arrays for a page that must stay small: quantised, differenced, split in byte planes,
//! deflated (RFC 1951), in base64. `viewer.js` holds the inverse.

use super::data::{FigureShape, Page, Pane};
use crate::report::picture::{Scale, Spread};
use base::{Error, Result};
use base64::Engine;
use serde_json::{Value, json};
use std::io::Write;

/// Steps of a quantised position or value.
const STEPS: f64 = 65_534.0;

/// Arrays of 32-bit numbers, one after the other.
#[derive(Default)]
pub(super) struct Packer {
    bytes: Vec<u8>,
}

impl Packer {
    /// Adds an array; gives where it starts, in bytes of the unpacked block.
    ///
    /// Each number is the difference to the one before, zigzag coded, in `planes` byte planes.
    pub fn push(&mut self, numbers: &[u32], planes: u32) -> usize {
        let start = self.bytes.len();
        let mut before = 0_u32;
        let coded: Vec<u32> = numbers
            .iter()
            .map(|&n| {
                let step = n.wrapping_sub(before) as i32;
                before = n;
                ((step << 1) ^ (step >> 31)) as u32
            })
            .collect();
        for plane in 0..planes {
            self.bytes
                .extend(coded.iter().map(|c| (c >> (8 * plane)) as u8));
        }
        start
    }

    /// The whole block, deflated, as base64.
    pub fn finish(self) -> Result<String> {
        let level = flate2::Compression::best();
        let mut deflater = flate2::write::DeflateEncoder::new(Vec::new(), level);
        let packed = deflater
            .write_all(&self.bytes)
            .and_then(|()| deflater.finish());
        match packed {
            Ok(bytes) => Ok(base64::engine::general_purpose::STANDARD.encode(bytes)),
            Err(cause) => Err(Error::refused(format!("cannot pack the page: {cause}"))),
        }
    }
}

/// The figure: description and packed block.
pub(super) fn geometry(figure: &FigureShape) -> Result<(Value, String)> {
    let corners = &figure.vertices_mm;
    let fold =
        |k: usize, f: fn(f32, f32) -> f32, start: f32| corners.iter().map(|v| v[k]).fold(start, f);
    let low: [f32; 3] = std::array::from_fn(|k| fold(k, f32::min, f32::INFINITY));
    let high: [f32; 3] = std::array::from_fn(|k| fold(k, f32::max, f32::NEG_INFINITY));
    let mut packer = Packer::default();
    for k in 0..3 {
        let wide = f64::from(high[k] - low[k]).max(1e-9);
        let numbers: Vec<u32> = corners
            .iter()
            .map(|v| (f64::from(v[k] - low[k]) / wide * STEPS).round() as u32)
            .collect();
        // A difference of 16-bit numbers needs 17 bits.
        packer.push(&numbers, 3);
    }
    packer.push(figure.triangles.as_flattened(), 4);
    let about = json!({
        "name": figure.name, "corners": corners.len(), "triangles": figure.triangles.len(),
        "low": low, "high": high
    });
    Ok((about, packer.finish()?))
}

/// Values and area numbers of all views: description and packed block.
pub(super) fn values(page: &Page) -> Result<(Value, String)> {
    let mut packer = Packer::default();
    let mut views = Vec::new();
    for view in &page.views {
        let layers: Vec<Value> = view
            .layers
            .iter()
            .map(|layer| {
                let panes = layer.panes.iter();
                let panes: Vec<Value> = panes
                    .map(|pane| pack_pane(pane, &layer.scale, &mut packer))
                    .collect();
                json!({ "scale": describe(&layer.scale), "panes": panes })
            })
            .collect();
        let areas: Vec<Value> = view
            .areas_of
            .iter()
            .map(|a| json!({ "specimen": a.specimen, "at": packer.push(&a.of_vertex, 3) }))
            .collect();
        views.push(json!({ "exposure": view.exposure, "layers": layers, "areas": areas }));
    }
    Ok((Value::Array(views), packer.finish()?))
}

/// Values as 16-bit steps between the pane's own ends, 0 for none: what a person reads on hover is
/// within 1/65 000 of the range (of its logarithm on logarithmic scales).
fn pack_pane(pane: &Pane, scale: &Scale, packer: &mut Packer) -> Value {
    let logarithmic = scale.spread != Spread::Linear;
    let shown = |v: f32| {
        let v = f64::from(v);
        match (v.is_finite(), logarithmic) {
            (true, true) if v > 0.0 => Some(v.ln()),
            (true, false) => Some(v),
            _ => None,
        }
    };
    let spread = pane.values.iter().filter_map(|v| shown(*v));
    let (low, high) = spread.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
        (l.min(v), h.max(v))
    });
    let (low, high) = if low <= high { (low, high) } else { (0.0, 0.0) };
    let wide = (high - low).max(1e-12);
    let numbers: Vec<u32> = pane
        .values
        .iter()
        .map(|v| shown(*v).map_or(0, |v| 1 + ((v - low) / wide * STEPS).round() as u32))
        .collect();
    json!({
        "name": pane.name, "areas": pane.areas, "log": logarithmic, "low": low, "wide": wide,
        "at": packer.push(&numbers, 3)
    })
}

/// The scale with its colours and ticks, so that the page needs no colour science of its own.
fn describe(scale: &Scale) -> Value {
    let colours: Vec<String> = (0..64)
        .map(|i| {
            let [r, g, b] = scale.colour_at(f64::from(i) / 63.0);
            format!("{r:02x}{g:02x}{b:02x}")
        })
        .collect();
    json!({
        "label": scale.label, "unit": crate::report::picture::scale::with_powers(&scale.unit),
        "heading": scale.heading(), "low": scale.low, "high": scale.high,
        "log": scale.spread != Spread::Linear, "ratio": scale.spread == Spread::Ratio,
        "colours": colours.concat(), "ticks": scale.ticks(),
    })
}

/// JSON that may stand in a script element: no `<` can end it, no odd line break can break it.
pub(super) fn script_json(value: &Value) -> String {
    value
        .to_string()
        .replace('<', "\\u003c")
        .replace('\u{2028}', "\\u2028")
        .replace('\u{2029}', "\\u2029")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Read;

    /// The inverse, as `viewer.js` does it.
    fn unpack(bytes: &[u8], at: usize, (count, planes): (usize, usize)) -> Vec<u32> {
        let mut before = 0_u32;
        (0..count)
            .map(|i| {
                let byte = |p: usize| u32::from(bytes[at + p * count + i]) << (8 * p);
                let coded: u32 = (0..planes).map(byte).sum();
                let step = (coded >> 1) as i32 ^ -((coded & 1) as i32);
                before = before.wrapping_add(step as u32);
                before
            })
            .collect()
    }

    #[test]
    fn arrays_come_back_as_they_were() {
        let first = [0, 65_535, 3, 3, 40_000];
        let second = [7, 1_000_000, 0];
        let mut packer = Packer::default();
        let (a, b) = (packer.push(&first, 3), packer.push(&second, 4));
        let text = packer.finish().unwrap();
        let packed = base64::engine::general_purpose::STANDARD
            .decode(text)
            .unwrap();
        let mut bytes = Vec::new();
        flate2::read::DeflateDecoder::new(packed.as_slice())
            .read_to_end(&mut bytes)
            .unwrap();
        assert_eq!(unpack(&bytes, a, (5, 3)), first);
        assert_eq!(unpack(&bytes, b, (3, 4)), second);
    }

    #[test]
    fn json_cannot_leave_its_script() {
        let text = script_json(&json!({ "name": "</script><b>" }));
        assert!(!text.contains('<') && text.contains("\\u003c/script>"));
    }
}
