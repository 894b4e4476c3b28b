use super::*;
use crate::recording::read_bytes;

const TWO_LAPS: &str = include_str!("../../../fixtures/recordings/two-laps.tcx");
/// 2026-01-05T08:00:00Z, from `date -u -d … +%s`.
const START_S: f64 = 1_767_600_000.0;

fn parse(text: &str) -> Result<Recording> {
    read_bytes(Path::new("ride.tcx"), text.as_bytes())
}

#[test]
fn points_laps_pauses_and_extensions() {
    let recording = parse(TWO_LAPS).unwrap();
    let times: Vec<f64> = recording
        .samples
        .iter()
        .map(|sample| sample.time_s - START_S)
        .collect();
    assert_eq!(times, [0.0, 40.0, 60.0, 120.0]);
    let first = Sample {
        time_s: START_S,
        latitude_deg: Some(-43.9),
        longitude_deg: Some(170.5),
        altitude_m: Some(700.2),
        distance_m: Some(0.0),
        speed_m_s: Some(9.5),
        power_w: Some(240.0),
        cadence_rpm: Some(88.0),
        heart_rate_bpm: Some(141.0),
        ..Sample::default()
    };
    assert_eq!(recording.samples[0], first);
    assert_eq!(recording.samples[2].power_w, Some(260.0));
    assert_eq!(recording.lap_marks_s, [START_S + 60.0]);
    let events: Vec<_> = recording
        .timer_events
        .iter()
        .map(|e| (e.time_s - START_S, e.running))
        .collect();
    assert_eq!(events, [(0.0, false), (40.0, true)]);
    let session = Session {
        start_s: START_S,
        end_s: START_S + 120.0,
        sport: Some("Biking".into()),
    };
    assert_eq!(recording.sessions, [session]);
    assert_eq!(recording.device.as_deref(), Some("test unit"));
    assert_eq!(recording.faults.len(), 1);
    assert!(
        recording.faults[0].what.contains("1 track points have no time"),
        "{}",
        recording.faults[0]
    );
}

#[test]
fn a_cut_file_yields_what_is_whole() {
    let cut = &TWO_LAPS[..TWO_LAPS.find("<Watts>260").unwrap()];
    let recording = parse(cut).unwrap();
    assert_eq!(recording.samples.len(), 2);
    assert!(
        recording.faults[0].what.contains("cut short inside"),
        "{}",
        recording.faults[0]
    );
    assert_eq!(recording.sessions.len(), 1);
}

#[test]
fn a_file_without_timed_points_holds_no_samples() {
    let error = parse("<TrainingCenterDatabase><Courses/></TrainingCenterDatabase>").unwrap_err();
    assert!(error.to_string().contains("holds no samples"), "{error}");
}
