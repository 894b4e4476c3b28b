//! `stillair rehearse`: days simulated from a plan that was typed by hand.

use crate::program;
use assert_cmd::Command;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::{contains, is_empty};
use serde_json::Value;
use std::path::Path;

const PLANNED: &str = r#"
title = "Two helmets, planned"    # a remark that stays

[rider]
total_mass_kg = 82.0

[course]
shape = "out-and-back"

[plan]
length_m = 1200
gradient_percent = 0.3
bearing_deg = 70
power_w = 230
difference_percent = -8
wind_m_s = 1.5
wind_from_deg = 200
change_s = 120
seed = 5

[[setup]]
name = "vented helmet"
[[setup]]
name = "closed helmet"
"#;

fn planned(folder: &Path, order: &str, passes: usize) {
    let name = |letter: char| if letter == 'A' { "vented" } else { "closed" };
    let blocks = order.chars().map(|letter| {
        format!(
            "[[block]]\nsetup = \"{} helmet\"\npasses = {passes}\n",
            name(letter)
        )
    });
    let text = format!("{PLANNED}{}", blocks.collect::<String>());
    std::fs::write(folder.join("test.toml"), text).unwrap();
}

fn stillair(words: &[&str]) -> Command {
    let mut command = Command::cargo_bin("stillair").unwrap();
    command.args(words);
    command
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// 60 days: a binomial share of 0.9 lies between 0.77 and 0.99 with 99.6 %, and the errors are as large as the days say
/// within 30 % (their root mean square has a standard error of 9 % where they are normal).
#[test]
fn days_say_what_they_know_and_a_seed_gives_the_same_on_any_number_of_threads() {
    let home = tempfile::tempdir().unwrap();
    planned(home.path(), "ABBA", 2);
    let words = ["rehearse", text(home.path()), "--days", "60", "--json", "--quiet"];
    let first = program::said(stillair(&words).env("RAYON_NUM_THREADS", "2"));
    let said: Value = serde_json::from_str(&first).unwrap();
    assert_eq!(said["days"], 60);
    assert_eq!(said["not_analysed"], serde_json::json!([]));
    let number = |key: &str| said[key].as_f64().unwrap_or_else(|| panic!("{key}: {said:#}"));
    let coverage = number("coverage_90");
    assert!((0.77..=0.99).contains(&coverage), "{said:#}");
    let ratio = number("rms_error_percent") / number("stated_standard_uncertainty_percent");
    assert!((0.7..1.3).contains(&ratio), "{said:#}");
    // Every comparison has one of the three verdicts, half of the days with the difference.
    for key in ["with_difference", "without_difference"] {
        let verdicts = said[key].as_object().unwrap().values();
        assert_eq!(verdicts.map(|v| v.as_u64().unwrap()).sum::<u64>(), 30);
    }
    // 8 % on this road is found far more often by its own sign than by the other one, and than where there is none.
    assert!(number("right_verdicts") > number("false_verdicts"), "{said:#}");
    assert!(
        said["with_difference"]["lower_drag"].as_u64() > said["with_difference"]["higher_drag"].as_u64(),
        "{said:#}"
    );
    let few = ["rehearse", text(home.path()), "--days", "6", "--json", "--quiet"];
    let one = program::said(stillair(&few).env("RAYON_NUM_THREADS", "1"));
    assert_eq!(one, program::said(stillair(&few).env("RAYON_NUM_THREADS", "3")));
    let other = program::said(stillair(&few).args(["--seed", "6"]));
    assert_ne!(one, other);
}

/// Two days are the fewest: odd and even. What `compare` says of their files is what went into the summary.
#[test]
fn a_written_day_compares_as_it_did_in_memory_and_is_never_written_over() {
    let home = tempfile::tempdir().unwrap();
    planned(home.path(), "ABBA", 2);
    let typed = std::fs::read(home.path().join("test.toml")).unwrap();
    let folder = text(home.path());
    let said: Value = serde_json::from_str(&program::said(&mut stillair(&[
        "rehearse", folder, "--days", "2", "--json",
    ])))
    .unwrap();
    let off = |number: &str, truth: f64| {
        let into = home.path().join(format!("day {number}"));
        let write = ["rehearse", folder, "--write", text(&into), "--day", number];
        stillair(&write).assert().success().stdout(contains("ride.fit"));
        stillair(&write)
            .assert()
            .code(1)
            .stdout(is_empty())
            .stderr(contains("already"));
        let toml = std::fs::read_to_string(into.join("test.toml")).unwrap();
        assert!(
            toml.contains("# a remark that stays") && toml.contains("[plan]"),
            "{toml}"
        );
        // Remarks of the last block stand before the air.
        assert!(
            toml.trim_end().ends_with("relative_humidity_percent = 60.0"),
            "{toml}"
        );
        let day: Value = serde_json::from_str(&program::said(&mut stillair(&[
            "compare",
            text(&into),
            "--json",
            "--quiet",
        ])))
        .unwrap();
        assert_eq!(day["passes"].as_array().unwrap().len(), 8);
        let value = day["comparisons"][0]["cda_change_percent"]["value"]
            .as_f64()
            .unwrap();
        100.0 * ((100.0 + value) / (100.0 + truth) - 1.0)
    };
    let (odd, even) = (off("1", -8.0), off("2", 0.0));
    let rms = (0.5 * (odd * odd + even * even)).sqrt();
    let in_memory = said["rms_error_percent"].as_f64().unwrap();
    assert!(
        (rms - in_memory).abs() < 1e-6,
        "{odd} {even}: {rms}, in memory {in_memory}"
    );
    assert_eq!(std::fs::read(home.path().join("test.toml")).unwrap(), typed);
}

/// A square of 1.6 km over a hill, which closes to 30 m only.
const CORNERS: [(f64, f64, f64); 5] = [
    (-44.0, 170.0, 20.0),
    (-43.9964, 170.0, 24.0),
    (-43.9964, 170.005, 28.0),
    (-44.0, 170.005, 24.0),
    (-44.0, 170.0003, 21.0),
];

fn route() -> String {
    let between = |a: f64, b: f64, k: u32| a + (b - a) * f64::from(k) / 20.0;
    let mut points = String::new();
    for pair in CORNERS.windows(2) {
        for k in 0..20 {
            let [latitude, longitude, height] = [
                between(pair[0].0, pair[1].0, k),
                between(pair[0].1, pair[1].1, k),
                between(pair[0].2, pair[1].2, k),
            ];
            points += &format!("<trkpt lat=\"{latitude}\" lon=\"{longitude}\"><ele>{height}</ele></trkpt>\n");
        }
    }
    format!("<gpx version=\"1.1\" creator=\"hand\"><trk><trkseg>\n{points}</trkseg></trk></gpx>\n")
}

#[test]
fn a_loop_and_a_climb_on_a_measured_road_are_rehearsed_too() {
    let home = tempfile::tempdir().unwrap();
    std::fs::write(home.path().join("road.gpx"), route()).unwrap();
    for (shape, order, passes) in [("loop", "ABBA", 2), ("one-way", "ABBA", 1)] {
        planned(home.path(), order, passes);
        let file = home.path().join("test.toml");
        let typed = std::fs::read_to_string(&file).unwrap();
        let typed = typed
            .replace("length_m = 1200", "road = \"road.gpx\"\nhold = \"speed\"")
            .replace("out-and-back", shape);
        std::fs::write(&file, typed).unwrap();
        let words = ["rehearse", text(home.path()), "--days", "4", "--json"];
        let said: Value = serde_json::from_str(&program::said(&mut stillair(&words))).unwrap();
        assert_eq!(said["not_analysed"], serde_json::json!([]), "{shape}");
        assert!(said["coverage_90"].is_number(), "{said:#}");
    }
}

#[test]
fn what_cannot_be_rehearsed_is_said() {
    let home = tempfile::tempdir().unwrap();
    let file = home.path().join("test.toml");
    let refused = |typed: &str, words: &str| {
        std::fs::write(&file, typed).unwrap();
        stillair(&["rehearse", text(home.path()), "--days", "2"])
            .assert()
            .code(1)
            .stdout(is_empty())
            .stderr(contains(words).and(contains("test.toml")));
    };
    refused("title = \"ridden\"\n", "no [plan]");
    refused(PLANNED, "no block");
    let one = PLANNED.replace("[[setup]]\nname = \"closed helmet\"\n", "");
    refused(
        &format!("{one}[[block]]\nsetup = \"vented helmet\"\npasses = 4\n"),
        "one set-up only",
    );
    let timed =
        "[[block]]\nsetup = \"closed helmet\"\nfrom = 2026-05-02T08:00:00Z\nto = 2026-05-02T09:00:00Z\n";
    let counted = "[[block]]\nsetup = \"vented helmet\"\npasses = 2\n";
    refused(&format!("{PLANNED}{counted}{timed}"), "times");
    stillair(&["rehearse", text(home.path()), "--days", "0"])
        .assert()
        .code(2);
}
