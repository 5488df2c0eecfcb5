//! Files that are there whole or not at all.

use crate::{Error, Result};
use std::io::Write;
use std::path::Path;

/// Writes `bytes` to `path` by way of a temporary file in the same folder and a rename, so that a
/// reader sees the old file or the new one and an interruption leaves no torn file. Folders on the
/// way are made. The disk is not asked to flush (on a busy machine that can take minutes), so a
/// power cut within seconds may still lose the newest version.
///
/// # Errors
/// What the machine refused, with the path.
pub fn write(path: impl AsRef<Path>, bytes: &[u8]) -> Result<()> {
    stream(path, |file| file.write_all(bytes))
}

/// As [`write`], for what is too long to hold in memory: `fill` writes it piece by piece.
///
/// # Errors
/// What the machine refused, with the path.
pub fn stream(
    path: impl AsRef<Path>,
    fill: impl FnOnce(&mut dyn Write) -> std::io::Result<()>,
) -> Result<()> {
    let path = path.as_ref();
    let failed = |cause: std::io::Error| Error::system("write", path, &cause);
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    std::fs::create_dir_all(folder).map_err(failed)?;
    let mut file = tempfile::Builder::new()
        .prefix(".part-")
        .tempfile_in(folder)
        .map_err(failed)?;
    let mut pieces = std::io::BufWriter::new(file.as_file_mut());
    fill(&mut pieces).map_err(failed)?;
    pieces.flush().map_err(failed)?;
    drop(pieces);
    open_to_readers(file.as_file()).map_err(failed)?;
    file.persist(path).map_err(|e| failed(e.error))?;
    Ok(())
}

/// Temporary files are private by default; results are not.
#[cfg(unix)]
fn open_to_readers(file: &std::fs::File) -> std::io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn open_to_readers(_file: &std::fs::File) -> std::io::Result<()> {
    Ok(())
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_file_is_replaced_whole_and_nothing_else_is_left() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("deep/er/a b.txt");
        super::write(&path, b"first").unwrap();
        super::write(&path, b"second").unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"second");
        let left = std::fs::read_dir(path.parent().unwrap()).unwrap().count();
        assert_eq!(left, 1);
        let error = super::write(path.join("below a file"), b"x").unwrap_err();
        assert!(error.to_string().contains("a b.txt"));
    }
}
