//! Recordings that are damaged, incomplete or none at all, and folders without any.

use super::workbench::{Bench, climb_day, short_day, short_plan, tells, unwrapped};
use stillair::recording::Sample;
use stillair::simulate::{Format, TrueDay, ride_day};

/// The day with every sample changed.
fn spoilt(mut day: TrueDay, change: impl Fn(&mut Sample)) -> Bench {
    day.recordings
        .iter_mut()
        .flat_map(|r| &mut r.samples)
        .for_each(change);
    Bench::of(&day)
}

#[test]
fn what_is_no_recording_is_said_to_be_none() {
    for (content, what) in [
        (&b""[..], "is empty"),
        (b"\xff\xd8\xff\xe0 a photograph", "is not a FIT file"),
        (b"<!DOCTYPE html><html></html>", "is a web page"),
    ] {
        let bench = Bench::new();
        bench.write("day/ride.fit", content);
        bench.compare().refuses(&[("day/ride.fit", &[what])]);
        bench
            .run(&["inspect", "day/ride.fit"])
            .refuses(&[("day/ride.fit", &[what])]);
    }
}

#[test]
fn without_power_passes_are_found_but_not_compared() {
    let bench = spoilt(short_day(), |s| s.power_w = None);
    bench.compare().refuses(&[("day/ride.fit", &["has no power"])]);
    let passes = bench.run(&["passes", "day", "--json"]).json();
    assert_eq!(passes["passes"].as_array().unwrap().len(), 8);
}

#[test]
fn without_positions_there_are_no_passes() {
    let bench = spoilt(short_day(), |s| (s.latitude_deg, s.longitude_deg) = (None, None));
    for command in ["compare", "passes"] {
        bench
            .run(&[command, "day"])
            .refuses(&[("day/ride.fit", &["has no positions"])]);
    }
}

#[test]
fn without_altitude_one_way_is_refused_and_out_and_back_is_warned_of() {
    let climb = spoilt(climb_day(), |s| s.altitude_m = None);
    climb
        .compare()
        .refuses(&[("day", &["no altitude", "one-way course"])]);

    let both_ways = spoilt(short_day(), |s| s.altitude_m = None);
    let ran = both_ways.compare();
    assert_eq!(ran.works().stderr, "");
    assert!(
        unwrapped(&ran.stdout).contains("There is no altitude"),
        "{}",
        ran.stdout
    );
    let json = both_ways.run(&["compare", "day", "--json"]).json();
    let kinds: Vec<&str> = json["warnings"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|w| w["kind"].as_str())
        .collect();
    assert!(kinds.contains(&"altitude"), "{kinds:?}");
}

/// A recording that ends soon after a pass of the day.
fn ends_after(day: &mut TrueDay, pass: usize) {
    let end_s = day.passes[pass - 1].end_s + 5.0;
    day.recordings[0].samples.retain(|s| s.time_s < end_s);
}

#[test]
fn a_ride_that_repeats_nothing_is_told_how_to_go_on() {
    let mut day = short_day();
    ends_after(&mut day, 1);
    let bench = Bench::of(&day);
    for command in ["compare", "passes"] {
        let words = ["250 m", "ridden twice", "[course]"];
        bench.run(&[command, "day"]).refuses(&[("day/ride.fit", &words)]);
    }
    let inspected = bench.run(&["inspect", "day/ride.fit"]);
    assert!(
        inspected.works().stdout.contains("No stretch to test on"),
        "{}",
        inspected.stdout
    );
}

#[test]
fn one_pass_alone_is_fitted_and_called_one() {
    let mut day = short_day();
    ends_after(&mut day, 1);
    let bench = Bench::new();
    day.write_files(&bench.path("day")).unwrap();
    let gate = |[latitude, longitude]: [f64; 2]| format!("[{latitude:.6}, {longitude:.6}]");
    let course = format!(
        "[course]\nshape = \"one-way\"\nstart = {}\nfinish = {}\n",
        gate(day.start_deg),
        gate(day.finish_deg)
    );
    bench.write("day/test.toml", course);
    let ran = bench.compare();
    assert!(
        unwrapped(&ran.works().stdout).contains("ridden once only"),
        "{}",
        ran.stdout
    );
    let json = bench.run(&["compare", "day", "--json"]).json();
    assert_eq!(json["passes"].as_array().unwrap().len(), 1);
    assert_eq!(json["comparisons"].as_array().unwrap().len(), 0);
}

