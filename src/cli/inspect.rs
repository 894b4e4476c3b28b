//! `stillair inspect`: what recordings hold.

use super::console::{Console, Stop};
use crate::error::{Error, Fault};
use std::path::PathBuf;

const EXAMPLE: &str =
    "Example: see whether a recording has what a test needs\n  stillair inspect helmets/ride.fit";

/// What a recording holds
///
/// Shows channels, sampling, gaps, faults, and stretches ridden more than once.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    /// Recordings: *.fit, *.gpx, *.tcx, *.csv, also .gz
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
}

pub fn run(arguments: &Arguments, _console: &Console) -> Result<(), Stop> {
    let absent = arguments.files.iter().filter(|file| !file.exists());
    let faults: Vec<Fault> = absent
        .map(|file| Fault::new("there is no such file", "Name a recording.").in_file(file))
        .collect();
    if !faults.is_empty() {
        return Err(Error { faults }.into());
    }
    Err(Fault::new(
        "the inspection is not available",
        "Wait for the version that has it.",
    )
    .into())
}
