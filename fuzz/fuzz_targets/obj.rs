//! OBJ behind two sound lines, so that it is taken for one.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let file = [b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", data].concat();
    thumbworn_fuzz::read_whole(file);
});
