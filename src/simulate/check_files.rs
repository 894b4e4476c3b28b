//! The files, read back by other people's code.

use super::files::file_bytes;
use super::*;
use fitparser::profile::MesgNum;
use fitparser::{FitDataRecord, Value};

fn messages(day: &TrueDay, file: usize) -> Vec<FitDataRecord> {
    fitparser::from_bytes(&file_bytes(&day.recordings[file])).expect("a valid FIT file")
}

fn number(record: &FitDataRecord, name: &str) -> Option<f64> {
    let field = record.fields().iter().find(|f| f.name() == name)?;
    match field.value() {
        Value::Timestamp(time) => Some(time.timestamp() as f64),
        value => value.clone().try_into().ok(),
    }
}

fn text(record: &FitDataRecord, name: &str) -> Option<String> {
    let field = record.fields().iter().find(|f| f.name() == name)?;
    Some(field.value().to_string())
}

fn of_kind(messages: &[FitDataRecord], kind: MesgNum) -> Vec<&FitDataRecord> {
    messages.iter().filter(|m| m.kind() == kind).collect()
}

#[test]
fn fit_records_hold_the_samples() {
    let mut plan = out_and_back_plan(71, "AB", -3.0);
    plan.incidents = vec![Incident::PowerDropOut {
        pass: 1,
        at_m: 200.0,
        duration_s: 10.0,
    }];
    let day = ride_day(&plan);
    let messages = messages(&day, 0);
    let records = of_kind(&messages, MesgNum::Record);
    let samples = &day.recordings[0].samples;
    assert_eq!(records.len(), samples.len());
    let degrees = |semicircles: Option<f64>| semicircles.map(|s| s * 180.0 / 2f64.powi(31));
    for (record, sample) in records.iter().zip(samples) {
        let close = |name: &str, expected: Option<f64>, tolerance: f64| {
            let got = number(record, name);
            match (got, expected) {
                (Some(got), Some(expected)) => {
                    assert!((got - expected).abs() < tolerance, "{name} {got} {expected}");
                }
                _ => assert_eq!(got, expected, "{name}"),
            }
        };
        close("timestamp", Some(sample.time_s), 1e-9);
        close("enhanced_altitude", sample.altitude_m, 1e-6);
        close("enhanced_speed", sample.speed_m_s, 1e-6);
        close("distance", sample.distance_m, 1e-6);
        close("power", sample.power_w, 1e-9);
        close("cadence", sample.cadence_rpm, 1e-9);
        close("temperature", sample.temperature_c, 1e-9);
        assert_eq!(degrees(number(record, "position_lat")), sample.latitude_deg);
        assert_eq!(degrees(number(record, "position_long")), sample.longitude_deg);
    }
    assert!(samples.iter().filter(|s| s.power_w.is_none()).count() >= 9);
}

#[test]
fn fit_files_tell_sensors_laps_timer_and_session() {
    let mut plan = out_and_back_plan(72, "ABA", -3.0);
    plan.rider.timer = TimerHabit::AutoPause;
    let day = ride_day(&plan);
    let messages = messages(&day, 0);
    let recording = &day.recordings[0];
    let first = messages.first().expect("messages");
    assert_eq!(first.kind(), MesgNum::FileId);
    assert_eq!(text(first, "type").as_deref(), Some("activity"));

    let events = of_kind(&messages, MesgNum::Event);
    let told: Vec<(f64, bool)> = events
        .iter()
        .map(|e| {
            let kind = text(e, "event_type").expect("event type");
            (number(e, "timestamp").expect("time"), kind == "start")
        })
        .collect();
    let expected: Vec<(f64, bool)> = recording
        .timer_events
        .iter()
        .map(|e| (e.time_s, e.running))
        .collect();
    assert_eq!(told, expected);

    let laps = of_kind(&messages, MesgNum::Lap);
    let manual: Vec<f64> = laps
        .iter()
        .filter(|lap| text(lap, "lap_trigger").as_deref() == Some("manual"))
        .filter_map(|lap| number(lap, "timestamp"))
        .collect();
    assert_eq!(manual, recording.lap_marks_s);
    assert_eq!(laps.len(), 4);

    let sessions = of_kind(&messages, MesgNum::Session);
    let [session] = sessions.as_slice() else {
        panic!("{} sessions", sessions.len());
    };
    assert_eq!(text(session, "sport").as_deref(), Some("cycling"));
    assert_eq!(number(session, "num_laps"), Some(4.0));
    let elapsed = number(session, "total_elapsed_time").expect("elapsed");
    let timer = number(session, "total_timer_time").expect("timer");
    let length = recording.samples[recording.samples.len() - 1].time_s - recording.samples[0].time_s;
    assert!((elapsed - length).abs() < 1e-3);
    // Records are a second apart while the timer runs; each pause hides one step between records.
    let running = (recording.samples.len() - 1 - 3) as f64;
    assert!((timer - running).abs() < 1e-3, "{timer} {running}");
    assert_eq!(of_kind(&messages, MesgNum::Activity).len(), 1);
}

