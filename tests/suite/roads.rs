//! Old rides as an archive of roads: what `stillair roads` says of roads whose truth is known (D), and of real rides.

use super::recordings::rides;
use assert_cmd::Command;
use predicates::str::contains;
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use stillair::plan::roads::{Asked, roads};
use stillair::plan::{PlannedDay, expect};
use stillair::recording::{RoutePoint, read_route};
use stillair::simulate::{DayPlan, Incident, Wave, loop_plan, out_and_back_plan, ride_day};
use stillair::study::inspect;

/// Each road of the archive lies so much farther east than the one before.
const APART_DEG: f64 = 0.2;
const WEST_DEG: f64 = -30.0;
const LATITUDE_DEG: f64 = 44.0;
const BEARING_DEG: f64 = 30.0;
const LENGTH_M: f64 = 1500.0;
/// Too short for a test on either side of its middle.
const SHORT_M: f64 = 700.0;

/// Flat, quiet and straight, ridden on two days.
const FLAT: usize = 0;
/// Shorter, with a stop in the middle of one pass of four, and of three of four.
const ONE_STOP: usize = 1;
const MANY_STOPS: usize = 2;
/// The flat road made a hill, too steep to test down it.
const HILLY: usize = 3;
const LAPS: usize = 4;

fn at_home(mut plan: DayPlan, road: usize) -> DayPlan {
    plan.course.latitude_deg = LATITUDE_DEG;
    plan.course.longitude_deg = WEST_DEG + APART_DEG * road as f64;
    plan.course.bearing_deg = BEARING_DEG;
    plan.start_s += 86_400.0 * 7.0 * road as f64;
    plan.calm()
}

fn straight(road: usize) -> DayPlan {
    let mut plan = at_home(out_and_back_plan(11, "AB", -3.0), road);
    plan.course.length_m = LENGTH_M;
    plan.course.mean_gradient = 0.0;
    plan.course.hills = Vec::new();
    plan.course.bends = Vec::new();
    plan
}

fn with_stops(road: usize, passes: &[usize]) -> DayPlan {
    let stop = |pass: &usize| Incident::Stop {
        pass: *pass,
        at_m: SHORT_M / 2.0,
        duration_s: 25.0,
    };
    let mut plan = straight(road);
    plan.course.length_m = SHORT_M;
    plan.course.approach_m = 50.0;
    plan.incidents = passes.iter().map(stop).collect();
    plan
}

fn archive() -> Vec<DayPlan> {
    let later = DayPlan {
        seed: 12,
        start_s: straight(FLAT).start_s + 86_400.0,
        ..straight(FLAT)
    };
    let mut hilly = straight(HILLY);
    hilly.course.mean_gradient = 0.06;
    hilly.course.hills = vec![Wave {
        amplitude: 0.01,
        length_m: 500.0,
        phase_rad: 0.0,
    }];
    vec![
        straight(FLAT),
        later,
        with_stops(ONE_STOP, &[2]),
        with_stops(MANY_STOPS, &[1, 2, 3]),
        hilly,
        at_home(loop_plan(13, "AB", -3.0), LAPS),
    ]
}

fn write(plans: &[DayPlan], folder: &Path, with_altitudes: bool) {
    for (number, plan) in plans.iter().enumerate() {
        let mut day = ride_day(plan);
        for recording in &mut day.recordings {
            for sample in &mut recording.samples {
                sample.altitude_m = sample.altitude_m.filter(|_| with_altitudes);
            }
        }
        let home = tempfile::tempdir().unwrap();
        for (part, file) in day.write_files(home.path()).unwrap().iter().enumerate() {
            let ending = file.extension().unwrap().to_str().unwrap();
            std::fs::copy(file, folder.join(format!("ride-{number}-{part}.{ending}"))).unwrap();
        }
    }
}

fn stillair(words: &[&str]) -> Command {
    let mut command = Command::cargo_bin("stillair").unwrap();
    command.args(words);
    command
}

