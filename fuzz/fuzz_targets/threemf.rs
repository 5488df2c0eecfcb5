//! 3MF: whole archives, and models in a sound archive.
#![no_main]

use libfuzzer_sys::fuzz_target;
use thumbworn_fuzz::{archive, read_whole};

fuzz_target!(|data: &[u8]| {
    if data.starts_with(b"PK") {
        read_whole(data.to_vec());
    } else {
        read_whole(archive(data));
    }
});
