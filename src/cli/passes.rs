//! `stillair passes`: the course, and each time it was ridden.

use super::console::{Console, Stop};
use crate::report::{json, terminal};
use crate::study;
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

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    let surveyed = console.watched("reading", |progress| study::passes(&arguments.folder, progress))?;
    console.faults(&surveyed.faults);
    if console.json {
        console.json_result(&json::passes(&surveyed))
    } else {
        console.result(&terminal::passes(&surveyed, console.width))
    }
}
