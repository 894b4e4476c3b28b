use super::*;
use crate::recording::{self, Recording};
use crate::simulate::{
    AirSpeedTruth, Channels, DayPlan, Format, SecondUnit, SensorTruth, out_and_back_plan, ride_day,
};
use crate::streams::SpeedSource;
use crate::streams::{align, use_once};
use crate::treatment::AsRecorded;

static LEFT: AsRecorded = AsRecorded::NONE;

fn asked<'a>(air_speed: Option<&'a str>, clocks: &'a [ClockGiven]) -> Asked<'a> {
    Asked {
        air_speed,
        clocks,
        as_recorded: &LEFT,
    }
}

/// The first unit has power and positions; the second the wheel and the barometer, by a clock of its own.
fn two_units(seed: u64, offset_s: f64, drift_s_per_h: f64) -> DayPlan {
    let mut plan = out_and_back_plan(seed, "AB", 0.0);
    plan.second_unit = Some(SecondUnit {
        sensors: SensorTruth::ordinary(),
        has: Channels {
            power: false,
            positions: false,
            ..Channels::ALL
        },
        first_has: Channels {
            speed: false,
            altitude: false,
            ..Channels::ALL
        },
        clock_offset_s: offset_s,
        clock_drift_s_per_h: drift_s_per_h,
        format: Format::Fit,
    });
    plan
}

fn units(plan: &DayPlan) -> Vec<Streams> {
    aligned(ride_day(plan).recordings)
}

fn aligned(recordings: Vec<Recording>) -> Vec<Streams> {
    recordings
        .into_iter()
        .map(|recording| align(recording).unwrap())
        .collect()
}

fn print(joined: &(Vec<Streams>, Vec<Warning>)) -> String {
    // A missing value equals nothing, so what is compared is how they print.
    format!("{joined:?}")
}

#[test]
fn the_clocks_of_two_units_are_found_to_a_fifth_of_a_second() {
    for (seed, offset_s, drift) in [
        (1, 0.0, 0.0),
        (2, 4.3, 0.0),
        (3, -75.6, 0.0),
        (4, 7200.0 + 12.7, 0.0),
        (5, -3600.0 * 9.0 - 3.3, 2.0),
        (6, 31.4, -1.0),
    ] {
        let plan = two_units(seed, offset_s, drift);
        let (joined, warnings) = join(units(&plan), &asked(None, &[]));
        assert_eq!(joined.len(), 1, "{warnings:?}");
        assert_eq!(warnings[0].kind, "joined");
        let unit = &joined[0].joined[0];
        assert_eq!(unit.clock.found_by, FoundBy::Speed);
        let hours = (unit.clock.middle_s - plan.start_s) / 3600.0;
        let off = unit.clock.offset_s - offset_s - drift * hours;
        println!("{seed}: {off:.3} {:?}", unit.clock);
        assert!(off.abs() < 0.2, "{seed}: {off} {:?}", unit.clock);
        assert!(
            off.abs() < 3.0 * unit.clock.standard_uncertainty_s,
            "{seed}: {off}"
        );
        let drift_off = unit.clock.drift_s_per_h - drift;
        let sure = unit.clock.drift_standard_uncertainty_s_per_h;
        assert!(
            drift_off.abs() < 3.0 * sure.max(0.05),
            "{seed}: {drift_off} ± {sure}"
        );
    }
}

#[test]
fn what_was_joined_is_what_one_unit_would_have_recorded() {
    let plan = two_units(7, 61.7, 0.0);
    let whole = DayPlan {
        second_unit: None,
        ..plan.clone()
    };
    let (joined, _) = join(units(&plan), &asked(None, &[]));
    let whole = &units(&whole)[0];
    let one = &joined[0];
    assert_eq!(one.time_s, whole.time_s);
    assert_eq!(one.power_w, whole.power_w);
    assert_eq!(one.speed_source, SpeedSource::WheelSensor);
    let off = |a: &[f64], b: &[f64]| {
        let squares: Vec<f64> = a
            .iter()
            .zip(b)
            .map(|(a, b)| (a - b).powi(2))
            .filter(|s| s.is_finite())
            .collect();
        assert!(squares.len() as f64 > 0.95 * a.len() as f64);
        let mut sorted = squares.clone();
        sorted.sort_by(f64::total_cmp);
        let median = sorted[sorted.len() / 2].sqrt();
        (
            median,
            (squares.iter().sum::<f64>() / squares.len() as f64).sqrt(),
        )
    };
    // Two wheels with noise of 0.03 m/s each: 0.042 together, its median 0.028. A tenth of a second at the 4 m/s² of
    // the brakes before a turn, and a line between samples there, add up to 0.4 m/s.
    println!("{:?}", off(&one.speed_m_s, &whole.speed_m_s));
    let (median, root_mean_square) = off(&one.speed_m_s, &whole.speed_m_s);
    assert!(
        median < 0.05 && root_mean_square < 0.25,
        "{median} {root_mean_square}"
    );
}

