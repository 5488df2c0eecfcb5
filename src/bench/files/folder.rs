//! A bench folder, read and checked as a whole.

use super::outcome::sha256;
use super::rows::{
    AreaRow, BenchFile, GradeRow, GuessRow, KeyRow, RoundRow, SpecimenRow, SystemRow,
};
use super::table::read_rows;
use crate::bench::design::{correct, nearest_valid, valid};
use base::error::nearest;
use base::{Error, Place, Result};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// A figure by number.
#[derive(Debug, Clone, PartialEq)]
pub struct Specimen {
    /// Its row.
    pub row: SpecimenRow,
    /// Number of its system.
    pub system: usize,
}

/// One grade, its code resolved.
#[derive(Debug, Clone, PartialEq)]
pub struct Grade {
    /// Number of the specimen.
    pub specimen: usize,
    /// Number of the inspection.
    pub inspection: usize,
    /// Number of the area.
    pub area: usize,
    /// Number of the grader.
    pub grader: usize,
    /// 0 to 5, or not graded.
    pub grade: Option<u8>,
    /// R, C, L or S.
    pub kind: char,
    /// Code under which it was graded.
    pub code: String,
    /// Made up by `bench rehearse`, not seen on a figure.
    pub rehearsed: bool,
}

/// Everything that was planned, and the grades recorded so far.
#[derive(Debug, Clone, PartialEq)]
pub struct Bench {
    /// Where it lies.
    pub folder: PathBuf,
    /// Declarations.
    pub file: BenchFile,
    /// Systems.
    pub systems: Vec<SystemRow>,
    /// Figures.
    pub specimens: Vec<Specimen>,
    /// Areas.
    pub areas: Vec<AreaRow>,
    /// Codes: specimen and inspection.
    pub key: BTreeMap<String, (usize, usize)>,
    /// Planned handling.
    pub rounds: Vec<RoundRow>,
}

impl Bench {
    /// Opens a folder and checks that its files agree.
    ///
    /// # Errors
    /// A file missing or broken (with line), unknown systems, and a key whose hash is not the one
    /// printed on the plan.
    pub fn open(folder: &Path) -> Result<Bench> {
        let path = folder.join("bench.toml");
        let text = std::fs::read_to_string(&path).map_err(|e| Error::system("read", &path, &e))?;
        let file: BenchFile = toml::from_str(&text).map_err(|e| {
            Error::input(e.message().to_owned()).at(Place {
                span: e.span(),
                text: Some(text.clone()),
                ..Place::file(&path)
            })
        })?;
        let systems: Vec<SystemRow> = plain(folder, "systems.csv")?;
        let specimens = specimens(folder, &systems)?;
        let areas: Vec<AreaRow> = plain(folder, "areas.csv")?;
        let key = key(folder, &file, &specimens)?;
        Ok(Bench {
            rounds: plain(folder, "rounds.csv")?,
            folder: folder.to_owned(),
            file,
            systems,
            specimens,
            areas,
            key,
        })
    }

    /// Grades of one file, checked against plan and key.
    ///
    /// # Errors
    /// With the line: a mistyped code (and the nearest valid one), a code of another inspection, an
    /// area or grader not on the plan, a grade or kind that does not exist, a reading given twice.
    pub fn grades(&self, path: &Path) -> Result<Vec<Grade>> {
        let mut seen = BTreeSet::new();
        let mut grades = Vec::new();
        for (line, row) in read_rows::<GradeRow>(path)? {
            let grade = self.grade(&row).map_err(|e| e.at(at_line(path, line)))?;
            let again = row.note.to_lowercase().contains("regrade");
            let reading = (grade.code.clone(), grade.area, grade.grader, again);
            if !seen.insert(reading) {
                return Err(Error::input(format!(
                    "{} has graded area {} of {} twice",
                    row.grader, row.area_id, row.code
                ))
                .at(at_line(path, line))
                .hint("keep one; a second look after a difference of more than one grade carries the note regrade"));
            }
            grades.push(grade);
        }
        Ok(grades)
    }

