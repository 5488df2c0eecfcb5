//! Pressure footprints of a trial's pads and fingers as pictures.

use super::picture::{Panel, Scale, Spread, footprints};
use crate::trial::Trial;
use base::{Result, Vec3};
use contact::pad::Picture;

/// Pressures over this many decades are told apart.
const DECADES: f64 = 2.5;
/// [px] of a panel in the file and on the page.
pub const LARGE: usize = 360;
/// [px]
pub const SMALL: usize = 200;
/// A figure that leans more than this against the picture's plane is turned by its back instead.
const UPRIGHT: f64 = 0.4;

/// One sheet with all footprints of a part as PNG; `None` where no pad pressed.
///
/// # Errors
/// As the picture.
pub fn sheet(trial: &Trial, part: usize, wide: usize) -> Result<Option<Vec<u8>>> {
    let done = &trial.done[part];
    let shown: Vec<_> = (done.outcome.footprints.iter())
        .filter(|f| f.picture.columns * f.picture.rows > 0)
        .collect();
    let most = shown.iter().flat_map(|f| &f.picture.pressure);
    let most = f64::from(most.copied().fold(0.0, f32::max)) * 1e-3;
    if most <= 0.0 {
        return Ok(None);
    }
    let scale = Scale {
        label: "Pressure, mean over 0.5 mm".into(),
        unit: "kPa".into(),
        low: most / 10f64.powf(DECADES),
        high: most,
        spread: Spread::Log,
    };
    let kilo: Vec<Vec<f32>> = (shown.iter())
        .map(|f| f.picture.pressure.iter().map(|p| p * 1e-3).collect())
        .collect();
    let milli: Vec<Vec<f32>> = (shown.iter())
        .map(|f| f.picture.depth.iter().map(|d| d * 1e3).collect())
        .collect();
    let panels: Vec<Panel<'_>> = shown
        .iter()
        .zip(kilo.iter().zip(&milli))
        .map(|(f, (pressure, depth_mm))| Panel {
            name: f.what.clone(),
            about: about(&f.picture),
            cells: [f.picture.columns, f.picture.rows],
            spacing_mm: f.picture.spacing * 1e3,
            pressure,
            depth_mm,
            up: up(&f.picture),
        })
        .collect();
    let title = trial.name(done.id);
    let subtitle = "first pose of each face, seen from the pad; grey: in reach but not touched";
    footprints(&panels, (&title, subtitle), &scale, wide)?
        .to_png()
        .map(Some)
}

/// Load and depth in words.
fn about(picture: &Picture) -> String {
    let force = match picture.force {
        f if f < 0.095 => format!("{:.0} mN", f * 1e3),
        f => format!("{f:.2} N"),
    };
    format!("{force}, {:.1} mm deep", picture.indentation * 1e3)
}

/// The direction of the pad's plane in which the figure stands up, or its back for a pad from
/// above or below.
fn up(picture: &Picture) -> [f64; 2] {
    let (right, out) = (Vec3::from(picture.right), Vec3::from(picture.outward));
    let over = out.cross(&right);
    let seen = |v: Vec3| [v.dot(&right), v.dot(&over)];
    let of = [seen(Vec3::z()), seen(Vec3::y())];
    let [x, y] = of[usize::from(of[0][0].hypot(of[0][1]) < UPRIGHT)];
    let long = x.hypot(y).max(f64::MIN_POSITIVE);
    [x / long, y / long]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seen from the front the figure stands upright however the pad is turned about its normal;
    /// from above its back is up.
    #[test]
    fn figures_stand_upright_in_the_picture() {
        for (out, right, expected) in [
            (-Vec3::y(), Vec3::x(), [0.0, 1.0]),
            (-Vec3::y(), Vec3::z(), [1.0, 0.0]),
            (Vec3::z(), Vec3::x(), [0.0, 1.0]),
        ] {
            let picture = Picture {
                outward: out.into(),
                right: right.into(),
                ..Picture::default()
            };
            let found = up(&picture);
            let away = (found[0] - expected[0]).hypot(found[1] - expected[1]);
            assert!(away < 1e-12, "{found:?} {expected:?}");
        }
    }
}
