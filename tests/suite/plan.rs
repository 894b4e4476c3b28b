//! A day before it is ridden: what `stillair plan` writes is read by everything that comes after it.

use assert_cmd::Command;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::{contains, is_empty, starts_with};
use serde_json::Value;
use std::path::{Path, PathBuf};
use stillair::plan::orders::imbalance;
use stillair::plan::{PlannedDay, expect};
use stillair::simulate::{BlockTruth, demo_plan, ride_day};
use stillair::test_day::{self, Extent, Hold, Shape, TestDay};

fn stillair(words: &[&str]) -> Command {
    let mut command = Command::cargo_bin("stillair").unwrap();
    command.args(words);
    command
}

fn planned(folder: &Path, words: &[&str]) -> Value {
    let all = [
        &[
            "plan",
            folder.to_str().unwrap(),
            "--json",
            "--quiet",
            "--seed",
            "3",
        ],
        words,
    ]
    .concat();
    let output = stillair(&all).assert().success().get_output().stdout.clone();
    serde_json::from_slice(&output).unwrap()
}

const LENGTH: [&str; 10] = [
    "--length",
    "1.5km",
    "--gradient",
    "0.5",
    "--setup",
    "vented helmet",
    "--setup",
    "closed helmet=82.2",
    "--mass",
    "82",
];

fn order(day: &TestDay) -> Vec<usize> {
    day.blocks.iter().map(|block| block.setup.unwrap()).collect()
}

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn a_length_and_a_slope_become_a_plan_that_is_read_as_it_is_told() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("helmets");
    let words = [
        &LENGTH[..],
        &[
            "--difference",
            "3",
            "--time",
            "80min",
            "--wind",
            "2",
            "--look",
            "blocks",
        ],
    ]
    .concat();
    let told = planned(&folder, &words);
    assert_eq!(names(&folder), ["sheet.html", "test.toml"]);
    let day = test_day::read(&folder).unwrap();
    // What is told is what is written.
    let blocks = told["blocks"].as_array().unwrap();
    assert_eq!(blocks.len(), day.blocks.len());
    for (told, block) in blocks.iter().zip(&day.blocks) {
        assert_eq!(told["setup"], day.setups[block.setup.unwrap()].name.as_str());
        assert_eq!(
            block.extent,
            Extent::Passes(told["passes"].as_u64().unwrap() as usize)
        );
    }
    let least = if order(&day).len().is_multiple_of(4) { 0 } else { 2 };
    assert_eq!(imbalance(&order(&day), 2).linear, least, "{:?}", order(&day));
    let plan = day.plan.as_ref().unwrap();
    assert!(plan.look_after_every_block && plan.seed == 3);
    assert_eq!(
        (plan.length_m, plan.difference_percent),
        (Some(1500.0), Some(-3.0))
    );
    assert_eq!(plan.wind.unwrap().speed_m_s, 2.0);
    assert_eq!(told["hold"] == "speed", plan.hold == Hold::Speed);
    // Both weigh the same with the bottle.
    assert_eq!(told["ballast_ml"], 200.0);
    assert!(day.setups.iter().all(|setup| setup.total_mass_kg.value == 82.2));
    // Every number that is promised is one.
    let within = |key: &str, low: f64, high: f64| {
        let value = told[key]
            .as_f64()
            .unwrap_or_else(|| panic!("{key}: {}", told[key]));
        assert!((low..=high).contains(&value), "{key}: {value}");
    };
    within("expected_standard_uncertainty_percent", 0.3, 10.0);
    within("chance_to_resolve", 0.05, 1.0);
    within("duration_s", 1800.0, 4800.0);
    assert!(told["within_time"].as_bool().unwrap());
    assert!(told["alternatives"].as_array().unwrap().len() >= 2);
    // The chosen one tells more than any other within the time, or as much within 1 %.
    let mine = told["expected_standard_uncertainty_percent"].as_f64().unwrap();
    let hold_changes = told["hold"] == "speed";
    for other in told["alternatives"].as_array().unwrap() {
        let theirs = other["expected_standard_uncertainty_percent"].as_f64().unwrap();
        assert!(hold_changes || mine <= theirs * 1.0101, "{mine} {theirs}");
        assert!(other["duration_s"].as_f64().unwrap() <= 4800.0);
    }
    assert!(
        told["cautions"][0]
            .as_str()
            .unwrap()
            .starts_with("Before you ride")
    );
    // The sheet stands alone, cautions first.
    let sheet = std::fs::read_to_string(folder.join("sheet.html")).unwrap();
    assert!(!sheet.contains("<script") && !sheet.contains("src=") && !sheet.contains("href="));
    let at = |words: &str| sheet.find(words).unwrap_or_else(|| panic!("no {words}"));
    assert!(at("traffic law") < at("Blocks, in this order"));
    for words in [
        "closed helmet",
        "temperature_c",
        "pressure_hpa",
        "200 ml",
        "km/h",
        "@page",
    ] {
        at(words);
    }
    // The same seed makes the same plan.
    let again = home.path().join("again");
    assert_eq!(planned(&again, &words)["blocks"], told["blocks"]);
}

