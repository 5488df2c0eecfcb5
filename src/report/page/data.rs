//! What the page shows, as plain data: whoever ran the study fills it in, the page only words and
//! draws it. Numbers carry their unit in the name; `None` means "not known" or "never".

use crate::report::picture::Scale;
use serde::{Deserialize, Serialize};

/// A whole report.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct Page {
    /// Title of the scenario.
    pub title: String,
    /// One or two sentences: which figure, how tall, which specimens.
    pub lead: String,
    /// What was asked, one sentence each.
    pub questions: Vec<String>,
    /// The answers, one plain sentence each, with intervals.
    pub answers: Vec<String>,
    /// The figure all maps lie on.
    pub figure: FigureShape,
    /// One per exposure.
    pub views: Vec<HeatView>,
    /// Worn areas of all exposures and specimens, in the order they are to be read.
    pub areas: Vec<AreaRow>,
    /// Pressure footprints of pads and fingers.
    pub footprints: Vec<FootprintRow>,
    /// Comparisons asked for.
    pub compare: Vec<CompareRow>,
    /// What-ifs asked for.
    pub whatif: Vec<WhatIf>,
    /// Energy book-keeping.
    pub ledger: Vec<LedgerRow>,
    /// Guesses and remarks.
    pub notes: Vec<NoteRow>,
    /// Values not given by the user.
    pub priors: Vec<PriorRow>,
    /// What the numbers do not mean.
    pub limits: Vec<String>,
    /// Where the work itself can hurt.
    pub cautions: Vec<String>,
    /// Name and value: version, seed, hashes, date, machine-independent settings.
    pub provenance: Vec<(String, String)>,
    /// Command that makes this report again.
    pub reproduce: String,
}

/// The display mesh. 50 000 triangles keep the page below 2 MB.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct FigureShape {
    /// Name for people.
    pub name: String,
    /// [mm] corners, z up, front towards -y.
    pub vertices_mm: Vec<[f32; 3]>,
    /// Corner numbers, counter-clockwise from outside.
    pub triangles: Vec<[u32; 3]>,
}

/// All maps of one exposure.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct HeatView {
    /// Name of the exposure, as in [`AreaRow::exposure`].
    pub exposure: String,
    /// One per channel, then ratios: each is shown with one fixed scale.
    pub layers: Vec<Layer>,
    /// Which area each corner belongs to, one list per specimen.
    pub areas_of: Vec<SpecimenAreas>,
}

/// One channel (or ratio) on one or more specimens side by side.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Layer {
    /// The scale shared by all panes; its label names the layer.
    pub scale: Scale,
    /// Side by side, at most four are legible.
    pub panes: Vec<Pane>,
}

/// One coloured figure.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Pane {
    /// Specimen, or "left / right" for a ratio.
    pub name: String,
    /// Number in [`HeatView::areas_of`] that names the areas here.
    pub areas: Option<usize>,
    /// One value per corner in the scale's unit; NaN where there is none.
    pub values: Vec<f32>,
}

/// Areas of one specimen under one exposure.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct SpecimenAreas {
    /// As in [`AreaRow::specimen`].
    pub specimen: String,
    /// Per corner: 0 for none, otherwise 1 + the number of the row in [`Page::areas`].
    pub of_vertex: Vec<u32>,
}

/// One worn area.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct AreaRow {
    /// Exposure.
    pub exposure: String,
    /// Specimen.
    pub specimen: String,
    /// 1 is the most worn.
    pub rank: u32,
    /// In words: "tip, front left, 34 mm up".
    pub name: String,
    /// [mm] a point on it.
    pub place_mm: [f64; 3],
    /// [mm2] its size.
    pub area_mm2: f64,
    /// What the ranking is by, with unit: "friction work, J/m2 per minute".
    pub dose_label: String,
    /// Mean dose per unit of exposure.
    pub dose: f64,
    /// Its 95 % interval.
    pub dose_95: [f64; 2],
    /// [%] share of the figure's dose.
    pub dose_share_pct: f64,
    /// [%] share of the figure's surface.
    pub surface_share_pct: f64,
    /// [%] how sure the rank is; 50 is a coin flip.
    pub rank_certainty_pct: Option<f64>,
    /// Exposure until a film is through, median; `None` when not within reach.
    pub life: Option<f64>,
    /// Its 90 % interval; an open end is `None`.
    pub life_90: [Option<f64>; 2],
    /// "strokes".
    pub life_unit: String,
}

/// Pressure footprints of one exposure of one specimen.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct FootprintRow {
    /// What is seen, for those who do not see it.
    pub words: String,
    /// The picture: PNG in base64.
    pub png: String,
}

/// One comparison.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct CompareRow {
    /// Exposure.
    pub exposure: String,
    /// Left specimen.
    pub left: String,
    /// Right specimen.
    pub right: String,
    /// One plain sentence.
    pub sentence: String,
    /// Dose left over right, same treatment.
    pub ratio: f64,
    /// Its 95 % interval.
    pub ratio_95: [f64; 2],
    /// Spearman rank correlation of the maps.
    pub spearman: Option<f64>,
    /// The same between two runs of one specimen: no comparison can score higher.
    pub spearman_ceiling: Option<f64>,
    /// [%] overlap of the most worn 5 % of the surface.
    pub overlap_pct: Option<f64>,
}

/// One parameter over a range.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct WhatIf {
    /// "Friction of the topcoat, foam wipe".
    pub title: String,
    /// One plain sentence with the finding.
    pub sentence: String,
    /// "friction coefficient".
    pub x_label: String,
    /// "wear of the whole figure, relative to now".
    pub y_label: String,
    /// Value of the parameter now.
    pub now: Option<f64>,
    /// One per wear law.
    pub curves: Vec<Curve>,
}

/// One wear law's answer.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct Curve {
    /// "energy law".
    pub name: String,
    /// Parameter, value, lower and upper end of the interval; in rising order of the parameter.
    pub points: Vec<[f64; 4]>,
}

/// Energy book-keeping of one exposure of one specimen.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct LedgerRow {
    /// Exposure.
    pub exposure: String,
    /// Specimen.
    pub specimen: String,
    /// Replicates.
    pub replicates: u32,
    /// [J] work of walls, hand and gravity.
    pub work_j: f64,
    /// [J] change of kinetic and potential energy.
    pub stored_j: f64,
    /// [J] booked impact loss.
    pub impact_j: f64,
    /// [J] booked friction work.
    pub friction_j: f64,
    /// [%] of the booked losses that does not add up.
    pub residual_pct: f64,
    /// "closes", "warned above 1 %", "refused above 3 %".
    pub verdict: String,
}

/// A guess or remark.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct NoteRow {
    /// What it is about: "scale guessed".
    pub topic: String,
    /// In words.
    pub text: String,
}

/// A value that was not given by the user.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct PriorRow {
    /// "friction, satin topcoat on soft foam".
    pub name: String,
    /// Unit, empty for plain numbers.
    pub unit: String,
    /// Median.
    pub value: f64,
    /// 5 % and 95 % ends.
    pub range: [f64; 2],
    /// "A" to "D", or "User".
    pub grade: String,
    /// Author, year, place.
    pub source: String,
}