#[test]
fn neither_order_nor_names_change_what_is_joined() {
    let recordings = ride_day(&two_units(8, -5.25, 0.0)).recordings;
    let named = |names: [&str; 2], turned: bool| {
        let mut given = recordings.clone();
        for (recording, name) in given.iter_mut().zip(names) {
            recording.file = name.into();
        }
        if turned {
            given.reverse();
        }
        join(aligned(given), &asked(None, &[]))
    };
    let first = named(["a.fit", "b.fit"], false);
    assert_eq!(print(&first), print(&named(["a.fit", "b.fit"], true)));
    let renamed = named(["b.fit", "a.fit"], false);
    let swap = |text: String| {
        text.replace("a.fit", "?")
            .replace("b.fit", "a.fit")
            .replace('?', "b.fit")
    };
    assert_eq!(print(&first), swap(print(&renamed)));
}

#[test]
fn a_copy_and_a_part_of_a_ride_are_not_joined_but_used_once() {
    let mut plan = two_units(9, 0.0, 0.0);
    plan.second_unit = None;
    let ride = ride_day(&plan).recordings.remove(0);
    let mut copy = ride.clone();
    copy.file = "copy.fit".into();
    let mut part = ride.clone();
    part.file = "part.fit".into();
    part.samples.drain(..400);
    let mut track = ride.clone();
    track.file = "track.gpx".into();
    track.wheel_sensor = None;
    for sample in &mut track.samples {
        (sample.power_w, sample.speed_m_s, sample.distance_m) = (None, None, None);
    }
    let (joined, warnings) = join(aligned(vec![copy, part, track, ride]), &asked(None, &[]));
    assert!(warnings.is_empty(), "{warnings:?}");
    assert_eq!(joined.len(), 4);
    let (kept, remarks) = use_once(joined);
    assert_eq!((kept.len(), remarks.len()), (1, 3));
    assert!(kept[0].joined.is_empty());
}

#[test]
fn the_ride_of_somebody_else_is_not_joined() {
    let plan = two_units(10, 0.0, 0.0);
    let mut other = two_units(11, 0.0, 0.0);
    (other.course, other.start_s) = (plan.course.clone(), plan.start_s);
    let mine = ride_day(&plan).recordings.remove(0);
    let theirs = ride_day(&other).recordings.remove(1);
    let (joined, warnings) = join(aligned(vec![mine, theirs]), &asked(None, &[]));
    assert_eq!(joined.len(), 2);
    assert!(joined.iter().all(|s| s.joined.is_empty()));
    assert_eq!(warnings.len(), 1);
    assert_eq!(warnings[0].kind, "not joined");
    assert!(
        warnings[0]
            .message
            .contains("second.fit has speed (wheel sensor) and altitude"),
        "{}",
        warnings[0].message
    );
    assert!(
        warnings[0].message.contains("m/s apart"),
        "{}",
        warnings[0].message
    );
}

/// A logger that writes the air speed five times a second, and nothing else.
fn logger(seed: u64, offset_s: f64) -> DayPlan {
    let mut plan = two_units(seed, offset_s, 0.0);
    let unit = plan.second_unit.as_mut().unwrap();
    unit.has = Channels::NONE;
    unit.first_has = Channels::ALL;
    unit.format = Format::Csv;
    unit.sensors.sampling = crate::simulate::Sampling::Every(0.2);
    unit.sensors.air_speed = Some(AirSpeedTruth {
        scale_error: 0.02,
        noise_m_s: 0.2,
        resolution_m_s: 0.01,
    });
    plan
}

#[test]
fn a_logger_of_air_speed_alone_is_joined_by_the_speed_over_the_ground() {
    for (seed, offset_s) in [(12, 0.0), (13, 37.2), (14, 3600.0 + 2.6)] {
        let mut units = aligned(ride_day(&logger(seed, offset_s)).recordings);
        assert_eq!(units[1].speed_source, SpeedSource::None);
        let silent = join(units.clone(), &asked(None, &[]));
        assert!(
            silent.0.iter().all(|s| s.joined.is_empty()),
            "nobody asked for it"
        );
        let (joined, warnings) = join(units.clone(), &asked(Some("air speed"), &[]));
        assert_eq!(joined.len(), 1, "{warnings:?}");
        let clock = joined[0].joined[0].clock;
        assert_eq!(clock.found_by, FoundBy::AirSpeed);
        println!("{seed}: {:.3} {clock:?}", clock.offset_s - offset_s);
        assert!(
            (clock.offset_s - offset_s).abs() < 3.0 * clock.standard_uncertainty_s,
            "{clock:?}"
        );
        assert!((clock.offset_s - offset_s).abs() < 0.5, "{clock:?}");
        let mut one = joined.into_iter().next().unwrap();
        one.take_air_speed("air speed", 1.0).unwrap();
        let known = one.air_speed_m_s.iter().filter(|v| v.is_finite()).count();
        assert!(known as f64 > 0.95 * one.time_s.len() as f64);
        // A table that counts from its own start.
        let start_s = units[1].start_s();
        units[1].time_s.iter_mut().for_each(|time_s| *time_s -= start_s);
        let (joined, _) = join(units, &asked(Some("air speed"), &[]));
        let found_s = joined[0].joined[0].clock.offset_s;
        assert!((found_s + start_s - offset_s).abs() < 0.5, "{found_s}");
    }
}

