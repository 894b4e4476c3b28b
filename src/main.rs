#![forbid(unsafe_code)]

use std::process::ExitCode;

fn main() -> ExitCode {
    stillair::cli::run()
}
