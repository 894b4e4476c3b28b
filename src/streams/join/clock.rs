//! What is between the clocks of two recordings: by what it is found, and when it is believed.

use super::fit::{Fitted, fit};
use super::series::{Series, best_offsets};
use crate::recording::ExtraChannel;
use crate::streams::{SpeedSource, Streams, position};

/// The clock of another unit against that of the recording it was joined to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnitClock {
    /// Its clock less that of the recording, at `middle_s` of the latter.
    pub offset_s: f64,
    pub standard_uncertainty_s: f64,
    /// What it gains in an hour.
    pub drift_s_per_h: f64,
    pub drift_standard_uncertainty_s_per_h: f64,
    pub middle_s: f64,
    pub found_by: FoundBy,
}

impl UnitClock {
    /// What the other clock showed when the recording's showed `time_s`.
    pub fn other_s(&self, time_s: f64) -> f64 {
        time_s + self.offset_s + self.drift_s_per_h * (time_s - self.middle_s) / 3600.0
    }

    /// What the recording's clock showed when the other showed `other_s`.
    pub fn own_s(&self, other_s: f64) -> f64 {
        let per_s = self.drift_s_per_h / 3600.0;
        (other_s - self.offset_s + per_s * self.middle_s) / (1.0 + per_s)
    }
}

/// How a clock is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FoundBy {
    Power,
    Speed,
    Altitude,
    /// Air speed against the speed over the ground.
    AirSpeed,
    /// Taken as right: nothing in the recordings tells.
    TakenAsRight,
    /// `test.toml` gives it.
    Given,
}

impl FoundBy {
    pub fn words(self) -> &'static str {
        match self {
            FoundBy::Power => "found by power against power",
            FoundBy::Speed => "found by speed against speed",
            FoundBy::Altitude => "found by altitude against altitude",
            FoundBy::AirSpeed => "found by air speed against speed over the ground",
            FoundBy::TakenAsRight => "taken as right, since nothing in them tells",
            FoundBy::Given => "as test.toml gives it",
        }
    }
}

/// Why two recordings are not one ride, in words that follow "because".
pub(super) type NotOne = String;

/// When a match is believed.
struct Limits {
    found_by: FoundBy,
    unit: &'static str,
    least_correlation: f64,
    largest_off: f64,
    /// Delay of filters within the units, which no comparison of the two can see. [s]
    filters_s: f64,
    /// Means over so many seconds are compared.
    smoothed_s: usize,
}

/// Receivers filter: speed by positions came 0.5 s early to 0.5 s late against the wheel, on 14 real rides that were
/// split over two recordings. Two of one kind do alike.
const FILTERED_S: f64 = 0.5;
const COUNTED_S: f64 = 0.1;
/// Of one ride, a wheel and a receiver differ by much less in the median second; 24 pairs of real rides of other days
/// and riders by 0.5 to 1.2 m/s at their best offset.
const LARGEST_SPEED_OFF_M_S: f64 = 0.3;
/// Farther apart than this in the median, two units did not sit on one bicycle.
const FARTHEST_APART_M: f64 = 25.0;
/// An offset less sure than this is none. [s]
const LEAST_SURE_S: f64 = 0.5;
/// Unexplained share of the next best answer, over that of the best: below it, it could be either.
const CLEARLY_BETTER: f64 = 1.5;

/// One meter heard by two units, or two meters on one bicycle.
const POWER: Limits = Limits {
    found_by: FoundBy::Power,
    unit: "W",
    least_correlation: 0.9,
    largest_off: 15.0,
    filters_s: COUNTED_S,
    smoothed_s: 5,
};
/// Barometers follow a second or two late.
const ALTITUDE: Limits = Limits {
    found_by: FoundBy::Altitude,
    unit: "m",
    least_correlation: 0.95,
    largest_off: 2.0,
    filters_s: 1.0,
    smoothed_s: 5,
};
/// Gusts are part of one and not of the other.
const AIR_SPEED: Limits = Limits {
    found_by: FoundBy::AirSpeed,
    unit: "m/s",
    least_correlation: 0.7,
    largest_off: 1.5,
    filters_s: FILTERED_S,
    smoothed_s: 5,
};

fn of_speeds(sources: [SpeedSource; 2]) -> Limits {
    let [one_counted, other_counted] = sources.map(|source| source == SpeedSource::WheelSensor);
    let alike = one_counted == other_counted;
    Limits {
        found_by: FoundBy::Speed,
        unit: "m/s",
        least_correlation: 0.9,
        largest_off: LARGEST_SPEED_OFF_M_S,
        filters_s: if alike { COUNTED_S } else { FILTERED_S },
        // Speed by positions is a slope over 9 s.
        smoothed_s: if sources.contains(&SpeedSource::Positions) {
            9
        } else {
            5
        },
    }
}

