//! Every reader on many thousand spoilt files: a sound recording, or faults that name the file and the place.

use super::{change, seeds, watch};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::path::Path;
use stillair::error::{Error, Fault};
use stillair::recording::{Recording, read_bytes};

/// Changed files; the first promise of docs/reliability.md.
const RECORDINGS: usize = 200_000;
const REPORTS: usize = 20_000;
const TEST_TOMLS: usize = 20_000;

/// What is said of a file as a whole, and so has no place in it.
const OF_THE_WHOLE: [&str; 19] = [
    "is empty",
    "is a zip archive",
    "is a web page",
    "is XML, but neither GPX nor TCX",
    "is not a FIT file",
    "is not a recording",
    "is a route, not a recording",
    "is larger than",
    "holds no samples",
    "holds no header",
    "holds more than",
    "has something that a strict reader",
    "have no time",
    "have impossible times",
    "more rows or cells are bad",
    "no date",
    "gzip data are damaged",
    "times are read as",
    "the time of day",
];

/// What holds for everything that is said to be wrong.
pub fn check_fault(fault: &Fault, name: &str) {
    assert_eq!(fault.file.as_deref(), Some(Path::new(name)), "{fault}");
    assert!(
        !fault.what.is_empty() && fault.next_step.ends_with(['.', '?']),
        "{fault}"
    );
    let named = fault.place.is_some() || fault.what.starts_with("line ");
    let whole = || OF_THE_WHOLE.iter().any(|words| fault.what.contains(words));
    assert!(named || whole(), "no place: {fault}");
}

pub fn check_error(error: &Error, name: &str) {
    assert!(!error.faults.is_empty());
    error.faults.iter().for_each(|fault| check_fault(fault, name));
}

/// What holds for every recording, whatever it was read from.
pub fn check_recording(recording: &Recording, name: &str) {
    assert!(!recording.samples.is_empty());
    for sample in &recording.samples {
        assert!(sample.time_s.is_finite());
        let in_range = |value: Option<f64>, most: f64| value.is_none_or(|value| value.abs() <= most);
        assert!(
            in_range(sample.latitude_deg, 90.0) && in_range(sample.longitude_deg, 180.0),
            "{sample:?}"
        );
        let values = [
            sample.altitude_m,
            sample.distance_m,
            sample.speed_m_s,
            sample.power_w,
            sample.cadence_rpm,
            sample.heart_rate_bpm,
            sample.temperature_c,
            sample.pressure_pa,
        ];
        assert!(values.into_iter().flatten().all(f64::is_finite), "{sample:?}");
    }
    for channel in &recording.extra {
        assert_eq!(channel.values.len(), recording.samples.len());
        assert!(channel.values.iter().flatten().all(|value| value.is_finite()));
    }
    let marks = recording.lap_marks_s.iter().copied();
    let events = recording.timer_events.iter().map(|event| event.time_s);
    let sessions = recording.sessions.iter().flat_map(|of| [of.start_s, of.end_s]);
    assert!(marks.chain(events).chain(sessions).all(f64::is_finite));
    assert!(recording.rider_mass_kg.is_none_or(f64::is_finite));
    recording.faults.iter().for_each(|fault| check_fault(fault, name));
}

pub fn check_bytes(name: &str, bytes: &[u8]) -> bool {
    match read_bytes(Path::new(name), bytes) {
        Ok(recording) => {
            check_recording(&recording, name);
            true
        }
        Err(error) => {
            check_error(&error, name);
            false
        }
    }
}

#[test]
fn spoilt_recordings_are_read_or_refused() {
    let seeds = seeds::recordings();
    let read = std::sync::Arc::new(std::sync::atomic::AtomicUsize::new(0));
    let count = read.clone();
    watch::all(RECORDINGS, "spoilt recordings", move |item| {
        let mut random = ChaCha8Rng::seed_from_u64(item as u64);
        let seed = &seeds[item % seeds.len()];
        let other = &seeds[random.random_range(0..seeds.len())];
        let mut bytes = change::spoilt(&seed.bytes, &other.bytes, &mut random);
        // Some are packed after they were spoilt: the packing is sound, what is in it is not.
        if random.random_bool(0.1) {
            bytes = seeds::pack(&bytes);
        }
        let sound = check_bytes(seed.name, &bytes);
        count.fetch_add(usize::from(sound), std::sync::atomic::Ordering::Relaxed);
    });
    // The changes are neither so gentle that nothing breaks nor so rough that nothing is left.
    let share = read.load(std::sync::atomic::Ordering::Relaxed) as f64 / RECORDINGS as f64;
    assert!((0.3..0.95).contains(&share), "{share}");
}

#[test]
fn spoilt_reports_of_the_air_are_read_or_refused() {
    watch::all(REPORTS, "spoilt reports", |item| {
        let mut random = ChaCha8Rng::seed_from_u64(item as u64);
        let report = seeds::REPORTS[item % seeds::REPORTS.len()];
        let other = seeds::REPORTS[random.random_range(0..seeds::REPORTS.len())];
        let bytes = change::spoilt(report.as_bytes(), other.as_bytes(), &mut random);
        let text = String::from_utf8_lossy(&bytes);
        match stillair::air::metar::decode(&text) {
            Ok(seen) => {
                let values = [seen.temperature_c, seen.dew_point_c, seen.qnh_pa];
                assert!(
                    values.into_iter().flatten().all(f64::is_finite),
                    "{text} {seen:?}"
                );
                let wind = seen.wind.iter();
                assert!(
                    wind.clone()
                        .all(|wind| wind.speed_m_s.is_finite() && wind.speed_m_s >= 0.0),
                    "{text}"
                );
                for near_s in [0.0, 1e9, -1e18, 4.3e9] {
                    assert!(seen.time_s(near_s).is_none_or(f64::is_finite), "{text}");
                }
            }
            Err(fault) => assert!(
                !fault.what.is_empty() && fault.next_step.ends_with('.'),
                "{text} {fault}"
            ),
        }
    });
}

#[test]
fn spoilt_notes_of_the_day_are_read_or_refused() {
    let name = "day/test.toml";
    let whole = stillair::test_day::parse(Path::new(name), seeds::TEST_TOML);
    assert!(whole.is_ok(), "{}", whole.unwrap_err());
    watch::all(TEST_TOMLS, "spoilt test.toml", move |item| {
        let mut random = ChaCha8Rng::seed_from_u64(item as u64);
        let bytes = change::spoilt(
            seeds::TEST_TOML.as_bytes(),
            seeds::REPORTS[0].as_bytes(),
            &mut random,
        );
        let text = String::from_utf8_lossy(&bytes);
        if let Err(error) = stillair::test_day::parse(Path::new(name), &text) {
            assert!(!error.faults.is_empty());
            for fault in &error.faults {
                assert_eq!(fault.file.as_deref(), Some(Path::new(name)), "{fault}");
                assert!(fault.place.is_some(), "no place: {fault}");
                assert!(
                    !fault.what.is_empty() && fault.next_step.ends_with(['.', '?']),
                    "{fault}"
                );
            }
        }
    });
}
