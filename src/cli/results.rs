//! A results folder: what a run leaves besides the report, and how a later command finds it again.

use super::args::Effort;
use super::talk::Talk;
use crate::report::fill::{Provenance, page};
use crate::report::{folder, page::render, summary::summary};
use crate::scenario::plan::FigureSource;
use crate::scenario::raw::RawScenario;
use crate::scenario::{Scenario, Source, lift};
use crate::trial::part::ENGINES;
use crate::trial::{Answers, Key, Store, Trial};
use base::atomic;
use base::{Error, Place, Result};
use mesh::figure::Display;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// Name of the copy of the scenario in a results folder.
const KEPT: &str = "scenario.toml";

/// What a finished run left: files with their hashes, and its answers.
#[derive(Serialize, Deserialize)]
struct Left {
    files: Vec<(String, [u8; 32])>,
    sentences: Vec<String>,
}

/// A scenario ready to be carried out in its results folder.
pub struct Job {
    /// Text and place of the scenario.
    pub source: Source,
    /// As typed, with what the command line overruled.
    pub raw: RawScenario,
    /// In SI.
    pub scenario: Scenario,
    /// Results folder.
    pub folder: PathBuf,
    /// Finished parts.
    pub store: Store,
}

impl Job {
    /// Reads, validates, and opens the results folder.
    ///
    /// # Errors
    /// Bad input, or a folder that cannot be written or is in use.
    pub fn open(source: Source, folder: &Path, effort: &Effort) -> Result<Job> {
        let mut raw = source.parse()?;
        raw.precision_pct = effort.precision.unwrap_or(raw.precision_pct);
        raw.budget_min = effort.budget.or(raw.budget_min);
        raw.seed = effort.seed.unwrap_or(raw.seed);
        let scenario = lift(&source, &raw)?;
        if let FigureSource::File(path) = &scenario.figure {
            // Told before anything is computed or made.
            std::fs::File::open(path)
                .map_err(|cause| Error::system("read the figure", path, &cause))?;
        }
        let store = Store::open(folder)?;
        if effort.fresh {
            store.forget()?;
        }
        Ok(Job {
            source,
            raw,
            scenario,
            folder: folder.to_path_buf(),
            store,
        })
    }

    /// The job of a finished run, from its results folder.
    ///
    /// # Errors
    /// A folder that holds no run.
    pub fn again(folder: &Path, effort: &Effort) -> Result<Job> {
        let kept = folder.join(KEPT);
        if !kept.is_file() {
            return Err(Error::input("this folder holds no finished run")
                .at(Place::file(folder))
                .hint("make one first: thumbworn run SCENARIO.toml -o DIR, or thumbworn demo"));
        }
        Job::open(Source::read(&kept)?, folder, effort)
    }

    /// Carries out what is not finished yet.
    ///
    /// # Errors
    /// As [`Trial::carry_out`].
    pub fn carry_out(&self, talk: &Talk) -> Result<Trial> {
        Trial::carry_out(self.scenario.clone(), &self.store, talk)
    }

    /// Writes everything a run leaves.
    ///
    /// # Errors
    /// A folder that cannot be written; files that are written are whole.
    pub fn write(&self, trial: &Trial, answers: &Answers, talk: &Talk) -> Result<()> {
        talk.say("writing tables, heat maps and the report");
        self.keep_scenario()?;
        folder::write_tables(&self.folder, trial, answers)?;
        let display = Display::of(&trial.figure);
        folder::write_heat(&self.folder, trial, answers, &display)?;
        let from = self.provenance(trial);
        let numbers = summary(trial, answers, &from.rows);
        let text = serde_json::to_vec_pretty(&numbers)
            .map_err(|cause| Error::refused(format!("cannot write the summary: {cause}")))?;
        atomic::write(self.folder.join("summary.json"), &text)?;
        let light = display.light(&trial.figure);
        let html = render(&page(trial, answers, &light, from))?;
        atomic::write(self.folder.join("report.html"), html.as_bytes())
    }

