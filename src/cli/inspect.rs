//! `stillair inspect`: what recordings hold.

use super::console::{Console, Stop};
use crate::error::Error;
use crate::report::{json, terminal};
use crate::study;
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

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    let mut faults = Vec::new();
    let mut values = Vec::new();
    for (index, file) in arguments.files.iter().enumerate() {
        let seen = match study::inspect(file) {
            Ok(seen) => seen,
            Err(error) => {
                faults.extend(error.faults);
                continue;
            }
        };
        let streams = seen.streams.as_ref();
        if console.json {
            values.push(json::inspect(&seen.recording, streams, seen.surveyed.as_ref()));
            continue;
        }
        let found = match (&seen.surveyed, &seen.why_none) {
            (Some(surveyed), _) => terminal::stretch(surveyed),
            (None, Some(error)) => terminal::no_stretch(error),
            (None, None) => String::new(),
        };
        let gap = if index > 0 { "\n" } else { "" };
        let text = terminal::inspect(&seen.recording, streams, &found, console.width);
        console.result(&format!("{gap}{text}"))?;
    }
    match values.as_slice() {
        [] => {}
        [only] if arguments.files.len() == 1 => console.json_result(only)?,
        several => console.json_result(&several.iter().cloned().collect())?,
    }
    if faults.is_empty() {
        Ok(())
    } else {
        Err(Error { faults }.into())
    }
}
