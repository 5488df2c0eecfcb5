//! A measured path of the box: time, position, attitude, as a phone in the box would log it.

use super::path::Motion;
use base::{Error, Quat, Result, Vec3};
use nalgebra::{Quaternion, Vector4};

/// [s] over which the end is blended into the start, so that the path can repeat.
const FADE: f64 = 0.5;
/// [s] limits of the even spacing to which a log is resampled.
const SPACING: (f64, f64) = (0.002, 0.02);

/// One line of a log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// [s] rising from line to line.
    pub time: f64,
    /// [m] middle of the box.
    pub position: Vec3,
    /// From the box's frame to the world, as w, x, y, z; any length above 0.
    pub attitude: [f64; 4],
}

/// A path through evenly resampled readings, repeated for ever.
///
/// Between samples a Catmull-Rom cubic runs through positions and through quaternion components
/// (then normalised): velocities are continuous and are the exact slope of the pose.
#[derive(Debug, Clone, PartialEq)]
pub struct Recording {
    spacing: f64,
    positions: Vec<Vec3>,
    attitudes: Vec<Vector4<f64>>,
}

impl Recording {
    /// Resamples readings.
    ///
    /// # Errors
    /// Fewer than 8 readings, less than one second, times that do not rise, values that are not
    /// finite, a quaternion of length 0.
    pub fn new(readings: &[Reading]) -> Result<Recording> {
        let aligned = align(readings)?;
        let length = aligned[aligned.len() - 1].0 - aligned[0].0;
        if readings.len() < 8 || length < 1.0 {
            return Err(Error::input(format!(
                "a log of {} lines over {length:.2} s is too short; at least 8 lines over 1 s are \
                 needed",
                readings.len()
            )));
        }
        let fade = FADE.min(0.25 * length);
        let period = length - fade;
        let wanted = (length / readings.len() as f64).clamp(SPACING.0, SPACING.1);
        let count = (period / wanted).ceil() as usize;
        let spacing = period / count as f64;
        let samples = (0..count).map(|i| {
            let time = i as f64 * spacing;
            let here = interpolate(&aligned, time);
            if time >= fade {
                return here;
            }
            // The first moments come in while the last ones, one period on, go out.
            let share = smooth(time / fade);
            let there = interpolate(&aligned, time + period);
            let sign = 1.0_f64.copysign(here.1.dot(&there.1));
            (
                here.0 * share + there.0 * (1.0 - share),
                (here.1 * share + there.1 * (sign * (1.0 - share))).normalize(),
            )
        });
        let (positions, mut attitudes): (Vec<Vec3>, Vec<Vector4<f64>>) = samples.unzip();
        for i in 1..attitudes.len() {
            if attitudes[i].dot(&attitudes[i - 1]) < 0.0 {
                attitudes[i] = -attitudes[i];
            }
        }
        Ok(Recording {
            spacing,
            positions,
            attitudes,
        })
    }

    /// Reads a table with the columns time_s, x_m, y_m, z_m, qw, qx, qy, qz, in any order; other
    /// columns are passed over.
    ///
    /// # Errors
    /// A column is missing, or a line has something that is no number, told with its line.
    pub fn parse(text: &str) -> Result<Recording> {
        const COLUMNS: [&str; 8] = ["time_s", "x_m", "y_m", "z_m", "qw", "qx", "qy", "qz"];
        let mut lines = text
            .lines()
            .enumerate()
            .filter(|(_, l)| !l.trim().is_empty() && !l.starts_with('#'));
        let heading: Vec<&str> = lines
            .next()
            .map_or_else(Vec::new, |(_, l)| l.split(',').map(str::trim).collect());
        let mut places = [0; 8];
        for (place, name) in places.iter_mut().zip(COLUMNS) {
            *place = heading.iter().position(|h| *h == name).ok_or_else(|| {
                Error::input(format!("the log has no column {name}"))
                    .hint(format!("its first line must name {}", COLUMNS.join(", ")))
            })?;
        }
        let mut readings = Vec::new();
        for (number, line) in lines {
            let cells: Vec<&str> = line.split(',').map(str::trim).collect();
            let mut values = [0.0; 8];
            for ((value, place), name) in values.iter_mut().zip(places).zip(COLUMNS) {
                let cell = cells.get(place).copied().unwrap_or("");
                *value = cell.parse().map_err(|_| {
                    Error::input(format!(
                        "line {} of the log: {name} is no number: {cell:?}",
                        number + 1
                    ))
                })?;
            }
            readings.push(Reading {
                time: values[0],
                position: Vec3::new(values[1], values[2], values[3]),
                attitude: [values[4], values[5], values[6], values[7]],
            });
        }
        Recording::new(&readings)
    }

    /// [s] after which it repeats.
    #[must_use]
    pub fn period(&self) -> f64 {
        self.spacing * self.positions.len() as f64
    }

