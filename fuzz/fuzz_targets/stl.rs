//! Text and binary STL: the first byte chooses; a binary file may lie about its count.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let Some((choice, rest)) = data.split_first() else {
        return;
    };
    let file = match choice % 4 {
        0 => [b"solid x\nfacet normal 0 0 1\n", rest].concat(),
        1 => {
            let count = (rest.len() / 50) as u32;
            [&[b's'; 80], &count.to_le_bytes()[..], rest].concat()
        }
        2 => [&[0; 80], rest].concat(),
        _ => data.to_vec(),
    };
    thumbworn_fuzz::read_whole(file);
});
