//! A file → samples as recorded. Devices' names and units end here: one name per quantity afterwards.

#[cfg(test)]
mod any_bytes;
mod bounds;
mod csv_file;
mod extra;
mod fields;
mod fit_file;
mod fit_part;
mod fit_stream;
#[cfg(test)]
mod fit_writer;
mod gpx_file;
mod guard;
mod gz;
mod lean_fit;
mod route;
mod rows;
mod sniff;
mod tcx_file;
mod text;
mod xml;

pub use route::{RoutePoint, read_route};

pub use extra::{SpeedUnit, own_quantity};
pub use sniff::is_recording_name;

use crate::error::{Fault, Result};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Reads one recording: FIT, GPX, TCX or CSV, plain or gzipped.
///
/// The content decides what the file is; its name only serves the message when the content is none of these.
/// A damaged file yields what is whole, with the damage in `Recording::faults`.
pub fn read(path: &Path) -> Result<Recording> {
    let _alone = alone_if_large(path);
    read_unpacked(path, unpacked(path, gz::read_bounded(path)?)?)
}

/// Several large files at once would add up.
fn alone_if_large(path: &Path) -> Option<MutexGuard<'static, ()>> {
    static ONE_LARGE: Mutex<()> = Mutex::new(());
    let size = std::fs::metadata(path).map_or(0, |seen| seen.len());
    (size >= bounds::LARGE_BYTES).then(|| ONE_LARGE.lock().unwrap_or_else(PoisonError::into_inner))
}

/// As `read`, from bytes already in memory. `file` is used for its name alone.
pub fn read_bytes(file: &Path, bytes: &[u8]) -> Result<Recording> {
    read_unpacked(file, unpacked(file, bytes.to_vec())?)
}

fn unpacked(file: &Path, bytes: Vec<u8>) -> Result<gz::Unpacked> {
    gz::unpacked(bytes).map_err(|fault| fault.in_file(file).into())
}

/// The bytes are let go as early as can be: of a large file nothing is held twice.
fn read_unpacked(file: &Path, unpacked: gz::Unpacked) -> Result<Recording> {
    let gz::Unpacked {
        bytes: content,
        fault: cut,
    } = unpacked;
    let format = sniff::format_of(file, &content)?;
    let read = match format {
        Format::Fit => fit_file::read(file, content),
        Format::Gpx => gpx_file::read(file, content),
        Format::Tcx => tcx_file::read(file, content),
        Format::Csv => csv_file::read(file, content),
    };
    match read {
        Ok(mut recording) => {
            recording.faults.splice(0..0, cut);
            for fault in &mut recording.faults {
                fault.file.get_or_insert_with(|| file.to_path_buf());
            }
            Ok(recording)
        }
        Err(mut error) => {
            error.faults.splice(0..0, cut);
            for fault in &mut error.faults {
                fault.file.get_or_insert_with(|| file.to_path_buf());
            }
            Err(error)
        }
    }
}

/// As [`read`], for where and when alone: time, position, altitude, distance, speed and power of each sample, and the
/// damage. Of a sound FIT file nothing else is decoded, which takes a small part of the time.
///
/// # Errors
/// As [`read`].
pub fn look(path: &Path) -> Result<Looked> {
    let _alone = alone_if_large(path);
    let unpacked = unpacked(path, gz::read_bounded(path)?)?;
    if unpacked.fault.is_none()
        && let Some(samples) = lean_fit::samples(&unpacked.bytes)
    {
        return Ok(Looked {
            samples,
            faults: Vec::new(),
        });
    }
    read_unpacked(path, unpacked).map(|recording| Looked {
        samples: recording.samples,
        faults: recording.faults,
    })
}

/// What [`look`] sees of one file.
#[derive(Debug, Clone, PartialEq)]
pub struct Looked {
    pub samples: Vec<Sample>,
    /// Damage; the samples are what is whole.
    pub faults: Vec<Fault>,
}

/// What one file holds, in the order recorded, with nothing repaired and nothing filled in.
#[derive(Debug, Clone, PartialEq)]
pub struct Recording {
    pub file: PathBuf,
    pub format: Format,
    /// As recorded: time stamps may repeat or go backward; `streams` deals with it and says so.
    pub samples: Vec<Sample>,
    /// Channels with no name of ours (FIT developer fields, unknown CSV columns), each as long as `samples`.
    pub extra: Vec<ExtraChannel>,
    /// Times of the lap button (unix seconds), not of automatic ends of session.
    pub lap_marks_s: Vec<f64>,
    /// Timer stops and starts, and breaks between track segments.
    pub timer_events: Vec<TimerEvent>,
    pub sessions: Vec<Session>,
    /// Whether a wheel sensor was paired; `None` where the file cannot tell.
    pub wheel_sensor: Option<bool>,
    /// Maker and product as the file says it, for display only.
    pub device: Option<String>,
    /// Rider's mass from the user profile, where there is one.
    pub rider_mass_kg: Option<f64>,
    /// The file says that one leg did all of the power: a meter in that leg alone, doubled.
    pub one_leg_power: bool,
    /// Damage found while reading; the samples are what is whole.
    pub faults: Vec<Fault>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    Fit,
    Gpx,
    Tcx,
    Csv,
}

/// One row. `None`: the file has no valid value there.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sample {
    /// Unix seconds, UTC.
    pub time_s: f64,
    pub latitude_deg: Option<f64>,
    pub longitude_deg: Option<f64>,
    pub altitude_m: Option<f64>,
    /// Distance since the start as the unit counts it.
    pub distance_m: Option<f64>,
    pub speed_m_s: Option<f64>,
    pub power_w: Option<f64>,
    pub cadence_rpm: Option<f64>,
    pub heart_rate_bpm: Option<f64>,
    pub temperature_c: Option<f64>,
    pub pressure_pa: Option<f64>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct ExtraChannel {
    pub name: String,
    pub units: String,
    pub values: Vec<Option<f64>>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimerEvent {
    pub time_s: f64,
    /// True: recording (re)starts here. False: it stops.
    pub running: bool,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    pub start_s: f64,
    pub end_s: f64,
    pub sport: Option<String>,
}

impl Recording {
    /// More laps, stops or sessions than are kept.
    fn marks_full(&self) -> bool {
        let counts = [
            self.lap_marks_s.len(),
            self.timer_events.len(),
            self.sessions.len(),
        ];
        counts.into_iter().any(|count| count > bounds::MAX_MARKS)
    }

    /// A recording of this file with nothing in it yet.
    pub(crate) fn empty(file: &Path, format: Format) -> Self {
        Recording {
            file: file.to_path_buf(),
            format,
            samples: Vec::new(),
            extra: Vec::new(),
            lap_marks_s: Vec::new(),
            timer_events: Vec::new(),
            sessions: Vec::new(),
            wheel_sensor: None,
            device: None,
            rider_mass_kg: None,
            one_leg_power: false,
            faults: Vec::new(),
        }
    }
}
