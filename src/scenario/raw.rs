//! The scenario as a person types it: millimetres, grams, degrees, names of the stock.
//! Serde knows the shape; nothing is validated here beyond shape. See [`super::lift`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A scenario: one figure, its specimens, what is done to them, and what is asked.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawScenario {
    /// Heading of the report.
    pub title: String,
    /// Seed of every random draw. Same seed, same result.
    #[serde(default = "one")]
    pub seed: u64,
    /// Half-width of the 95 % interval of the most worn areas at which a simulation stops, in per cent.
    #[serde(default = "ten")]
    pub precision_pct: f64,
    /// Most simulation time per part in minutes of wall clock. Without it only precision decides.
    pub budget_min: Option<f64>,
    /// The figure.
    pub figure: RawFigure,
    /// The figure in one body material under one film stack.
    pub specimen: Vec<RawSpecimen>,
    /// What is done to every specimen.
    pub exposure: Vec<RawExposure>,
    /// Comparisons of two specimens.
    #[serde(default)]
    pub compare: Vec<RawCompare>,
    /// One value varied over a range.
    #[serde(default)]
    pub whatif: Vec<RawWhatIf>,
    /// Values of the stock overruled: table name, then row, then value.
    #[serde(default)]
    pub stock: Vec<RawOverrule>,
    /// Painted cards of your own, rubbed until something showed: they overrule the stock's wear
    /// rate of that film on that counterface.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub coupon: Vec<RawCoupon>,
    /// How the wear rate depends on pressure on pads; off without it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pressure: Option<RawPressure>,
}

/// Rubbed cards of one film on one counterface. End points as in ASTM F2357: the first change of
/// sheen, and the first undercoat seen.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawCoupon {
    /// Film on the card, a name of the stock.
    pub film: String,
    /// What rubbed it, a name of the stock.
    pub counterface: String,
    /// Weight on the pad in newtons (100 g are 0.98 N).
    pub load_n: f64,
    /// Length of the pad along the stroke and its width, in millimetres.
    pub pad_mm: [f64; 2],
    /// Length of the stroke in millimetres.
    pub stroke_mm: f64,
    /// 1 if a counted stroke goes one way, 2 if to and fro.
    #[serde(default = "two_passes")]
    pub passes: f64,
    /// Friction from a tilt test; the stock's without it.
    pub friction: Option<f64>,
    /// Dry film on the card in micrometres; the stock's without it.
    pub dry_um: Option<f64>,
    /// Counted strokes to the first change of sheen, one number per card.
    #[serde(default)]
    pub strokes_to_sheen: Vec<f64>,
    /// Counted strokes to the first undercoat seen, one number per card.
    pub strokes_to_undercoat: Vec<f64>,
}

fn two_passes() -> f64 {
    2.0
}

/// How the wear rate depends on pressure: `(p / 100 kPa)^exponent` above the threshold.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawPressure {
    /// Exponent; -0.2 to 0.5 has been argued for, 0 is the usual law.
    #[serde(default)]
    pub exponent: f64,
    /// Pressure in kilopascals below which nothing wears.
    #[serde(default)]
    pub threshold_kpa: f64,
}

fn one() -> u64 {
    1
}
fn ten() -> f64 {
    10.0
}

impl RawScenario {
    /// Every file the scenario names: figure, recorded paths, calibrations.
    pub fn files_mut(&mut self) -> Vec<&mut String> {
        let mut files: Vec<&mut String> = self.figure.file.iter_mut().collect();
        files.extend(
            self.specimen
                .iter_mut()
                .filter_map(|s| s.measured.as_mut())
                .map(|m| &mut m.file),
        );
        files.extend(self.exposure.iter_mut().filter_map(|e| match e {
            RawExposure::Tumble(tumble) => tumble.path.as_mut(),
            _ => None,
        }));
        files
    }
}

