//! Real recordings, and damage done to them: what is whole is read, and the rest is told.

use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use flate2::{Compression, write::GzEncoder};
use stillair::recording::{Format, Recording, read, read_bytes};
use stillair::units::utc_text;

/// A file laid down by tests/fetch_rides. Without it the check fails: it is never skipped.
pub fn rides(name: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join(".target/rides")
        .join(name);
    assert!(
        path.exists(),
        "{} is missing: run tests/fetch_rides",
        path.display()
    );
    path
}

fn ride(name: &str) -> Recording {
    read(&rides(name)).unwrap_or_else(|error| panic!("{error}"))
}

/// Date, minutes, records, kilometres, mean power of the samples that have one: counted for us with another
/// decoder when the rides were chosen (code L), the last three to the digits given.
const ONE_RIDER: [(&str, f64, usize, f64, f64); 15] = [
    ("2016-08-03", 96.0, 4867, 37.9, 197.7),
    ("2016-08-06", 440.0, 10436, 53.8, 93.5),
    ("2016-08-14", 108.0, 1912, 13.6, 206.4),
    ("2016-08-20", 97.0, 5219, 39.0, 193.6),
    ("2016-08-27", 230.0, 10909, 77.3, 178.6),
    ("2016-09-10", 6.0, 357, 2.4, 169.2),
    ("2016-09-10", 105.0, 5170, 38.1, 173.4),
    ("2016-12-04", 99.0, 4988, 28.4, 128.1),
    ("2017-03-25", 79.0, 4038, 31.0, 180.5),
    ("2017-04-14", 170.0, 8467, 62.0, 177.8),
    ("2017-04-29", 197.0, 10632, 75.8, 156.2),
    ("2017-07-05", 57.0, 3185, 23.5, 177.1),
    ("2017-07-06", 74.0, 3877, 23.3, 110.6),
    ("2017-07-11", 88.0, 3813, 24.1, 128.9),
    ("2017-07-22", 92.0, 4647, 29.6, 127.4),
];

#[test]
fn fifteen_rides_of_one_rider() {
    for (index, (date, minutes, records, kilometres, power_w)) in ONE_RIDER.into_iter().enumerate() {
        let name = format!("one-rider/ride-{:02}.fit", index + 1);
        let recording = ride(&name);
        assert_eq!(recording.faults, [], "{name}");
        assert_eq!(recording.format, Format::Fit);
        assert_eq!(recording.samples.len(), records, "{name}");
        let (first, last) = (recording.samples[0].time_s, recording.samples[records - 1].time_s);
        assert!(
            utc_text(first, 0).starts_with(date),
            "{name}: {}",
            utc_text(first, 0)
        );
        assert!(
            ((last - first) / 60.0 - minutes).abs() <= 1.0,
            "{name}: {}",
            (last - first) / 60.0
        );
        let distance = recording
            .samples
            .iter()
            .rev()
            .find_map(|sample| sample.distance_m)
            .unwrap();
        assert!(
            (distance / 1000.0 - kilometres).abs() <= 0.051,
            "{name}: {distance}"
        );
        let power: Vec<f64> = recording
            .samples
            .iter()
            .filter_map(|sample| sample.power_w)
            .collect();
        let mean = power.iter().sum::<f64>() / power.len() as f64;
        assert!((mean - power_w).abs() <= 0.051, "{name}: {mean}");
        assert_eq!(recording.wheel_sensor, Some(true), "{name}");
        assert_eq!(recording.sessions.len(), 1, "{name}");
        assert!(recording.timer_events.len() >= 2, "{name}");
        for channel in &recording.extra {
            assert_eq!(channel.values.len(), records, "{name}, {}", channel.name);
        }
    }
}

#[test]
fn another_rider_and_a_ride_indoors() {
    let outdoors = ride("other-rider.fit");
    assert_eq!((outdoors.samples.len(), outdoors.faults.len()), (9979, 0));
    assert!(
        outdoors
            .rider_mass_kg
            .is_some_and(|mass| (40.0..150.0).contains(&mass))
    );
    let indoors = ride("indoor-no-speed.fit");
    assert_eq!(indoors.samples.len(), 2263);
    assert!(indoors.samples.iter().any(|sample| sample.power_w.is_some()));
    assert!(
        indoors
            .samples
            .iter()
            .all(|sample| sample.speed_m_s.is_none() && sample.latitude_deg.is_none())
    );
}

#[test]
fn a_real_ride_cut_anywhere_yields_what_came_before() {
    let bytes = fs::read(rides("other-rider.fit")).unwrap();
    let whole = read_bytes(Path::new("ride.fit"), &bytes).unwrap();
    for tenth in 1..10 {
        let cut = read_bytes(Path::new("ride.fit"), &bytes[..bytes.len() * tenth / 10]).unwrap();
        assert_eq!(cut.samples, whole.samples[..cut.samples.len()], "{tenth}");
        assert!(
            cut.samples.len() > 9979 * tenth / 10 - 250,
            "{tenth}: {}",
            cut.samples.len()
        );
        assert!(
            cut.faults.iter().any(|fault| fault.what.contains("cut short")),
            "{tenth}"
        );
    }
}

