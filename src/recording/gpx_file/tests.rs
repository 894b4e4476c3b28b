use super::*;
use crate::recording::read_bytes;

const THREE_POINTS: &str = include_str!("../../../fixtures/recordings/three-points.gpx");
const PACKED: &[u8] = include_bytes!("../../../fixtures/recordings/three-points.gpx.gz");
/// 2026-01-05T08:00:00Z, from `date -u -d … +%s`.
const START_S: f64 = 1_767_600_000.0;

fn parse(text: &str) -> Result<Recording> {
    read_bytes(Path::new("ride.gpx"), text.as_bytes())
}

fn check_three_points(recording: &Recording) {
    let times: Vec<f64> = recording
        .samples
        .iter()
        .map(|sample| sample.time_s - START_S)
        .collect();
    assert_eq!(times, [0.0, 1.5, 60.0]);
    let first = Sample {
        time_s: START_S,
        latitude_deg: Some(-43.9),
        longitude_deg: Some(170.5),
        altitude_m: Some(700.2),
        power_w: Some(240.0),
        heart_rate_bpm: Some(141.0),
        cadence_rpm: Some(88.0),
        temperature_c: Some(17.0),
        ..Sample::default()
    };
    assert_eq!(recording.samples[0], first);
    let second = recording.samples[1];
    assert_eq!(
        (second.power_w, second.speed_m_s, second.altitude_m),
        (Some(251.0), Some(9.75), None)
    );
    let third = recording.samples[2];
    assert_eq!((third.power_w, third.longitude_deg), (Some(0.0), Some(-180.0)));
    let yaw = &recording.extra[0];
    assert_eq!(
        (yaw.name.as_str(), yaw.values.as_slice()),
        ("yaw", &[None, Some(3.5), None][..])
    );
    let events: Vec<_> = recording
        .timer_events
        .iter()
        .map(|e| (e.time_s - START_S, e.running))
        .collect();
    assert_eq!(events, [(1.5, false), (60.0, true)]);
}

#[test]
fn points_extensions_segments_and_the_date_line() {
    // The crate refuses a longitude of 180, so this takes the lenient way, and says so.
    let recording = parse(THREE_POINTS).unwrap();
    check_three_points(&recording);
    assert_eq!(recording.faults.len(), 1);
    assert!(
        recording.faults[0]
            .what
            .contains("a strict reader of GPX refuses"),
        "{}",
        recording.faults[0]
    );
    assert_eq!(recording.device.as_deref(), Some("made for tests"));
    assert_eq!(recording.sessions[0].sport.as_deref(), Some("cycling"));
    let packed = read_bytes(Path::new("ride.gpx.gz"), PACKED).unwrap();
    assert_eq!(packed.samples, recording.samples);
}

#[test]
fn both_ways_of_reading_give_the_same() {
    let standard = THREE_POINTS.replace("lon=\"180\"", "lon=\"-180\"");
    let by_crate = parse(&standard).unwrap();
    assert_eq!(by_crate.faults, []);
    check_three_points(&by_crate);
    // A blank before the closing tag of the root is all right; an unknown child of a segment is not.
    let lenient = parse(&standard.replace("</trkseg>", "<odd/></trkseg>")).unwrap();
    assert_eq!(lenient.faults.len(), 1);
    assert_eq!(
        (lenient.samples, lenient.timer_events),
        (by_crate.samples, by_crate.timer_events)
    );
}

#[test]
fn what_the_crate_refuses_is_read_all_the_same() {
    let standard = THREE_POINTS.replace("lon=\"180\"", "lon=\"-180\"");
    for (from, to) in [
        ("<ele>700.2</ele>", "<ele>700,2</ele>"),
        ("2026-01-05T08:00:00Z", "2026-01-05 08:00:00"),
        ("<ele>700.2</ele>", "<ele>700.2</ele><speed>9.1</speed>"),
        ("<trkseg>", "<trkseg><extensions><x>1</x></extensions>"),
        (" version=\"1.1\"", ""),
    ] {
        let odd = standard.replacen(from, to, 1);
        assert_ne!(odd, standard);
        let recording = parse(&odd).unwrap_or_else(|error| panic!("{to}: {error}"));
        assert_eq!(recording.samples.len(), 3, "{to}");
        assert_eq!(recording.samples[0].altitude_m, Some(700.2), "{to}");
        assert_eq!(recording.samples[0].time_s, START_S, "{to}");
    }
    // A blank line before the declaration is set right without a word.
    assert_eq!(parse(&format!("\n\n{standard}")).unwrap().faults, []);
}

#[test]
fn a_cut_file_yields_its_whole_points() {
    let cut = &THREE_POINTS[..THREE_POINTS.find("</trkseg>").unwrap() + 3];
    let recording = parse(cut).unwrap();
    assert_eq!(recording.samples.len(), 2);
    assert!(
        recording.faults[0]
            .place
            .as_deref()
            .unwrap()
            .starts_with("line 10, byte"),
        "{}",
        recording.faults[0]
    );
    // Inside a point: the point is whole as far as it goes, but its time must be there.
    let cut = &THREE_POINTS[..THREE_POINTS.find("2026-01-05T08:00:01").unwrap()];
    assert_eq!(parse(cut).unwrap().samples.len(), 1);
}

#[test]
fn a_route_is_not_a_recording() {
    let timeless = "<gpx version='1.1'><trk><trkseg><trkpt lat='1' lon='2'/></trkseg></trk></gpx>";
    let route = "<gpx version='1.1'><rte><rtept lat='1' lon='2'/></rte></gpx>";
    for text in [timeless, route] {
        let error = parse(text).unwrap_err();
        assert!(error.to_string().contains("a route, not a recording"), "{error}");
    }
    let error = parse("<gpx version='1.1'></gpx>").unwrap_err();
    assert!(error.to_string().contains("holds no samples"), "{error}");
}

#[test]
fn entities_and_endless_nesting_are_refused() {
    let bomb = "<?xml version='1.0'?><!DOCTYPE gpx [<!ENTITY a 'aaaa'><!ENTITY b '&a;&a;'>]><gpx>&b;</gpx>";
    let error = parse(bomb).unwrap_err();
    assert!(error.to_string().contains("declares entities"), "{error}");
    let deep = format!("<gpx>{}", "<a>".repeat(100_000));
    let error = parse(&deep).unwrap_err();
    assert!(error.to_string().contains("more than 64 deep"), "{error}");
}
