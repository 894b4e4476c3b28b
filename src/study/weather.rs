//! The air over a folder's recordings.

use super::Surveyed;
use crate::air::{Air, RideSite, by_unit, settle};
use crate::error::Result;
use crate::streams::Streams;
use crate::treatment::Treatment;
use crate::warning::Warning;
use std::path::Path;

/// Slower than this the unit is warmed by the sun more than cooled by the air (judgement).
const RIDING_M_S: f64 = 3.0;
/// No test day is longer.
const ONE_DAY_S: f64 = 12.0 * 3600.0;
/// A unit that rested for so long may have been indoors.
const SAME_RIDE_S: f64 = 1800.0;

/// One air for the day where readings were typed, else one for each recording.
pub(super) fn airs(surveyed: &Surveyed, test_toml: &Path) -> Result<(Vec<Air>, Vec<Warning>)> {
    let readings = &surveyed.test_day.air;
    let whole: Vec<&Streams> = surveyed.streams.iter().collect();
    let day = site(surveyed, &whole);
    let left = surveyed.test_day.as_recorded.leaves(Treatment::WarmingAir);
    let settled = |site: RideSite| -> Result<(Air, Vec<Warning>)> {
        let unit_warming = site.unit_warming.filter(|_| !left);
        let (mut air, warnings) = settle(test_toml, readings, &RideSite { unit_warming, ..site })?;
        if left {
            air.warming.standard_uncertainty_k_per_h = 0.0;
        }
        Ok((air, warnings))
    };
    // Recordings of one day have one air, as far as a thermometer hangs them together.
    let one_day = day.unit_warming.is_some() && day.end_s - day.start_s < ONE_DAY_S && !left;
    if !readings.is_empty() || one_day {
        let (air, warnings) = settled(day)?;
        return Ok((vec![air; surveyed.streams.len()], warnings));
    }
    let mut airs = Vec::new();
    let mut warnings: Vec<Warning> = Vec::new();
    for (index, s) in surveyed.streams.iter().enumerate() {
        let (air, own) = settled(site(surveyed, &[s]))?;
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
        unit_warming: by_unit(&rides(streams)),
    }
}

/// What the thermometer showed, one list for each time that the unit was out.
fn rides(streams: &[&Streams]) -> Vec<Vec<(f64, f64)>> {
    let mut rides: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut before_s = f64::NEG_INFINITY;
    for s in streams {
        match rides.last_mut() {
            Some(ride) if s.start_s() - before_s < SAME_RIDE_S => ride.extend(while_riding(s)),
            _ => rides.push(while_riding(s)),
        }
        before_s = s.end_s();
    }
    rides
}

/// What the unit's thermometer showed while it was cooled by the ride.
fn while_riding(s: &Streams) -> Vec<(f64, f64)> {
    (0..s.time_s.len())
        .filter(|&i| s.temperature_c[i].is_finite() && s.speed_m_s[i] > RIDING_M_S)
        .map(|i| (s.time_s[i], s.temperature_c[i]))
        .collect()
}
