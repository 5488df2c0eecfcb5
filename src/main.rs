//! The program. Everything is in the library; see `thumbworn::cli`.

fn main() -> std::process::ExitCode {
    thumbworn::cli::main()
}
