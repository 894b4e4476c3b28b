//! `stillair rehearse`: the planned day simulated many times and analysed.

use super::cautions::cautions;
use super::console::{Console, Stop};
use crate::plan::rehearse::{rehearse, write_rehearsed_day};
use crate::report::{json, terminal, words::wrapped};
use std::path::PathBuf;

const EXAMPLE: &str = "Example: one day as planned in the folder helmets, as files to compare\n  \
                       stillair rehearse helmets --write ridden";

/// Simulate the planned day many times and analyse each
///
/// Reads [plan], the set-ups and the blocks of test.toml in FOLDER, rides that day in the simulator as often as asked,
/// half of the days with the difference that is looked for and half without any, and analyses each as `compare` does.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    /// Folder with the test.toml of the planned day
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// How many days
    #[arg(long, value_name = "N", default_value_t = 200, value_parser = clap::value_parser!(u32).range(2..=1_000_000))]
    days: u32,
    /// Of the random numbers: the same seed gives the same days. That of [plan] unless given
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// Write one of the days into this folder, recordings and test.toml, instead of rehearsing them all
    #[arg(long, value_name = "FOLDER", conflicts_with_all = ["days", "json"])]
    write: Option<PathBuf>,
    /// Which day to write: odd ones have the difference, even ones have none
    #[arg(long, value_name = "N", default_value_t = 1, requires = "write", value_parser = clap::value_parser!(u32).range(1..))]
    day: u32,
}

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    let Arguments {
        folder, days, seed, ..
    } = arguments;
    if let Some(into) = &arguments.write {
        let written = write_rehearsed_day(folder, arguments.day as usize, *seed, into)?;
        let names: Vec<String> = written
            .iter()
            .filter_map(|file| Some(file.file_name()?.to_string_lossy().into_owned()))
            .collect();
        let into = into.display();
        let said = format!(
            "Wrote day {} into {into}: {}. See it with `stillair compare {into}`.",
            arguments.day,
            names.join(", ")
        );
        return console.result(&wrapped(&said, console.width));
    }
    let rehearsal = console.counted("rehearsing", u64::from(*days), |progress| {
        rehearse(folder, *days as usize, *seed, progress)
    })?;
    if console.json {
        return console.json_result(&json::rehearse(&rehearsal));
    }
    console.result(&terminal::rehearse(&rehearsal, console.width))?;
    console.remark(&format!("\n{}", cautions(console.width)));
    Ok(())
}
