//! Finished parts, found again by the hash of everything that went into them.
//!
//! Guaranteed: a part is either whole or absent (written aside, synced, renamed), and a part whose
//! bytes do not match their own hash is treated as absent. Not guaranteed: parts of another
//! version are never read, since the version is part of the key.

use base::{Error, Result};
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

const MAGIC: &[u8; 8] = b"twpart1\n";
const HASH_BYTES: usize = 32;

/// What a part is known by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Key([u8; HASH_BYTES]);

impl Key {
    /// Key of a part: the program's version, the kind of part, and every input that decides its bytes.
    ///
    /// * `kind`: such as "dose"
    /// * `inputs`: serialised in order; equal values give equal keys
    ///
    /// # Errors
    /// If an input cannot be serialised, which is a defect of the program.
    pub fn of(kind: &str, inputs: &impl Serialize) -> Result<Key> {
        let bytes = rmp_serde::to_vec_named(inputs)
            .map_err(|cause| Error::refused(format!("cannot name a part: {cause}")))?;
        let mut hasher = blake3::Hasher::new();
        for piece in [
            env!("CARGO_PKG_VERSION").as_bytes(),
            kind.as_bytes(),
            &bytes,
        ] {
            hasher.update(&(piece.len() as u64).to_le_bytes());
            hasher.update(piece);
        }
        Ok(Key(*hasher.finalize().as_bytes()))
    }

    /// Hexadecimal, as in file names.
    #[must_use]
    pub fn hex(&self) -> String {
        blake3::Hash::from_bytes(self.0).to_hex().to_string()
    }
}

/// The folder of finished parts of one results folder, held by one run at a time, or by any number
/// of parts of one sweep.
#[derive(Debug)]
pub struct Store {
    folder: PathBuf,
    /// [bytes] kept so far, and above how many all are forgotten; only where there is a limit.
    room: Option<(AtomicU64, u64)>,
    /// Kept open: the lock lasts as long as the file handle.
    _lock: fs::File,
}

impl Store {
    /// Opens (and if needed makes) the store of a results folder.
    ///
    /// # Errors
    /// A folder that cannot be made or written, or one that another run is using.
    pub fn open(results: &Path) -> Result<Store> {
        Store::held(results, fs::File::try_lock, None)
    }

    /// Opens a store that several processes use at the same time. Parts are found by what went into
    /// them and written whole, so none can disturb another; with a limit it is a mere help: when
    /// more than that is kept, all is forgotten and computed again as needed.
    ///
    /// * `limit`: [bytes]
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn shared(results: &Path, limit: u64) -> Result<Store> {
        let mut store = Store::held(results, fs::File::try_lock_shared, Some(limit))?;
        let kept = fs::read_dir(&store.folder)
            .map_err(|cause| Error::system("list finished parts", &store.folder, &cause))?
            .flatten()
            .filter_map(|entry| entry.metadata().ok())
            .map(|about| about.len())
            .sum();
        store.room = Some((AtomicU64::new(kept), limit));
        Ok(store)
    }

    fn held(
        results: &Path,
        lock_it: fn(&fs::File) -> std::result::Result<(), fs::TryLockError>,
        limit: Option<u64>,
    ) -> Result<Store> {
        let folder = results.join("parts");
        fs::create_dir_all(&folder)
            .map_err(|cause| Error::system("make the results folder", results, &cause))?;
        let lock_path = folder.join("in-use");
        let lock = fs::OpenOptions::new()
            .create(true)
            .truncate(false)
            .write(true)
            .open(&lock_path)
            .map_err(|cause| Error::system("write to the results folder", results, &cause))?;
        match lock_it(&lock) {
            Ok(()) => {}
            Err(fs::TryLockError::WouldBlock) => {
                return Err(Error::refused("another run is using this results folder")
                    .at(base::Place::file(results))
                    .hint("wait for it, or give this run its own folder with -o"));
            }
            Err(fs::TryLockError::Error(cause)) => {
                return Err(Error::system("lock the results folder", results, &cause));
            }
        }
        Ok(Store {
            folder,
            room: limit.map(|limit| (AtomicU64::new(0), limit)),
            _lock: lock,
        })
    }

    fn path(&self, key: &Key) -> PathBuf {
        self.folder.join(format!("{}.part", &key.hex()[..40]))
    }

    /// The finished part, if it is here and whole.
    #[must_use]
    pub fn get<T: DeserializeOwned>(&self, key: &Key) -> Option<T> {
        let bytes = fs::read(self.path(key)).ok()?;
        let rest = bytes.strip_prefix(MAGIC)?;
        let (hash, packed) = rest.split_at_checked(HASH_BYTES)?;
        if blake3::hash(packed).as_bytes() != hash {
            return None;
        }
        let plain = zstd::decode_all(packed).ok()?;
        rmp_serde::from_slice(&plain).ok()
    }

