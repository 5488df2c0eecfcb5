//! Brings the parts of a sweep together: from other folders, and in order for the findings.
//!
//! Parts are a set: gathering from folders is a union, so it does not matter who computed a part,
//! in what order folders come, or how often. Adding up runs in the order of the parts' numbers.

use super::findings::{Adder, Findings};
use super::part::{Found, PARTS, Part, number_of, path};
use super::plan::{PLAN, Sweep};
use base::{Error, Place, Result, Watch};
use std::path::Path;

/// Ranges of missing parts that are told.
const TOLD: usize = 12;

/// Copies the parts that another folder of the same sweep holds.
///
/// # Errors
/// A folder of another plan; two whole parts of one number that differ; a full disk.
pub fn take_from(sweep: &Sweep, other: &Path) -> Result<u64> {
    let theirs = std::fs::read(other.join(PLAN))
        .map_err(|cause| Error::system("read the plan", other.join(PLAN), &cause))?;
    if blake3::hash(&theirs).to_hex().as_str() != sweep.hash {
        return Err(Error::refused("this folder is of another plan")
            .at(Place::file(other.join(PLAN)))
            .hint("only copies of one planned folder can be merged"));
    }
    let mut taken = 0;
    part_files(other, |file| {
        taken += u64::from(take(sweep, file)?);
        Ok(())
    })?;
    Ok(taken)
}

/// Takes one part; false if it is here already, or only half there.
fn take(sweep: &Sweep, file: &Path) -> Result<bool> {
    let Some(k) = number_of(file).filter(|k| *k < sweep.plan.parts) else {
        return Err(stranger(file));
    };
    let bytes = std::fs::read(file).map_err(|cause| Error::system("read a part", file, &cause))?;
    let Some(part) = Part::read(&bytes) else {
        return Ok(false);
    };
    sweep.check_part(&part, k, file)?;
    match sweep.found(k)? {
        Found::Missing => sweep.keep(k, &bytes).map(|()| true),
        Found::Whole(own) if *own == part => Ok(false),
        Found::Whole(_) => Err(Error::refused(format!(
            "part {k} differs from the one in {}",
            path(&sweep.folder, k).display()
        ))
        .at(Place::file(file))
        .hint("equal parts must have equal bytes: one of the two machines computes wrongly")),
    }
}

fn stranger(file: &Path) -> Error {
    Error::refused("this is no part of this sweep")
        .at(Place::file(file))
        .hint("move this file away; it belongs to another plan")
}

/// Visits every file that looks like a part, in no order.
fn part_files(folder: &Path, mut visit: impl FnMut(&Path) -> Result<()>) -> Result<()> {
    let parts = folder.join(PARTS);
    let failed = |cause: std::io::Error| Error::system("list the parts", &parts, &cause);
    if !parts.is_dir() {
        return Ok(());
    }
    for entry in std::fs::read_dir(&parts).map_err(failed)? {
        let path = entry.map_err(failed)?.path();
        if !path.is_dir() {
            continue;
        }
        for entry in std::fs::read_dir(&path).map_err(failed)? {
            let path = entry.map_err(failed)?.path();
            if path.extension().is_some_and(|e| e == "part") {
                visit(&path)?;
            }
        }
    }
    Ok(())
}

/// Goes through all parts in order and adds them up.
///
/// * `each`: is shown every part, in order
///
/// # Errors
/// Missing parts, named; parts of another plan, version or program, with their place.
pub fn gather(
    sweep: &Sweep,
    watch: &dyn Watch,
    mut each: impl FnMut(&Part) -> Result<()>,
) -> Result<Findings> {
    part_files(&sweep.folder, |file| {
        match number_of(file).filter(|k| *k < sweep.plan.parts) {
            Some(k) if path(&sweep.folder, k) == file => Ok(()),
            _ => Err(stranger(file)),
        }
    })?;
    let mut adder = Adder::new(sweep);
    let mut missing = Ranges::default();
    for k in 0..sweep.plan.parts {
        if k % 1024 == 0 {
            if watch.stopped() {
                return Err(Error::interrupted("stopped; nothing was written"));
            }
            watch.progress(k as f64 / sweep.plan.parts as f64, "reading parts");
        }
        match sweep.found(k)? {
            Found::Missing => missing.add(k),
            Found::Whole(part) => {
                adder.add(&part)?;
                each(&part)?;
            }
        }
    }
    missing.refuse(&sweep.folder)?;
    Ok(adder.findings())
}

/// Numbers as ranges.
#[derive(Debug, Default)]
struct Ranges {
    list: Vec<(u64, u64)>,
    count: u64,
}

impl Ranges {
    fn add(&mut self, k: u64) {
        self.count += 1;
        match self.list.last_mut() {
            Some((_, end)) if *end + 1 == k => *end = k,
            _ => self.list.push((k, k)),
        }
    }

    fn words(&self) -> String {
        let mut words: Vec<String> = self
            .list
            .iter()
            .take(TOLD)
            .map(|(a, b)| {
                if a == b {
                    a.to_string()
                } else {
                    format!("{a}-{b}")
                }
            })
            .collect();
        if self.list.len() > TOLD {
            words.push(format!("and {} more ranges", self.list.len() - TOLD));
        }
        words.join(", ")
    }

    fn refuse(&self, folder: &Path) -> Result<()> {
        let verb = match self.count {
            0 => return Ok(()),
            1 => "part is",
            _ => "parts are",
        };
        Err(
            Error::refused(format!("{} {verb} missing: {}", self.count, self.words()))
                .at(Place::file(folder))
                .hint(format!(
                    "compute them: thumbworn sweep run {}",
                    folder.display()
                )),
        )
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn missing_parts_are_told_as_ranges() {
        let mut ranges = super::Ranges::default();
        for k in [0, 3, 4, 5, 9] {
            ranges.add(k);
        }
        let error = ranges
            .refuse(std::path::Path::new("d"))
            .expect_err("missing");
        assert!(
            error.what().contains("5 parts are missing: 0, 3-5, 9"),
            "{error}"
        );
    }
}
