//! Broken files by the thousand, at the readers: none may panic, hang or ask for much memory.
//!
//! Seeds are the small sound files in `fuzz/corpus`; each is mutated (bits, bytes, numbers, cuts,
//! copies, splices; inside the archive for half of the 3MF). The same files every time. For a long
//! run: `BROKEN_FILES="5000000 7" cargo test --release --test it broken` makes that many from seed
//! 7. On a failure the file is kept in `fuzz/failures`. `fuzz/run.sh` is the search led by coverage.

use base::random::{Stream, stream};
use mesh::format::read;
use rand::RngExt;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Broken files without a wish of the caller, and their seed.
const USUAL: [u64; 2] = [300_000, 1];

/// Longer than this for a file of a few kilobytes is a hang.
const SLOW: Duration = Duration::from_secs(5);

fn corpus(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .expect("fuzz/corpus exists")
        .filter_map(|entry| Some(entry.ok()?.path()))
        .collect();
    files.sort();
    files
        .into_iter()
        .map(|path| {
            let bytes = std::fs::read(&path).expect("readable");
            (path, bytes)
        })
        .collect()
}

/// Numbers that programs trip over, as words.
const WORDS: [&str; 14] = [
    "0",
    "-1",
    "1e999",
    "NaN",
    "-inf",
    "4294967295",
    "4294967296",
    "18446744073709551615",
    "1e-320",
    "2147483648",
    "-9223372036854775808",
    "\u{0}",
    "\"",
    "99999999999999999999999",
];

fn mutate(bytes: &mut Vec<u8>, other: &[u8], random: &mut Stream) {
    for _ in 0..random.random_range(1..6_u32) {
        if bytes.is_empty() {
            bytes.push(random.random());
        }
        let at = random.random_range(0..bytes.len());
        match random.random_range(0..10_u32) {
            0 => bytes[at] ^= 1 << random.random_range(0..8_u32),
            1 => bytes[at] = random.random(),
            2 => bytes.insert(at, random.random()),
            3 => {
                let to = (at + random.random_range(1..40_usize)).min(bytes.len());
                bytes.drain(at..to);
            }
            4 => bytes.truncate(at),
            5 => {
                let to = (at + random.random_range(1..200_usize)).min(bytes.len());
                let copy = bytes[at..to].to_vec();
                let target = random.random_range(0..=bytes.len());
                bytes.splice(target..target, copy);
            }
            6 => {
                let from = random.random_range(0..other.len());
                let to = (from + random.random_range(1..300_usize)).min(other.len());
                bytes.splice(at..at, other[from..to].iter().copied());
            }
            7 => number_as_bytes(bytes, at, random),
            _ => number_as_word(bytes, at, random),
        }
    }
}

fn number_as_bytes(bytes: &mut [u8], at: usize, random: &mut Stream) {
    let value = [
        0_u32,
        1,
        u32::MAX,
        0x7fff_ffff,
        0x8000_0000,
        0x7f80_0000,
        0x7fc0_0000,
        0x00ff_ffff,
    ][random.random_range(0..8_usize)];
    let value = if random.random() {
        value.to_le_bytes()
    } else {
        value.to_be_bytes()
    };
    for (to, from) in bytes[at..].iter_mut().zip(value) {
        *to = from;
    }
}

/// Puts a troublesome number in place of the next one.
fn number_as_word(bytes: &mut Vec<u8>, at: usize, random: &mut Stream) {
    let digit = |b: &u8| b.is_ascii_digit() || matches!(b, b'-' | b'.' | b'e');
    let Some(from) = bytes[at..].iter().position(|b| b.is_ascii_digit()) else {
        return;
    };
    let from = at + from;
    let length = bytes[from..]
        .iter()
        .position(|b| !digit(b))
        .unwrap_or(bytes.len() - from);
    let word = WORDS[random.random_range(0..WORDS.len())];
    bytes.splice(from..from + length, word.bytes());
}

/// Mutates what is inside a 3MF, so that the archive itself stays sound.
fn repack(archive: &[u8], other: &[u8], random: &mut Stream) -> Option<Vec<u8>> {
    use std::io::{Cursor, Read, Write};
    let mut old = zip::ZipArchive::new(Cursor::new(archive)).ok()?;
    let mut new = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for i in 0..old.len() {
        let mut file = old.by_index(i).ok()?;
        let (name, mut content) = (file.name().to_string(), Vec::new());
        file.read_to_end(&mut content).ok()?;
        if name.ends_with(".model") {
            mutate(&mut content, other, random);
        }
        new.start_file(name, zip::write::SimpleFileOptions::default())
            .ok()?;
        new.write_all(&content).ok()?;
    }
    Some(new.finish().ok()?.into_inner())
}

#[test]
fn broken_files_are_refused_or_read_but_never_hang_or_panic() {
    let told = std::env::var("BROKEN_FILES").unwrap_or_default();
    let told: Vec<u64> = told
        .split_whitespace()
        .filter_map(|w| w.parse().ok())
        .collect();
    let [count, seed] = [0, 1].map(|i| told.get(i).copied().unwrap_or(USUAL[i]));
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz");
    let corpus = corpus(&root.join("corpus"));
    let (mut read_well, mut failures, mut slowest) = (0_u64, Vec::new(), Duration::ZERO);
    for number in 0..count {
        let mut random = stream(seed, &["readers"], number);
        let (path, sound) = &corpus[random.random_range(0..corpus.len())];
        let other = &corpus[random.random_range(0..corpus.len())].1;
        let inside = path.extension().is_some_and(|e| e == "3mf") && random.random();
        let mut bytes = sound.clone();
        if inside {
            bytes = repack(sound, other, &mut random).unwrap_or(bytes);
        } else {
            mutate(&mut bytes, other, &mut random);
        }
        let start = Instant::now();
        let outcome = catch_unwind(AssertUnwindSafe(|| {
            let mesh = read::from_bytes(Path::new("broken"), bytes.clone())?;
            let mut triangles = 0;
            mesh.visit(&mut |block| triangles += block.len())?;
            assert_eq!(triangles, mesh.len());
            base::Result::Ok(())
        }));
        let took = start.elapsed();
        slowest = slowest.max(took);
        read_well += u64::from(matches!(outcome, Ok(Ok(()))));
        if outcome.is_err() || took > SLOW {
            let kept = root.join("failures");
            std::fs::create_dir_all(&kept).expect("a folder for failures");
            std::fs::write(kept.join(format!("{seed}-{number}")), &bytes).expect("kept");
            failures.push(format!("{seed}-{number} from {}: {took:?}", path.display()));
        }
    }
    println!(
        "{count} broken files from seed {seed}: {read_well} still readable, slowest {slowest:?}"
    );
    assert!(failures.is_empty(), "{}", failures.join("\n"));
    assert!(read_well > count / 100, "the seeds are read");
}
