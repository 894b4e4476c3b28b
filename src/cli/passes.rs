//! `stillair passes`: the course, and each time it was ridden.

use super::console::{Console, Stop};
use crate::error::Fault;
use crate::test_day;
use std::path::PathBuf;

const EXAMPLE: &str = "Example: list the passes, and what nearly was one\n  stillair passes helmets";

/// The course, and each time it was ridden
///
/// Lists start, end, time, entry speed, power and flags of each pass, and what nearly was a pass, with the
/// reason. The course is that of test.toml, or is found from the rides.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    /// Folder that holds the recordings, and test.toml if there is one
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
}

pub fn run(arguments: &Arguments, _console: &Console) -> Result<(), Stop> {
    let _day = test_day::read(&arguments.folder)?;
    Err(Fault::new(
        "the list of passes is not available",
        "Wait for the version that has it.",
    )
    .into())
}