#[test]
fn a_wheel_sensor_is_told_by_its_device_type() {
    let mut plan = out_and_back_plan(73, "A", 0.0);
    let types = |day: &TrueDay| -> Vec<String> {
        let messages = messages(day, 0);
        let devices = of_kind(&messages, MesgNum::DeviceInfo);
        let kinds = devices.iter();
        kinds
            .filter_map(|d| text(d, "antplus_device_type").or_else(|| text(d, "device_type")))
            .collect()
    };
    assert_eq!(types(&ride_day(&plan)), ["bike_speed", "bike_power"]);
    plan.sensors.speed_source = SpeedTruth::Unit;
    assert_eq!(types(&ride_day(&plan)), ["bike_power"]);
}

#[test]
fn gpx_holds_points_segments_and_power() {
    let mut plan = out_and_back_plan(74, "AB", -3.0);
    plan.format = Format::Gpx;
    plan.rider.timer = TimerHabit::AutoPause;
    let day = ride_day(&plan);
    let recording = &day.recordings[0];
    let bytes = file_bytes(recording);
    let read = gpx::read(bytes.as_slice()).expect("a valid GPX file");
    let [track] = read.tracks.as_slice() else {
        panic!("{} tracks", read.tracks.len());
    };
    // Before the first block, each block: three stretches of running timer.
    assert_eq!(track.segments.len(), 3);
    assert_eq!(recording.timer_events.len(), 4);
    let points: Vec<&gpx::Waypoint> = track.segments.iter().flat_map(|s| &s.points).collect();
    assert_eq!(points.len(), recording.samples.len());
    for (point, sample) in points.iter().zip(&recording.samples) {
        assert_eq!(Some(point.point().y()), sample.latitude_deg);
        assert_eq!(Some(point.point().x()), sample.longitude_deg);
        assert_eq!(point.elevation, sample.altitude_m);
        let time = time::OffsetDateTime::from(point.time.expect("a time"));
        assert_eq!(time.unix_timestamp() as f64, sample.time_s);
    }
    let text = String::from_utf8(bytes).expect("UTF-8");
    let powers: Vec<f64> = text
        .split("<ride:power>")
        .skip(1)
        .filter_map(|rest| rest.split('<').next()?.parse().ok())
        .collect();
    let expected: Vec<f64> = recording.samples.iter().filter_map(|s| s.power_w).collect();
    assert_eq!(powers, expected);
}

#[test]
fn the_same_plan_gives_the_same_bytes() {
    for plan in [demo_plan(), loop_plan(75, "AB", -3.0)] {
        let bytes =
            |plan: &DayPlan| -> Vec<Vec<u8>> { ride_day(plan).recordings.iter().map(file_bytes).collect() };
        let first = bytes(&plan);
        assert!(first[0].len() > 10_000);
        assert_eq!(first, bytes(&plan));
        let mut other = plan.clone();
        other.seed += 1;
        assert_ne!(first, bytes(&other));
    }
}

