//! From the file's unit and axes to the figure's frame.

use super::mesh::Mesh;
use super::settings::Settings;
use crate::format::read::Axis;
use base::{Error, Note, Result, Topic, Vec3};

/// [m] heights that are believed.
const ALLOWED: (f64, f64) = (0.005, 0.5);
/// [m] heights that need no remark.
const USUAL: (f64, f64) = (0.010, 0.120);
/// How thick a slice counts as the bottom, as a share of the height.
const SLICE: f64 = 0.005;
/// How much larger a bottom must be to beat the axis the format or habit says.
const CLEARLY: f64 = 1.3;

/// What the file says about itself.
#[derive(Debug, Clone, Copy, Default)]
pub struct Told {
    /// [m] length of one unit; millimetres if not told.
    pub unit: Option<f64>,
    /// Up axis.
    pub up: Option<Axis>,
}

/// Turns, scales and moves `mesh` in place; says what was guessed.
///
/// # Errors
/// A height outside 5 to 500 mm; a flat or empty mesh; settings out of range.
pub fn place(mesh: &mut Mesh, told: Told, settings: &Settings) -> Result<Vec<Note>> {
    settings.validate()?;
    let mut notes = Vec::new();
    let up = match settings.up {
        Some(axis) => axis,
        None => guess_up(mesh, told.up, &mut notes),
    };
    mesh.vertices.iter_mut().for_each(|p| *p = upright(p, up));
    let (low, high) = mesh
        .bounds()
        .ok_or_else(|| Error::input("the mesh holds no triangle with an area"))?;
    let extent = high - low;
    if extent.min() <= 1e-4 * extent.max() {
        return Err(Error::input(format!(
            "the mesh is flat: it measures {} x {} x {} units",
            short(extent.x),
            short(extent.y),
            short(extent.z)
        ))
        .hint("a sheet or a picture is no figure; export a closed body"));
    }
    let scale = scale(extent.z, told, settings, &mut notes)?;
    mesh.vertices
        .iter_mut()
        .for_each(|p| *p = (*p - low) * scale);
    let middle = footprint_middle(mesh, extent.z * scale);
    mesh.vertices.iter_mut().for_each(|p| *p -= middle);
    Ok(notes)
}

/// Turns an axis up. Of z-up files -y stays the front; of y-up files +z, as in glTF, becomes it.
fn upright(p: &Vec3, up: Axis) -> Vec3 {
    match up {
        Axis::Z => *p,
        Axis::MinusZ => Vec3::new(-p.x, p.y, -p.z),
        Axis::Y => Vec3::new(p.x, -p.z, p.y),
        Axis::MinusY => Vec3::new(p.x, p.z, -p.y),
        Axis::X => Vec3::new(p.y, p.z, p.x),
        Axis::MinusX => Vec3::new(-p.y, p.z, -p.x),
    }
}

fn scale(height: f64, told: Told, settings: &Settings, notes: &mut Vec<Note>) -> Result<f64> {
    let unit = told.unit.unwrap_or(1e-3);
    let scale = match (settings.height, settings.scale) {
        (Some(wanted), _) => wanted / height,
        (None, factor) => unit * factor.unwrap_or(1.0),
    };
    let found = height * scale;
    if !(ALLOWED.0..=ALLOWED.1).contains(&found) {
        return Err(unit_error(found, unit));
    }
    if settings.height.is_none() && !(USUAL.0..=USUAL.1).contains(&found) {
        notes.push(Note::new(
            Topic::Guess,
            format!(
                "the figure stands {} mm tall, unusual for 10 to 120 mm; if that is wrong, give height_mm",
                short(found * 1e3)
            ),
        ));
    }
    Ok(scale)
}

fn unit_error(found: f64, unit: f64) -> Error {
    let thousandth = if unit == 1.0 {
        "in millimetres although its format says metres: scale = 0.001"
    } else {
        "in micrometres: scale = 0.001"
    };
    let mut error = Error::input(format!(
        "the figure would stand {} mm tall; allowed are 5 to 500 mm",
        short(found * 1e3)
    ));
    for (factor, unit) in [
        (25.4, "in inches: scale = 25.4"),
        (1000.0, "in metres: scale = 1000"),
        (10.0, "in centimetres: scale = 10"),
        (1e-3, thousandth),
        (1.0 / 25.4, "scaled to inches twice: scale = 0.03937"),
    ] {
        if (USUAL.0..=USUAL.1).contains(&(found * factor)) {
            error = error.hint(format!(
                "the file may be {unit} (then {} mm)",
                short(found * factor * 1e3)
            ));
        }
    }
    error.hint("give the true height of the figure: height_mm = 34")
}

/// The axis at whose foot the figure has its flattest large base.
fn guess_up(mesh: &Mesh, told: Option<Axis>, notes: &mut Vec<Note>) -> Axis {
    let areas = Axis::ALL.map(|axis| base_area(mesh, axis));
    let habit = told.unwrap_or(Axis::Z);
    let of = |axis: Axis| {
        let at = Axis::ALL.iter().position(|a| *a == axis);
        at.map_or(0.0, |i| areas[i])
    };
    let mut best = habit;
    for axis in Axis::ALL {
        if of(axis) > of(best) * if best == habit { CLEARLY } else { 1.0 } {
            best = axis;
        }
    }
    let why = match (told, best == habit) {
        (Some(_), true) => "the format says so",
        (_, false) => "the flattest large base lies at its foot",
        (None, true) if of(best) > 0.0 => "its base is the flattest large one",
        (None, true) => "no side is flat",
    };
    notes.push(Note::new(
        Topic::Guess,
        format!(
            "{} is taken as up: {why}; if that is wrong, give up = \"x\", \"y\" or \"z\"",
            best.word()
        ),
    ));
    best
}