    /// What the results of this job are known by; `None` where they depend on the machine.
    fn key(&self) -> Result<Option<Key>> {
        if self.raw.budget_min.is_some() {
            return Ok(None);
        }
        let mut raw = self.raw.clone();
        let files: Vec<Option<[u8; 32]>> = raw
            .files_mut()
            .into_iter()
            .map(|file| std::fs::read(self.source.folder.join(&*file)).ok())
            .map(|bytes| bytes.map(|b| *blake3::hash(&b).as_bytes()))
            .collect();
        Key::of("results", &(ENGINES, &self.raw, files, &self.source.text)).map(Some)
    }

    /// The answers of an earlier run with the same inputs, if every file it wrote is still as written.
    ///
    /// # Errors
    /// A defect of the program.
    pub fn unchanged(&self) -> Result<Option<Vec<String>>> {
        let Some(key) = self.key()? else {
            return Ok(None);
        };
        let Some(left) = self.store.get::<Left>(&key) else {
            return Ok(None);
        };
        let whole = left.files.iter().all(|(name, hash)| {
            std::fs::read(self.folder.join(name))
                .is_ok_and(|bytes| blake3::hash(&bytes).as_bytes() == hash)
        });
        Ok(whole.then_some(left.sentences))
    }

    /// Remembers what was written and answered.
    ///
    /// # Errors
    /// A folder that cannot be read or written.
    pub fn remember(&self, sentences: &[String]) -> Result<()> {
        let Some(key) = self.key()? else {
            return Ok(());
        };
        let mut files = Vec::new();
        for folder in [
            self.folder.clone(),
            self.folder.join("heat"),
            self.folder.join("pictures"),
        ] {
            let failed = |cause| Error::system("list the results", &folder, &cause);
            for entry in std::fs::read_dir(&folder).map_err(failed)?.flatten() {
                let path = entry.path();
                let name = path.strip_prefix(&self.folder).unwrap_or(&path);
                if let (true, Ok(bytes)) = (path.is_file(), std::fs::read(&path)) {
                    let name = name.to_string_lossy().into_owned();
                    files.push((name, *blake3::hash(&bytes).as_bytes()));
                }
            }
        }
        files.sort();
        self.store.put(
            &key,
            &Left {
                files,
                sentences: sentences.to_vec(),
            },
        )
    }

    /// A copy of the scenario that works from the results folder.
    fn keep_scenario(&self) -> Result<()> {
        let mut raw = self.raw.clone();
        for file in raw.files_mut() {
            let path = self.source.folder.join(&*file);
            let whole = std::path::absolute(&path).unwrap_or(path);
            *file = whole.to_string_lossy().into_owned();
        }
        let text = toml::to_string_pretty(&raw)
            .map_err(|cause| Error::refused(format!("cannot keep the scenario: {cause}")))?;
        atomic::write(self.folder.join(KEPT), text.as_bytes())
    }

    fn provenance(&self, trial: &Trial) -> Provenance {
        let hash = |bytes: &[u8]| blake3::hash(bytes).to_hex()[..16].to_string();
        let figure: String = trial.figure.hash[..8]
            .iter()
            .map(|b| format!("{b:02x}"))
            .collect();
        let rows = [
            (
                "program",
                format!("thumbworn {}", env!("CARGO_PKG_VERSION")),
            ),
            ("seed", self.raw.seed.to_string()),
            ("precision asked", format!("{} %", self.raw.precision_pct)),
            ("scenario", self.source.name.clone()),
            ("hash of the scenario", hash(self.source.text.as_bytes())),
            ("hash of the figure", figure),
        ];
        Provenance {
            rows: rows.into_iter().map(|(n, v)| (n.to_string(), v)).collect(),
            reproduce: format!(
                "thumbworn run {KEPT} --seed {} --precision {}",
                self.raw.seed, self.raw.precision_pct
            ),
        }
    }
}