/// Where the figure comes from and how large it is.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawFigure {
    /// Mesh file (stl, obj, ply, 3mf, glb), relative to the scenario file.
    pub file: Option<String>,
    /// A sculpt that ships with the program instead of a file: "ferry porter".
    pub sculpt: Option<String>,
    /// Height over all in millimetres, base included.
    pub height_mm: Option<f64>,
    /// Factor on the file's numbers read as millimetres.
    pub scale: Option<f64>,
    /// Axis of the file that points up: "x", "y" or "z". Guessed if missing.
    pub up: Option<String>,
    /// Edge length of a patch in millimetres.
    #[serde(default = "half")]
    pub patch_mm: f64,
}

fn half() -> f64 {
    0.5
}

/// One specimen.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawSpecimen {
    /// Name used in every table and file.
    pub name: String,
    /// A body of the stock, or its numbers.
    pub body: RawBody,
    /// Weight on a kitchen scale in grams; overrules density times volume.
    pub mass_g: Option<f64>,
    /// Films from the body outward, names of the stock.
    #[serde(default)]
    pub coats: Vec<String>,
    /// Friction of the outer film by counterface; overrules the stock.
    #[serde(default)]
    pub friction: BTreeMap<String, f64>,
    /// Days since the last coat; below 7 the films still wear faster.
    pub cure_days: Option<f64>,
    /// Thickness of coats you measured, instead of the stock's.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gauged: Vec<RawGauge>,
    /// Declares that film peels from the rim of bare spots (three times as fast, 2 to 5).
    #[serde(default)]
    pub undermining: bool,
    /// Wear rate from the user's own bench, instead of the stock's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measured: Option<RawMeasured>,
}

/// Thickness of one coat: a dry gauge, a comb in the wet film, or weighing before and after.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawGauge {
    /// Which coat, counted from the body outward, 1 the first.
    pub coat: usize,
    /// Dry film in micrometres.
    pub dry_um: Option<f64>,
    /// Wet film in micrometres; needs solids_pct.
    pub wet_um: Option<f64>,
    /// Share of the paint's volume that stays, in per cent (data sheet).
    pub solids_pct: Option<f64>,
    /// Volume of thinner per volume of paint, in per cent.
    #[serde(default)]
    pub thinner_pct: f64,
    /// Gain of weight by the coat in milligrams, dry; needs area_cm2.
    pub gain_mg: Option<f64>,
    /// Smallest step of the scale in milligrams.
    #[serde(default = "ten")]
    pub step_mg: f64,
    /// Painted surface in square centimetres (`thumbworn inspect` prints the figure's).
    pub area_cm2: Option<f64>,
}

/// The wear rate of one system of a bench.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawMeasured {
    /// The file that `bench calibrate` wrote; relative to the scenario.
    pub file: String,
    /// System of the bench, such as "S3".
    pub system: String,
    /// Counterface it holds on; the bench's own without it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counterface: Option<String>,
}

/// A body of the stock by name, or given by numbers.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum RawBody {
    /// Name of a row of the stock.
    Named(String),
    /// Own numbers.
    Given(RawBodyNumbers),
}

/// A body by numbers; what is missing is taken from the stock's row `like`.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawBodyNumbers {
    /// Row of the stock that fills what is missing.
    pub like: String,
    /// Density in g/cm3.
    pub density_g_cm3: Option<f64>,
    /// Young's modulus in GPa.
    pub youngs_gpa: Option<f64>,
    /// Yield stress in MPa.
    pub yield_mpa: Option<f64>,
}

/// What is done to a specimen.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum RawExposure {
    /// Knocking about loose in a box.
    Tumble(RawTumble),
    /// Falling on a plate.
    Drop(RawDrop),
    /// Strokes over a pad of foam or felt.
    Rub(RawRub),
    /// Picking up and putting down.
    Handle(RawHandle),
    /// Riding in a tray slot.
    Ride(RawRide),
}

impl RawExposure {
    /// Name used in every table and file.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            RawExposure::Tumble(e) => &e.name,
            RawExposure::Drop(e) => &e.name,
            RawExposure::Rub(e) => &e.name,
            RawExposure::Handle(e) => &e.name,
            RawExposure::Ride(e) => &e.name,
        }
    }
}

