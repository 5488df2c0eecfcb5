//! One finished part as a file: one line of JSON and the SHA-256 of that line, which any
//! language checks without a library of ours.

use super::plan::{FORMAT, Sweep};
use crate::trial::part::ENGINES;
use base::atomic;
use base::{Error, Place, Result};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};

/// Folder of the parts in the folder of a sweep.
pub const PARTS: &str = "parts";
/// Parts in one folder below it.
const IN_A_FOLDER: u64 = 1000;

/// What one part gave, and whose it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// [`FORMAT`].
    pub format: u32,
    /// Name of the sweep: hash of its plan.
    pub plan: String,
    /// Hash of the program that computed it.
    pub binary: String,
    /// Version of that program.
    pub version: String,
    /// State of its engines.
    pub engines: u32,
    /// Which part.
    pub part: u64,
    /// One for each exposure and specimen that is read.
    pub readings: Vec<Value>,
}

/// The quantity read off one exposure of one specimen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Value {
    /// Index of the exposure.
    pub exposure: usize,
    /// Index of the specimen.
    pub specimen: usize,
    /// [exposure units, or J/m2 or J per unit] median; `None` where it never ends or nothing touches.
    pub median: Option<f64>,
    /// 5 % quantile.
    pub low: Option<f64>,
    /// 95 % quantile.
    pub high: Option<f64>,
    /// Name of the place that was read.
    pub place: String,
    /// Chance that the place really gets more than the next, 0 to 1.
    pub certainty: Option<f64>,
    /// [J per unit] friction work on the whole figure.
    pub friction_work: f64,
    /// [kg]
    pub mass: f64,
    /// Natural logarithm of the quantity in each draw, little-endian f32 as base64; draws of equal
    /// number belong together over all parts, so that what the parts share cancels.
    pub draws: String,
}

impl Value {
    /// The draws, packed.
    #[must_use]
    pub fn pack(draws: &[f64]) -> String {
        let bytes: Vec<u8> = draws
            .iter()
            .flat_map(|d| (*d as f32).to_le_bytes())
            .collect();
        STANDARD.encode(bytes)
    }

    /// The draws; empty where there are none.
    ///
    /// # Errors
    /// Text that is not such draws.
    pub fn unpack(&self) -> Result<Vec<f64>> {
        let bytes = STANDARD
            .decode(&self.draws)
            .map_err(|cause| Error::refused(format!("damaged draws: {cause}")))?;
        let (each, rest) = bytes.as_chunks::<4>();
        if !rest.is_empty() {
            return Err(Error::refused("damaged draws: a number is cut"));
        }
        Ok(each
            .iter()
            .map(|b| f64::from(f32::from_le_bytes(*b)))
            .collect())
    }
}

/// What stands where a part belongs.
#[derive(Debug, Clone, PartialEq)]
pub enum Found {
    /// Nothing, or half a part: to be computed.
    Missing,
    /// The whole part.
    Whole(Box<Part>),
}

/// Place of part `k` in the folder of a sweep.
#[must_use]
pub fn path(folder: &Path, k: u64) -> PathBuf {
    folder
        .join(PARTS)
        .join(format!("{:06}", k / IN_A_FOLDER))
        .join(format!("{k:09}.part"))
}

/// The number a part's file name stands for.
#[must_use]
pub fn number_of(path: &Path) -> Option<u64> {
    let name = path.file_name()?.to_str()?;
    name.strip_suffix(".part")?.parse().ok()
}

impl Part {
    /// The bytes of the file.
    ///
    /// # Errors
    /// A defect of the program.
    pub fn bytes(&self) -> Result<Vec<u8>> {
        let mut bytes = serde_json::to_vec(self)
            .map_err(|cause| Error::refused(format!("cannot write a part: {cause}")))?;
        let check = Sha256::digest(&bytes);
        bytes.push(b'\n');
        for byte in check {
            bytes.extend(format!("{byte:02x}").bytes());
        }
        bytes.push(b'\n');
        Ok(bytes)
    }

