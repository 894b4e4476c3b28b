//! `stillair compare`: the main job.

use super::console::{Console, Stop};
use crate::error::{Error, Fault};
use crate::test_day;
use std::path::PathBuf;

const EXAMPLE: &str = "Example: compare the set-ups that helmets/test.toml names\n  stillair compare helmets";

/// Which set-up is faster, by how much, and how sure
///
/// Reads the recordings and test.toml of each FOLDER, finds the passes of the course, fits CdA and compares
/// the set-ups. Without test.toml all passes are of one set-up, and there is nothing to compare.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    /// Folders that hold the recordings of a test day (*.fit, *.gpx, *.tcx, *.csv, also .gz) and its test.toml
    #[arg(required = true, value_name = "FOLDER")]
    folders: Vec<PathBuf>,
}

pub fn run(arguments: &Arguments, _console: &Console) -> Result<(), Stop> {
    let mut faults = Vec::new();
    for folder in &arguments.folders {
        if let Err(error) = test_day::read(folder) {
            faults.extend(error.faults);
        }
    }
    if !faults.is_empty() {
        return Err(Error { faults }.into());
    }
    Err(Fault::new(
        "the comparison is not available",
        "Wait for the version that has it.",
    )
    .into())
}
