//! Heat maps of a trial: scales shared by the specimens of an exposure, meshes, pictures.

use super::picture::{Scale, Sheet, Spread, Surface, four_views, turntable};
use super::tables::PATCH_CHANNELS;
use crate::trial::{Answers, Trial};
use base::Result;
use contact::dose::Channel;
use mesh::figure::Display;
use mesh::format::{HeatChannel, HeatMesh};

/// The brightest corners may lie above the scale: a single tip would leave everything else pale.
const TOP_QUANTILE: f64 = 0.999;
/// Decades that a dose scale spans.
const DECADES: f64 = 3.0;

/// One map over patches, ready to be drawn.
#[derive(Debug, Clone)]
pub struct Map {
    /// Name of the scalar, unit included.
    pub name: &'static str,
    /// One value per patch in the unit of the name.
    pub values: Vec<f64>,
}

/// The maps of one part: every channel, then depth after the asked amount.
#[must_use]
pub fn maps(trial: &Trial, answers: &Answers, part: usize) -> Vec<Map> {
    let areas = trial.figure.patch_areas();
    let mean = &trial.done[part].outcome.rate.mean;
    let mut maps: Vec<Map> = PATCH_CHANNELS
        .iter()
        .map(|(name, channel, unit)| Map {
            name,
            values: mean
                .map(*channel, &areas)
                .iter()
                .map(|v| v * unit)
                .collect(),
        })
        .collect();
    maps.push(Map {
        name: "depth_um_energy_law",
        values: answers.parts[part]
            .wear
            .iter()
            .map(|w| w.depth_energy.map_or(f64::NAN, |d| d * 1e6))
            .collect(),
    });
    maps.push(Map {
        name: "film_lost_pct",
        values: answers.parts[part]
            .wear
            .iter()
            .map(|w| (w.scuffed_share * 100.0).min(100.0))
            .collect(),
    });
    maps
}

/// What a scalar is called by people, and its unit.
#[must_use]
pub fn label(name: &str) -> (&'static str, &'static str) {
    match name {
        "friction_J_m2" => ("Friction work", "J/m2"),
        "impact_J_m2" => ("Impact loss", "J/m2"),
        "dent_J_m2" => ("Dent energy", "J/m2"),
        "peak_MPa" => ("Peak pressure", "MPa"),
        "slip_mm" => ("Sliding distance", "mm"),
        "touches" => ("Touches", ""),
        "depth_um_energy_law" => ("Depth lost", "um"),
        "film_lost_pct" => ("Film lost", "%"),
        _ => ("Value", ""),
    }
}

/// One scale for several maps of the same kind, so that specimens can be compared by eye.
///
/// * `per`: what one unit of exposure is, for the label; empty for totals
#[must_use]
pub fn common_scale(name: &str, per: &str, maps: &[&[f32]]) -> Option<Scale> {
    let mut positive: Vec<f64> = maps
        .iter()
        .flat_map(|m| m.iter())
        .map(|v| f64::from(*v))
        .filter(|v| v.is_finite() && *v > 0.0)
        .collect();
    if positive.is_empty() {
        return None;
    }
    positive.sort_by(f64::total_cmp);
    let high = base::stats::quantile(&positive, TOP_QUANTILE);
    let (words, unit) = label(name);
    let label = match per {
        "" => words.to_string(),
        per => format!("{words} per {per}"),
    };
    Some(Scale {
        label,
        unit: unit.to_string(),
        low: high / 10f64.powf(DECADES),
        high,
        spread: Spread::Log,
    })
}

/// Is this scalar a dose per unit (rather than wear after the whole exposure)?
#[must_use]
pub fn is_per_unit(name: &str) -> bool {
    PATCH_CHANNELS
        .iter()
        .any(|(n, channel, _)| *n == name && *channel != Channel::Peak)
}

/// Everything that is drawn of one part.
pub struct Drawn<'a> {
    /// The mesh.
    pub display: &'a Display,
    /// [mm] its corners.
    pub vertices_mm: &'a [[f32; 3]],
    /// Names and values per corner.
    pub channels: Vec<(&'static str, Vec<f32>)>,
}

impl<'a> Drawn<'a> {
    /// Puts the maps of a part on the corners.
    #[must_use]
    pub fn new(display: &'a Display, vertices_mm: &'a [[f32; 3]], maps: &[Map]) -> Drawn<'a> {
        Drawn {
            display,
            vertices_mm,
            channels: maps
                .iter()
                .map(|m| (m.name, display.values(&m.values)))
                .collect(),
        }
    }

    /// One channel's values on the corners.
    #[must_use]
    pub fn channel(&self, name: &str) -> Option<&[f32]> {
        self.channels
            .iter()
            .find(|(n, _)| *n == name)
            .map(|(_, v)| v.as_slice())
    }

    /// The mesh in a format, coloured by one channel, all channels as scalars.
    ///
    /// # Errors
    /// As the writer.
    pub fn mesh(
        &self,
        comment: &str,
        (name, scale): (&str, &Scale),
        write: impl Fn(&HeatMesh<'_>) -> Result<Vec<u8>>,
    ) -> Result<Vec<u8>> {
        let values = self.channel(name).unwrap_or_default();
        let colours: Vec<[u8; 3]> = values.iter().map(|v| scale.colour(f64::from(*v))).collect();
        let channels: Vec<HeatChannel<'_>> = self
            .channels
            .iter()
            .map(|(name, values)| HeatChannel { name, values })
            .collect();
        write(&HeatMesh {
            comment,
            vertices_mm: self.vertices_mm,
            triangles: &self.display.mesh.triangles,
            colours: &colours,
            channels: &channels,
        })
    }

    /// Four views as PNG.
    ///
    /// # Errors
    /// As the picture.
    pub fn picture(
        &self,
        title: &str,
        subtitle: &str,
        (name, scale): (&str, &Scale),
    ) -> Result<Vec<u8>> {
        four_views(&self.surface(name), &sheet(title, subtitle, scale))?.to_png()
    }

    /// Eight views round the figure as PNG.
    ///
    /// # Errors
    /// As the picture.
    pub fn turn(
        &self,
        title: &str,
        subtitle: &str,
        (name, scale): (&str, &Scale),
    ) -> Result<Vec<u8>> {
        turntable(&self.surface(name), &sheet(title, subtitle, scale))?.to_png()
    }

    fn surface(&self, name: &str) -> Surface<'_> {
        Surface {
            vertices_mm: self.vertices_mm,
            triangles: &self.display.mesh.triangles,
            values: self.channel(name),
        }
    }
}

fn sheet(title: &str, subtitle: &str, scale: &Scale) -> Sheet {
    Sheet {
        title: title.into(),
        subtitle: subtitle.into(),
        scale: Some(scale.clone()),
    }
}
