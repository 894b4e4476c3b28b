//! Which channel comes from which unit, and its values at the samples of the one with power.

use super::clock::UnitClock;
use crate::recording::ExtraChannel;
use crate::streams::{Gap, SpeedSource, Streams};

/// What one unit can give to the recording of another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Given {
    Speed(SpeedSource),
    Positions,
    Altitude,
    Pressure,
    Temperature,
    AirSpeed,
}

impl Given {
    pub fn words(self) -> &'static str {
        match self {
            Given::Speed(SpeedSource::WheelSensor) => "speed (wheel sensor)",
            Given::Speed(SpeedSource::Positions) => "speed (by positions)",
            Given::Speed(_) => "speed",
            Given::Positions => "positions",
            Given::Altitude => "altitude",
            Given::Pressure => "pressure",
            Given::Temperature => "temperature",
            Given::AirSpeed => "air speed",
        }
    }
}

/// From this share of its samples on a recording counts as having a channel.
const HAS: f64 = 0.5;
/// Air speed is not carried across longer gaps: gusts do not last longer. [s]
const AIR_SPEED_BRIDGE_S: f64 = 3.0;
/// A unit with shorter intervals than this share of the base's is averaged, not picked from.
const FASTER: f64 = 0.6;

fn has(channel: &[f64]) -> bool {
    let known = channel.iter().filter(|value| value.is_finite()).count();
    known as f64 >= HAS * channel.len().max(1) as f64 && known >= 2
}

/// How directly a speed is measured.
pub(super) fn speed_rank(source: SpeedSource) -> u8 {
    match source {
        SpeedSource::WheelSensor => 4,
        SpeedSource::Unit => 3,
        SpeedSource::Distance => 2,
        SpeedSource::Positions => 1,
        SpeedSource::None => 0,
    }
}

/// What the donor has and the base lacks, or has from a worse source.
pub(super) fn offers(base: &Streams, donor: &Streams, air_speed: Option<&str>) -> Vec<Given> {
    let mut offers = Vec::new();
    let mut offer = |given: Given, better: bool| {
        if better {
            offers.push(given);
        }
    };
    let ranks = [base, donor].map(|s| speed_rank(s.speed_source));
    offer(Given::Speed(donor.speed_source), ranks[1] > ranks[0]);
    let lacks = |channel: fn(&Streams) -> &Vec<f64>| !has(channel(base)) && has(channel(donor));
    offer(Given::Positions, lacks(|s| &s.latitude_deg));
    // A barometer shows itself by the pressure it records.
    let barometer = lacks(|s| &s.pressure_pa) && has(&donor.altitude_m);
    offer(Given::Altitude, lacks(|s| &s.altitude_m) || barometer);
    offer(Given::Pressure, lacks(|s| &s.pressure_pa));
    offer(Given::Temperature, lacks(|s| &s.temperature_c));
    let named = |s: &Streams| air_speed.is_some_and(|name| ExtraChannel::find(&s.extra, name).is_some());
    offer(Given::AirSpeed, named(donor) && !named(base));
    offers
}

/// Puts the channels into the base. Where the donor has no value the base keeps its own, and nothing is carried
/// across gaps.
pub(super) fn take(
    base: &mut Streams,
    donor: &Streams,
    clock: &UnitClock,
    offers: &[Given],
    air_speed: Option<&str>,
) {
    let other_s: Vec<f64> = base.time_s.iter().map(|&time_s| clock.other_s(time_s)).collect();
    let reach_s = if donor.nominal_interval_s < FASTER * base.nominal_interval_s {
        0.5 * base.nominal_interval_s
    } else {
        0.0
    };
    let value = |channel: &[f64], at_s: f64| {
        mean_about(donor, channel, at_s, reach_s).or_else(|| donor.value_at(channel, at_s))
    };
    let put = |into: &mut Vec<f64>, channel: &[f64]| {
        for (own, &at_s) in into.iter_mut().zip(&other_s) {
            *own = value(channel, at_s).unwrap_or(*own);
        }
    };
    for offer in offers {
        match offer {
            Given::Speed(source) => {
                put(&mut base.speed_m_s, &donor.speed_m_s);
                if has(&donor.distance_m) {
                    put(&mut base.distance_m, &donor.distance_m);
                }
                base.speed_source = *source;
            }
            Given::Positions => {
                let places = positions(donor, &other_s);
                for (i, place) in places.into_iter().enumerate() {
                    if let Some([latitude, longitude]) = place {
                        (base.latitude_deg[i], base.longitude_deg[i]) = (latitude, longitude);
                    }
                }
            }
            // Two barometers stand at different heights: never a mixture.
            Given::Altitude => {
                base.altitude_m.fill(f64::NAN);
                put(&mut base.altitude_m, &donor.altitude_m);
            }
            Given::Pressure => put(&mut base.pressure_pa, &donor.pressure_pa),
            Given::Temperature => put(&mut base.temperature_c, &donor.temperature_c),
            Given::AirSpeed => {
                if let Some(channel) = air_speed.and_then(|name| ExtraChannel::find(&donor.extra, name)) {
                    base.extra.push(air_speed_at(donor, channel, &other_s, reach_s));
                }
            }
        }
    }
    if base.lap_marks_s.is_empty() {
        let marks = donor.lap_marks_s.iter().map(|&mark| clock.own_s(mark));
        let (start_s, end_s) = (base.start_s(), base.end_s());
        base.lap_marks_s = marks.filter(|mark| (start_s..=end_s).contains(mark)).collect();
    }
    base.rider_mass_kg = base.rider_mass_kg.or(donor.rider_mass_kg);
    if offers
        .iter()
        .any(|offer| matches!(offer, Given::Speed(_) | Given::Positions))
    {
        pauses(base, donor, clock);
    }
}

