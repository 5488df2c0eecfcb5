//! What a bench command gives: text for a person and files to write.

use base::{Error, Note, Result};
use sha2::{Digest, Sha256};
use std::io::Write;
use std::path::Path;

/// A file to write.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewFile {
    /// Path below the bench folder, with `/`.
    pub name: String,
    /// Content.
    pub bytes: Vec<u8>,
}

/// Text, files and notes; nothing is written until [`Outcome::write_into`].
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Outcome {
    /// For the terminal.
    pub text: String,
    /// To write.
    pub files: Vec<NewFile>,
    /// What the reader must be told.
    pub notes: Vec<Note>,
}

impl Outcome {
    /// Adds a file.
    pub fn add(&mut self, name: impl Into<String>, content: impl Into<Vec<u8>>) {
        self.files.push(NewFile {
            name: name.into(),
            bytes: content.into(),
        });
    }

    /// Writes all files below `folder`, or none: an existing file is never overwritten.
    ///
    /// # Errors
    /// A file of that name exists with other content; the machine refuses.
    pub fn write_into(&self, folder: &Path) -> Result<()> {
        let new: Vec<&NewFile> = self
            .files
            .iter()
            .filter(|f| std::fs::read(folder.join(&f.name)).ok().as_ref() != Some(&f.bytes))
            .collect();
        for file in &new {
            let path = folder.join(&file.name);
            if path.exists() {
                return Err(Error::input("the file exists and is not overwritten")
                    .at(base::Place::file(&path))
                    .hint("move it away if you mean to replace it: a bench record only grows"));
            }
        }
        for file in new {
            let path = folder.join(&file.name);
            let parent = path.parent().unwrap_or(folder);
            std::fs::create_dir_all(parent)
                .map_err(|e| Error::system("make the folder", parent, &e))?;
            let mut open = std::fs::OpenOptions::new();
            let written = open
                .write(true)
                .create_new(true)
                .open(&path)
                .and_then(|mut f| f.write_all(&file.bytes));
            written.map_err(|e| Error::system("write", &path, &e))?;
        }
        Ok(())
    }
}

/// SHA-256 in hexadecimal.
#[must_use]
pub fn sha256(bytes: &[u8]) -> String {
    let digest = Sha256::digest(bytes);
    digest.iter().map(|b| format!("{b:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-2, appendix B.1.
    #[test]
    fn hash_of_abc() {
        assert_eq!(
            sha256(b"abc"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn nothing_is_overwritten() {
        let folder = tempfile::tempdir().unwrap();
        let mut outcome = Outcome::default();
        outcome.add("a/b.csv", "1\n");
        outcome.write_into(folder.path()).unwrap();
        outcome.write_into(folder.path()).unwrap();
        outcome.files[0].bytes = b"2\n".to_vec();
        outcome.add("c.csv", "3\n");
        assert!(outcome.write_into(folder.path()).is_err());
        assert!(!folder.path().join("c.csv").exists(), "all or none");
    }
}
