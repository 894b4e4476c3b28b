//! Real rides, their channels split over two recordings of which one has a clock of its own: joined, they are the
//! ride again.

use super::streams::recording;
use stillair::recording::Recording;
use stillair::streams::{Asked, FoundBy, Streams, align, join};
use stillair::treatment::AsRecorded;
use stillair::warning::Warning;

fn ride(number: usize) -> Recording {
    recording(&format!("one-rider/ride-{number:02}.fit"))
}

/// Power, cadence and positions; and wheel, barometer and thermometer, `offset_s` ahead.
fn split(whole: &Recording, offset_s: f64) -> [Recording; 2] {
    let (mut power, mut wheel) = (whole.clone(), whole.clone());
    (power.file, wheel.file) = ("power.fit".into(), "wheel.fit".into());
    power.wheel_sensor = None;
    for sample in &mut power.samples {
        (sample.speed_m_s, sample.distance_m, sample.altitude_m) = (None, None, None);
        (sample.temperature_c, sample.pressure_pa) = (None, None);
    }
    for sample in &mut wheel.samples {
        (sample.power_w, sample.cadence_rpm) = (None, None);
        (sample.latitude_deg, sample.longitude_deg) = (None, None);
        sample.time_s += offset_s;
    }
    for event in &mut wheel.timer_events {
        event.time_s += offset_s;
    }
    [power, wheel]
}

fn joined(recordings: Vec<Recording>) -> (Vec<Streams>, Vec<Warning>) {
    let asked = Asked {
        air_speed: None,
        clocks: &[],
        as_recorded: &AsRecorded::default(),
    };
    join(
        recordings.into_iter().map(|r| align(r).unwrap()).collect(),
        &asked,
    )
}

/// How much two channels differ in the median, and for how many samples both are known.
fn apart(one: &[f64], other: &[f64]) -> (f64, usize) {
    let mut apart: Vec<f64> = one.iter().zip(other).map(|(a, b)| (a - b).abs()).collect();
    apart.retain(|value| value.is_finite());
    apart.sort_by(f64::total_cmp);
    (
        apart.get(apart.len() / 2).copied().unwrap_or(f64::NAN),
        apart.len(),
    )
}

/// Receivers' positions are off by a second at most (common practice, no published source).
const LATEST_S: f64 = 1.0;

#[test]
fn a_real_ride_that_was_split_over_two_units_is_one_ride_again() {
    // Ride 6 is of 6 min only.
    for number in (1..=15).filter(|number| *number != 6) {
        let offset_s = [47.0, -3600.0, 0.0, 7193.0, -12.0][number % 5];
        let whole = ride(number);
        let (streams, warnings) = joined(split(&whole, offset_s).into());
        assert_eq!(streams.len(), 1, "{number}: {warnings:?}");
        let (one, whole) = (&streams[0], align(whole).unwrap());
        let clock = one.joined[0].clock;
        let speed = apart(&one.speed_m_s, &whole.speed_m_s);
        println!(
            "ride {number}: {:+.3} ± {:.3} s, {speed:?} of {}",
            clock.offset_s - offset_s,
            clock.standard_uncertainty_s,
            whole.time_s.len()
        );
        assert_eq!(clock.found_by, FoundBy::Speed);
        // Within one unit nothing lies between the clocks, but positions pass a filter.
        let off_s = clock.offset_s - offset_s;
        assert!(
            off_s.abs() < LATEST_S && off_s.abs() < 2.5 * clock.standard_uncertainty_s,
            "{number}: {clock:?}"
        );
        assert_eq!(one.time_s, whole.time_s);
        assert!(
            speed.0 < 0.1 && speed.1 as f64 > 0.9 * whole.time_s.len() as f64,
            "{number}: {speed:?}"
        );
        assert!(apart(&one.altitude_m, &whole.altitude_m).0 < 0.1);
        // Power that a unit held on to is known by the speed, which one of them has by positions only.
        let differ = |(a, b): &(&f64, &f64)| a != b && !(a.is_nan() && b.is_nan());
        let differing = one.power_w.iter().zip(&whole.power_w).filter(differ).count();
        println!("  power differs in {differing} samples");
        assert!(100 * differing <= one.time_s.len(), "{number}: {differing}");
    }
}

/// The same rider on the same roads on another day, and somebody else elsewhere.
#[test]
fn real_rides_of_other_days_are_not_joined() {
    let wheels: Vec<Recording> = [1, 4, 7, 9, 10].map(|n| split(&ride(n), 0.0)[1].clone()).into();
    let other = split(&recording("other-rider.fit"), 0.0)[1].clone();
    for number in [3, 5, 6, 8] {
        let [power, _] = split(&ride(number), 0.0);
        for wheel in wheels.iter().chain([&other]) {
            let mut wheel = wheel.clone();
            // As if it had been ridden at the same hour.
            let shift_s = power.samples[0].time_s - wheel.samples[0].time_s;
            wheel
                .samples
                .iter_mut()
                .for_each(|sample| sample.time_s += shift_s);
            wheel
                .timer_events
                .iter_mut()
                .for_each(|event| event.time_s += shift_s);
            let (streams, warnings) = joined(vec![power.clone(), wheel]);
            assert_eq!(streams.len(), 2, "{number}: {warnings:?}");
            let [warning] = warnings.as_slice() else {
                panic!("{warnings:?}")
            };
            println!("{number}: {}", warning.message);
            assert_eq!(warning.kind, "not joined");
        }
    }
}
