//! The air over a folder's recordings.

use super::Surveyed;
use crate::air::{Air, RideSite, settle};
use crate::error::Result;
use crate::streams::Streams;
use crate::warning::Warning;
use std::path::Path;

/// One air for the day where readings were typed, else one for each recording.
pub(super) fn airs(surveyed: &Surveyed, test_toml: &Path) -> Result<(Vec<Air>, Vec<Warning>)> {
    let readings = &surveyed.test_day.air;
    if !readings.is_empty() {
        let all: Vec<&Streams> = surveyed.streams.iter().collect();
        let (air, warnings) = settle(test_toml, readings, &site(surveyed, &all))?;
        return Ok((vec![air; surveyed.streams.len()], warnings));
    }
    let mut airs = Vec::new();
    let mut warnings: Vec<Warning> = Vec::new();
    for (index, s) in surveyed.streams.iter().enumerate() {
        let (air, own) = settle(test_toml, readings, &site(surveyed, &[s]))?;
        airs.push(air);
        let ridden = surveyed.ridden.passes.iter().any(|p| p.recording == index);
        // The same remark for each of many recordings tells nothing new.
        for warning in own.into_iter().filter(|_| ridden) {
            if !warnings.iter().any(|w| w.kind == warning.kind) {
                warnings.push(warning);
            }
        }
    }
    Ok((airs, warnings))
}

fn site(surveyed: &Surveyed, streams: &[&Streams]) -> RideSite {
    let gather = |channel: fn(&Streams) -> &[f64]| {
        let mut values: Vec<f64> = streams
            .iter()
            .flat_map(|s| channel(s).iter().copied())
            .filter(|v| v.is_finite())
            .collect();
        values.sort_by(f64::total_cmp);
        values.get(values.len() / 2).copied()
    };
    RideSite {
        start_s: streams.iter().map(|s| s.start_s()).fold(f64::INFINITY, f64::min),
        end_s: streams
            .iter()
            .map(|s| s.end_s())
            .fold(f64::NEG_INFINITY, f64::max),
        latitude_deg: surveyed.ridden.course.line.start_deg()[0],
        height_m: gather(|s| &s.altitude_m),
        unit_temperature_c: gather(|s| &s.temperature_c),
        unit_pressure_pa: gather(|s| &s.pressure_pa),
    }
}
