//! `stillair demo`: a simulated test day, and the main job on it.

use super::console::{Console, Stop};
use crate::error::Fault;
use std::path::{Path, PathBuf};

const EXAMPLE: &str = "Example: make a simulated test day in the folder helmets and compare its set-ups\n  stillair demo helmets";

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

pub fn run(arguments: &Arguments, _console: &Console) -> Result<(), Stop> {
    check_free(&arguments.folder)?;
    Err(Fault::new(
        "the demonstration is not available",
        "Wait for the version that has it.",
    )
    .into())
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