fn told(folder: &Path, words: &[&str]) -> Value {
    let all = [&["roads", folder.to_str().unwrap(), "--json", "--quiet"], words].concat();
    let output = stillair(&all).assert().success().get_output().stdout.clone();
    serde_json::from_slice(&output).unwrap()
}

struct Archive {
    _home: tempfile::TempDir,
    rides: PathBuf,
    routes: PathBuf,
    told: Value,
}

fn the_archive() -> &'static Archive {
    static ARCHIVE: OnceLock<Archive> = OnceLock::new();
    ARCHIVE.get_or_init(|| {
        let home = tempfile::tempdir().unwrap();
        let (rides, routes) = (home.path().join("rides"), home.path().join("routes"));
        std::fs::create_dir(&rides).unwrap();
        write(&archive(), &rides, true);
        let told = told(&rides, &["--count", "40", "--write", routes.to_str().unwrap()]);
        Archive {
            _home: home,
            rides,
            routes,
            told,
        }
    })
}

/// The same archive with every length that was rated.
fn the_lengths() -> &'static Value {
    static LENGTHS: OnceLock<Value> = OnceLock::new();
    LENGTHS.get_or_init(|| told(&the_archive().rides, &["--count", "100", "--all-lengths"]))
}

fn stretches(told: &Value) -> &[Value] {
    told["stretches"].as_array().unwrap()
}

fn number(of: &Value, key: &str) -> f64 {
    of[key].as_f64().unwrap_or_else(|| panic!("{key}: {}", of[key]))
}

/// Those on one road of the archive, the best first.
fn on(told: &Value, road: usize) -> Vec<&Value> {
    let east_deg = WEST_DEG + APART_DEG * road as f64;
    let there = |one: &&Value| (one["start"][1].as_f64().unwrap() - east_deg).abs() < APART_DEG / 2.0;
    stretches(told).iter().filter(there).collect()
}

fn percent(of: &Value) -> f64 {
    number(of, "expected_standard_uncertainty_percent")
}

/// Of the shorter of two stretches of one straight road, how much lies in the other.
fn shared(one: &Value, other: &Value) -> f64 {
    let ends = |of: &Value| {
        let (a, b) = (
            of["start"][0].as_f64().unwrap(),
            of["finish"][0].as_f64().unwrap(),
        );
        (a.min(b), a.max(b))
    };
    let (one, other) = (ends(one), ends(other));
    let shorter = (one.1 - one.0).min(other.1 - other.0);
    (one.1.min(other.1) - one.0.max(other.0)).max(0.0) / shorter
}

