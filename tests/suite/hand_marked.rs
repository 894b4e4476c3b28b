//! Stretches that a person marked on real rides, against the passes cut at the same gates and against
//! the stretches found without any. Origin and confidence (D): fixtures/hand_marked/README.md.

use jiff::Timestamp;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use stillair::course::{Direction, NearPass, Pass, Ridden, survey};
use stillair::recording::read;
use stillair::streams::{Streams, align};
use stillair::test_day::{CourseGiven, Shape};
use toml_edit::{DocumentMut, Table};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn marks() -> DocumentMut {
    let path = root().join("fixtures/hand_marked/stretches.toml");
    std::fs::read_to_string(path).unwrap().parse().unwrap()
}

fn tables(of: &Table, key: &str) -> Vec<Table> {
    let tables = of.get(key).and_then(|item| item.as_array_of_tables());
    tables
        .map(|tables| tables.iter().cloned().collect())
        .unwrap_or_default()
}

/// Each ride is read once for all tests.
fn ride(name: &str) -> Streams {
    static READ: Mutex<BTreeMap<String, Streams>> = Mutex::new(BTreeMap::new());
    let mut read_before = READ.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
    let fresh = || {
        let folder = if name.starts_with("ride-") {
            "one-rider"
        } else {
            ""
        };
        let path = root().join(".target/rides").join(folder).join(name);
        let recording = read(&path).unwrap_or_else(|error| panic!("{error}\nRun tests/fetch_rides first."));
        align(recording).unwrap()
    };
    read_before.entry(name.to_string()).or_insert_with(fresh).clone()
}

fn text<'t>(table: &'t Table, key: &str) -> &'t str {
    table[key].as_str().unwrap()
}

fn place(table: &Table, key: &str) -> [f64; 2] {
    let array = table[key].as_array().unwrap();
    [0, 1].map(|index| array.get(index).unwrap().as_float().unwrap())
}

fn time_s(table: &Table, key: &str) -> f64 {
    let stamp = table[key].as_datetime().unwrap().to_string();
    stamp.parse::<Timestamp>().unwrap().as_second() as f64
}

fn direction(table: &Table) -> Direction {
    if text(table, "direction") == "forward" {
        Direction::Forward
    } else {
        Direction::Reverse
    }
}

fn at_gates(stretch: &Table, streams: &[Streams]) -> Ridden {
    let given = CourseGiven {
        line: 1,
        shape: Some(match text(stretch, "shape") {
            "out-and-back" => Shape::OutAndBack,
            "loop" => Shape::Loop,
            _ => Shape::OneWay,
        }),
        start_deg: Some(place(stretch, "start")),
        finish_deg: Some(place(stretch, "finish")),
        lap: None,
    };
    survey(streams, Some(&given), Path::new("test.toml")).unwrap()
}

fn files(stretch: &Table) -> Vec<String> {
    let names = stretch["files"].as_array().unwrap().iter();
    names.map(|name| name.as_str().unwrap().to_string()).collect()
}

/// The marks are rounded to a second, so half of one is theirs.
const TIMES_S: f64 = 1.0;

#[test]
fn passes_at_gates_chosen_by_hand_are_those_that_were_marked() {
    let mut checked = 0;
    for stretch in tables(&marks(), "stretch") {
        let streams: Vec<Streams> = files(&stretch).iter().map(|name| ride(name)).collect();
        let ridden = at_gates(&stretch, &streams);
        let id = text(&stretch, "id");
        let marked = tables(&stretch, "pass");
        assert_eq!(
            ridden.passes.len(),
            marked.len(),
            "{id}: {:?}",
            ridden.near_passes
        );
        for mark in &marked {
            let (start_s, end_s) = (time_s(mark, "start_time"), time_s(mark, "end_time"));
            let same = |pass: &&Pass| {
                streams[pass.recording].name() == text(mark, "file")
                    && pass.direction == direction(mark)
                    && (pass.start_s - start_s).abs() <= TIMES_S
                    && (pass.end_s - end_s).abs() <= TIMES_S
            };
            assert_eq!(ridden.passes.iter().filter(same).count(), 1, "{id}: {mark}");
            checked += 1;
        }
        for mark in tables(&stretch, "near_pass") {
            let start_s = time_s(&mark, "start_time");
            let same = |near: &&NearPass| (near.start_s - start_s).abs() <= TIMES_S;
            let near = ridden.near_passes.iter().find(same);
            let near = near.unwrap_or_else(|| panic!("{id}: {mark}{:?}", ridden.near_passes));
            // Marked as stopped; with the timer off, a stop is a pause.
            let stop = ["pause", "stopped", "no samples"]
                .iter()
                .any(|word| near.reason.contains(word));
            assert!(
                stop && near.direction == direction(&mark),
                "{id}: {}",
                near.reason
            );
        }
        let length_m = stretch["length_m"].as_integer().unwrap() as f64;
        assert!(
            (ridden.course.length_m() / length_m - 1.0).abs() < 0.01,
            "{id}: {}",
            ridden.course.length_m()
        );
    }
    assert_eq!(checked, 295);
}

