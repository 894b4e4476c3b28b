//! A folder → aligned recordings, each moment once, and the test day.

use crate::error::{Error, Fault, Result};
use crate::recording::{self, Recording, is_recording_name};
use crate::streams::{Asked, SpeedSource, Streams, align, align_leaving, join, use_once};
use crate::test_day::{self, TestDay};
use crate::treatment::AsRecorded;
use crate::warning::Warning;
use rayon::prelude::*;
use std::path::{Path, PathBuf};

/// Called after each file with (files done, files in all). From several threads.
pub type Progress<'a> = &'a (dyn Fn(usize, usize) + Sync);

#[derive(Debug, Clone, PartialEq)]
pub struct Gathered {
    pub test_day: TestDay,
    /// In order of time.
    pub streams: Vec<Streams>,
    /// Files that could not be read, or only in part.
    pub faults: Vec<Fault>,
    pub warnings: Vec<Warning>,
}

/// Reads everything in a folder. One bad file does not cost the others.
///
/// # Errors
/// The folder cannot be listed; it holds no recording; none could be used; faults of `test.toml`.
pub fn gather(folder: &Path, progress: Progress) -> Result<Gathered> {
    gather_under(folder, || test_day::read(folder), progress)
}

/// As [`gather`], with a test day that does not come from the folder.
///
/// # Errors
/// As [`gather`].
pub fn gather_under(
    folder: &Path,
    day: impl FnOnce() -> Result<TestDay>,
    progress: Progress,
) -> Result<Gathered> {
    let mut files = recordings_in(folder)?;
    let day = day();
    // The route that the day was planned on lies beside its rides and is none of them.
    let planned_road = day
        .as_ref()
        .ok()
        .and_then(|day| day.plan.as_ref()?.road.as_deref());
    if let Some(road) = planned_road.map(|name| folder.join(name)) {
        files.retain(|file| *file != road || recording::read(file).is_ok());
    }
    let as_recorded = day
        .as_ref()
        .map_or_else(|_| AsRecorded::default(), |day| day.as_recorded.clone());
    let done = std::sync::atomic::AtomicUsize::new(0);
    let read: Vec<(Result<Streams>, Vec<Fault>)> = files
        .par_iter()
        .map(|file| {
            let mut damage = Vec::new();
            let streams = recording::read(file).and_then(|recording| {
                damage = recording.faults.clone();
                align_leaving(recording, &as_recorded)
            });
            let count = done.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1;
            progress(count, files.len());
            (streams, damage)
        })
        .collect();
    if files.is_empty() {
        // What is wrong with test.toml is told all the same.
        let mut faults = day.err().map_or_else(Vec::new, |error| error.faults);
        faults.push(no_recording(folder));
        return Err(Error { faults });
    }
    gathered(day, read)
}

/// The same from recordings that are in memory already, as those of a simulated day are.
///
/// # Errors
/// None of the recordings could be used.
pub fn gather_recordings(test_day: TestDay, recordings: Vec<Recording>) -> Result<Gathered> {
    let aligned = recordings
        .into_iter()
        .map(|recording| {
            let damage = recording.faults.clone();
            (align_leaving(recording, &test_day.as_recorded), damage)
        })
        .collect();
    gathered(Ok(test_day), aligned)
}

/// Recordings, each with its damage, in order of name → each moment once, in order of time.
fn gathered(day: Result<TestDay>, recordings: Vec<(Result<Streams>, Vec<Fault>)>) -> Result<Gathered> {
    let mut faults = Vec::new();
    let mut usable = Vec::new();
    for (streams, damage) in recordings {
        faults.extend(damage);
        match streams {
            Ok(s) => usable.push(s),
            Err(error) => faults.extend(error.faults),
        }
    }
    // Both kinds of trouble at once: what is wrong with test.toml and what is wrong with the files.
    let test_day = match day {
        Ok(day) => day,
        Err(error) => {
            faults.splice(0..0, error.faults);
            return Err(Error { faults });
        }
    };
    let asked = Asked {
        air_speed: test_day.air_speed.as_ref().map(|given| given.channel.as_str()),
        clocks: &test_day.clocks,
        as_recorded: &test_day.as_recorded,
    };
    let (joined, mut warnings) = join(usable, &asked);
    let (usable, without_speed): (Vec<Streams>, Vec<Streams>) = joined
        .into_iter()
        .partition(|s| s.speed_source != SpeedSource::None);
    faults.extend(without_speed.iter().map(no_speed));
    if usable.is_empty() {
        return Err(Error { faults });
    }
    let (mut streams, once) = use_once(usable);
    warnings.extend(once);
    streams.sort_by(|a, b| a.start_s().total_cmp(&b.start_s()));
    let test_day = match streams.iter().find_map(|s| s.rider_mass_kg) {
        Some(kg) => test_day.with_rider_mass(kg),
        None => test_day,
    };
    Ok(Gathered {
        test_day,
        streams,
        faults,
        warnings,
    })
}

