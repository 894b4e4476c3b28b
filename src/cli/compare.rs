//! `stillair compare`: the main job.

use super::console::{Console, Stop};
use crate::error::Error;
use crate::report::{json, terminal};
use crate::study::{self, Days};
use std::path::PathBuf;

const EXAMPLE: &str = "Example: compare the set-ups that helmets/test.toml names\n  stillair compare helmets";

/// Which set-up is faster, by how much, and how sure
///
/// Reads the recordings and test.toml of each FOLDER, finds the passes of the course, fits CdA and compares
/// the set-ups. Without test.toml all passes are of one set-up, and there is nothing to compare.
///
/// Several folders are several days of one test: set-ups of the same name belong together, and the answer is
/// one over all days, with a line for each of them.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    /// Folders that hold the recordings of a test day (*.fit, *.gpx, *.tcx, *.csv, also .gz) and its test.toml
    #[arg(required = true, value_name = "FOLDER")]
    folders: Vec<PathBuf>,
}

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    let folders = &arguments.folders;
    let bar = console.progress("reading", 0);
    let found = study::compare_days(folders, &|folder, done, all| {
        let of = if folders.len() > 1 {
            format!("day {} of {}: ", folder + 1, folders.len())
        } else {
            String::new()
        };
        bar.set_message(format!("{of}reading {done} of {all}"));
    });
    bar.finish_and_clear();
    for day in &found.days {
        console.faults(&day.surveyed.faults);
    }
    show(&found, folders.len(), console)?;
    // One folder that could not be used does not cost the others, but the exit status tells.
    if found.faults.is_empty() {
        Ok(())
    } else {
        Err(Error { faults: found.faults }.into())
    }
}

/// One folder is shown in full; several as the answer over all of them, with a line for each day.
pub fn show(found: &Days, asked: usize, console: &Console) -> Result<(), Stop> {
    let days = &found.days;
    if console.json {
        return match days.as_slice() {
            [] => Ok(()),
            [only] if asked == 1 => console.json_result(&json::compare(only)),
            _ => console.json_result(&json::compare_days(found)),
        };
    }
    if let Some(together) = &found.together {
        if let Some(text) = terminal::compare_days(together, days, console.width) {
            return console.result(&text);
        }
        let why = terminal::no_answer_over_days(together, console.width);
        console.result(&format!("{why}\n\n{}\n", "-".repeat(console.width.min(80))))?;
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
