//! A second unit on the same ride: what it records, by a clock of its own.

use super::path::Path;
use super::plan::{Channels, DayPlan, Format, SecondUnit};
use super::ride::Trace;
use super::unit::{AIR_SPEED, recording};
use super::{Purpose, cover, random, sensors};
use crate::recording::{ExtraChannel, Recording, Sample};

/// A clock that differs from the true time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Clock {
    /// Unix seconds at which it is off by `offset_s`.
    pub at_s: f64,
    pub offset_s: f64,
    pub drift_s_per_h: f64,
}

impl Clock {
    pub const TRUE: Clock = Clock {
        at_s: 0.0,
        offset_s: 0.0,
        drift_s_per_h: 0.0,
    };

    /// What it shows at a true time.
    pub fn shown_s(&self, true_s: f64) -> f64 {
        if *self == Clock::TRUE {
            return true_s;
        }
        true_s + self.offset_s + self.drift_s_per_h / 3600.0 * (true_s - self.at_s)
    }

    pub fn true_s(&self, shown_s: f64) -> f64 {
        if *self == Clock::TRUE {
            return shown_s;
        }
        self.at_s + (shown_s - self.offset_s - self.at_s) / (1.0 + self.drift_s_per_h / 3600.0)
    }
}

/// The recording of the second unit, whose timer runs all the time.
pub(super) fn record(plan: &DayPlan, path: &Path, trace: &Trace) -> Option<Recording> {
    let unit = plan.second_unit.as_ref()?;
    let own = DayPlan {
        sensors: unit.sensors.clone(),
        format: unit.format,
        ..plan.clone()
    };
    let clock = Clock {
        at_s: trace.start_s,
        offset_s: unit.clock_offset_s,
        drift_s_per_h: unit.clock_drift_s_per_h,
    };
    let mut rng = random(plan.seed, Purpose::SecondUnit);
    let mut samples = sensors::samples(&own, path, trace, &[], &[], &clock, &mut rng);
    cover::spoil(&own, path, trace, &mut samples);
    let mut samples: Vec<Sample> = samples.into_iter().map(|(_, sample)| sample).collect();
    let air = sensors::air_speeds(&own, trace, &samples, &mut rng);
    for sample in &mut samples {
        let shown_s = clock.shown_s(sample.time_s);
        // The stamps are round on its own clock.
        sample.time_s = (shown_s * 1000.0).round() / 1000.0;
        keep(sample, &unit.has);
    }
    let mut recording = recording(&own, file_name(unit), samples, &[], &[]);
    recording.wheel_sensor = recording.wheel_sensor.filter(|_| unit.has.speed);
    recording.extra.extend(air.map(|values| ExtraChannel {
        name: AIR_SPEED.to_string(),
        units: "m/s".to_string(),
        values,
    }));
    Some(recording)
}

fn file_name(unit: &SecondUnit) -> std::path::PathBuf {
    let ending = match unit.format {
        Format::Fit => "fit",
        Format::Gpx => "gpx",
        Format::Csv => "csv",
    };
    format!("second.{ending}").into()
}

/// Takes out what a unit has no sensor for.
pub(super) fn keep(sample: &mut Sample, has: &Channels) {
    if !has.power {
        (sample.power_w, sample.cadence_rpm) = (None, None);
    }
    if !has.speed {
        (sample.speed_m_s, sample.distance_m) = (None, None);
    }
    if !has.positions {
        (sample.latitude_deg, sample.longitude_deg) = (None, None);
    }
    if !has.altitude {
        sample.altitude_m = None;
    }
    if !has.temperature {
        sample.temperature_c = None;
    }
}
