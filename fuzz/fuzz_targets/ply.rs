//! PLY of any coding behind its first line.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let file = match data.strip_prefix(b"ply") {
        Some(_) => data.to_vec(),
        None => [b"ply\n", data].concat(),
    };
    thumbworn_fuzz::read_whole(file);
});