#[test]
fn a_real_ride_that_was_never_closed_is_whole() {
    let mut bytes = fs::read(rides("one-rider/ride-06.fit")).unwrap();
    bytes[4..8].fill(0);
    bytes.truncate(bytes.len() - 2);
    let recording = read_bytes(Path::new("ride.fit"), &bytes).unwrap();
    assert_eq!(recording.samples.len(), 357);
    assert_eq!(recording.faults.len(), 1, "{:?}", recording.faults);
}

#[test]
fn bytes_smashed_in_the_middle_invent_no_samples() {
    let bytes = fs::read(rides("one-rider/ride-01.fit")).unwrap();
    let whole = read_bytes(Path::new("ride.fit"), &bytes).unwrap();
    let (first, last) = (whole.samples[0].time_s, whole.samples[4866].time_s);
    for seed in 0..20usize {
        let mut smashed = bytes.clone();
        let start = bytes.len() / 3 + seed * 1013;
        for (place, byte) in smashed[start..start + 64].iter_mut().enumerate() {
            *byte = (place * 89 + seed * 151) as u8;
        }
        let recording = read_bytes(Path::new("ride.fit"), &smashed).unwrap();
        assert!(!recording.faults.is_empty(), "{seed}");
        assert!(
            recording.samples.len() > 1500,
            "{seed}: {}",
            recording.samples.len()
        );
        let week_s = 8.0 * 86_400.0;
        let near = |time_s: f64| (first - week_s..last + week_s).contains(&time_s);
        assert!(
            recording.samples.iter().all(|sample| near(sample.time_s)),
            "{seed}"
        );
    }
}

#[test]
fn a_packed_ride_is_the_same_ride() {
    let bytes = fs::read(rides("one-rider/ride-06.fit")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("RIDE.FIT.GZ");
    let mut encoder = GzEncoder::new(fs::File::create(&path).unwrap(), Compression::default());
    encoder.write_all(&bytes).unwrap();
    encoder.finish().unwrap();
    assert_eq!(
        read(&path).unwrap().samples,
        ride("one-rider/ride-06.fit").samples
    );
}

/// A point's extensions, from power, cadence, heart rate and temperature.
type Extensions = fn(f64, f64, f64, f64) -> String;

/// The same ride as GPX, with power in the three ways it is met in the wild.
#[test]
fn a_ride_written_as_gpx_reads_as_it_did_from_fit() {
    let styles: [Extensions; 3] = [
        |p, c, h, t| {
            format!(
                "<power>{p}</power><a:TrackPointExtension><a:atemp>{t}</a:atemp><a:hr>{h}</a:hr><a:cad>{c}</a:cad></a:TrackPointExtension>"
            )
        },
        |p, c, h, t| {
            format!(
                "<b:PowerExtension><b:PowerInWatts>{p}</b:PowerInWatts></b:PowerExtension><a:TrackPointExtension><a:atemp>{t}</a:atemp><a:hr>{h}</a:hr><a:cad>{c}</a:cad></a:TrackPointExtension>"
            )
        },
        |p, c, h, t| {
            format!(
                "<n:TPX><n:Watts>{p}</n:Watts></n:TPX><a:X><a:hr>{h}</a:hr><a:cadence>{c}</a:cadence><a:temp>{t}</a:temp></a:X>"
            )
        },
    ];
    let fit = ride("one-rider/ride-06.fit");
    for style in styles {
        let mut text = String::from(
            "<?xml version=\"1.0\"?><gpx version=\"1.1\" creator=\"test\" xmlns=\"http://www.topografix.com/GPX/1/1\" xmlns:a=\"http://example.org/a\" xmlns:b=\"http://example.org/b\" xmlns:n=\"http://example.org/n\"><trk><trkseg>",
        );
        let mut written = Vec::new();
        for sample in &fit.samples {
            let (Some(lat), Some(lon), Some(ele)) =
                (sample.latitude_deg, sample.longitude_deg, sample.altitude_m)
            else {
                continue;
            };
            let (Some(p), Some(c), Some(h), Some(t)) = (
                sample.power_w,
                sample.cadence_rpm,
                sample.heart_rate_bpm,
                sample.temperature_c,
            ) else {
                continue;
            };
            let time = utc_text(sample.time_s, 0);
            let extensions = style(p, c, h, t);
            write!(text, "<trkpt lat=\"{lat}\" lon=\"{lon}\"><ele>{ele}</ele><time>{time}</time><extensions>{extensions}</extensions></trkpt>").unwrap();
            written.push(*sample);
        }
        text.push_str("</trkseg></trk></gpx>");
        let gpx = read_bytes(Path::new("ride.gpx"), text.as_bytes()).unwrap();
        assert_eq!(gpx.faults, []);
        assert!(written.len() > 300);
        assert_eq!(gpx.samples.len(), written.len());
        for (read, mut expected) in gpx.samples.into_iter().zip(written) {
            (expected.distance_m, expected.speed_m_s) = (None, None);
            assert_eq!(read, expected);
        }
    }
}
