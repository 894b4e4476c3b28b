//! Years of rides in a tree of folders → those that a question needs. Each file is looked at once; what was seen is
//! kept in an index beside the rides.

mod choose;
mod index;
mod seen;
#[cfg(test)]
mod tests;
mod tree;

use crate::error::{Fault, Result};
use crate::study::{Progress, no_recording};
use crate::warning::Warning;
use index::Index;
use rayon::prelude::*;
use seen::SeenRide;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

/// Up to so many rides are all read in full, and no index is written.
pub const ALL_READ: usize = 200;
/// The index is saved after so many new files, so that an interrupted look is not lost.
const SAVED_AFTER: usize = 1000;

/// The rides of an archive that a question needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Chosen {
    /// In order of name.
    pub files: Vec<PathBuf>,
    /// Of the files that are not chosen.
    pub faults: Vec<Fault>,
    pub warnings: Vec<Warning>,
}

/// The rides in `folder` and below that show its roads, hidden folders left out. Of more than [`ALL_READ`] rides, those
/// that bring roads which few later ones were on.
///
/// # Errors
/// The folder cannot be listed; it holds no recording.
pub fn for_roads(folder: &Path, progress: Progress) -> Result<Chosen> {
    for_roads_beyond(ALL_READ, folder, progress)
}

fn for_roads_beyond(all_read: usize, folder: &Path, progress: Progress) -> Result<Chosen> {
    let (files, mut faults) = tree::recordings_below(folder)?;
    if files.is_empty() {
        faults.insert(0, no_recording(folder));
        return Err(crate::error::Error { faults });
    }
    if files.len() <= all_read {
        return Ok(Chosen {
            files,
            faults,
            warnings: Vec::new(),
        });
    }
    let rides = looked_at(folder, &files, progress);
    let chosen = choose::for_roads(&rides);
    for ((ride, file), chosen) in rides.iter().zip(&files).zip(&chosen) {
        if !chosen {
            faults.extend(seen::faults_of(ride, file));
        }
    }
    let read: Vec<PathBuf> = files
        .into_iter()
        .zip(&chosen)
        .filter(|(_, chosen)| **chosen)
        .map(|(file, _)| file)
        .collect();
    let with_places = rides.iter().filter(|ride| !ride.cells.is_empty()).count();
    let left = with_places - read.len();
    let warning = (left > 0).then(|| {
        Warning::new(
            "rides not read",
            format!(
                "of {with_places} rides with positions, {left} were only on roads that {} later ones show, and were not read",
                choose::ENOUGH
            ),
            "Nothing need be done: later rides show the same roads as they are now.",
        )
    });
    Ok(Chosen {
        files: read,
        faults,
        warnings: warning.into_iter().collect(),
    })
}

/// What is seen of each file, in the order given: out of the index where the file is as it was, else by a look at it.
fn looked_at(folder: &Path, files: &[PathBuf], progress: Progress) -> Vec<SeenRide> {
    let mut index = Index::open(folder);
    let stamped: Vec<(String, Option<seen::Stamp>)> = files
        .iter()
        .map(|file| (tree::name_below(folder, file), seen::Stamp::of(file)))
        .collect();
    let is_new = |place: &usize| {
        let (name, stamp) = &stamped[*place];
        stamp.is_none() || index.get(name).is_none_or(|ride| Some(ride.stamp) != *stamp)
    };
    let new: Vec<usize> = (0..files.len()).filter(is_new).collect();
    let done = AtomicUsize::new(0);
    for part in new.chunks(SAVED_AFTER) {
        let looks: Vec<(usize, SeenRide)> = part
            .par_iter()
            .map(|place| {
                let ride = SeenRide::look(&files[*place], stamped[*place].1.unwrap_or_default());
                progress(done.fetch_add(1, Ordering::Relaxed) + 1, new.len());
                (*place, ride)
            })
            .collect();
        for (place, ride) in looks {
            index.put(stamped[place].0.clone(), ride);
        }
        index.save();
    }
    let names: std::collections::HashSet<&str> = stamped.iter().map(|(name, _)| name.as_str()).collect();
    if index.keep(|name| names.contains(name)) {
        index.save();
    }
    stamped
        .iter()
        .filter_map(|(name, _)| index.get(name).cloned())
        .collect()
}