#[test]
fn roads_are_ranked_as_their_truth_says() {
    let told = &the_archive().told;
    assert_eq!(told["recordings"], 6);
    let ranked: Vec<f64> = stretches(told).iter().map(percent).collect();
    assert!(ranked.is_sorted(), "{ranked:?}");
    let best = |road: usize| percent(on(told, road)[0]);
    assert!(best(FLAT) < best(ONE_STOP), "{} {}", best(FLAT), best(ONE_STOP));
    assert!(best(FLAT) < best(HILLY), "{} {}", best(FLAT), best(HILLY));
    // However often and in however many lengths the flat road was ridden, none of it is listed twice.
    let flat = on(told, FLAT);
    for (index, one) in flat.iter().enumerate() {
        assert!(
            flat[..index].iter().all(|other| shared(one, other) < 0.4),
            "{flat:#?}"
        );
    }
    let flat = flat[0];
    assert!((900.0..=2000.0).contains(&number(flat, "length_m")), "{flat:#}");
    assert_eq!(
        (&flat["recordings"], &flat["passes_stopped"]),
        (&2.into(), &0.into())
    );
    assert_eq!(
        (&flat["passes_forward"], &flat["passes_reverse"]),
        (&4.into(), &4.into())
    );
    let off_deg = (number(flat, "bearing_deg") - BEARING_DEG).rem_euclid(180.0);
    assert!(off_deg.min(180.0 - off_deg) < 1.0, "{flat:#}");
    // Positions wander by some metres: a degree or two of turning in each 50 m.
    let wander_deg = 2.0 * number(flat, "length_m") / 50.0;
    assert!(number(flat, "turning_deg") < wander_deg, "{flat:#}");
    assert!(number(flat, "wind_along_share") > 0.99, "{flat:#}");
    assert!(number(flat, "gradient_percent").abs() < 0.15, "{flat:#}");
    let hilly = on(told, HILLY)[0];
    assert_eq!(hilly["shape"], "one-way", "{hilly:#}");
    assert!((number(hilly, "gradient_percent") - 6.0).abs() < 0.7, "{hilly:#}");
    // Waves of 1 % have 0.7 %. With 80 m of the level way beyond a gate, 500 m have 2.4 % (D), less what heights are
    // averaged over.
    assert!(
        (0.5..2.5).contains(&number(hilly, "gradient_spread_percent")),
        "{hilly:#}"
    );
    let laps = on(told, LAPS)[0];
    assert_eq!(laps["shape"], "loop", "{laps:#}");
    assert!((number(laps, "length_m") / 1800.0 - 1.0).abs() < 0.01, "{laps:#}");
    assert!(laps["bearing_deg"].is_null() && number(laps, "wind_along_share") < 0.02);
    assert!((6.0..=8.0).contains(&number(laps, "passes_forward")), "{laps:#}");
}

#[test]
fn stops_are_counted_and_cost_a_road_its_place() {
    let told = &the_archive().told;
    let one = on(told, ONE_STOP)[0];
    assert_eq!(one["passes_stopped"], 1, "{one:#}");
    let passes = number(one, "passes_forward") + number(one, "passes_reverse");
    assert!((3.0..=4.0).contains(&passes), "{one:#}");
    let stops = one["stops"].as_array().unwrap();
    assert_eq!((stops.len(), &stops[0]["times"]), (1, &1.into()), "{one:#}");
    let (from, to) = (
        one["start"][0].as_f64().unwrap(),
        one["finish"][0].as_f64().unwrap(),
    );
    let at = from + (to - from) * number(&stops[0], "along_m") / number(one, "length_m");
    let middle = LATITUDE_DEG + 0.5 * SHORT_M * BEARING_DEG.to_radians().cos() / 111_130.0;
    assert!((at - middle).abs() * 111_130.0 < 60.0, "{at} {middle}");
    assert!(number(one, "lost_pass_share") > 0.2, "{one:#}");
    // Stopped on in three passes of four, it is none.
    assert!(on(the_lengths(), MANY_STOPS).is_empty());
    assert!(told["refused"].as_u64().unwrap() >= 1);
}

#[test]
fn a_shorter_list_is_the_beginning_of_a_longer_one() {
    let archive = the_archive();
    let three = told(&archive.rides, &["--count", "3"]);
    for (short, long) in stretches(&three).iter().zip(stretches(&archive.told)) {
        for key in ["rank", "start", "finish", "expected_standard_uncertainty_percent"] {
            assert_eq!(short[key], long[key]);
        }
    }
    assert_eq!(stretches(&three).len(), 3);
    let lengths = the_lengths();
    assert!(on(lengths, FLAT).len() > 1);
    let shown = percent(on(&archive.told, FLAT)[0]);
    let best = percent(on(lengths, FLAT)[0]);
    assert!(shown <= 1.05 * best, "{shown} {best}");
}

#[test]
fn what_is_not_known_is_null_and_the_rest_are_numbers() {
    const UNKNOWN: [&str; 4] = ["bearing_deg", "file", "message", "next_step"];
    let told = &the_archive().told;
    for one in stretches(told) {
        for (key, value) in one.as_object().unwrap() {
            // A straight road has no tightest bend.
            let may_be_null = UNKNOWN.contains(&key.as_str()) || key == "tightest_bend_radius_m";
            assert!(may_be_null || !value.is_null(), "{key}: {one:#}");
        }
        assert!(percent(one) >= number(one, "undisturbed_standard_uncertainty_percent"));
    }
    let rank: Vec<u64> = stretches(told)
        .iter()
        .map(|one| one["rank"].as_u64().unwrap())
        .collect();
    assert_eq!(rank, (1..=rank.len() as u64).collect::<Vec<_>>());
}