#[test]
fn test_toml_is_valid_and_complete() {
    let mut plan = demo_plan();
    plan.title = "A \"quoted\" title".to_string();
    plan.setups[1].total_mass_kg = 82.6;
    let day = ride_day(&plan);
    let document: toml_edit::DocumentMut = day.test_toml(true).parse().expect("valid TOML");
    assert_eq!(document["title"].as_str(), Some("A \"quoted\" title"));
    assert_eq!(document["rider"]["total_mass_kg"].as_float(), Some(83.0));
    assert_eq!(document["course"]["shape"].as_str(), Some("out-and-back"));
    let blocks = document["block"].as_array_of_tables().expect("blocks");
    let order: Vec<&str> = blocks.iter().filter_map(|b| b["setup"].as_str()).collect();
    let (loose, close) = ("loose jacket", "close-fitting jacket");
    assert_eq!(order, [loose, close, close, loose, loose, close, close, loose]);
    let setups = document["setup"].as_array_of_tables().expect("set-ups");
    let masses: Vec<Option<f64>> = setups
        .iter()
        .map(|s| s.get("total_mass_kg").and_then(toml_edit::Item::as_float))
        .collect();
    assert_eq!(masses, [None, Some(82.6)]);
    // The answer is not given away.
    assert!(!day.test_toml(true).contains("cda"));
    assert!(!day.test_toml(false).contains("[course]"));
}

#[test]
fn the_readers_of_this_house_return_what_was_recorded() {
    for format in [Format::Fit, Format::Gpx] {
        let mut plan = out_and_back_plan(76, "ABA", -3.0);
        plan.format = format;
        plan.rider.timer = TimerHabit::AutoPause;
        let day = ride_day(&plan);
        let written = &day.recordings[0];
        let read = crate::recording::read_bytes(&written.file, &file_bytes(written));
        let mut read = read.expect("a recording");
        for (a, b) in read.samples.iter_mut().zip(&written.samples) {
            // The reader may unpack "123.4 m" by another rounding: equal to 1e-9 is the same.
            for (a, b) in [
                (&mut a.altitude_m, b.altitude_m),
                (&mut a.speed_m_s, b.speed_m_s),
                (&mut a.distance_m, b.distance_m),
                (&mut a.latitude_deg, b.latitude_deg),
                (&mut a.longitude_deg, b.longitude_deg),
            ] {
                if let (Some(x), Some(y)) = (*a, b)
                    && (x - y).abs() < 1e-9
                {
                    *a = b;
                }
            }
        }
        assert_eq!(read.samples, written.samples);
        assert_eq!(read.timer_events, written.timer_events);
        assert_eq!(read.lap_marks_s, written.lap_marks_s);
        assert_eq!(read.sessions, written.sessions);
        assert_eq!(read.wheel_sensor, written.wheel_sensor);
        assert_eq!(read.faults, []);
    }
}

#[test]
fn air_speed_is_in_every_format() {
    for (format, name) in [
        (Format::Fit, "air speed"),
        (Format::Csv, "air speed (m/s)"),
        (Format::Gpx, "air_speed"),
    ] {
        let mut plan = out_and_back_plan(79, "AB", -3.0);
        plan.format = format;
        plan.rider.timer = TimerHabit::AutoPause;
        plan.sensors.air_speed = Some(AirSpeedTruth {
            scale_error: 0.02,
            noise_m_s: 0.1,
            resolution_m_s: 0.01,
        });
        let day = ride_day(&plan);
        let given = &day.recordings[0];
        let read = crate::recording::read_bytes(&given.file, &file_bytes(given)).expect("readable");
        assert_eq!(read.faults, []);
        let [channel] = read.extra.as_slice() else {
            panic!("{:?}", read.extra)
        };
        assert_eq!(channel.name, name);
        assert_eq!(channel.values.len(), given.samples.len());
        for (a, b) in channel.values.iter().zip(&given.extra[0].values) {
            // FIT holds it in 32 bits: 24 of a value below 64.
            assert!((a.expect("read") - b.expect("given")).abs() < 64.0 / 2f64.powi(24));
        }
        if format == Format::Csv {
            assert_eq!(read.samples, given.samples);
        }
    }
}
