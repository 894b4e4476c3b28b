//! The recordings in a folder and below.

use crate::error::{Fault, Result};
use crate::study::{is_recording, unreadable};
use std::path::{Path, PathBuf};

/// In order of name, with what is wrong with folders below. Hidden folders are left out, and links to folders, which
/// may lead round in a circle.
///
/// # Errors
/// `folder` itself cannot be listed.
pub(super) fn recordings_below(folder: &Path) -> Result<(Vec<PathBuf>, Vec<Fault>)> {
    let (mut files, mut faults) = (Vec::new(), Vec::new());
    let mut folders = list(folder, &mut files)?;
    while let Some(next) = folders.pop() {
        match list(&next, &mut files) {
            Ok(below) => folders.extend(below),
            Err(error) => faults.extend(error.faults),
        }
    }
    files.sort();
    Ok((files, faults))
}

/// Adds the recordings of one folder; gives its folders.
fn list(folder: &Path, files: &mut Vec<PathBuf>) -> Result<Vec<PathBuf>> {
    let unreadable = |error| unreadable(folder, &error);
    let mut folders = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let entry = entry.map_err(unreadable)?;
        let path = entry.path();
        if entry.file_type().map_err(unreadable)?.is_dir() {
            if !entry.file_name().to_string_lossy().starts_with('.') {
                folders.push(path);
            }
        } else if is_recording(&path) {
            files.push(path);
        }
    }
    Ok(folders)
}

/// The path from the folder on, as the index has it. A name that is no text is told apart by its escapes.
pub(super) fn name_below(folder: &Path, file: &Path) -> String {
    let below = file.strip_prefix(folder).unwrap_or(file);
    below
        .to_str()
        .map_or_else(|| format!("{below:?}"), str::to_string)
}