fn length_m(points: &[RoutePoint]) -> f64 {
    let metres = |a: &RoutePoint, b: &RoutePoint| {
        let north = (a.latitude_deg - b.latitude_deg) * 111_130.0;
        let east = (a.longitude_deg - b.longitude_deg) * 111_320.0 * a.latitude_deg.to_radians().cos();
        north.hypot(east)
    };
    points.windows(2).map(|pair| metres(&pair[0], &pair[1])).sum()
}

#[test]
fn a_written_road_is_planned_on_and_tells_what_the_list_said() {
    let archive = the_archive();
    for road in [FLAT, HILLY, LAPS] {
        let one = on(&archive.told, road)[0];
        let file = PathBuf::from(one["file"].as_str().unwrap());
        assert_eq!(file.parent(), Some(archive.routes.as_path()));
        let points = read_route(&file).unwrap();
        let listed_m = number(one, "length_m");
        assert!((length_m(&points) / listed_m - 1.0).abs() < 0.01, "{one:#}");
        let heights: Vec<f64> = points.iter().map(|point| point.altitude_m.unwrap()).collect();
        let rise_m = heights[heights.len() - 1] - heights[0];
        let told_m = number(one, "gradient_percent") / 100.0 * listed_m;
        assert!((rise_m - told_m).abs() < 2.0, "{rise_m} {told_m}");

        let home = tempfile::tempdir().unwrap();
        let day = home.path().join("day");
        let shape = one["shape"].as_str().unwrap();
        let mass = number(&archive.told["test"], "total_mass_kg").to_string();
        let words = [
            "plan",
            day.to_str().unwrap(),
            "--json",
            "--quiet",
            "--course",
            file.to_str().unwrap(),
            "--time",
            "60min",
            "--setup",
            "one",
            "--setup",
            "other",
            "--hold",
            "power",
            "--mass",
            &mass,
            "--shape",
            shape,
        ];
        let output = stillair(&words).assert().success().get_output().stdout.clone();
        let planned: Value = serde_json::from_slice(&output).unwrap();
        assert_eq!(planned["course"]["shape"], shape);
        assert!((number(&planned["course"], "length_m") / listed_m - 1.0).abs() < 0.01);
        // The same blocks, planned on that road, are expected to tell the same.
        let mut same = PlannedDay::read(&day).unwrap();
        let passes = one["passes_per_block"].as_u64().unwrap() as usize;
        same.order = [0, 1, 1, 0]
            .map(|setup| stillair::plan::PlannedBlock::of(setup, passes))
            .to_vec();
        let expected = expect(&same).unwrap();
        let theirs = expected.standard_uncertainty_percent().unwrap();
        let listed = number(one, "undisturbed_standard_uncertainty_percent");
        assert!((theirs / listed - 1.0).abs() < 0.03, "{road}: {theirs} {listed}");
        let takes = expected.duration_s / number(one, "duration_s");
        assert!((takes - 1.0).abs() < 0.02, "{road}: {takes}");
        // `plan` is free to choose a better hour, or within 1 % of it a shorter one.
        let chosen = number(&planned, "expected_standard_uncertainty_percent");
        assert!(chosen < 1.03 * listed, "{road}: {chosen} {listed}");
    }
}

