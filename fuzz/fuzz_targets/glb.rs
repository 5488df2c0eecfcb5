//! GLB as a whole, glTF as JSON, and JSON with a sound binary chunk behind it. The file `a.bin` lies
//! beside the seeds, so that a JSON may ask for it.
#![no_main]

use libfuzzer_sys::fuzz_target;
use thumbworn_fuzz::{glb, read_whole};

/// Twelve corners and twelve numbers, as in the corpus.
const BLOB: [u8; 168] = {
    let mut blob = [0; 168];
    let mut i = 0;
    while i < 168 {
        blob[i] = (i * 7 % 64) as u8;
        i += 1;
    }
    blob
};

fuzz_target!(|data: &[u8]| {
    if data.starts_with(b"glTF") || data.first() == Some(&b'{') && data.len() % 2 == 0 {
        read_whole(data.to_vec());
    } else {
        read_whole(glb(data, &BLOB));
    }
});
