//! One recording → one set of channels, with everything that was done to it listed.

use super::clock::Row;
use super::speed_faults;
use super::{
    SpeedSource, Streams, altitude, altitude_step, clock, gaps, position, power, speed, speed_check,
};
use crate::error::{Fault, Result};
use crate::recording::{ExtraChannel, Recording, Sample};
use crate::treatment::{AsRecorded, Treatment};
use std::borrow::Borrow;

/// Samples → strictly increasing time and channels of equal length, NaN where nothing (or something
/// wrong) was measured. Repairs are listed in order of time.
///
/// # Errors
/// A recording with fewer than two samples that carry a usable time.
pub fn align(recording: impl Borrow<Recording>) -> Result<Streams> {
    align_leaving(recording, &AsRecorded::default())
}

/// As [`align`], with the treatments named left out.
///
/// # Errors
/// As [`align`].
pub fn align_leaving(recording: impl Borrow<Recording>, as_recorded: &AsRecorded) -> Result<Streams> {
    let recording = recording.borrow();
    let mut repairs = Vec::new();
    let rows = clock::rows(&recording.samples, &mut repairs);
    if rows.len() < 2 {
        return Err(too_short(recording, rows.len()).into());
    }
    let mut streams = channels(recording, &rows);
    streams.repairs = repairs;
    streams.nominal_interval_s = gaps::nominal_interval_s(&streams.time_s);
    let nominal_s = streams.nominal_interval_s;
    streams.by_need =
        gaps::by_need(&streams.time_s, nominal_s) && !as_recorded.leaves(Treatment::SampledByNeed);
    streams.gaps = gaps::find(&streams.time_s, nominal_s, &recording.timer_events);
    let limit = streams.gap_limit_s();

    altitude::clean_plain(&mut streams);
    position::clean(&mut streams, as_recorded);
    power::clean(&mut streams, limit, as_recorded);
    let in_file: Vec<bool> = streams.speed_m_s.iter().map(|speed| !speed.is_nan()).collect();
    speed_faults::clean(&mut streams, limit);
    speed::settle(&mut streams, &in_file, recording.wheel_sensor);
    altitude::clean(&mut streams, limit);
    if !as_recorded.leaves(Treatment::AltitudeStep) {
        altitude_step::level(&mut streams);
    }

    streams.speed_check = speed_check::check(&streams);
    let when = |s: &super::Repair| (s.start_s, s.end_s);
    streams.repairs.sort_by(|a, b| {
        let ((a0, a1), (b0, b1)) = (when(a), when(b));
        a0.total_cmp(&b0).then(a1.total_cmp(&b1))
    });
    Ok(streams)
}

fn too_short(recording: &Recording, samples: usize) -> Fault {
    let what = match samples {
        0 => "holds no samples with a usable time",
        _ => "holds a single point in time",
    };
    Fault::new(
        what,
        "Use the full recording of the ride, or take this file out of the folder.",
    )
    .in_file(&recording.file)
}