#[test]
fn cautions_come_first_and_nothing_is_written_over() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("helmets");
    let words = [&["plan", folder.to_str().unwrap()], &LENGTH[..]].concat();
    stillair(&words)
        .assert()
        .success()
        .stdout(starts_with("Before you ride a test:"))
        .stdout(contains("Expected standard uncertainty").and(contains("--null-test")));
    let before: Vec<Vec<u8>> = names(&folder)
        .iter()
        .map(|n| std::fs::read(folder.join(n)).unwrap())
        .collect();
    stillair(&words)
        .assert()
        .code(1)
        .stdout(is_empty())
        .stderr(contains("test.toml").and(contains("Name another folder")));
    let after: Vec<Vec<u8>> = names(&folder)
        .iter()
        .map(|n| std::fs::read(folder.join(n)).unwrap())
        .collect();
    assert_eq!(before, after);
    // A sheet alone is in the way as well, and then nothing is written.
    std::fs::remove_file(folder.join("test.toml")).unwrap();
    stillair(&words)
        .assert()
        .code(1)
        .stderr(contains("sheet.html").and(contains("not written over")));
    assert_eq!(names(&folder), ["sheet.html"]);
    // Without a terminal what is missing is said.
    let empty = home.path().join("empty");
    stillair(&["plan", empty.to_str().unwrap()])
        .assert()
        .code(1)
        .stdout(is_empty())
        .stderr(contains("no course was named"));
    assert!(!empty.exists());
    stillair(&["plan", empty.to_str().unwrap(), "--gradient", "2"])
        .assert()
        .code(2);
}

/// The demonstration's ride, as a recording of the road.
fn demo_ride(home: &Path) -> PathBuf {
    let folder = home.join("demo");
    ride_day(&demo_plan()).write_files(&folder).unwrap();
    folder.join("ride.fit")
}

/// Plan on the road of a recording, ride what was planned, and compare: nothing is typed in between.
#[test]
fn a_planned_day_is_ridden_and_compared_as_it_stands() {
    let home = tempfile::tempdir().unwrap();
    let ride = demo_ride(home.path());
    let folder = home.path().join("day");
    let words = [
        "--course",
        ride.to_str().unwrap(),
        "--shape",
        "out-and-back",
        "--setup",
        "loose jacket",
        "--setup",
        "close-fitting jacket",
        "--mass",
        "82",
        "--time",
        "75min",
        "--hold",
        "power",
    ];
    let told = planned(&folder, &words);
    assert_eq!(names(&folder), ["course.gpx", "sheet.html", "test.toml"]);
    let length_m = told["course"]["length_m"].as_f64().unwrap();
    // The truth of the demonstration: 1500 m, of which the finder keeps what every pass covers.
    assert!((1400.0..=1510.0).contains(&length_m), "{length_m}");
    let day = test_day::read(&folder).unwrap();
    assert_eq!(day.plan.as_ref().unwrap().road.as_deref(), Some("course.gpx"));
    let mut plan = demo_plan();
    plan.order = day
        .blocks
        .iter()
        .map(|block| BlockTruth {
            setup: block.setup,
            passes: match block.extent {
                Extent::Passes(passes) => passes,
                Extent::Times { .. } => panic!("a plan counts its passes"),
            },
        })
        .collect();
    ride_day(&plan).write_files(&folder).unwrap();
    let compared = stillair(&["compare", folder.to_str().unwrap(), "--json"])
        .assert()
        .success()
        .stderr(contains("course.gpx").not());
    let compared: Value = serde_json::from_slice(&compared.get_output().stdout).unwrap();
    let blocks: Vec<&Value> = compared["passes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| &p["block"])
        .collect();
    let passes: usize = plan.order.iter().map(|block| block.passes).sum();
    assert_eq!(blocks.len(), passes);
    assert_eq!(blocks[passes - 1], plan.order.len());
    // What is written is what was weighed: read back, it is expected to tell the same. The route is read at nodes of its
    // own, written to 1 cm.
    let read_back = expect(&PlannedDay::read(&folder).unwrap()).unwrap();
    let expected = told["expected_standard_uncertainty_percent"].as_f64().unwrap();
    let again = read_back.pairs[0].standard_uncertainty_percent;
    assert!((again / expected - 1.0).abs() < 0.01, "{again} {expected}");
    // The demonstration's day is a calm one: it states less than the root mean square over the days that may come, and
    // as much as some of them.
    let stated = compared["comparisons"][0]["cda_change_percent"]["standard_uncertainty"]
        .as_f64()
        .unwrap();
    let less: f64 = read_back.pairs[0]
        .days
        .iter()
        .filter(|(_, sd)| 100.0 * sd < stated)
        .map(|(weight, _)| weight)
        .sum();
    assert!(
        (0.02..=0.9).contains(&less),
        "{stated}: {less} of {:?}",
        read_back.pairs[0].days
    );
}

#[test]
fn a_route_is_a_course_and_a_file_of_the_folder_stays() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("day");
    std::fs::create_dir(&folder).unwrap();
    let corner = |east: f64, north: f64| {
        format!(
            "<rtept lat=\"{}\" lon=\"{}\"><ele>310</ele></rtept>",
            -43.9 + north / 111_195.0,
            170.5 + east / 80_120.0
        )
    };
    let square: String = [(0.0, 0.0), (450.0, 0.0), (450.0, 450.0), (0.0, 450.0), (0.0, 0.0)]
        .iter()
        .map(|(east, north)| corner(*east, *north))
        .collect();
    let gpx = format!(
        "<gpx version=\"1.1\" creator=\"hand\" xmlns=\"http://www.topografix.com/GPX/1/1\"><rte>{square}</rte></gpx>"
    );
    let course = folder.join("course.gpx");
    std::fs::write(&course, &gpx).unwrap();
    let told = planned(
        &folder,
        &[
            "--course",
            course.to_str().unwrap(),
            "--setup",
            "a",
            "--setup",
            "b",
        ],
    );
    assert_eq!(told["course"]["shape"], "loop");
    assert!(told["course"]["finish"].is_null());
    assert_eq!(std::fs::read_to_string(&course).unwrap(), gpx);
    let day = test_day::read(&folder).unwrap();
    assert_eq!(day.course.unwrap().shape, Some(Shape::Loop));
    stillair(&[
        "plan",
        home.path().join("x").to_str().unwrap(),
        "--course",
        course.to_str().unwrap(),
        "--shape",
        "one-way",
        "--setup",
        "a",
        "--setup",
        "b",
    ])
    .assert()
    .code(1)
    .stderr(contains("it is a loop"));
}