/// Loose in a closed box on a moving path.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawTumble {
    /// Name used in every table and file.
    pub name: String,
    /// How long, in minutes.
    pub minutes: f64,
    /// Inner size of the box in millimetres: x, y, z; this or `tin_mm`.
    pub box_mm: Option<[f64; 3]>,
    /// A round tin instead, standing on its base: inner diameter and height in millimetres.
    pub tin_mm: Option<[f64; 2]>,
    /// Material of the walls, a row of the stock.
    pub wall: String,
    /// Shaking by hand.
    pub shake: Option<RawShake>,
    /// Turning about a level axis.
    pub roll: Option<RawRoll>,
    /// A recorded path: CSV of time_s, x_mm, y_mm, z_mm, qw, qx, qy, qz.
    pub path: Option<String>,
    /// Number of equal figures in the box.
    #[serde(default = "one_figure")]
    pub figures: u32,
    /// "exact" (default) or "rapier", the independent second opinion.
    #[serde(default = "exact")]
    pub engine: String,
    /// Friction of the outer film on the wall; overrules the stock.
    pub friction: Option<f64>,
    /// Coefficient of restitution; overrules the stock.
    pub restitution: Option<f64>,
}

fn one_figure() -> u32 {
    1
}
fn exact() -> String {
    "exact".into()
}

/// Sinusoids along x, y, z.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawShake {
    /// Amplitude in millimetres on each axis.
    pub amplitude_mm: [f64; 3],
    /// Frequency in hertz on each axis; ratios that are no simple fractions fill the box evenly.
    pub frequency_hz: [f64; 3],
}

/// Steady turning.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawRoll {
    /// Turns per minute.
    pub turns_per_minute: f64,
    /// Axis: "x", "y" or "z".
    #[serde(default = "axis_x")]
    pub axis: String,
}

fn axis_x() -> String {
    "x".into()
}

/// Falling on a plate.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawDrop {
    /// Name used in every table and file.
    pub name: String,
    /// How many drops; may be left out where the schedule says.
    pub drops: Option<f64>,
    /// Height of the lowest point above the floor in millimetres; this or `schedule`.
    pub height_mm: Option<f64>,
    /// A published fall of the stock, such as "EN 71-1"; this or `height_mm`.
    pub schedule: Option<String>,
    /// Material of the floor, a row of the stock.
    pub floor: String,
    /// "random" (default) or a face that points down: "base", "front", "back", "left", "right", "top".
    #[serde(default = "random")]
    pub attitude: String,
    /// Friction of the outer film on the floor; overrules the stock.
    pub friction: Option<f64>,
    /// Coefficient of restitution; overrules the stock.
    pub restitution: Option<f64>,
}

fn random() -> String {
    "random".into()
}

/// A pad of the stock by name, or by its measured stiffness.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum RawPad {
    /// Name of a row of the stock.
    Named(String),
    /// Own numbers.
    Given(RawPadNumbers),
}

impl RawPad {
    /// The row of the stock it is, or is like.
    #[must_use]
    pub fn like(&self) -> &str {
        match self {
            RawPad::Named(name) => name,
            RawPad::Given(numbers) => &numbers.like,
        }
    }
}

/// A foam pad by numbers.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawPadNumbers {
    /// Row of the stock that fills what is missing (friction, wear factor).
    pub like: String,
    /// Thickness in millimetres.
    pub thickness_mm: Option<f64>,
    /// Stress at 40 % compression in kPa (ISO 3386-1).
    pub cld40_kpa: Option<f64>,
    /// Kitchen-scale readings with a flat disc: grams at 10, 25 and 40 % of the thickness.
    pub scale_g: Option<[f64; 3]>,
    /// Diameter of the disc of the readings in millimetres.
    pub disc_mm: Option<f64>,
}

