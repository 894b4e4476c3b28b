//! Units whose recordings were joined to a ride.

use super::with_uncertainty;
use crate::study::Surveyed;
use serde_json::{Value, json};

pub(super) fn joined(surveyed: &Surveyed) -> Vec<Value> {
    let mut all = Vec::new();
    for s in &surveyed.streams {
        for unit in &s.joined {
            let clock = &unit.clock;
            let value = json!({
                "file": unit.file.file_name().map(|name| name.to_string_lossy()),
                "into": s.name(),
                "channels": unit.given.iter().map(|given| given.words()).collect::<Vec<_>>(),
                "clock_offset_s": with_uncertainty(clock.offset_s, clock.standard_uncertainty_s),
                "clock_drift_s_per_h":
                    with_uncertainty(clock.drift_s_per_h, clock.drift_standard_uncertainty_s_per_h),
                "clock_known": clock.found_by.words(),
            });
            // Pieces of one ride tell the same.
            if !all.contains(&value) {
                all.push(value);
            }
        }
    }
    all
}