    /// Pose and velocities.
    #[must_use]
    pub fn at(&self, time: f64) -> Motion {
        let count = self.positions.len();
        let along = time / self.spacing;
        let whole = along.floor();
        let (f, first) = (
            along - whole,
            (whole as i64).rem_euclid(count as i64) as usize,
        );
        let four = [count - 1, 0, 1, 2].map(|shift| (first + shift) % count);
        let (weights, slopes) = catmull_rom(f, self.spacing);
        let (mut position, mut velocity) = (Vec3::zeros(), Vec3::zeros());
        let (mut c, mut rate) = (Vector4::zeros(), Vector4::zeros());
        let near = self.attitudes[first];
        for (k, i) in four.into_iter().enumerate() {
            position += self.positions[i] * weights[k];
            velocity += self.positions[i] * slopes[k];
            // Signs may flip once around the period.
            let q = self.attitudes[i] * 1.0_f64.copysign(self.attitudes[i].dot(&near));
            c += q * weights[k];
            rate += q * slopes[k];
        }
        let size = c.norm();
        let unit = c / size;
        let turning = (rate - unit * unit.dot(&rate)) / size;
        let quaternion = |v: &Vector4<f64>| Quaternion::new(v[0], v[1], v[2], v[3]);
        let rotation = Quat::new_unchecked(quaternion(&unit));
        let spin = (quaternion(&turning) * rotation.quaternion().conjugate()).imag() * 2.0;
        Motion {
            position,
            rotation,
            velocity,
            spin,
        }
    }
}

type Sample = (f64, Vec3, Vector4<f64>);

/// Unit quaternions with like signs, and every fault of a log found.
fn align(readings: &[Reading]) -> Result<Vec<Sample>> {
    let mut aligned: Vec<Sample> = Vec::with_capacity(readings.len());
    for (i, r) in readings.iter().enumerate() {
        let q = Vector4::from(r.attitude);
        let finite = r.time.is_finite() && r.position.iter().chain(q.iter()).all(|x| x.is_finite());
        if !finite || q.norm() < 1e-6 {
            return Err(Error::input(format!(
                "reading {} of the log has a value that is not finite or a quaternion of length 0",
                i + 1
            )));
        }
        let mut q = q.normalize();
        if let Some((time, _, before)) = aligned.last() {
            if r.time <= *time {
                return Err(Error::input(format!(
                    "reading {} of the log is at {} s, not after the one before it at {time} s",
                    i + 1,
                    r.time
                )));
            }
            if q.dot(before) < 0.0 {
                q = -q;
            }
        }
        aligned.push((r.time, r.position, q));
    }
    if aligned.is_empty() {
        return Err(Error::input("the log has no readings"));
    }
    Ok(aligned)
}

/// Straight line between readings, `time` counted from the first.
fn interpolate(aligned: &[Sample], time: f64) -> (Vec3, Vector4<f64>) {
    let time = time + aligned[0].0;
    let after = aligned
        .partition_point(|s| s.0 <= time)
        .clamp(1, aligned.len() - 1);
    let (a, b) = (&aligned[after - 1], &aligned[after]);
    let f = ((time - a.0) / (b.0 - a.0)).clamp(0.0, 1.0);
    (a.1.lerp(&b.1, f), a.2.lerp(&b.2, f).normalize())
}

/// 0 to 1 with level ends.
fn smooth(x: f64) -> f64 {
    x * x * (3.0 - 2.0 * x)
}

/// Weights of four samples and their slopes in time.
fn catmull_rom(f: f64, spacing: f64) -> ([f64; 4], [f64; 4]) {
    let (f2, f3) = (f * f, f * f * f);
    let weights = [
        0.5 * (-f + 2.0 * f2 - f3),
        0.5 * (2.0 - 5.0 * f2 + 3.0 * f3),
        0.5 * (f + 4.0 * f2 - 3.0 * f3),
        0.5 * (f3 - f2),
    ];
    let slopes = [
        0.5 * (-1.0 + 4.0 * f - 3.0 * f2),
        0.5 * (-10.0 * f + 9.0 * f2),
        0.5 * (1.0 + 8.0 * f - 9.0 * f2),
        0.5 * (3.0 * f2 - 2.0 * f),
    ];
    (weights, slopes.map(|s| s / spacing))
}

#[cfg(test)]
mod tests {
    use super::super::path::{BoxPath, tests::velocity_is_the_slope};
    use super::*;
    use std::fmt::Write;
    use std::sync::Arc;

    fn log(lines: usize) -> String {
        let mut text = String::from("time_s,x_m,y_m,z_m,qw,qx,qy,qz,temperature\n");
        for i in 0..lines {
            let t = 0.01 * i as f64;
            let (s, c) = (0.4 * t).sin_cos();
            let x = 0.03 * (6.0 * t).sin();
            writeln!(text, "{t},{x},0,0.1,{c},{s},0,0,21").unwrap();
        }
        text
    }

    #[test]
    fn a_log_is_followed_and_repeats() {
        let recording = Recording::parse(&log(400)).unwrap();
        let here = recording.at(1.234);
        assert!((here.position.x - 0.03 * (6.0 * 1.234_f64).sin()).abs() < 2e-5);
        assert!((here.velocity.x - 0.18 * (6.0 * 1.234_f64).cos()).abs() < 2e-3);
        assert!((here.spin.x - 0.8).abs() < 1e-3);
        let period = recording.period();
        assert!((recording.at(0.3 + period).position - recording.at(0.3).position).norm() < 1e-12);
        let path = BoxPath::Recorded {
            recording: Arc::new(recording),
            offset: 0.1,
        };
        // Across the blend and the seam as well.
        velocity_is_the_slope(&path, &[0.0, 0.2, 1.0, period - 0.1, period + 0.05], 1e-4);
    }

    #[test]
    fn a_bad_line_is_named() {
        let text = log(20).replace("0.05,", "x,");
        let error = Recording::parse(&text).err().map(|e| e.to_string());
        assert!(error.is_some_and(|e| e.contains("line 7") && e.contains("time_s")));
        assert!(Recording::parse("time_s,x_m\n").is_err());
    }
}
