use super::*;
use crate::recording::read_bytes;

const SEMICOLONS: &str = include_str!("../../../fixtures/recordings/semicolons.csv");
/// 2026-01-05T08:00:00Z, from `date -u -d … +%s`.
const START_S: f64 = 1_767_600_000.0;

fn parse(text: &str) -> Result<Recording> {
    read_bytes(Path::new("ride.csv"), text.as_bytes())
}

fn times(text: &str) -> Vec<f64> {
    parse(text)
        .unwrap_or_else(|error| panic!("{error}"))
        .samples
        .iter()
        .map(|sample| sample.time_s)
        .collect()
}

fn close(value: Option<f64>, expected: f64) -> bool {
    value.is_some_and(|value| (value - expected).abs() < 1e-9)
}

#[test]
fn semicolons_decimal_commas_and_units_in_the_header() {
    let recording = parse(SEMICOLONS).unwrap();
    assert_eq!(recording.samples.len(), 3);
    let [first, second, third] = recording.samples[..] else {
        panic!()
    };
    assert_eq!(
        (first.time_s, first.power_w, first.altitude_m),
        (START_S, Some(240.0), Some(700.2))
    );
    assert_eq!(
        (first.latitude_deg, first.longitude_deg),
        (Some(-43.9), Some(170.5))
    );
    assert!(close(first.speed_m_s, 10.0) && close(second.speed_m_s, 10.5));
    assert!(close(first.temperature_c, 20.0), "{:?}", first.temperature_c);
    assert_eq!(
        (second.power_w, third.speed_m_s, third.temperature_c),
        (None, None, None)
    );
    let [yaw] = &recording.extra[..] else {
        panic!("{:?}", recording.extra)
    };
    assert_eq!(
        (yaw.name.as_str(), yaw.values.as_slice()),
        ("yaw angle", &[Some(2.5), None, None][..])
    );
    let faults: Vec<&str> = recording.faults.iter().map(|fault| fault.what.as_str()).collect();
    assert_eq!(
        faults,
        [
            "line 3, column 'Power (W)': 'oops' is not a number",
            "line 6: no usable time in 'not a time'; the row is left out",
        ]
    );
}

#[test]
fn times_in_every_form() {
    let at = START_S;
    assert_eq!(times("time,power_w\n2026-01-05T10:00:00+02:00,1\n"), [at]);
    assert_eq!(times("time,power_w\n2026-01-05 08:00:00,1\n"), [at]);
    assert_eq!(times("timestamp\tpower\n1767600000.5\t1\n"), [at + 0.5]);
    assert_eq!(times("timestamp,power\n1767600000500,1\n"), [at + 0.5]);
    assert_eq!(times("Time (ms);Watts\n1767600000500;1\n"), [at + 0.5]);
    assert_eq!(times("date,time,power\n2026-01-05,08:00:00,1\n"), [at]);
    // A date is worth more than the seconds since the start beside it.
    assert_eq!(times("secs,timestamp,power\n5,2026-01-05T08:00:00Z,1\n"), [at]);
}

#[test]
fn elapsed_time_alone_starts_in_1970_and_says_so() {
    for text in [
        "secs,watts\n0,1\n1.5,2\n",
        "time,watts\n0,1\n1.5,2\n",
        "elapsed time;watts\n0:00:00;1\n0:00:01,5;2\n",
    ] {
        let recording = parse(text).unwrap();
        assert_eq!(
            recording.samples.iter().map(|s| s.time_s).collect::<Vec<_>>(),
            [0.0, 1.5],
            "{text}"
        );
        assert!(
            recording.faults[0].what.starts_with("no date"),
            "{}",
            recording.faults[0]
        );
    }
    assert_eq!(times("time (min),power\n0,1\n2,1\n"), [0.0, 120.0]);
}

#[test]
fn a_speed_without_a_unit_is_taken_for_metres_a_second_and_says_so() {
    let recording = parse("time,speed\n2026-01-05T08:00:00Z,10\n").unwrap();
    assert_eq!(recording.samples[0].speed_m_s, Some(10.0));
    assert!(
        recording.faults[0].what.contains("gives no unit"),
        "{}",
        recording.faults[0]
    );
    assert_eq!(
        parse("time,speed_m_s\n2026-01-05T08:00:00Z,10\n").unwrap().faults,
        []
    );
}

#[test]
fn a_strange_unit_is_kept_apart_and_told() {
    let recording = parse("time,power (hp),power [W]\n2026-01-05T08:00:00Z,1,735\n").unwrap();
    assert_eq!(recording.samples[0].power_w, Some(735.0));
    assert_eq!(
        (
            recording.extra[0].name.as_str(),
            recording.extra[0].units.as_str()
        ),
        ("power (hp)", "hp")
    );
    assert!(
        recording.faults[0].what.contains("'hp' is not understood"),
        "{}",
        recording.faults[0]
    );
}

#[test]
fn two_columns_for_one_quantity_are_both_kept() {
    let recording = parse("time,alt,enhanced_altitude\n2026-01-05T08:00:00Z,700,700.25\n").unwrap();
    assert_eq!(recording.samples[0].altitude_m, Some(700.25));
    assert_eq!(
        (recording.extra[0].name.as_str(), recording.extra[0].values[0]),
        ("alt", Some(700.0))
    );
}

#[test]
fn lines_above_the_header_are_passed_over() {
    let text =
        "A ride, of mine\nunit,none\n\ntime,power\n2026-01-05T08:00:00Z,250\n2026-01-05T08:00:01Z,bad\n";
    let recording = parse(text).unwrap();
    assert_eq!(recording.samples[0].power_w, Some(250.0));
    assert!(
        recording.faults[0].what.starts_with("line 6,"),
        "{}",
        recording.faults[0]
    );
}

#[test]
fn no_time_is_an_error_that_shows_the_header() {
    let error = parse("speed;power\n1;2\n").unwrap_err();
    assert!(error.to_string().contains("'speed;power'"), "{error}");
    assert!(error.to_string().contains("unix seconds"), "{error}");
    for text in ["time,power\n", "time,power\nyesterday,1\n"] {
        let error = parse(text).unwrap_err();
        assert!(error.to_string().contains("holds no samples"), "{error}");
    }
}

#[test]
fn of_many_bad_cells_the_first_twenty_are_named() {
    let mut text = String::from("time,power\n");
    for second in 0..50 {
        text.push_str(&format!("{},x\n", 1_767_600_000 + second));
    }
    let recording = parse(&text).unwrap();
    assert_eq!(recording.samples.len(), 50);
    assert_eq!(recording.faults.len(), 21);
    assert!(
        recording.faults[20].what.starts_with("30 more"),
        "{}",
        recording.faults[20]
    );
}

#[test]
fn quoted_cells_and_windows_lines() {
    let text = "\"Time\",\"Power (W)\",\"Note\"\r\n\"2026-01-05T08:00:00Z\",\"250\",\"up, and\r\naway\"\r\n\"2026-01-05T08:00:01Z\",\"x\",\"\"\r\n";
    let recording = parse(text).unwrap();
    assert_eq!(recording.samples.len(), 2);
    assert_eq!(recording.samples[0].power_w, Some(250.0));
    assert!(
        recording.faults[0].what.starts_with("line 4,"),
        "{}",
        recording.faults[0]
    );
}