    /// A code as it stands in the key, and its inspection.
    ///
    /// # Errors
    /// A code that is not used here, with the nearest that is.
    pub fn resolve(&self, typed: &str) -> Result<(String, usize)> {
        let code = correct(typed);
        match self.key.get(&code) {
            Some(&(_, inspection)) => Ok((code, inspection)),
            None => Err(self.unknown_code(typed)),
        }
    }

    fn grade(&self, row: &GradeRow) -> Result<Grade> {
        let code = correct(&row.code);
        let Some(&(specimen, inspection)) = self.key.get(&code) else {
            return Err(self.unknown_code(&row.code));
        };
        if self.file.inspections[inspection] != row.inspection_units {
            return Err(Error::input(format!(
                "code {} belongs to the inspection at {}, not at {}",
                row.code, self.file.inspections[inspection], row.inspection_units
            ))
            .hint("a figure wears a new code at every inspection: check which label was on it"));
        }
        let areas: Vec<&str> = self.areas.iter().map(|a| a.area_id.as_str()).collect();
        let graders: Vec<&str> = self.file.graders.iter().map(String::as_str).collect();
        if row.grade.is_some_and(|g| g > 5) {
            return Err(
                Error::input(format!("grade {} does not exist", row.grade.unwrap_or(0)))
                    .hint("grades run from 0 to 5; an empty cell means not graded"),
            );
        }
        Ok(Grade {
            specimen,
            inspection,
            area: listed("area", &row.area_id, &areas)?,
            grader: listed("grader", &row.grader, &graders)?,
            grade: row.grade,
            kind: kind(&row.kind)?,
            code,
            rehearsed: row.note.contains(crate::bench::rehearse::MARK),
        })
    }

    fn unknown_code(&self, typed: &str) -> Error {
        let error = match valid(&correct(typed)) {
            true => Error::input(format!(
                "code {typed} is well formed but not used on this bench"
            )),
            false => Error::input(format!(
                "code {typed} is mistyped: its check symbol does not fit"
            )),
        };
        match nearest_valid(typed, self.key.keys().map(String::as_str)) {
            Some(near) => error.hint(format!(
                "the nearest code in use is c-{near}; look at the label before changing it"
            )),
            None => error.hint("look at the label again; codes hold no vowels, no 0 1 2 5 6 8"),
        }
    }

    /// All frozen grade files, in the order of their names.
    ///
    /// # Errors
    /// As [`Bench::grades`], or a reading recorded in two files.
    pub fn recorded(&self) -> Result<Vec<Grade>> {
        let folder = self.folder.join("recorded");
        let mut paths = Vec::new();
        if folder.exists() {
            let entries =
                std::fs::read_dir(&folder).map_err(|e| Error::system("read", &folder, &e))?;
            for entry in entries {
                let path = entry
                    .map_err(|e| Error::system("read", &folder, &e))?
                    .path();
                let name = path.file_name().unwrap_or_default().to_string_lossy();
                if name.starts_with("grades-") && name.ends_with(".csv") {
                    paths.push(path);
                }
            }
        }
        paths.sort();
        let mut all = Vec::new();
        for path in &paths {
            all.extend(self.grades(path)?);
        }
        Ok(all)
    }

    /// Optional guesses: how many were right, and how many made.
    ///
    /// # Errors
    /// A broken file, an unknown code or system.
    pub fn guesses(&self) -> Result<Option<(usize, usize)>> {
        let path = self.folder.join("guesses.csv");
        if !path.exists() {
            return Ok(None);
        }
        let names: Vec<&str> = self.systems.iter().map(|s| s.system_id.as_str()).collect();
        let (mut right, mut made) = (0, 0);
        let mut seen = BTreeSet::new();
        for (line, row) in read_rows::<GuessRow>(&path)? {
            let code = correct(&row.code);
            if !seen.insert((code.clone(), row.grader.clone())) {
                return Err(
                    Error::input(format!("{} has guessed {} twice", row.grader, row.code))
                        .at(at_line(&path, line))
                        .hint("keep the first guess"),
                );
            }
            let Some((specimen, _)) = self.key.get(&code) else {
                return Err(self.unknown_code(&row.code).at(at_line(&path, line)));
            };
            let system =
                listed("system", &row.system_id, &names).map_err(|e| e.at(at_line(&path, line)))?;
            made += 1;
            right += usize::from(self.specimens[*specimen].system == system);
        }
        Ok((made > 0).then_some((right, made)))
    }