/// Distance as the unit recorded it at a moment. [km]
fn recorded_km(streams: &Streams, time_s: f64) -> f64 {
    streams.value_at(&streams.distance_m, time_s).unwrap() / 1000.0
}

fn within(corridor: &Table, key: &str, ends_km: [f64; 2]) -> bool {
    let ends = corridor[key].as_array().unwrap();
    let ends = [0, 1].map(|index| ends.get(index).unwrap().as_float().unwrap());
    // Read off a picture to about 0.1 km.
    let (low, high) = (ends[0].min(ends[1]) - 0.15, ends[0].max(ends[1]) + 0.15);
    ends_km.iter().all(|km| (low..=high).contains(km))
}

#[test]
fn a_stretch_found_without_gates_lies_on_a_road_seen_to_be_ridden_both_ways() {
    let marks = marks();
    let corridors = tables(&marks, "corridor");
    let mut names: Vec<&str> = corridors.iter().map(|corridor| text(corridor, "file")).collect();
    names.dedup();
    assert_eq!(names.len(), 15);
    for name in names {
        let streams = [ride(name)];
        let ridden = survey(&streams, None, Path::new("test.toml")).unwrap();
        assert_eq!(ridden.course.shape, Shape::OutAndBack, "{name}");
        let [first, second] = ridden.passes.as_slice() else {
            panic!(
                "{name}: each road was ridden once each way, found {}",
                ridden.passes.len()
            );
        };
        let km = |pass: &Pass| [pass.start_s, pass.end_s].map(|t| recorded_km(&streams[0], t));
        let seen = corridors
            .iter()
            .filter(|corridor| text(corridor, "file") == name)
            .any(|corridor| {
                within(corridor, "outward_km", km(first)) && within(corridor, "homeward_km", km(second))
            });
        assert!(seen, "{name}: {:?} {:?}", km(first), km(second));
    }
}

/// The stretch of all rides together must hold roads that a person saw to be ridden most, and every pass of
/// them. The finder stays clear of the ends, where riders turn off, so a marked gate may lie up to 100 m
/// outside, which is 20 s.
#[test]
fn the_road_shared_by_many_days_is_found_with_its_passes() {
    let streams: Vec<Streams> = (1..=15)
        .map(|number| ride(&format!("ride-{number:02}.fit")))
        .collect();
    let ridden = survey(&streams, None, Path::new("test.toml")).unwrap();
    let line = &ridden.course.line;
    let on_course = |gate: [f64; 2]| {
        let off = line
            .latitude_deg
            .iter()
            .zip(&line.longitude_deg)
            .map(|(&lat, &lon)| {
                let east = (lon - gate[1]) * 111_320.0 * lat.to_radians().cos();
                east.hypot((lat - gate[0]) * 111_320.0)
            });
        off.fold(f64::INFINITY, f64::min) < 100.0
    };
    let mut held = 0;
    for stretch in tables(&marks(), "stretch")
        .iter()
        .filter(|s| text(s, "id").starts_with("one-rider"))
    {
        if !(on_course(place(stretch, "start")) && on_course(place(stretch, "finish"))) {
            continue;
        }
        held += 1;
        for mark in tables(stretch, "pass") {
            let (start_s, end_s) = (time_s(&mark, "start_time"), time_s(&mark, "end_time"));
            let pass = ridden
                .passes
                .iter()
                .find(|p| p.start_s <= start_s + 20.0 && p.end_s >= end_s - 20.0);
            let near = ridden
                .near_passes
                .iter()
                .any(|near| near.start_s <= end_s && near.start_s > start_s - 1200.0);
            assert!(pass.is_some() || near, "{mark}");
            assert!(
                pass.is_none_or(|pass| pass.direction == direction(&mark)),
                "{mark}"
            );
        }
    }
    assert!(held >= 2, "{held} of the marked stretches lie on it");
    assert_eq!(ridden.passes.len() + ridden.near_passes.len(), 24, "regression");
}