/// Strokes over a pad.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawRub {
    /// Name used in every table and file.
    pub name: String,
    /// The pad.
    pub pad: RawPad,
    /// "hand 1 N", "own weight" or "interference 1.5 mm".
    pub load: String,
    /// How many strokes.
    pub strokes: f64,
    /// Length of a stroke in millimetres.
    pub stroke_mm: f64,
    /// Sides that face the pad: "top", "front", "back", "left", "right", "base"; shared equally.
    pub faces: Vec<String>,
    /// Standard deviation of the tilt of a pose in degrees.
    #[serde(default = "tilt")]
    pub tilt_deg: f64,
    /// Length of the pad along the stroke if it is shorter than the stroke, in millimetres.
    pub pad_length_mm: Option<f64>,
    /// Grit in the foam or on the fingers.
    #[serde(default)]
    pub gritty: bool,
    /// Friction of the outer film on the pad; overrules the stock.
    pub friction: Option<f64>,
}

fn tilt() -> f64 {
    8.0
}

/// Picking up and putting down.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawHandle {
    /// Name used in every table and file.
    pub name: String,
    /// How many pick-ups.
    pub pick_ups: f64,
    /// Two or three fingers.
    #[serde(default = "two")]
    pub fingers: u32,
    /// Counterface of the stock: "clean skin", "greasy skin".
    pub skin: String,
    /// Shares of holding by base, body and top; they are scaled to 1.
    #[serde(default = "holds")]
    pub holds: RawHolds,
    /// Peak acceleration of the hand in m/s2.
    pub acceleration_m_s2: Option<f64>,
    /// Slip of one finger per pick-up in millimetres.
    pub slip_mm: Option<f64>,
    /// Lowest grip force of a finger in newtons.
    pub floor_n: Option<f64>,
    /// Grip over slip limit.
    pub margin: Option<f64>,
    /// Grit in the foam or on the fingers.
    #[serde(default)]
    pub gritty: bool,
    /// Friction of the outer film on skin at 1 N; overrules the stock.
    pub friction: Option<f64>,
}

fn two() -> u32 {
    2
}
fn holds() -> RawHolds {
    RawHolds {
        base: 0.3,
        body: 0.5,
        top: 0.2,
    }
}

/// Shares of hold styles.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawHolds {
    /// Fingers on the base.
    pub base: f64,
    /// Fingers on the middle.
    pub body: f64,
    /// Fingers on the upper third.
    pub top: f64,
}

/// Riding in a tray slot.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawRide {
    /// Name used in every table and file.
    pub name: String,
    /// Distance in kilometres.
    pub km: f64,
    /// Foam of the slot.
    pub pad: RawPad,
    /// How much smaller the slot is than the figure, per side, in millimetres; negative is loose.
    pub interference_mm: f64,
    /// Vibration schedule of the stock.
    pub schedule: String,
    /// A warm car: 30 C and more.
    #[serde(default)]
    pub warm: bool,
    /// Mean speed in km/h, which turns kilometres into time.
    pub speed_km_h: Option<f64>,
    /// Insertions and extractions per kilometre.
    pub insertions_per_km: Option<f64>,
    /// Grit in the foam or on the fingers.
    #[serde(default)]
    pub gritty: bool,
    /// Friction of the outer film on the foam; overrules the stock.
    pub friction: Option<f64>,
}

/// Two specimens side by side.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawCompare {
    /// Name of a specimen.
    pub left: String,
    /// Name of another specimen.
    pub right: String,
    /// Only this exposure; all without it.
    pub exposure: Option<String>,
}

/// One value varied.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawWhatIf {
    /// "topcoat.friction", or any numeric key of this file such as `exposure.foam wipe.stroke_mm`.
    pub vary: String,
    /// From and to.
    pub over: [f64; 2],
    /// Number of values, ends included.
    #[serde(default = "four")]
    pub steps: u32,
    /// Only this specimen; the first without it.
    pub specimen: Option<String>,
    /// Only this exposure; all without it.
    pub exposure: Option<String>,
}

fn four() -> u32 {
    4
}

/// One value of the stock overruled.
#[derive(Debug, Clone, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawOverrule {
    /// Name of the row, such as "satin topcoat, aerosol".
    pub row: String,
    /// Name of the value, such as "k_E_mm3_J" or "thickness_um".
    pub value: String,
    /// New central value in the unit of the name.
    pub set: f64,
    /// New 5 % value; equal to `set` without it.
    pub low: Option<f64>,
    /// New 95 % value; equal to `set` without it.
    pub high: Option<f64>,
}