/// Mean of a faster donor's samples around a moment.
fn mean_about(donor: &Streams, channel: &[f64], at_s: f64, reach_s: f64) -> Option<f64> {
    if reach_s == 0.0 {
        return None;
    }
    let from = donor.index_at_or_after(at_s - reach_s);
    let to = donor.index_at_or_after(at_s + reach_s);
    let window = channel.get(from..to)?;
    let known: Vec<f64> = window.iter().copied().filter(|value| value.is_finite()).collect();
    (!known.is_empty() && 2 * known.len() >= window.len())
        .then(|| known.iter().sum::<f64>() / known.len() as f64)
}

/// Straight between the donor's positions; nothing where one of them is half missing or across the date line.
fn positions(donor: &Streams, other_s: &[f64]) -> Vec<Option<[f64; 2]>> {
    let crosses = donor
        .longitude_deg
        .windows(2)
        .any(|w| (w[1] - w[0]).abs() > 180.0);
    let longitude: Vec<f64> = if crosses {
        donor
            .longitude_deg
            .iter()
            .map(|lon| lon.rem_euclid(360.0))
            .collect()
    } else {
        donor.longitude_deg.clone()
    };
    other_s
        .iter()
        .map(|&at_s| {
            let latitude = donor.value_at(&donor.latitude_deg, at_s)?;
            let longitude = donor.value_at(&longitude, at_s)?;
            Some([
                latitude,
                if longitude > 180.0 {
                    longitude - 360.0
                } else {
                    longitude
                },
            ])
        })
        .collect()
}

fn air_speed_at(donor: &Streams, channel: &ExtraChannel, other_s: &[f64], reach_s: f64) -> ExtraChannel {
    let mut values: Vec<f64> = channel.values.iter().map(|v| v.unwrap_or(f64::NAN)).collect();
    values.resize(donor.time_s.len(), f64::NAN);
    let known: Vec<(f64, f64)> = donor
        .time_s
        .iter()
        .copied()
        .zip(values.iter().copied())
        .filter(|(_, value)| value.is_finite())
        .collect();
    let straight = |at_s: f64| {
        let after = known.partition_point(|&(t, _)| t < at_s);
        let &(t1, v1) = known.get(after)?;
        if t1 == at_s {
            return Some(v1);
        }
        let &(t0, v0) = known.get(after.checked_sub(1)?)?;
        (t1 - t0 <= AIR_SPEED_BRIDGE_S).then(|| v0 + (v1 - v0) * (at_s - t0) / (t1 - t0))
    };
    ExtraChannel {
        name: channel.name.clone(),
        units: channel.units.clone(),
        values: other_s
            .iter()
            .map(|&at_s| mean_about(donor, &values, at_s, reach_s).or_else(|| straight(at_s)))
            .collect(),
    }
}

/// While the donor's timer stood there is neither its speed nor its place: a pause, as far as the base has none of
/// its own.
fn pauses(base: &mut Streams, donor: &Streams, clock: &UnitClock) {
    for gap in donor.gaps.iter().filter(|gap| gap.paused) {
        let (start_s, end_s) = (clock.own_s(gap.start_s), clock.own_s(gap.end_s));
        let inside = |index: &usize| (start_s..end_s).contains(&base.time_s[*index]);
        let mut held = (0..base.time_s.len()).filter(inside).peekable();
        let unknown = held.peek().is_some() && held.all(|index| base.speed_m_s[index].is_nan());
        if unknown && !base.is_gap(start_s, end_s) {
            base.gaps.push(Gap {
                start_s,
                end_s,
                paused: true,
            });
        }
    }
    base.gaps.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
}
