//! Made recordings for the tests of this room.

use super::{Repair, Streams, align};
use crate::recording::{Format, Recording, Sample};
use geo::{Destination, Geodesic, Point};
use std::path::Path;

pub(super) const START_S: f64 = 1_767_600_000.0;

/// A sound ride at 1 s: speed and power vary, the road climbs a little, the cranks turn.
/// Speed, distance and positions agree; positions run along a geodesic to the north-east.
pub(super) fn ride(seconds: usize) -> Recording {
    let mut distance_m = 0.0;
    let mut last = speed(0);
    let samples = (0..seconds).map(|i| {
        distance_m += 0.5 * (speed(i) + last);
        last = speed(i);
        let place = Geodesic.destination(Point::new(170.5, -43.9), 40.0, distance_m);
        Sample {
            time_s: START_S + i as f64,
            latitude_deg: Some(place.y()),
            longitude_deg: Some(place.x()),
            altitude_m: Some(300.0 + 0.01 * distance_m),
            distance_m: Some(distance_m),
            speed_m_s: Some(speed(i)),
            power_w: Some(200.0 + (i * 37 % 60) as f64),
            cadence_rpm: Some(90.0),
            temperature_c: Some(18.0),
            ..Sample::default()
        }
    });
    let samples = samples.collect();
    recording("ride.fit", samples)
}

/// Speed of `ride` at second `i`: between 8 and 10 m/s. [m/s]
pub(super) fn speed(i: usize) -> f64 {
    9.0 + (i as f64 / 20.0).sin()
}

pub(super) fn recording(file: &str, samples: Vec<Sample>) -> Recording {
    Recording {
        samples,
        ..Recording::empty(Path::new(file), Format::Fit)
    }
}

/// `ride(120)` after `change`, aligned.
pub(super) fn after(change: impl FnOnce(&mut Vec<Sample>)) -> Streams {
    after_long(120, change)
}

pub(super) fn after_long(seconds: usize, change: impl FnOnce(&mut Vec<Sample>)) -> Streams {
    let mut recording = ride(seconds);
    change(&mut recording.samples);
    align(recording).expect("a ride with samples")
}

/// Indices at which a channel is NaN.
pub(super) fn missing(channel: &[f64]) -> Vec<usize> {
    (0..channel.len()).filter(|&i| channel[i].is_nan()).collect()
}

/// Kind and number of samples of each repair.
pub(super) fn kinds(repairs: &[Repair]) -> Vec<(&'static str, usize)> {
    repairs.iter().map(|r| (r.kind, r.samples)).collect()
}
