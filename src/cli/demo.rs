//! `stillair demo`: a simulated test day, and the main job on it.

use super::cautions::cautions;
use super::compare;
use super::console::{Console, Stop};
use crate::error::Fault;
use crate::report::words::wrapped;
use crate::simulate::{demo_plan, ride_day};
use crate::study;
use std::path::{Path, PathBuf};

const EXAMPLE: &str =
    "Example: a simulated test day in the folder helmets, and its answer\n  stillair demo helmets";

/// Write a simulated test day and run the main job on it
///
/// Writes ride files and a commented test.toml into FOLDER, which must be new or empty, and compares the two
/// set-ups. The rides are simulated, so that the true difference is known.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    /// Folder to write into
    #[arg(value_name = "FOLDER", default_value = "stillair-demo")]
    folder: PathBuf,
}

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    check_free(&arguments.folder)?;
    let day = ride_day(&demo_plan());
    let written = day.write_folder(&arguments.folder, false)?;
    let names: Vec<String> = written
        .iter()
        .filter_map(|f| Some(f.file_name()?.to_string_lossy().into_owned()))
        .collect();
    let folder = arguments.folder.display();
    let what = format!(
        "Simulated a test day into {folder}: {}. Now comparing, as `stillair compare {folder}` does.",
        names.join(", ")
    );
    console.remark(&format!("{}\n", wrapped(&what, console.width)));
    let compared = console.watched("reading", |progress| study::compare(&arguments.folder, progress))?;
    let found = study::Days {
        days: vec![compared],
        together: None,
        faults: Vec::new(),
    };
    compare::show(&found, 1, console)?;
    console.remark(&format!("\n{}", cautions(console.width)));
    Ok(())
}

/// Nothing of the user's is ever written over.
fn check_free(folder: &Path) -> Result<(), Fault> {
    let in_the_way = match std::fs::read_dir(folder) {
        Ok(mut entries) => entries.next().is_some().then_some("the folder is not empty"),
        Err(_) if folder.symlink_metadata().is_ok() => Some("this is not a folder that can be read"),
        Err(_) => None,
    };
    match in_the_way {
        Some(what) => Err(Fault::new(what, "Name a new folder: stillair demo FOLDER.").in_file(folder)),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_new_or_an_empty_folder_is_free() {
        let folder = tempfile::tempdir().unwrap();
        let ride = folder.path().join("ride.fit");
        assert!(check_free(folder.path()).is_ok());
        assert!(check_free(&folder.path().join("new")).is_ok());
        std::fs::write(&ride, b"mine").unwrap();
        assert_eq!(
            check_free(folder.path()).unwrap_err().what,
            "the folder is not empty"
        );
        assert_eq!(
            check_free(&ride).unwrap_err().what,
            "this is not a folder that can be read"
        );
    }
}