#[test]
fn routes_that_are_there_are_never_overwritten() {
    let home = tempfile::tempdir().unwrap();
    let routes = home.path().join("routes");
    std::fs::create_dir(&routes).unwrap();
    let own = routes.join("road-02.gpx");
    std::fs::write(&own, "mine").unwrap();
    let rides = the_archive().rides.to_str().unwrap();
    stillair(&[
        "roads",
        rides,
        "--count",
        "3",
        "--write",
        routes.to_str().unwrap(),
    ])
    .assert()
    .code(1)
    .stderr(contains("road-02.gpx"));
    assert_eq!(std::fs::read_to_string(&own).unwrap(), "mine");
    assert_eq!(std::fs::read_dir(&routes).unwrap().count(), 1);
}

#[test]
fn a_damaged_file_is_named_and_costs_nothing() {
    let home = tempfile::tempdir().unwrap();
    write(&[straight(FLAT)], home.path(), true);
    let whole = told(home.path(), &[]);
    std::fs::write(home.path().join("broken.fit"), b"no ride at all").unwrap();
    let folder = home.path().to_str().unwrap();
    let output = stillair(&["roads", folder, "--json"])
        .assert()
        .success()
        .stderr(contains("broken.fit"));
    let beside: Value = serde_json::from_slice(&output.get_output().stdout).unwrap();
    assert_eq!(beside["stretches"], whole["stretches"]);
}

#[test]
fn without_altitudes_it_says_so() {
    let home = tempfile::tempdir().unwrap();
    write(&[straight(FLAT)], home.path(), false);
    let flat = told(home.path(), &[]);
    let flat = &stretches(&flat)[0];
    assert_eq!(flat["has_heights"], false);
    assert!(flat["gradient_percent"].is_null() && flat["gradient_spread_percent"].is_null());
    stillair(&["roads", home.path().to_str().unwrap()])
        .assert()
        .success()
        .stdout(contains("no altitudes were recorded there"));
}

/// Of the places along a stretch, how many lie on a road.
fn share_on(stretch: &[[f64; 2]], cells: &BTreeSet<[i64; 2]>) -> f64 {
    let near = |at: &&[f64; 2]| {
        let [x, y] = cell(**at);
        (-1..=1).any(|dx| (-1..=1).any(|dy| cells.contains(&[x + dx, y + dy])))
    };
    stretch.iter().filter(near).count() as f64 / stretch.len() as f64
}

/// Of about 20 m, as wide all over a degree of latitude.
fn cell([latitude_deg, longitude_deg]: [f64; 2]) -> [i64; 2] {
    let narrower = latitude_deg.round().to_radians().cos();
    [
        (latitude_deg * 111_130.0 / 20.0).floor() as i64,
        (longitude_deg * 111_320.0 * narrower / 20.0).floor() as i64,
    ]
}

#[test]
fn listed_roads_lie_where_one_rider_rode_to_and_fro() {
    let folder = rides("one-rider");
    let asked = Asked {
        count: 40,
        all_lengths: false,
        power_w: 220.0,
        cda_m2: 0.32,
        total_mass_kg: None,
    };
    let ranking = roads(&folder, &asked, &|_, _| {}).unwrap();
    let listed: Vec<Vec<[f64; 2]>> = ranking
        .roads
        .iter()
        .map(|road| {
            let points = road.candidate.points.iter();
            points
                .map(|point| [point.latitude_deg, point.longitude_deg])
                .collect()
        })
        .collect();
    let (mut ridden, mut met) = (0, 0);
    for number in 1..=15 {
        let Some(surveyed) = inspect(&folder.join(format!("ride-{number:02}.fit")))
            .unwrap()
            .surveyed
        else {
            continue;
        };
        ridden += 1;
        let line = &surveyed.ridden.course.line;
        let places = line.latitude_deg.iter().zip(&line.longitude_deg);
        let cells: BTreeSet<[i64; 2]> = places.map(|(lat, lon)| cell([*lat, *lon])).collect();
        let best = listed
            .iter()
            .map(|road| share_on(road, &cells))
            .fold(0.0, f64::max);
        met += usize::from(best > 0.5);
    }
    // 14 of 15; the other stretch is 270 m long, too short for a listed road.
    assert_eq!(ridden, 15);
    assert!(met >= 12, "{met} of {ridden}");
}
