//! `stillair export`: a day's answer as tables.

use super::console::{Console, Stop};
use crate::export::{Formats, tables, write};
use crate::report::words::count;
use crate::study;
use clap::ValueEnum;
use serde_json::json;
use std::path::PathBuf;

const EXAMPLE: &str =
    "Example: tables of helmets for a notebook\n  stillair export helmets --to helmets-tables";

/// Write the answer as tables, for a notebook or a database
///
/// Compares the set-ups of the test day in FOLDER as `compare` does, and writes set-ups, comparisons, passes, pieces of
/// passes, elevations and draws as tidy tables, CSV and Parquet, each with its units in the names of its columns, and
/// dictionary.csv, which says what every column holds. Files that are there are not written over unless you say so.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    /// Folder of the test day
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// Folder for the tables, made where it is missing; 'tables' in FOLDER unless given
    #[arg(long, value_name = "DIR")]
    to: Option<PathBuf>,
    /// Write one of the two formats only
    #[arg(long, value_name = "FORMAT")]
    only: Option<Only>,
    /// Write over the tables of an earlier run
    #[arg(long)]
    replace: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Only {
    Csv,
    Parquet,
}

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    let folder = &arguments.folder;
    let compared = console.watched("reading", |progress| study::compare(folder, progress))?;
    console.faults(&compared.surveyed.faults);
    let formats = Formats {
        csv: arguments.only != Some(Only::Parquet),
        parquet: arguments.only != Some(Only::Csv),
    };
    let to = arguments.to.clone().unwrap_or_else(|| folder.join("tables"));
    let tables = tables(&compared);
    let files = write(&to, &tables, formats, arguments.replace)?;
    if console.json {
        let told: Vec<_> = tables
            .iter()
            .map(|table| json!({ "table": table.name, "rows": table.rows(), "columns": table.columns.len() }))
            .collect();
        let files: Vec<String> = files.iter().map(|file| file.display().to_string()).collect();
        return console
            .json_result(&json!({ "folder": to.display().to_string(), "files": files, "tables": told }));
    }
    console.result(&format!(
        "Wrote {} into {}.",
        count(files.len(), "file"),
        to.display()
    ))
}
