//! Files of old rides → the trails of all of them. One ride after the other is let go once its trail is known.

use super::gather::Progress;
use crate::course::roads::{Trail, trails};
use crate::error::{Error, Fault, Result};
use crate::recording;
use crate::streams::align;
use crate::warning::Warning;
use rayon::prelude::*;
use std::path::PathBuf;

/// Of the time of a ride; more of it within another ride, and it is that ride once more.
const SAME_RIDE: f64 = 0.5;

/// Rides as far as roads go.
#[derive(Debug, Clone, PartialEq)]
pub struct Ridden {
    /// In order of time.
    pub trails: Vec<Trail>,
    /// Recordings that were used.
    pub recordings: usize,
    /// Of the latest recording that says so.
    pub rider_mass_kg: Option<f64>,
    /// Files that could not be read, or only in part.
    pub faults: Vec<Fault>,
    pub warnings: Vec<Warning>,
}

/// What is kept of one file.
struct Kept {
    name: String,
    start_s: f64,
    end_s: f64,
    rider_mass_kg: Option<f64>,
    trails: Vec<Trail>,
}

/// One bad file does not cost the others.
///
/// # Errors
/// None of them has positions.
pub fn ridden(files: &[PathBuf], progress: Progress) -> Result<Ridden> {
    let done = std::sync::atomic::AtomicUsize::new(0);
    let read: Vec<(Result<Kept>, Vec<Fault>)> = files
        .par_iter()
        .enumerate()
        .map(|(index, file)| {
            let mut damage = Vec::new();
            let kept = recording::read(file).and_then(|recording| {
                damage = recording.faults.clone();
                kept(index, recording)
            });
            let count = done.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1;
            progress(count, files.len());
            (kept, damage)
        })
        .collect();
    let (mut faults, mut usable) = (Vec::new(), Vec::new());
    for (kept, damage) in read {
        faults.extend(damage);
        match kept {
            Ok(kept) => usable.push(kept),
            Err(error) => faults.extend(error.faults),
        }
    }
    if usable.is_empty() {
        return Err(Error { faults });
    }
    usable.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    let rider_mass_kg = usable.iter().rev().find_map(|kept| kept.rider_mass_kg);
    let (mut once, mut warnings): (Vec<Kept>, Vec<Warning>) = (Vec::new(), Vec::new());
    for kept in usable {
        let again = once
            .iter()
            .rev()
            .take(4)
            .find(|known| known.end_s - kept.start_s > SAME_RIDE * (kept.end_s - kept.start_s));
        match again {
            Some(known) => warnings.push(Warning::new(
                "same ride twice",
                format!(
                    "{} was recorded while {} was, and was left out",
                    kept.name, known.name
                ),
                "Nothing need be done: a ride counts once.",
            )),
            None => once.push(kept),
        }
    }
    Ok(Ridden {
        recordings: once.len(),
        trails: once.into_iter().flat_map(|kept| kept.trails).collect(),
        rider_mass_kg,
        faults,
        warnings,
    })
}

fn kept(index: usize, recording: recording::Recording) -> Result<Kept> {
    let s = align(recording)?;
    let trails = trails(index, &s);
    if trails.is_empty() {
        return Err(Fault::new(
            "the recording has no positions along 300 m of road, so it shows no road",
            "Nothing need be done, if it is an indoor ride.",
        )
        .in_file(&s.file)
        .into());
    }
    Ok(Kept {
        name: s.name(),
        start_s: s.start_s(),
        end_s: s.end_s(),
        rider_mass_kg: s.rider_mass_kg,
        trails,
    })
}
