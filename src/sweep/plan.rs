//! The plan of a sweep and its folder: `plan.json` and `inputs/`, nothing else is needed, so a
//! copy of the two is the sweep on another machine.

use super::axis::{Axis, Stand};
use super::design::Design;
use crate::scenario::raw::RawScenario;
use crate::scenario::vary::assign;
use crate::scenario::{Scenario, Source, lift};
use crate::trial::part::ENGINES;
use crate::wear::End;
use base::atomic;
use base::{Error, Place, Result};
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use toml::Value;

/// Raised when the meaning of a plan or a part changes.
pub const FORMAT: u32 = 1;
/// Name of the plan in its folder.
pub const PLAN: &str = "plan.json";
/// Folder of scenario, figures and recorded paths.
pub const INPUTS: &str = "inputs";

/// A sweep, ready to be carried out part by part. Small whatever the number of parts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// [`FORMAT`].
    pub format: u32,
    /// Heading of the page.
    pub title: String,
    /// Version of the program.
    pub version: String,
    /// Number of the engines' state, see [`ENGINES`].
    pub engines: u32,
    /// BLAKE3 of the program's own file, hexadecimal: two builds may differ in a last digit.
    pub binary: String,
    /// Number of parts.
    pub parts: u64,
    /// Seed of every part.
    pub seed: u64,
    /// How the points lie.
    pub design: Design,
    /// What is varied.
    pub axes: Vec<Axis>,
    /// What is read off each part.
    pub reading: Reading,
    /// Name of the scenario in `inputs/`.
    pub scenario: String,
    /// Every file in `inputs/`.
    pub inputs: Vec<Input>,
}

/// What is read off each part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// The quantity.
    pub what: What,
    /// Where on the figure.
    pub place: Spot,
    /// Indices of the exposures.
    pub exposures: Vec<usize>,
    /// Indices of the specimens.
    pub specimens: Vec<usize>,
    /// Draws from the priors.
    pub draws: u32,
}

/// The quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// Exposure until an end: more is better.
    Life(End),
    /// Friction work per unit of exposure: less is better.
    FrictionWork,
}

impl What {
    /// As typed and as shown.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            What::Life(end) => end.words(),
            What::FrictionWork => "friction work",
        }
    }

    /// All, for messages.
    #[must_use]
    pub fn all() -> Vec<What> {
        let lives = End::ALL.into_iter().map(What::Life);
        lives.chain([What::FrictionWork]).collect()
    }
}

/// Where on the figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Spot {
    /// The area with the highest dose.
    WorstArea,
    /// The whole figure.
    WholeFigure,
}

/// A file the sweep needs, named by its content.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Input {
    /// Name in `inputs/`: BLAKE3 of its bytes and the ending.
    pub file: String,
    /// Name it had.
    pub name: String,
    /// [bytes]
    pub bytes: u64,
}

impl Input {
    /// What bytes are called by their content.
    #[must_use]
    pub fn of(name: &str, bytes: &[u8]) -> Input {
        let ending = Path::new(name)
            .extension()
            .map(|e| format!(".{}", e.to_string_lossy().to_lowercase()))
            .unwrap_or_default();
        Input {
            file: format!("{}{ending}", &blake3::hash(bytes).to_hex()[..40]),
            name: name.into(),
            bytes: bytes.len() as u64,
        }
    }
}

/// BLAKE3 of the running program's own file, hexadecimal.
///
/// # Errors
/// A program file that cannot be read.
pub fn own_binary() -> Result<String> {
    let failed =
        |cause: std::io::Error| Error::system("read the program itself", "thumbworn", &cause);
    let path = std::env::current_exe().map_err(failed)?;
    let mut hasher = blake3::Hasher::new();
    let mut file = std::fs::File::open(path).map_err(failed)?;
    std::io::copy(&mut file, &mut hasher).map_err(failed)?;
    Ok(hasher.finalize().to_hex().to_string())
}

/// A plan in its folder.
#[derive(Debug, Clone)]
pub struct Sweep {
    /// The folder.
    pub folder: PathBuf,
    /// The plan.
    pub plan: Plan,
    /// BLAKE3 of the plan's file, hexadecimal: the name of this sweep.
    pub hash: String,
    base: RawScenario,
    source: Source,
}

impl Plan {
    /// The bytes of `plan.json`.
    ///
    /// # Errors
    /// A defect of the program.
    pub fn bytes(&self) -> Result<Vec<u8>> {
        let mut bytes = serde_json::to_vec_pretty(self)
            .map_err(|cause| Error::refused(format!("cannot write the plan: {cause}")))?;
        bytes.push(b'\n');
        Ok(bytes)
    }

    /// Where part `k` stands on each axis.
    #[must_use]
    pub fn stands(&self, k: u64) -> Vec<Stand> {
        self.design.stands(&self.axes, k, self.seed)
    }

    /// The scenario of one point as if typed.
    ///
    /// # Errors
    /// A value that does not fit its key.
    pub fn raw(&self, base: &RawScenario, stands: &[Stand]) -> Result<RawScenario> {
        let mut raw = base.clone();
        raw.seed = self.seed;
        for (axis, stand) in self.axes.iter().zip(stands) {
            let value = axis.value(*stand);
            if axis.is_figure() {
                raw = with_figure(&raw, &value)?;
                continue;
            }
            for key in &axis.keys {
                raw = assign(&raw, key, &value)?;
            }
        }
        Ok(raw)
    }
}