/// Area of the outline of everything in the lowest slice.
fn base_area(mesh: &Mesh, up: Axis) -> f64 {
    let (axis, sign) = up.component();
    let heights = || mesh.vertices.iter().map(|p| p[axis] * sign);
    let (lo, hi) = heights().fold((f64::MAX, f64::MIN), |(lo, hi), h| (lo.min(h), hi.max(h)));
    let cut = lo + SLICE * (hi - lo);
    let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
    let slice: Vec<[f64; 2]> = mesh
        .vertices
        .iter()
        .filter(|p| p[axis] * sign <= cut)
        .map(|p| [p[u], p[v]])
        .collect();
    outline_area(slice)
}

/// Area of the convex outline (monotone chain; Andrew 1979, Inf. Process. Lett. 9:216).
fn outline_area(mut points: Vec<[f64; 2]>) -> f64 {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let turn = |a: &[f64; 2], b: &[f64; 2], c: &[f64; 2]| {
        (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    };
    let chain = |points: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for p in points {
            while let [.., a, b] = chain[..] {
                if turn(&a, &b, &p) > 0.0 {
                    break;
                }
                chain.pop();
            }
            chain.push(p);
        }
        chain
    };
    let mut ring = chain(&mut points.iter().copied());
    ring.pop();
    ring.extend(chain(&mut points.iter().rev().copied()));
    let doubled: f64 = ring
        .windows(2)
        .map(|w| w[0][0] * w[1][1] - w[0][1] * w[1][0])
        .sum();
    doubled.abs() / 2.0
}

/// Middle of the bounding rectangle of what is near the table.
fn footprint_middle(mesh: &Mesh, height: f64) -> Vec3 {
    let feet = mesh.vertices.iter().filter(|p| p.z <= 0.02 * height);
    let (lo, hi) = feet.fold(
        (Vec3::repeat(f64::MAX), Vec3::repeat(f64::MIN)),
        |(lo, hi), p| (lo.inf(p), hi.sup(p)),
    );
    Vec3::new((lo.x + hi.x) / 2.0, (lo.y + hi.y) / 2.0, 0.0)
}

/// A number of three or four figures for people.
pub(super) fn short(x: f64) -> String {
    let size = x.abs();
    if size != 0.0 && !(1e-3..1e6).contains(&size) {
        return format!("{x:.2e}");
    }
    let decimals = match size {
        s if s >= 100.0 => 0,
        s if s >= 10.0 => 1,
        s if s >= 1.0 => 2,
        _ => 4,
    };
    format!("{x:.decimals$}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::shapes;

    /// A stout body on a 25 mm disc, 40 mm tall, in millimetres.
    fn body() -> Mesh {
        let profile = [
            (0.0, 0.0),
            (12.5, 0.0),
            (12.0, 3.0),
            (5.0, 3.0),
            (6.0, 25.0),
            (0.0, 40.0),
        ];
        shapes::turned(&profile, 40)
    }

    fn placed(mesh: &Mesh, settings: &Settings) -> Result<(Mesh, Vec<Note>)> {
        let mut mesh = mesh.clone();
        let notes = place(&mut mesh, Told::default(), settings)?;
        Ok((mesh, notes))
    }

    #[test]
    fn whichever_way_it_lies_its_base_goes_down() {
        let turns: [fn(&Vec3) -> Vec3; 6] = [
            |p| *p,
            |p| Vec3::new(p.x, p.z, -p.y),
            |p| Vec3::new(p.z, p.x, p.y),
            |p| Vec3::new(p.x, -p.y, -p.z),
            |p| Vec3::new(p.x, -p.z, p.y),
            |p| Vec3::new(-p.z, p.y, p.x),
        ];
        for turn in turns {
            let lying = shapes::moved(&body(), |p| turn(p) + Vec3::new(3.0, -7.0, 11.0));
            let (mesh, notes) = placed(&lying, &Settings::default()).unwrap();
            let (low, high) = mesh.bounds().unwrap();
            assert!((high.z - 0.040).abs() < 1e-12 && low.z.abs() < 1e-15);
            assert!((low.x + 0.0125).abs() < 1e-9 && (high.x - 0.0125).abs() < 1e-4);
            assert!(notes.iter().any(|n| n.text.contains("taken as up")));
            let foot = mesh.vertices.iter().filter(|p| p.z < 1e-9).count();
            assert!(foot > 30, "the disc is at the bottom: {foot}");
            let volume = crate::figure::solid::divergence(&mesh).volume;
            assert!(volume > 0.0, "turned, not mirrored");
        }
    }

    #[test]
    fn height_overrules_the_unit() {
        let settings = Settings {
            height: Some(0.034),
            ..Settings::default()
        };
        let (mesh, _) = placed(&body(), &settings).unwrap();
        assert!((mesh.bounds().unwrap().1.z - 0.034).abs() < 1e-15);
    }

    #[test]
    fn inches_and_metres_are_asked_about() {
        for (factor, word) in [
            (1.0 / 25.4, "inches"),
            (1e-3, "metres"),
            (0.1, "centimetres"),
        ] {
            let small = shapes::moved(&body(), |p| p * factor);
            let error = placed(&small, &Settings::default()).unwrap_err();
            assert!(error.what().contains("5 to 500 mm"), "{error}");
            assert!(error.hints().iter().any(|h| h.contains(word)), "{error}");
        }
    }

    #[test]
    fn outlines_have_the_area_of_their_corners() {
        let square = vec![
            [0.0, 0.0],
            [2.0, 0.0],
            [2.0, 3.0],
            [0.0, 3.0],
            [1.0, 1.0],
            [1.0, 0.0],
        ];
        assert!((outline_area(square) - 6.0).abs() < 1e-12);
    }
}