/// What is between the clocks, by the best evidence that both have.
///
/// # Errors
/// Why they are not one ride, or why it cannot be told.
pub(super) fn between(base: &Streams, donor: &Streams, air_speed: Option<&str>) -> Result<UnitClock, NotOne> {
    let has_speed = |s: &Streams| s.speed_source != SpeedSource::None;
    if base.has_power() && donor.has_power() {
        return found(base, donor, &base.power_w, &donor.power_w, &[], &POWER);
    }
    if has_speed(base) && has_speed(donor) {
        let limits = of_speeds([base.speed_source, donor.speed_source]);
        return found(base, donor, &base.speed_m_s, &donor.speed_m_s, &[], &limits);
    }
    if base.has_altitude() && donor.has_altitude() {
        return found(base, donor, &base.altitude_m, &donor.altitude_m, &[], &ALTITUDE);
    }
    if let Some(air_m_s) = air_speed_of(donor, air_speed).filter(|_| has_speed(base)) {
        return found(
            base,
            donor,
            &base.speed_m_s,
            &air_m_s,
            &headings(base),
            &AIR_SPEED,
        );
    }
    Err("they have nothing in common by which their clocks could be compared".to_string())
}

/// The channel of the air speed that was asked for, in its own unit.
pub(super) fn air_speed_of(s: &Streams, name: Option<&str>) -> Option<Vec<f64>> {
    let channel = ExtraChannel::find(&s.extra, name?)?;
    let mut values: Vec<f64> = channel.values.iter().map(|v| v.unwrap_or(f64::NAN)).collect();
    values.resize(s.time_s.len(), f64::NAN);
    Some(values)
}

fn found(
    base: &Streams,
    donor: &Streams,
    base_channel: &[f64],
    donor_channel: &[f64],
    extras: &[Series],
    limits: &Limits,
) -> Result<UnitClock, NotOne> {
    let (own, other) = (Series::of(base, base_channel), Series::of(donor, donor_channel));
    let unlike = || {
        format!(
            "their {} is not alike at any offset of the clocks",
            quantity(limits.found_by)
        )
    };
    let (best, next) = best_offsets(&own, &other).ok_or("they share too little time")?;
    let fitted = fit(&own, &other, extras, best.offset_s, limits.smoothed_s).ok_or_else(unlike)?;
    believed(&fitted, limits)?;
    let unexplained = |correlation: f64| 1.0 - correlation.clamp(0.0, 0.999_999).powi(2);
    if next.is_some_and(|n| unexplained(n.correlation) < CLEARLY_BETTER * unexplained(best.correlation)) {
        return Err(format!(
            "more than one offset of the clocks makes their {} alike",
            quantity(limits.found_by)
        ));
    }
    let clock = UnitClock {
        offset_s: fitted.offset_s,
        standard_uncertainty_s: fitted.offset_standard_uncertainty_s.hypot(limits.filters_s),
        drift_s_per_h: fitted.drift_s_per_h,
        drift_standard_uncertainty_s_per_h: fitted.drift_standard_uncertainty_s_per_h,
        middle_s: fitted.middle_s,
        found_by: limits.found_by,
    };
    match apart_m(base, donor, &clock) {
        Some(apart) if apart > FARTHEST_APART_M => Err(format!(
            "they are {apart:.0} m apart at the offset of the clocks that makes their {} alike",
            quantity(limits.found_by)
        )),
        _ => Ok(clock),
    }
}

fn quantity(found_by: FoundBy) -> &'static str {
    match found_by {
        FoundBy::Power => "power",
        FoundBy::Altitude => "altitude",
        _ => "speed",
    }
}

fn believed(fitted: &Fitted, limits: &Limits) -> Result<(), NotOne> {
    let quantity = quantity(limits.found_by);
    if fitted.median_off > limits.largest_off || fitted.correlation < limits.least_correlation {
        return Err(format!(
            "their {quantity} is {:.1} {} apart in the median at the best offset of the clocks (correlation {:.2})",
            fitted.median_off, limits.unit, fitted.correlation
        ));
    }
    if fitted.offset_standard_uncertainty_s > LEAST_SURE_S {
        return Err(format!(
            "their {quantity} tells the offset of the clocks only to ± {:.1} s",
            fitted.offset_standard_uncertainty_s
        ));
    }
    Ok(())
}

/// Sine and cosine of the direction of travel, second by second: the wind along the road goes with them.
fn headings(base: &Streams) -> [Series; 2] {
    let reach = 3;
    let heading = |i: usize, along: fn((f64, f64)) -> f64| {
        let (a, b) = (i.checked_sub(reach)?, i + reach);
        let (east, north) = position::offset_m(base, a, b)?;
        let length = east.hypot(north);
        (length > 1.0).then(|| along((east / length, north / length)))
    };
    // Without positions the wind stays with the noise.
    let series = |along: fn((f64, f64)) -> f64| {
        let values = (0..base.time_s.len()).map(|i| heading(i, along).unwrap_or(0.0));
        Series::of(base, &values.collect::<Vec<f64>>())
    };
    [series(|(east, _)| east), series(|(_, north)| north)]
}

/// Median distance between the two, where both have positions. [m]
fn apart_m(base: &Streams, donor: &Streams, clock: &UnitClock) -> Option<f64> {
    let mut apart: Vec<f64> = (0..base.time_s.len())
        .step_by(5)
        .filter_map(|i| {
            let at_s = clock.other_s(base.time_s[i]);
            let latitude = donor.value_at(&donor.latitude_deg, at_s)?;
            let longitude = donor.value_at(&donor.longitude_deg, at_s)?;
            position::distance_m(base, i, latitude, longitude)
        })
        .collect();
    apart.sort_by(f64::total_cmp);
    apart.get(apart.len() / 2).copied()
}
