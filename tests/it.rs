//! What a person sees on the command line. One binary, so that heavy crates link once.

mod it {
    pub mod bad_input;
    pub mod bench_story;
    pub mod broken_meshes;
    pub mod scenarios;
    pub mod season;
    pub mod help;
    pub mod pipeline;
    pub mod support;
    pub mod sweep;
}
