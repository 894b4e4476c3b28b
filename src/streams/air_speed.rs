//! The channel of an air-speed sensor: taken from the channels with no name of ours, in m/s, cleaned.

use super::mark::{count, runs, take_out};
use super::{Repair, Streams};
use crate::recording::{ExtraChannel, SpeedUnit, own_quantity};

/// No rider meets faster air (a choice), and every "no value" that a format writes as a number is above it.
const LARGEST_M_S: f64 = 60.0;
/// A live sensor never shows one value for so long while the bicycle moves: gusts change it from second to
/// second, and even steps of 1 km/h are crossed (a choice).
const FROZEN_S: f64 = 20.0;
/// Slower than this nothing need change.
const MOVING_M_S: f64 = 2.0;
/// Air that is never farther from still than this is not met outdoors: light air moves by 0.3 m/s and more
/// (Beaufort 1 begins there; common practice, no published source).
const STILL_M_S: f64 = 0.05;
/// Air speed between two samples is known by a straight line only while gusts last, which is some 5 s.
const BRIDGE_S: f64 = 3.0;

/// Why a recording has no air speed of the name that was asked for.
#[derive(Debug, Clone, PartialEq)]
pub enum NoAirSpeed {
    NoSuchChannel,
    /// The name is that of one of the unit's own channels, in words.
    OwnChannel(&'static str),
    /// The channel is there; its unit is not one of speed.
    StrangeUnit(String),
    /// The channel is there; nothing in it can be an air speed.
    NothingUsable,
}

/// How the unit of an air speed that was taken is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UnitKnown {
    Written,
    /// Read as m/s.
    Assumed,
}

impl Streams {
    /// Fills `air_speed_m_s` from the channel that `name` means, in m/s times `factor` (true over recorded).
    /// What cannot be is taken out and listed among the repairs.
    ///
    /// # Errors
    /// Why the recording has no such air speed; `air_speed_m_s` is then empty.
    pub fn take_air_speed(&mut self, name: &str, factor: f64) -> Result<UnitKnown, NoAirSpeed> {
        self.air_speed_m_s = Vec::new();
        let channel = ExtraChannel::find(&self.extra, name).ok_or_else(|| match own_quantity(name) {
            Some(words) => NoAirSpeed::OwnChannel(words),
            None => NoAirSpeed::NoSuchChannel,
        })?;
        let (unit_m_s, known) = match channel.speed_unit() {
            SpeedUnit::Written(unit_m_s) => (unit_m_s, UnitKnown::Written),
            SpeedUnit::NotWritten => (1.0, UnitKnown::Assumed),
            SpeedUnit::Strange(unit) => return Err(NoAirSpeed::StrangeUnit(unit)),
        };
        let value = |value: &Option<f64>| value.map_or(f64::NAN, |value| value * unit_m_s * factor);
        self.air_speed_m_s = channel.values.iter().map(value).collect();
        self.air_speed_m_s.resize(self.time_s.len(), f64::NAN);
        self.impossible_air_speed();
        self.frozen_air_speed();
        self.repairs.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
        if self.air_speed_m_s.iter().all(|value| value.is_nan()) {
            self.air_speed_m_s = Vec::new();
            return Err(NoAirSpeed::NothingUsable);
        }
        Ok(known)
    }

    /// Whether the air speed is the ground speed over again: nowhere in a recording is the air as still as that.
    pub fn air_speed_repeats_ground_speed(&self) -> bool {
        let pairs = self.air_speed_m_s.iter().zip(&self.speed_m_s);
        let apart: Vec<f64> = pairs
            .filter(|(_, ground)| **ground > MOVING_M_S)
            .map(|(air, ground)| (air - ground).powi(2))
            .filter(|square| square.is_finite())
            .collect();
        let mean = apart.iter().sum::<f64>() / apart.len() as f64;
        mean.sqrt() < STILL_M_S
    }

    /// The longest time between two valid air speeds over which it is known. [s]
    pub(super) fn longest_air_speed_bridge_s(&self) -> f64 {
        BRIDGE_S.max(1.5 * self.nominal_interval_s)
    }