#[test]
fn a_test_toml_without_blocks_is_completed_and_its_remarks_stay() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("day");
    std::fs::create_dir(&folder).unwrap();
    let file = folder.join("test.toml");
    let mine = "# my own remark\n[rider]\ntotal_mass_kg = 78.0 # weighed on Friday\n\n[plan]\npower_w = 250 # as last \
                time\nlength_m = 2000\n\n[[setup]]\nname = \"a\"\n\n[[setup]] # the new one\nname = \"b\"\ntotal_mass_kg = \
                78.5\n";
    std::fs::write(&file, mine).unwrap();
    let told = planned(&folder, &["--time", "1h"]);
    assert_eq!(told["ballast_ml"], 500.0);
    let text = std::fs::read_to_string(&file).unwrap();
    for words in [
        "# my own remark",
        "# weighed on Friday",
        "# as last time",
        "[[setup]] # the new one",
    ] {
        assert!(text.contains(words), "{words} in\n{text}");
    }
    let day = test_day::read(&folder).unwrap();
    let plan = day.plan.as_ref().unwrap();
    assert_eq!((plan.power_w, plan.length_m, plan.seed), (250.0, Some(2000.0), 3));
    assert!(day.blocks.len() >= 4 && day.course.is_some());
    stillair(&["plan", folder.to_str().unwrap()])
        .assert()
        .code(1)
        .stderr(contains("has blocks already"));
    assert_eq!(std::fs::read_to_string(&file).unwrap(), text);
}

#[test]
fn a_set_up_alone_is_tested_against_itself_or_at_two_powers() {
    let home = tempfile::tempdir().unwrap();
    let road = ["--length", "1500m", "--setup", "mine"];
    let null = home.path().join("null");
    let told = planned(&null, &[&road[..], &["--null-test"]].concat());
    assert_eq!(told["setups"][1]["same_as"], "mine");
    let day = test_day::read(&null).unwrap();
    assert_eq!(day.setups[1].same_as, Some(0));
    // Beside a null test nobody is told to do one.
    let next = home.path().join("next");
    let told = planned(&next, &[&road[..], &["--setup", "other"]].concat());
    let kinds: Vec<&Value> = told["warnings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|w| &w["kind"])
        .collect();
    assert!(!kinds.iter().any(|kind| *kind == "null test"), "{kinds:?}");
    let two = home.path().join("two");
    let told = planned(&two, &[&road[..], &["--power", "200"]].concat());
    assert!(told["expected_standard_uncertainty_percent"].is_null());
    let alone = &told["setups"][0];
    for (key, high) in [
        ("expected_cda_standard_uncertainty_m2", 0.1),
        ("expected_crr_standard_uncertainty", 0.005),
    ] {
        let value = alone[key].as_f64().unwrap_or_else(|| panic!("{key}: {alone}"));
        assert!(value > 0.0 && value < high, "{key}: {value}");
    }
    let day = test_day::read(&two).unwrap();
    let mut powers: Vec<f64> = day
        .blocks
        .iter()
        .map(|block| block.planned_power_w.unwrap())
        .collect();
    powers.sort_by(f64::total_cmp);
    powers.dedup();
    assert_eq!(powers, [110.0, 250.0]);
}