    /// Hash over all files that decide the result.
    #[must_use]
    pub fn hash(&self) -> String {
        let parts = [
            toml::to_string(&self.file).unwrap_or_default(),
            format!("{:?}", self.key),
            format!("{:?} {:?} {:?}", self.systems, self.specimens, self.areas),
        ];
        sha256(parts.join("\n").as_bytes())
    }
}

fn plain<T: serde::de::DeserializeOwned>(folder: &Path, name: &str) -> Result<Vec<T>> {
    let rows = read_rows::<T>(&folder.join(name))?;
    Ok(rows.into_iter().map(|(_, row)| row).collect())
}

fn at_line(path: &Path, line: u64) -> Place {
    Place {
        key: Some(format!("line {line}")),
        ..Place::file(path)
    }
}

fn listed(what: &str, name: &str, names: &[&str]) -> Result<usize> {
    names.iter().position(|n| *n == name).ok_or_else(|| {
        let error = Error::input(format!("{what} \"{name}\" is not on the plan"));
        match nearest(name, names.iter().copied()) {
            Some(near) => error.hint(format!("did you mean \"{near}\"?")),
            None => error.hint(format!("planned: {}", names.join(", "))),
        }
    })
}

fn kind(text: &str) -> Result<char> {
    match text.trim().to_uppercase().as_str() {
        "" | "R" => Ok('R'),
        "C" => Ok('C'),
        "L" => Ok('L'),
        "S" => Ok('S'),
        other => Err(Error::input(format!("kind \"{other}\" does not exist"))
            .hint("R rubbed, C chipped, L lifted, S sticky")),
    }
}

fn specimens(folder: &Path, systems: &[SystemRow]) -> Result<Vec<Specimen>> {
    let path = folder.join("specimens.csv");
    let names: Vec<&str> = systems.iter().map(|s| s.system_id.as_str()).collect();
    let mut specimens = Vec::new();
    for (line, row) in read_rows::<SpecimenRow>(&path)? {
        let system =
            listed("system", &row.system_id, &names).map_err(|e| e.at(at_line(&path, line)))?;
        if !["test", "reference", "blank"].contains(&row.role.as_str()) {
            return Err(
                Error::input(format!("role \"{}\" does not exist", row.role))
                    .at(at_line(&path, line))
                    .hint("test, reference or blank"),
            );
        }
        specimens.push(Specimen { row, system });
    }
    Ok(specimens)
}

fn key(
    folder: &Path,
    file: &BenchFile,
    specimens: &[Specimen],
) -> Result<BTreeMap<String, (usize, usize)>> {
    let path = folder.join("key.csv");
    let bytes = std::fs::read(&path).map_err(|e| Error::system("read", &path, &e))?;
    if sha256(&bytes) != file.key_sha256 {
        return Err(
            Error::refused("the key is not the one whose hash stands on the plan")
                .at(Place::file(&path))
                .hint("take the untouched copy; saving it again from a spreadsheet changes it"),
        );
    }
    let names: Vec<&str> = specimens
        .iter()
        .map(|s| s.row.specimen_id.as_str())
        .collect();
    let mut key = BTreeMap::new();
    for (line, row) in read_rows::<KeyRow>(&path)? {
        let specimen =
            listed("specimen", &row.specimen_id, &names).map_err(|e| e.at(at_line(&path, line)))?;
        if row.inspection >= file.inspections.len() {
            return Err(
                Error::input("the key names an inspection that is not planned")
                    .at(at_line(&path, line)),
            );
        }
        key.insert(correct(&row.code), (specimen, row.inspection));
    }
    Ok(key)
}