    fn impossible_air_speed(&mut self) {
        let speed = &self.air_speed_m_s;
        let marked: Vec<usize> = (0..speed.len())
            .filter(|&i| !speed[i].is_nan() && !(0.0..=LARGEST_M_S).contains(&speed[i]))
            .collect();
        self.remove_air_speed(&marked, "impossible air speed", &|| {
            format!("below 0 or above {LARGEST_M_S:.0} m/s")
        });
    }

    fn frozen_air_speed(&mut self) {
        let (air, ground, time) = (&self.air_speed_m_s, &self.speed_m_s, &self.time_s);
        let moves = |i: usize| ground[i] > MOVING_M_S;
        let limit_s = self.gap_limit_s();
        let same =
            |a: usize, b: usize| air[a] == air[b] && moves(a) && moves(b) && time[b] - time[a] <= limit_s;
        let marked: Vec<usize> = runs(air.len(), 2, same)
            .into_iter()
            .filter(|run| time[run.end - 1] - time[run.start] >= FROZEN_S)
            .flatten()
            .collect();
        self.remove_air_speed(&marked, "frozen air speed", &|| {
            format!("the same value for {FROZEN_S:.0} s or longer while riding")
        });
    }

    fn remove_air_speed(&mut self, marked: &[usize], kind: &'static str, why: &dyn Fn() -> String) {
        let repairs: &mut Vec<Repair> = &mut self.repairs;
        take_out(
            &mut self.air_speed_m_s,
            &self.time_s,
            marked,
            kind,
            repairs,
            |span| {
                let readings = count(span.samples, "air-speed reading");
                format!("{readings} taken out {}: {}", span.when(), why())
            },
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::streams::align;
    use crate::streams::testing::{START_S, kinds, missing, ride, speed};

    /// A ride of 120 s whose extra channel holds the ground speed and 1 m/s of head wind, changed by `change`.
    fn with(name: &str, units: &str, scale: f64, change: impl Fn(&mut Vec<Option<f64>>)) -> Streams {
        let mut given = ride(120);
        let mut values: Vec<_> = (0..120).map(|i| Some((speed(i) + 1.0) * scale)).collect();
        change(&mut values);
        given.extra.push(ExtraChannel {
            name: name.to_string(),
            units: units.to_string(),
            values,
        });
        align(given).unwrap()
    }

    #[test]
    fn the_channel_asked_for_is_taken_in_metres_per_second_times_its_factor() {
        for (name, units, scale) in [
            ("air speed", "m/s", 1.0),
            ("air speed", "km/h", 3.6),
            ("air speed (km/h)", "km/h", 3.6),
            ("Air_Speed_kmh", "", 3.6),
        ] {
            let mut streams = with(name, units, scale, |_| ());
            assert!(streams.air_speed_m_s.is_empty(), "nobody asked yet");
            assert_eq!(streams.take_air_speed("air speed", 1.1), Ok(UnitKnown::Written));
            for (i, air) in streams.air_speed_m_s.iter().enumerate() {
                assert!((air - 1.1 * (speed(i) + 1.0)).abs() < 1e-12, "{name} {units} {i}");
            }
            // The ground speed is what it was.
            assert_eq!(streams.speed_m_s[7], speed(7));
            assert_eq!(kinds(&streams.repairs), []);
        }
        let mut bare = with("air speed", "", 1.0, |_| ());
        assert_eq!(bare.take_air_speed("air speed", 1.0), Ok(UnitKnown::Assumed));
    }

    #[test]
    fn a_channel_that_is_no_air_speed_says_why() {
        let ask = |name: &str, units: &str, change: &dyn Fn(&mut Vec<Option<f64>>), wanted: &str| {
            let mut streams = with(name, units, 1.0, change);
            let error = streams.take_air_speed(wanted, 1.0).unwrap_err();
            assert!(streams.air_speed_m_s.is_empty());
            error
        };
        assert_eq!(ask("yaw", "deg", &|_| (), "air speed"), NoAirSpeed::NoSuchChannel);
        assert_eq!(
            ask("air speed", "Pa", &|_| (), "air speed"),
            NoAirSpeed::StrangeUnit("Pa".to_string())
        );
        assert_eq!(
            ask("air speed", "m/s", &|_| (), "speed"),
            NoAirSpeed::OwnChannel("speed over the ground")
        );
        let silent = |values: &mut Vec<Option<f64>>| values.fill(Some(0.0));
        assert_eq!(
            ask("air speed", "m/s", &silent, "air speed"),
            NoAirSpeed::NothingUsable
        );
    }

    #[test]
    fn what_cannot_be_is_taken_out_and_listed() {
        let mut streams = with("air speed", "m/s", 1.0, |values| {
            values[30] = Some(655.35);
            values[31] = Some(-1.0);
            values[50] = None;
            values[70..95].fill(Some(9.5));
        });
        streams.take_air_speed("air speed", 1.0).unwrap();
        let gone: Vec<usize> = [30, 31, 50].into_iter().chain(70..95).collect();
        assert_eq!(missing(&streams.air_speed_m_s), gone);
        assert_eq!(
            kinds(&streams.repairs),
            [("impossible air speed", 2), ("frozen air speed", 25)]
        );
    }

    #[test]
    fn a_piece_has_the_mean_of_the_straight_line_between_samples() {
        let mut streams = with("air speed", "m/s", 1.0, |values| {
            values[40] = None;
            values[60..63].fill(None);
        });
        assert!(
            streams
                .segments(START_S, START_S + 5.0)
                .iter()
                .all(|s| s.air_speed_m_s.is_nan())
        );
        streams.take_air_speed("air speed", 1.0).unwrap();
        let mean = |from: f64, to: f64| {
            let pieces = streams.segments(START_S + from, START_S + to);
            assert_eq!(pieces.len(), 1);
            pieces[0].air_speed_m_s
        };
        let at = |second: usize| speed(second) + 1.0;
        assert!((mean(10.0, 11.0) - 0.5 * (at(10) + at(11))).abs() < 1e-12);
        let quarter = at(10) + 0.125 * (at(11) - at(10));
        assert!((mean(10.0, 10.25) - quarter).abs() < 1e-12);
        // One missing value is bridged: 2 s from 39 to 41.
        let bridged = at(39) + 0.75 * (at(41) - at(39));
        assert!((mean(40.0, 41.0) - bridged).abs() < 1e-12);
        // Three are not: the gusts of 4 s are not known.
        for second in 59..63 {
            assert!(mean(second as f64, second as f64 + 1.0).is_nan(), "{second}");
        }
        assert!(mean(63.0, 64.0).is_finite());
    }

    #[test]
    fn the_ground_speed_under_another_name_is_recognised() {
        let copy = |values: &mut Vec<Option<f64>>| {
            for (i, value) in values.iter_mut().enumerate() {
                *value = Some((speed(i) * 100.0).round() / 100.0);
            }
        };
        let mut streams = with("air speed", "m/s", 1.0, copy);
        streams.take_air_speed("air speed", 1.0).unwrap();
        assert!(streams.air_speed_repeats_ground_speed());
        let mut sound = with("air speed", "m/s", 1.0, |_| ());
        assert!(!sound.air_speed_repeats_ground_speed(), "nothing was asked for");
        sound.take_air_speed("air speed", 1.0).unwrap();
        assert!(!sound.air_speed_repeats_ground_speed());
    }

    #[test]
    fn air_speed_is_cut_with_the_recording() {
        let mut long = with("air speed", "m/s", 1.0, |_| ());
        long.take_air_speed("air speed", 1.0).unwrap();
        long.file = "long.fit".into();
        let mut later = ride(240);
        later.samples.drain(..60);
        let (kept, _) = crate::streams::use_once(vec![long.clone(), align(later).unwrap()]);
        let part = kept.iter().find(|s| s.file == long.file).unwrap();
        assert_eq!(part.air_speed_m_s[..], long.air_speed_m_s[..part.time_s.len()]);
        assert_eq!(part.air_speed_m_s.len(), part.time_s.len());
        assert!(part.time_s.len() < 120);
    }
}
