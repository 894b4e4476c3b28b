//! The FIT reader against fitdecode 0.11.0, live, field by field on every real recording (code L).
//! The format owner's own decoder is no referee here: it refuses compressed time stamps.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use stillair::recording::{Sample, read};
use stillair::simulate::{AirSpeedTruth, out_and_back_plan, ride_day};

use crate::recordings::rides;

/// What fitdecode made of each file: its records, as `tests/reference/fitdecode_fields.py` lists them.
fn decoded(files: &[PathBuf]) -> Vec<Value> {
    decoded_with(&[], files)
}

fn decoded_with(options: &[&str], files: &[PathBuf]) -> Vec<Value> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = root.join(".target/reference-venv/bin/python");
    assert!(
        python.exists(),
        "{} is missing: run tests/reference/make_venv",
        python.display()
    );
    let script = root.join("tests/reference/fitdecode_fields.py");
    let output = Command::new(python)
        .arg(script)
        .args(options)
        .args(files)
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let text = String::from_utf8(output.stdout).unwrap();
    let answers: Vec<Value> = text
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(answers.len(), files.len());
    answers
}

/// Name, our value, and their field with its factor to our unit.
fn fields(sample: &Sample) -> [(&'static str, Option<f64>, f64); 10] {
    let semicircles = 180.0 / 2f64.powi(31);
    [
        ("time", Some(sample.time_s), 1.0),
        ("latitude", sample.latitude_deg, semicircles),
        ("longitude", sample.longitude_deg, semicircles),
        ("altitude", sample.altitude_m, 1.0),
        ("speed", sample.speed_m_s, 1.0),
        ("distance", sample.distance_m, 1.0),
        ("power", sample.power_w, 1.0),
        ("cadence", sample.cadence_rpm, 1.0),
        ("heart rate", sample.heart_rate_bpm, 1.0),
        ("temperature", sample.temperature_c, 1.0),
    ]
}

/// Equal counts, and equal values to the rounding of one multiplication; returns how many values were compared.
fn compare(file: &Path, answer: &Value) -> usize {
    let ours = read(file).unwrap_or_else(|error| panic!("{error}")).samples;
    let theirs = answer["records"].as_array().unwrap();
    assert_eq!(ours.len(), theirs.len(), "{}", file.display());
    let mut compared = 0;
    for (row, (sample, record)) in ours.iter().zip(theirs).enumerate() {
        for (column, (name, value, factor)) in fields(sample).into_iter().enumerate() {
            let expected = record[column].as_f64().map(|value| value * factor);
            let same = match (value, expected) {
                (Some(value), Some(expected)) => (value - expected).abs() <= 1e-12 * expected.abs().max(1.0),
                (None, None) => true,
                _ => false,
            };
            assert!(
                same,
                "{} record {row}, {name}: {value:?} against {expected:?}",
                file.display()
            );
            compared += usize::from(value.is_some());
        }
    }
    compared
}

#[test]
fn every_field_of_every_real_ride_is_as_fitdecode_reads_it() {
    let mut files: Vec<PathBuf> = (1..=15)
        .map(|n| rides(&format!("one-rider/ride-{n:02}.fit")))
        .collect();
    files.push(rides("other-rider.fit"));
    files.push(rides("indoor-no-speed.fit"));
    files.push(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/recordings/tiny.fit"));
    let mut compared = 0;
    for (file, answer) in files.iter().zip(decoded(&files)) {
        assert!(answer["stopped"].is_null(), "{}", answer["stopped"]);
        compared += compare(file, &answer);
    }
    // 94 766 records with eight to ten fields each.
    assert!(compared > 700_000, "{compared}");
}

#[test]
fn what_is_whole_in_a_damaged_file_is_as_fitdecode_reads_it() {
    let names = [
        "checksum",
        "second-checksum",
        "second-header",
        "second-without-data",
        "cut-short",
    ];
    let files: Vec<PathBuf> = names
        .iter()
        .map(|name| rides(&format!("damaged/{name}.fit")))
        .collect();
    for (file, answer) in files.iter().zip(decoded(&files)) {
        assert!(compare(file, &answer) > 0);
        assert!(
            !read(file).unwrap().faults.is_empty(),
            "{}: damage unnoticed",
            file.display()
        );
    }
}

/// A developer field written by us, read by fitdecode and by our reader (code L).
#[test]
fn an_air_speed_field_is_as_fitdecode_reads_it() {
    let mut plan = out_and_back_plan(7, "A", 0.0);
    plan.sensors.air_speed = Some(AirSpeedTruth {
        scale_error: 0.02,
        noise_m_s: 0.1,
        resolution_m_s: 0.01,
    });
    let home = tempfile::tempdir().unwrap();
    let files = ride_day(&plan).write_files(home.path()).unwrap();
    let answers = decoded_with(&["--developer", "air speed"], &files);
    assert!(answers[0]["stopped"].is_null(), "{}", answers[0]["stopped"]);
    assert!(compare(&files[0], &answers[0]) > 1000);
    let ours = read(&files[0]).unwrap();
    let theirs = answers[0]["records"].as_array().unwrap();
    for (value, record) in ours.extra[0].values.iter().zip(theirs) {
        let expected = record[10].as_f64().unwrap();
        assert!((value.unwrap() - expected).abs() < 1e-9, "{value:?} {expected}");
    }
}