    /// Reads the bytes of a file; `None` for half a part or changed bytes.
    #[must_use]
    pub fn read(bytes: &[u8]) -> Option<Part> {
        let rest = bytes.strip_suffix(b"\n")?;
        let end = rest.iter().rposition(|b| *b == b'\n')?;
        let (line, check) = (&rest[..end], &rest[end + 1..]);
        let own: Vec<u8> = Sha256::digest(line)
            .iter()
            .flat_map(|b| format!("{b:02x}").into_bytes())
            .collect();
        if own != check {
            return None;
        }
        serde_json::from_slice(line).ok()
    }
}

impl Sweep {
    /// Refuses a whole part that is not part `k` of this sweep by this program.
    ///
    /// # Errors
    /// A part of another plan, version, program or number.
    pub fn check_part(&self, part: &Part, k: u64, place: &Path) -> Result<()> {
        let plan = &self.plan;
        let wrong =
            if (part.format, part.engines) != (FORMAT, ENGINES) || part.version != plan.version {
                format!(
                    "a part by version {} (engines {}); this sweep is by {} (engines {})",
                    part.version, part.engines, plan.version, plan.engines
                )
            } else if part.plan != self.hash {
                format!(
                    "a part of another plan ({}...); this one is {}...",
                    part.plan.get(..12).unwrap_or_default(),
                    &self.hash[..12]
                )
            } else if part.binary != plan.binary {
                format!(
                    "a part by another program file ({}...); the plan is by {}...",
                    part.binary.get(..12).unwrap_or_default(),
                    plan.binary.get(..12).unwrap_or_default()
                )
            } else if part.part != k {
                format!("this is part {}, not part {k}", part.part)
            } else {
                return Ok(());
            };
        Err(Error::refused(wrong)
            .at(Place::file(place))
            .hint("move this file away and run the sweep again: only that part is computed anew"))
    }

    /// What stands where part `k` belongs.
    ///
    /// # Errors
    /// A whole part that is not of this sweep, or a file that cannot be read.
    pub fn found(&self, k: u64) -> Result<Found> {
        let path = path(&self.folder, k);
        let bytes = match std::fs::read(&path) {
            Ok(bytes) => bytes,
            Err(cause) if cause.kind() == std::io::ErrorKind::NotFound => {
                return Ok(Found::Missing);
            }
            Err(cause) => return Err(Error::system("read a part", &path, &cause)),
        };
        let Some(part) = Part::read(&bytes) else {
            return Ok(Found::Missing);
        };
        self.check_part(&part, k, &path)?;
        Ok(Found::Whole(Box::new(part)))
    }

    /// Keeps the bytes of part `k`, whole or not at all.
    ///
    /// # Errors
    /// A full disk, a folder that cannot be written.
    pub fn keep(&self, k: u64, bytes: &[u8]) -> Result<()> {
        atomic::write(path(&self.folder, k), bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part() -> Part {
        Part {
            format: FORMAT,
            plan: "p".into(),
            binary: "b".into(),
            version: "v".into(),
            engines: 1,
            part: 7,
            readings: vec![Value {
                exposure: 0,
                specimen: 1,
                median: Some(1.0 / 3.0),
                low: None,
                high: Some(1e300),
                place: "hat \"brim\"\n".into(),
                certainty: None,
                friction_work: 0.1,
                mass: 0.02,
                draws: Value::pack(&[0.5, -1.25, f64::INFINITY]),
            }],
        }
    }

    #[test]
    fn a_part_comes_back_and_half_of_it_does_not() {
        let bytes = part().bytes().expect("bytes");
        assert_eq!(Part::read(&bytes).as_ref(), Some(&part()));
        for cut in 0..bytes.len() {
            assert_eq!(Part::read(&bytes[..cut]), None, "cut at {cut}");
        }
        let mut changed = bytes.clone();
        changed[30] ^= 1;
        assert_eq!(Part::read(&changed), None, "a flipped bit");
        let draws = part().readings[0].unpack().expect("draws");
        assert_eq!(draws, [0.5, -1.25, f64::INFINITY]);
    }

    #[test]
    fn a_file_name_tells_the_number() {
        let at = path(Path::new("d"), 1_234_567);
        assert!(at.ends_with("parts/001234/001234567.part"), "{at:?}");
        assert_eq!(number_of(&at), Some(1_234_567));
        assert_eq!(number_of(Path::new(".part-x.part")), None);
    }
}