/// Field by field, the first sample of a row that has a value gives it.
fn channels(recording: &Recording, rows: &[Row]) -> Streams {
    let samples = &recording.samples;
    let channel = |field: fn(&Sample) -> Option<f64>| -> Vec<f64> {
        let value = |row: &Row| {
            let found = row.from.iter().find_map(|&index| {
                let value = samples.get(index).and_then(field);
                value.filter(|value| value.is_finite())
            });
            found.unwrap_or(f64::NAN)
        };
        rows.iter().map(value).collect()
    };
    let extra = |extra: &ExtraChannel| ExtraChannel {
        name: extra.name.clone(),
        units: extra.units.clone(),
        values: rows
            .iter()
            .map(|row| {
                let values = row.from.iter();
                values
                    .copied()
                    .find_map(|i| extra.values.get(i).copied().flatten())
            })
            .collect(),
    };
    let mut lap_marks_s = recording.lap_marks_s.clone();
    lap_marks_s.retain(|mark| mark.is_finite());
    lap_marks_s.sort_by(f64::total_cmp);
    Streams {
        file: recording.file.clone(),
        time_s: rows.iter().map(|row| row.time_s).collect(),
        latitude_deg: channel(|s| s.latitude_deg),
        longitude_deg: channel(|s| s.longitude_deg),
        altitude_m: channel(|s| s.altitude_m),
        distance_m: channel(|s| s.distance_m),
        speed_m_s: channel(|s| s.speed_m_s),
        power_w: channel(|s| s.power_w),
        cadence_rpm: channel(|s| s.cadence_rpm),
        temperature_c: channel(|s| s.temperature_c),
        pressure_pa: channel(|s| s.pressure_pa),
        air_speed_m_s: Vec::new(),
        extra: recording.extra.iter().map(extra).collect(),
        nominal_interval_s: 1.0,
        by_need: false,
        gaps: Vec::new(),
        altitude_steps_s: Vec::new(),
        repairs: Vec::new(),
        speed_source: SpeedSource::None,
        speed_check: None,
        lap_marks_s,
        rider_mass_kg: recording.rider_mass_kg,
        joined: Vec::new(),
        one_leg_power: recording.one_leg_power,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::{Format, TimerEvent};
    use crate::streams::testing::{START_S, after, kinds, recording, ride};
    use proptest::prelude::*;

    #[test]
    fn a_sound_ride_comes_through_untouched() {
        let given = ride(600);
        let streams = align(given.clone()).unwrap();
        assert_eq!(kinds(&streams.repairs), []);
        assert_eq!(streams.gaps, []);
        assert_eq!(streams.nominal_interval_s, 1.0);
        for (i, sample) in given.samples.iter().enumerate() {
            assert_eq!(Some(streams.power_w[i]), sample.power_w);
            assert_eq!(Some(streams.speed_m_s[i]), sample.speed_m_s);
            assert_eq!(Some(streams.altitude_m[i]), sample.altitude_m);
            assert_eq!(Some(streams.latitude_deg[i]), sample.latitude_deg);
        }
    }

    #[test]
    fn too_few_samples_are_a_fault_that_names_the_file() {
        for samples in [vec![], ride(1).samples, vec![ride(1).samples[0]; 3]] {
            let error = align(recording("short.fit", samples)).unwrap_err();
            assert_eq!(error.faults.len(), 1);
            let fault = &error.faults[0];
            assert_eq!(fault.file.as_deref(), Some("short.fit".as_ref()));
        }
    }

    #[test]
    fn rows_with_one_time_are_merged_field_by_field_extras_too() {
        let mut given = ride(60);
        let mut later = given.samples[30];
        later.power_w = Some(999.0);
        later.pressure_pa = Some(98_000.0);
        given.samples.insert(31, later);
        let mut values: Vec<Option<f64>> = (0..61).map(|i| Some(f64::from(i))).collect();
        values[30] = None;
        given.extra.push(ExtraChannel {
            name: "core".into(),
            units: "°C".into(),
            values,
        });
        let streams = align(given.clone()).unwrap();
        assert_eq!(streams.time_s.len(), 60);
        assert_eq!(Some(streams.power_w[30]), given.samples[30].power_w);
        assert_eq!(streams.pressure_pa[30], 98_000.0);
        assert_eq!(streams.extra[0].values[30], Some(31.0));
        assert_eq!(streams.extra[0].values[31], Some(32.0));
        assert_eq!(kinds(&streams.repairs), [("duplicate time", 1)]);
    }

    #[test]
    fn repairs_are_listed_in_order_of_time() {
        let streams = after(|samples| {
            samples[90].power_w = Some(-5.0);
            samples[20].speed_m_s = Some(99.0);
            samples[50].temperature_c = Some(127.0);
        });
        let starts: Vec<f64> = streams.repairs.iter().map(|r| r.start_s - START_S).collect();
        assert_eq!(starts, [20.0, 50.0, 90.0]);
    }

    fn number() -> impl Strategy<Value = Option<f64>> {
        prop_oneof![
            6 => (-50.0..400.0f64).prop_map(Some),
            2 => Just(Some(0.0)),
            2 => Just(None),
            1 => any::<f64>().prop_map(Some),
            1 => Just(Some(65535.0)),
        ]
    }

    fn time() -> impl Strategy<Value = f64> {
        prop_oneof![
            8 => (0u32..60).prop_map(|t| START_S + f64::from(t)),
            4 => (0.0..500.0f64).prop_map(|t| START_S + t),
            1 => any::<f64>(),
        ]
    }

    fn sample() -> impl Strategy<Value = Sample> {
        (time(), prop::array::uniform9(number())).prop_map(|(time_s, v)| Sample {
            time_s,
            latitude_deg: v[0],
            longitude_deg: v[1],
            altitude_m: v[2],
            distance_m: v[3],
            speed_m_s: v[4].map(|v| v / 10.0),
            power_w: v[5],
            cadence_rpm: v[6],
            heart_rate_bpm: None,
            temperature_c: v[7],
            pressure_pa: v[8],
        })
    }

    fn check(streams: &Streams) {
        let n = streams.time_s.len();
        assert!(streams.time_s.windows(2).all(|w| w[0] < w[1]));
        assert!(streams.nominal_interval_s > 0.0);
        let channels = [
            &streams.latitude_deg,
            &streams.longitude_deg,
            &streams.altitude_m,
            &streams.distance_m,
            &streams.speed_m_s,
            &streams.power_w,
            &streams.cadence_rpm,
            &streams.temperature_c,
            &streams.pressure_pa,
        ];
        for channel in channels {
            assert_eq!(channel.len(), n);
            assert!(channel.iter().all(|value| !value.is_infinite()));
        }
        assert!(streams.extra.iter().all(|extra| extra.values.len() == n));
        for pair in streams.gaps.windows(2) {
            assert!(pair[0].end_s <= pair[1].start_s);
        }
        let within = |channel: &[f64], high: f64| {
            let mut known = channel.iter().filter(|value| !value.is_nan());
            known.all(|value| (0.0..=high).contains(value))
        };
        assert!(within(&streams.power_w, 2500.0));
        assert!(within(&streams.speed_m_s, 35.0));
        let segments = streams.segments(streams.start_s(), streams.end_s());
        let told: f64 = segments.iter().map(|s| s.end_s - s.start_s).sum();
        assert!((told - streams.duration_s()).abs() < 1e-3 * n as f64);
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn any_samples_give_sound_channels_or_a_fault(
            mut samples in prop::collection::vec(sample(), 0..120),
            in_order in any::<bool>(),
            events in prop::collection::vec((time(), any::<bool>()), 0..6),
            extra in prop::collection::vec(number(), 0..150),
        ) {
            if in_order {
                samples.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
            }
            let mut given = recording("any.csv", samples);
            given.format = Format::Csv;
            given.timer_events = events
                .into_iter()
                .map(|(time_s, running)| TimerEvent { time_s, running })
                .collect();
            given.extra.push(ExtraChannel { name: "x".into(), units: String::new(), values: extra });
            if let Ok(mut streams) = align(given) {
                check(&streams);
                if streams.take_air_speed("x", 1.5).is_ok() {
                    let known = streams.air_speed_m_s.iter().filter(|value| !value.is_nan());
                    known.for_each(|value| assert!((0.0..=60.0).contains(value), "{value}"));
                    check(&streams);
                }
                let (kept, _) = crate::streams::use_once(vec![streams.clone(), streams]);
                kept.iter().for_each(check);
            }
        }
    }
}