/// The scenario with the keys of `figure` put over its own figure.
fn with_figure(raw: &RawScenario, figure: &Value) -> Result<RawScenario> {
    let failed = |cause: String| Error::input(format!("this is not a figure: {cause}"));
    let mut document = Value::try_from(raw).map_err(|cause| failed(cause.to_string()))?;
    let (Some(Value::Table(own)), Value::Table(new)) = (document.get_mut("figure"), figure) else {
        return Err(failed(figure.to_string()));
    };
    own.remove("file");
    own.remove("sculpt");
    for (key, value) in new {
        own.insert(key.clone(), value.clone());
    }
    document
        .try_into()
        .map_err(|cause: toml::de::Error| failed(cause.message().to_string()))
}

impl Sweep {
    /// Opens the folder of a plan and checks that it is whole.
    ///
    /// # Errors
    /// A folder without a plan, a damaged plan or input, a plan of another version.
    pub fn open(folder: &Path) -> Result<Sweep> {
        let path = folder.join(PLAN);
        if !path.is_file() {
            return Err(Error::input("this folder holds no plan of a sweep")
                .at(Place::file(folder))
                .hint("make one first: thumbworn sweep plan SWEEP.toml -o DIR"));
        }
        let bytes =
            std::fs::read(&path).map_err(|cause| Error::system("read the plan", &path, &cause))?;
        let plan: Plan = serde_json::from_slice(&bytes).map_err(|cause| {
            Error::input(format!("this is not a plan of this version: {cause}"))
                .at(Place::file(&path))
                .hint("plan again into a new folder: thumbworn sweep plan SWEEP.toml -o DIR")
        })?;
        if (plan.format, plan.version.as_str(), plan.engines)
            != (FORMAT, env!("CARGO_PKG_VERSION"), ENGINES)
        {
            return Err(Error::refused(format!(
                "the plan is of version {} (engines {}), this program is {} (engines {ENGINES})",
                plan.version,
                plan.engines,
                env!("CARGO_PKG_VERSION")
            ))
            .at(Place::file(&path))
            .hint("use the program that made the plan, or plan again into a new folder"));
        }
        let source = input(folder, &plan.scenario)?;
        let base = source.parse()?;
        Ok(Sweep {
            folder: folder.to_path_buf(),
            hash: blake3::hash(&bytes).to_hex().to_string(),
            plan,
            base,
            source,
        })
    }

    /// Refuses to compute with another program than the plan was made by.
    ///
    /// # Errors
    /// Another binary.
    pub fn check_binary(&self) -> Result<()> {
        let own = own_binary()?;
        if own == self.plan.binary {
            return Ok(());
        }
        Err(Error::refused(format!(
            "this program ({}...) is not the one that made the plan ({}...)",
            &own[..12],
            self.plan.binary.get(..12).unwrap_or_default()
        ))
        .at(Place::file(self.folder.join(PLAN)))
        .hint("copy that program here, or plan again with this one into a new folder"))
    }

    /// Checks that every input is there and unchanged.
    ///
    /// # Errors
    /// A missing or changed input.
    pub fn check_inputs(&self) -> Result<()> {
        for about in &self.plan.inputs {
            let path = self.folder.join(INPUTS).join(&about.file);
            let bytes = std::fs::read(&path)
                .map_err(|cause| Error::system("read what the sweep needs", &path, &cause))?;
            if Input::of(&about.name, &bytes).file != about.file {
                return Err(
                    Error::refused(format!("this copy of {} was changed", about.name))
                        .at(Place::file(&path))
                        .hint("copy the folder again from where it was planned"),
                );
            }
        }
        Ok(())
    }

    /// Refuses a number that is no part.
    ///
    /// # Errors
    /// `k` beyond the last part.
    pub fn check_number(&self, k: u64) -> Result<()> {
        if k < self.plan.parts {
            return Ok(());
        }
        Err(Error::input(format!("there is no part {k}")).hint(format!(
            "the parts of this sweep are 0 to {}",
            self.plan.parts - 1
        )))
    }

    /// The scenario of part `k`.
    ///
    /// # Errors
    /// A combination of values that is no scenario, with the number of the part.
    pub fn scenario(&self, k: u64) -> Result<Scenario> {
        self.check_number(k)?;
        let raw = self.plan.raw(&self.base, &self.plan.stands(k))?;
        lift(&self.source, &raw)
    }

    /// The scenario that is varied, as typed.
    #[must_use]
    pub fn base(&self) -> &RawScenario {
        &self.base
    }

    /// Words of the point of part `k`: "coat satin, foam firm".
    #[must_use]
    pub fn words(&self, k: u64) -> String {
        let stands = self.plan.stands(k);
        let words: Vec<String> = self
            .plan
            .axes
            .iter()
            .zip(stands)
            .map(|(axis, stand)| format!("{} {}", axis.name, axis.label(stand)))
            .collect();
        words.join(", ")
    }
}

fn input(folder: &Path, name: &str) -> Result<Source> {
    Source::read(&folder.join(INPUTS).join(name))
}

/// Writes a plan and its inputs into a folder; the same plan again changes nothing.
///
/// * `files`: content of each of `plan.inputs`, in order
///
/// # Errors
/// A folder that holds another plan or cannot be written.
pub fn write(folder: &Path, plan: &Plan, files: &[Vec<u8>]) -> Result<()> {
    let path = folder.join(PLAN);
    let bytes = plan.bytes()?;
    match std::fs::read(&path) {
        Ok(old) if old == bytes => {}
        Ok(_) => {
            return Err(Error::refused("this folder holds another plan")
                .at(Place::file(&path))
                .hint(
                    "give this sweep a folder of its own with -o: parts of two plans do not mix",
                ));
        }
        Err(_) => {}
    }
    for (about, bytes) in plan.inputs.iter().zip(files) {
        let to = folder.join(INPUTS).join(&about.file);
        if std::fs::read(&to).ok().as_ref() != Some(bytes) {
            atomic::write(&to, bytes)?;
        }
    }
    // Last: a folder with a plan has everything the plan needs.
    atomic::write(&path, &bytes)
}