    /// Keeps a finished part.
    ///
    /// # Errors
    /// The disk is full or the folder is gone; nothing half-written is left under the part's name.
    pub fn put<T: Serialize>(&self, key: &Key, part: &T) -> Result<()> {
        let plain = rmp_serde::to_vec_named(part)
            .map_err(|cause| Error::refused(format!("cannot keep a part: {cause}")))?;
        let path = self.path(key);
        let failed = |cause: std::io::Error| Error::system("keep a finished part", &path, &cause);
        let packed = zstd::encode_all(plain.as_slice(), 3).map_err(failed)?;
        if let Some((kept, limit)) = &self.room
            && kept.fetch_add(packed.len() as u64, Ordering::Relaxed) > *limit
        {
            kept.store(packed.len() as u64, Ordering::Relaxed);
            self.forget()?;
        }
        let mut file = tempfile::NamedTempFile::new_in(&self.folder).map_err(failed)?;
        for piece in [MAGIC.as_slice(), blake3::hash(&packed).as_bytes(), &packed] {
            file.write_all(piece).map_err(failed)?;
        }
        // A mere help need not outlive a power cut; its hash tells a torn one.
        if self.room.is_none() {
            file.as_file().sync_all().map_err(failed)?;
        }
        file.persist(&path).map_err(|e| failed(e.error))?;
        Ok(())
    }

    /// Forgets every finished part.
    ///
    /// # Errors
    /// A part that cannot be removed.
    pub fn forget(&self) -> Result<()> {
        let entries = fs::read_dir(&self.folder)
            .map_err(|cause| Error::system("list finished parts", &self.folder, &cause))?;
        for entry in entries.flatten() {
            let path = entry.path();
            if path.extension().is_some_and(|e| e == "part") {
                match fs::remove_file(&path) {
                    // Another process forgets at the same time.
                    Err(cause) if cause.kind() == std::io::ErrorKind::NotFound => {}
                    gone => gone
                        .map_err(|cause| Error::system("remove a finished part", &path, &cause))?,
                }
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_comes_back_and_a_damaged_one_does_not() {
        let dir = tempfile::tempdir().expect("temp dir");
        let store = Store::open(dir.path()).expect("opens");
        let key = Key::of("dose", &("metal", 3.5)).expect("key");
        let part = vec![0.1_f64, 1e-300, f64::INFINITY, -0.0];
        assert_eq!(store.get::<Vec<f64>>(&key), None);
        store.put(&key, &part).expect("kept");
        assert_eq!(store.get::<Vec<f64>>(&key), Some(part.clone()));

        let path = store.path(&key);
        let mut bytes = fs::read(&path).expect("reads");
        let last = bytes.len() - 1;
        bytes[last] ^= 1;
        fs::write(&path, &bytes).expect("writes");
        assert_eq!(store.get::<Vec<f64>>(&key), None, "a flipped bit");
        fs::write(&path, &bytes[..last / 2]).expect("writes");
        assert_eq!(store.get::<Vec<f64>>(&key), None, "half a file");
    }

    #[test]
    fn a_key_depends_on_kind_and_inputs() {
        let key = |kind, inputs| Key::of(kind, &inputs).expect("key");
        assert_eq!(key("dose", (1, 2.0)), key("dose", (1, 2.0)));
        assert_ne!(key("dose", (1, 2.0)), key("dose", (1, 2.5)));
        assert_ne!(key("dose", (1, 2.0)), key("wear", (1, 2.0)));
    }

    #[test]
    fn a_second_run_in_the_same_folder_is_told() {
        let dir = tempfile::tempdir().expect("temp dir");
        let first = Store::open(dir.path()).expect("opens");
        let error = Store::open(dir.path()).expect_err("held");
        assert!(error.what().contains("another run"), "{error}");
        drop(first);
        Store::open(dir.path()).expect("free again");
    }

    #[test]
    fn a_shared_store_serves_several_and_stays_within_its_limit() {
        let dir = tempfile::tempdir().expect("temp dir");
        let first = Store::shared(dir.path(), 2000).expect("opens");
        let second = Store::shared(dir.path(), 2000).expect("opens beside it");
        Store::open(dir.path()).expect_err("a run alone must wait");
        let part: Vec<u64> = (0..40)
            .map(|i: u64| i.wrapping_mul(0x9E37_79B9_7F4A_7C15))
            .collect();
        let keys: Vec<Key> = (0..30).map(|i| Key::of("dose", &i).expect("key")).collect();
        for key in &keys {
            first.put(key, &part).expect("kept");
            assert_eq!(second.get::<Vec<u64>>(key).as_ref(), Some(&part));
        }
        let kept = keys
            .iter()
            .filter(|k| first.get::<Vec<u64>>(k).is_some())
            .count();
        assert!(
            (1..20).contains(&kept),
            "{kept} of 30 kept within the limit"
        );
    }
}
