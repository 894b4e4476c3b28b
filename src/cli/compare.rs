//! `stillair compare`: the main job.

use super::console::{Console, Stop};
use crate::error::Error;
use crate::report::{json, terminal};
use crate::study::{self, Compared};
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

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    let mut faults = Vec::new();
    let mut days = Vec::new();
    for folder in &arguments.folders {
        match console.watched("reading", |progress| study::compare(folder, progress)) {
            Ok(compared) => {
                console.faults(&compared.surveyed.faults);
                days.push(compared);
            }
            Err(error) => faults.extend(error.faults),
        }
    }
    show(&days, arguments.folders.len(), console)?;
    // One folder that could not be used does not cost the others, but the exit status tells.
    if faults.is_empty() {
        Ok(())
    } else {
        Err(Error { faults }.into())
    }
}

/// The result of each folder; JSON of several folders is a list.
pub fn show(days: &[Compared], asked: usize, console: &Console) -> Result<(), Stop> {
    if console.json {
        return match days {
            [] => Ok(()),
            [only] if asked == 1 => console.json_result(&json::compare(only)),
            several => console.json_result(&several.iter().map(json::compare).collect()),
        };
    }
    for (index, day) in days.iter().enumerate() {
        let rule = if index > 0 {
            format!("\n{}\n", "-".repeat(console.width.min(80)))
        } else {
            String::new()
        };
        let heading = if asked > 1 {
            format!("{}\n\n", day.surveyed.folder.display())
        } else {
            String::new()
        };
        console.result(&format!(
            "{rule}{heading}{}",
            terminal::compare(day, console.width)
        ))?;
    }
    Ok(())
}