#[test]
fn a_table_of_times_and_air_speeds_is_a_recording() {
    let text = "time,air speed (m/s)\n2026-05-16T06:30:00Z,9.5\n2026-05-16T06:30:01Z,9.7\n";
    let table = recording::read_bytes(std::path::Path::new("air.csv"), text.as_bytes()).unwrap();
    let streams = align(table).unwrap();
    assert_eq!(streams.speed_source, SpeedSource::None);
    assert_eq!(streams.extra[0].values, [Some(9.5), Some(9.7)]);
}

#[test]
fn a_clock_that_test_toml_gives_is_not_looked_for() {
    let clocks = [ClockGiven {
        file: "second.fit".to_string(),
        offset_s: 17.0,
        standard_uncertainty_s: 0.3,
    }];
    let (joined, _) = join(units(&two_units(15, 12.0, 0.0)), &asked(None, &clocks));
    let clock = joined[0].joined[0].clock;
    assert_eq!((clock.offset_s, clock.standard_uncertainty_s), (17.0, 0.3));
    assert_eq!(clock.found_by, FoundBy::Given);
}

#[test]
fn power_that_nothing_else_was_recorded_with_is_joined_by_its_clock() {
    let mut plan = two_units(16, 0.0, 0.0);
    let unit = plan.second_unit.as_mut().unwrap();
    unit.first_has = Channels {
        power: true,
        ..Channels::NONE
    };
    unit.has.positions = true;
    let (joined, warnings) = join(units(&plan), &asked(None, &[]));
    assert_eq!(joined.len(), 1, "{warnings:?}");
    assert_eq!(joined[0].joined[0].clock.found_by, FoundBy::TakenAsRight);
    assert!(
        warnings[0].next_step.contains("clock_offset_s"),
        "{}",
        warnings[0].next_step
    );
    assert!(joined[0].has_power() && joined[0].has_positions());
}

#[test]
fn nothing_is_carried_across_what_the_other_unit_did_not_record() {
    let mut recordings = ride_day(&two_units(17, 3.0, 0.0)).recordings;
    let hole_s = recordings[1].samples[600].time_s;
    recordings[1].samples.drain(600..660);
    let first_s = recordings[1].samples[0].time_s;
    let (joined, _) = join(aligned(recordings), &asked(None, &[]));
    let one = &joined[0];
    let at = |seconds: f64| one.altitude_m[one.index_at_or_after(hole_s - 3.0 + seconds)];
    assert!(at(-5.0).is_finite() && at(65.0).is_finite());
    assert!((2..57).all(|second| at(f64::from(second)).is_nan()));
    assert!(one.altitude_m[one.index_at_or_after(first_s)].is_finite());
}

#[test]
fn one_logger_beside_a_recording_for_each_block_is_joined_to_all_of_them() {
    let mut plan = two_units(18, -21.4, 0.0);
    plan.files = crate::simulate::Files::PerBlock;
    let (joined, warnings) = join(units(&plan), &asked(None, &[]));
    assert_eq!(joined.len(), 2, "{warnings:?}");
    for one in &joined {
        let clock = one.joined[0].clock;
        assert!((clock.offset_s + 21.4).abs() < 0.3, "{clock:?}");
        assert_eq!(one.speed_source, SpeedSource::WheelSensor);
    }
}

/// What of the other unit lies outside the ride stays, by the clock of the ride.
#[test]
fn a_longer_recording_of_the_other_unit_leaves_its_rest() {
    let mut recordings = ride_day(&two_units(19, 40.0, 0.0)).recordings;
    let count = recordings[0].samples.len();
    recordings[0].samples.truncate(count / 2);
    let end_s = recordings[0].samples[count / 2 - 1].time_s;
    recordings[0].timer_events.retain(|event| event.time_s <= end_s);
    let (joined, _) = join(aligned(recordings), &asked(None, &[]));
    assert_eq!(joined.len(), 2);
    assert!(joined[1].start_s() > end_s && joined[1].start_s() < end_s + 2.5);
    assert!(!joined[1].has_power());
}
