//! What one look at a recording leaves: when it was, and which cells of the ground it came through.

use crate::error::Fault;
use crate::recording;
use std::collections::HashSet;
use std::path::Path;
use std::time::UNIX_EPOCH;

/// Side of a cell in latitude and in longitude: 222 m north, less east. A road through it is known well enough to say
/// whether two rides may have shared it.
const CELL_DEG: f64 = 0.002;
/// Cells round a circle of latitude.
const ROUND: u64 = 180_000;

/// By which a changed file is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Stamp {
    pub bytes: u64,
    /// Since 1970; of the file's last change.
    pub changed_ns: u64,
}

impl Stamp {
    /// `None` where the file cannot be asked.
    pub fn of(file: &Path) -> Option<Stamp> {
        let meta = file.metadata().ok()?;
        let changed = meta.modified().ok()?.duration_since(UNIX_EPOCH).ok()?;
        Some(Stamp {
            bytes: meta.len(),
            changed_ns: u64::try_from(changed.as_nanos()).ok()?,
        })
    }
}

#[derive(Debug, Clone, PartialEq)]
pub(super) struct SeenRide {
    pub stamp: Stamp,
    /// Unix seconds of the first sample; 0 of a file that holds none.
    pub start_s: f64,
    /// Each cell once, in the order in which the ride came into it; none where there are no positions.
    pub cells: Vec<u64>,
    /// What is wrong with the file: place, what, next step.
    pub faults: Vec<(Option<String>, String, String)>,
}

impl SeenRide {
    pub fn look(file: &Path, stamp: Stamp) -> SeenRide {
        let (samples, faults) = match recording::look(file) {
            Ok(looked) => (looked.samples, looked.faults),
            Err(error) => (Vec::new(), error.faults),
        };
        let mut known = HashSet::new();
        let cells = samples
            .iter()
            .filter_map(|sample| Some(cell(sample.latitude_deg?, sample.longitude_deg?)));
        SeenRide {
            stamp,
            start_s: samples.first().map_or(0.0, |sample| sample.time_s),
            cells: cells.filter(|cell| known.insert(*cell)).collect(),
            faults: faults
                .into_iter()
                .map(|fault| (fault.place, fault.what, fault.next_step))
                .collect(),
        }
    }
}

fn cell(latitude_deg: f64, longitude_deg: f64) -> u64 {
    let north = ((latitude_deg + 90.0) / CELL_DEG) as u64;
    let east = ((longitude_deg + 180.0) / CELL_DEG) as u64;
    north * ROUND + east.min(ROUND - 1)
}

/// As the errors of the program have them.
pub(super) fn faults_of(ride: &SeenRide, file: &Path) -> Vec<Fault> {
    let faults = ride.faults.iter().map(|(place, what, next_step)| Fault {
        file: Some(file.to_path_buf()),
        place: place.clone(),
        what: what.clone(),
        next_step: next_step.clone(),
    });
    faults.collect()
}