#[test]
fn a_route_without_times_is_no_recording() {
    let route = "<gpx version=\"1.1\" creator=\"x\" xmlns=\"http://www.topografix.com/GPX/1/1\"><trk><trkseg>\
                 <trkpt lat=\"1\" lon=\"2\"/><trkpt lat=\"1.001\" lon=\"2\"/></trkseg></trk></gpx>";
    let alone = Bench::new();
    alone.write("day/route.gpx", route);
    alone.compare().refuses(&[("day/route.gpx", &["route"])]);

    let among = Bench::of(&short_day());
    among.write("day/route.gpx", route);
    let ran = among.compare();
    ran.works();
    assert!(
        ran.stderr.starts_with("warning: day/route.gpx: "),
        "{}",
        ran.stderr
    );
    tells(ran.stderr.trim_end(), &["route"]);
}

#[test]
fn an_indoor_ride_alone_is_refused() {
    let bench = spoilt(short_day(), |s| {
        *s = Sample {
            time_s: s.time_s,
            power_w: s.power_w,
            ..Sample::default()
        }
    });
    for command in ["compare", "passes"] {
        bench
            .run(&[command, "day"])
            .refuses(&[("day/ride.fit", &["neither speed, distance nor positions"])]);
    }
}

#[test]
fn a_bad_file_does_not_cost_the_good_ones() {
    let bench = Bench::of(&short_day());
    let alone = bench.run(&["compare", "day", "--json"]);
    bench.write("day/broken.fit", b"");
    for words in [&["compare", "day"][..], &["passes", "day"]] {
        let ran = bench.run(words);
        ran.works();
        assert!(
            ran.stderr.starts_with("warning: day/broken.fit: "),
            "{}",
            ran.stderr
        );
        assert_eq!(ran.stderr.lines().count(), 1, "{}", ran.stderr);
        tells(ran.stderr.trim_end(), &["is empty"]);
    }
    let beside = bench.run(&["compare", "day", "--json"]).json();
    assert_eq!(beside["comparisons"], alone.json()["comparisons"]);
    assert_eq!(beside["faults"].as_array().unwrap().len(), 1);
}

#[test]
fn a_damaged_file_gives_what_is_whole() {
    let bench = Bench::of(&short_day());
    let path = bench.path("day/ride.fit");
    let mut bytes = std::fs::read(&path).unwrap();
    bytes.truncate(bytes.len() * 9 / 10);
    std::fs::write(&path, bytes).unwrap();
    let ran = bench.run(&["passes", "day", "--json"]);
    let found = ran.json()["passes"].as_array().unwrap().len();
    assert!((6..8).contains(&found), "{found} passes");
    assert!(
        ran.stderr.starts_with("warning: day/ride.fit: "),
        "{}",
        ran.stderr
    );
}

#[test]
fn the_same_ride_as_fit_and_gpx_is_used_once() {
    let bench = Bench::of(&short_day());
    let alone = bench.run(&["compare", "day", "--json"]).json();
    let mut plan = short_plan();
    plan.format = Format::Gpx;
    ride_day(&plan).write_files(&bench.path("day")).unwrap();
    let json = bench.run(&["compare", "day", "--json"]).json();
    assert_eq!(json["passes"].as_array().unwrap().len(), 8);
    assert_eq!(json["comparisons"], alone["comparisons"]);
    let said: Vec<&str> = json["warnings"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|w| w["message"].as_str())
        .collect();
    let overlaps = said.iter().filter(|m| m.contains("tell of the same time"));
    assert_eq!(overlaps.count(), 1, "{said:?}");
    assert!(unwrapped(&bench.compare().stdout).contains("ride.gpx is left out"));
}

#[test]
fn folders_without_recordings_are_told_what_belongs_there() {
    let bench = Bench::new();
    std::fs::create_dir(bench.path("empty")).unwrap();
    bench.write("notes/notes.txt", "rode well");
    bench.write("file", "x");
    for command in ["compare", "passes"] {
        for folder in ["empty", "notes"] {
            bench
                .run(&[command, folder])
                .refuses(&[(folder, &["holds no recording", ".fit"])]);
        }
        bench.run(&[command, "file"]).refuses(&[("file", &["folder"])]);
    }
}