fn no_speed(streams: &Streams) -> Fault {
    if !streams.has_power() && !streams.extra.is_empty() {
        let names: Vec<String> = streams.extra.iter().map(|c| format!("'{}'", c.name)).collect();
        return Fault::new(
            format!("the recording has no speed of its own, only {}", names.join(", ")),
            "If one of these is the air speed of a ride in this folder, name it as channel in [air_speed] of \
             test.toml: it is then joined to the ride.",
        )
        .in_file(&streams.file);
    }
    Fault::new(
        "the recording has neither speed, distance nor positions, as an indoor ride has none",
        "Use a recording of an outdoor ride made with a speed sensor or satellite positions.",
    )
    .in_file(&streams.file)
}

/// In order of name.
pub(super) fn recordings_in(folder: &Path) -> Result<Vec<PathBuf>> {
    let unreadable = |error| unreadable(folder, &error);
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        if is_recording(&path) {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

/// Going by its name; a link that leads nowhere is told of, a pipe or a device would never end.
pub fn is_recording(path: &Path) -> bool {
    is_recording_name(path) && (path.is_file() || !path.exists())
}

/// What is said of a folder that cannot be listed.
pub fn unreadable(folder: &Path, error: &std::io::Error) -> Error {
    let (what, next) = match error.kind() {
        std::io::ErrorKind::NotFound => (
            "there is no such folder".to_string(),
            "Check the path; `stillair demo FOLDER` makes a folder to try.",
        ),
        std::io::ErrorKind::NotADirectory => (
            "this is a file, not a folder".to_string(),
            "Give the folder that holds the recordings; `stillair inspect FILE` looks at one file.",
        ),
        _ => (
            format!("the folder cannot be read ({error})"),
            "Check that the folder can be opened.",
        ),
    };
    Error::from(Fault::new(what, next).in_file(folder))
}

pub fn no_recording(folder: &Path) -> Fault {
    Fault::new(
        "the folder holds no recording",
        "Put the ride files (.fit, .gpx, .tcx or .csv, each also with .gz) into it.",
    )
    .in_file(folder)
}

/// One file on its own: what it holds, and whether a stretch of it was ridden more than once.
#[derive(Debug)]
pub struct Inspected {
    pub recording: recording::Recording,
    pub streams: Option<Streams>,
    pub surveyed: Option<super::Surveyed>,
    /// Why there is no course.
    pub why_none: Option<Error>,
}

/// # Errors
/// The file cannot be read as a recording.
pub fn inspect(file: &Path) -> Result<Inspected> {
    let recording = recording::read(file)?;
    let streams = match align(&recording) {
        Ok(streams) => streams,
        Err(error) => {
            return Ok(Inspected {
                recording,
                streams: None,
                surveyed: None,
                why_none: Some(error),
            });
        }
    };
    let all = vec![streams];
    let (surveyed, why_none) = match crate::course::survey(&all, None, file) {
        Ok(ridden) => (
            Some(super::Surveyed {
                folder: file.to_path_buf(),
                test_day: test_day::without_file(),
                streams: all.clone(),
                ridden,
                faults: Vec::new(),
                warnings: Vec::new(),
            }),
            None,
        ),
        Err(error) => (None, Some(error)),
    };
    Ok(Inspected {
        recording,
        streams: all.into_iter().next(),
        surveyed,
        why_none,
    })
}