#[cfg(unix)]
#[test]
fn a_recording_that_is_a_link_to_nowhere_is_told_of() {
    let bench = Bench::of(&short_day());
    std::os::unix::fs::symlink("away.fit", bench.path("day/later.fit")).unwrap();
    let ran = bench.compare();
    ran.works();
    assert!(
        ran.stderr.starts_with("warning: day/later.fit: "),
        "{}",
        ran.stderr
    );
    tells(ran.stderr.trim_end(), &["no such file"]);
}

/// A link to itself cannot be opened by anyone, whatever the rights of the user who runs the tests.
#[cfg(unix)]
#[test]
fn a_folder_that_cannot_be_opened_is_named() {
    let bench = Bench::new();
    std::os::unix::fs::symlink("round", bench.path("round")).unwrap();
    bench
        .run(&["compare", "round"])
        .refuses(&[("round", &["the folder cannot be read"])]);
}

fn kinds(bench: &Bench) -> Vec<String> {
    let json = bench.run(&["compare", "day", "--json"]).json();
    let warnings = json["warnings"].as_array().unwrap().iter();
    warnings
        .filter_map(|w| w["kind"].as_str().map(String::from))
        .collect()
}

#[test]
fn what_was_mended_within_passes_is_told_with_the_result() {
    let sound = kinds(&Bench::of(&short_day()));
    assert!(
        !sound
            .iter()
            .any(|kind| kind == "repairs" || kind == "speed source"),
        "{sound:?}"
    );
    let fast = spoilt(short_day(), |s| s.speed_m_s = s.speed_m_s.map(|v| v * 3.6));
    assert!(kinds(&fast).contains(&"repairs".to_string()));
    assert!(unwrapped(&fast.compare().stdout).contains("set right once (speed unit)"));
    let without = spoilt(short_day(), |s| (s.speed_m_s, s.distance_m) = (None, None));
    assert!(kinds(&without).contains(&"speed source".to_string()));
}

#[test]
fn passes_of_the_same_fate_are_told_together() {
    let bench = spoilt(short_day(), |s| s.power_w = s.power_w.map(|p| p * 100.0));
    let why = "pass 1, 2, 3, 4, 5, 6, 7, 8: no power";
    bench
        .compare()
        .refuses(&[("day", &["no pass could be fitted", why])]);
}

/// Values that a broken sensor or unit leaves behind: an answer or a reason, never a crash, and no number
/// that is none.
#[test]
fn strange_values_end_in_an_answer_or_a_reason() {
    type Change = fn(&mut Sample);
    let strange: [(&str, Change); 10] = [
        ("power all zero", |s| s.power_w = Some(0.0)),
        ("power of a rocket", |s| s.power_w = s.power_w.map(|p| p * 100.0)),
        ("speed all zero", |s| s.speed_m_s = Some(0.0)),
        ("speed in km/h", |s| s.speed_m_s = s.speed_m_s.map(|v| v * 3.6)),
        ("altitude upside down", |s| {
            s.altitude_m = s.altitude_m.map(|h| -h)
        }),
        ("altitude of a mountain", |s| {
            s.altitude_m = s.altitude_m.map(|h| h * 1000.0)
        }),
        ("one place", |s| {
            (s.latitude_deg, s.longitude_deg) = (Some(10.0), Some(10.0))
        }),
        ("at the pole", |s| s.latitude_deg = s.latitude_deg.map(|_| 90.0)),
        ("a minute between samples", |s| {
            s.time_s = (s.time_s / 60.0).floor() * 60.0
        }),
        ("no time passes", |s| s.time_s = 1_778_913_000.0),
    ];
    for (name, change) in strange {
        let bench = spoilt(short_day(), change);
        for command in ["compare", "passes"] {
            let ran = bench.run(&[command, "day", "--json"]);
            assert!(!ran.stderr.contains("panicked"), "{name}: {}", ran.stderr);
            match ran.code {
                Some(0) => assert!(ran.json()["passes"].is_array(), "{name}"),
                Some(1) => {
                    assert_eq!(ran.stdout, "", "{name}");
                    tells(ran.stderr.trim_end(), &["stillair: day"]);
                }
                other => panic!("{name}: {other:?}\n{}", ran.stderr),
            }
            let shown = bench.run(&[command, "day"]);
            assert_eq!(shown.code, ran.code, "{name}");
            for none in ["NaN", "inf ", "inf\n"] {
                assert!(!shown.stdout.contains(none), "{name}: {}", shown.stdout);
            }
        }
    }
}
