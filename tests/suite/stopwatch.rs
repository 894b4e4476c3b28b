//! `compare` says what made the difference that the stopwatch saw, and its lines add up to it.

use crate::program;
use assert_cmd::Command;
use serde_json::Value;
use std::path::Path;
use stillair::simulate::{DayPlan, out_and_back_plan, ride_day};
use tempfile::TempDir;

fn written(plan: &DayPlan) -> TempDir {
    let home = TempDir::new().unwrap();
    ride_day(plan).write_folder(home.path(), false).unwrap();
    home
}

fn compare(folder: &Path, more: &[&str]) -> String {
    program::said(
        Command::cargo_bin("stillair")
            .unwrap()
            .arg("compare")
            .arg(folder)
            .args(more),
    )
}

fn json(folder: &Path) -> Value {
    serde_json::from_str(&compare(folder, &["--json"])).unwrap()
}

/// Mean over the two directions of mean pass times, from the table of passes.
fn mean_time_s(day: &Value, setup: &str) -> f64 {
    let way = |direction: &str| {
        let times: Vec<f64> = day["passes"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|p| p["kept"] == true && p["setup"] == setup && p["direction"] == direction)
            .map(|p| p["duration_s"].as_f64().unwrap())
            .collect();
        times.iter().sum::<f64>() / times.len() as f64
    };
    0.5 * (way("forward") + way("reverse"))
}

#[test]
fn the_lines_of_the_json_add_up_to_the_times_of_the_passes() {
    let mut plan = out_and_back_plan(12, "ABBA", -6.0);
    plan.setups[1].total_mass_kg += 4.0;
    // One forward pass more of B, so that the directions do not weigh alike.
    plan.order[2].passes = 3;
    let day = json(written(&plan).path());
    let comparison = &day["comparisons"][0];
    let stopwatch = &comparison["stopwatch"];
    let raw = stopwatch["raw_time_change_s"].as_f64().unwrap();
    let measured = mean_time_s(&day, "set-up B") - mean_time_s(&day, "set-up A");
    assert!((raw - measured).abs() < 1e-9, "{raw} {measured}");

    let lines = stopwatch["lines"].as_array().unwrap();
    let causes: Vec<&str> = lines.iter().map(|l| l["cause"].as_str().unwrap()).collect();
    let promised = [
        "power",
        "entry speed",
        "wind",
        "air density",
        "mass",
        "rolling resistance",
        "set-up",
        "uneven riding and gusts",
    ];
    assert_eq!(causes, promised);
    let seconds: Vec<f64> = lines
        .iter()
        .map(|l| l["time_change_s"].as_f64().unwrap())
        .collect();
    assert!(
        (seconds.iter().sum::<f64>() - raw).abs() < 1e-9,
        "{seconds:?} {raw}"
    );
    // 4 kg more roll and accelerate worse; the wind along the road is told from both directions.
    assert!(seconds[4] > 0.2, "{seconds:?}");
    assert_eq!(stopwatch["wind_known"].as_bool(), Some(true));
    let interval: Vec<f64> = lines[6]["interval_90"]
        .as_array()
        .unwrap()
        .iter()
        .map(|end| end.as_f64().unwrap())
        .collect();
    assert!(
        interval[0] < seconds[6] && seconds[6] < interval[1],
        "{interval:?} {seconds:?}"
    );
}

/// The number at the end of the line of the table that begins so.
fn printed_s(text: &str, name: &str) -> Option<f64> {
    let line = text.lines().find(|line| line.starts_with(&format!("{name} ")))?;
    let number = line.trim_start_matches(name).split_whitespace().next()?;
    number.replace('−', "-").parse().ok()
}

#[test]
fn the_table_shows_the_same_lines() {
    let home = written(&out_and_back_plan(12, "ABBA", -6.0).calm());
    let (text, day) = (compare(home.path(), &[]), json(home.path()));
    let (_, table) = text.split_once("What the stopwatch saw").unwrap();
    let (table, _) = table.split_once("\n\n").unwrap();
    let stopwatch = &day["comparisons"][0]["stopwatch"];
    let mut shown = 0;
    for line in stopwatch["lines"].as_array().unwrap() {
        let seconds = line["time_change_s"].as_f64().unwrap();
        let cause = line["cause"].as_str().unwrap();
        let name = if cause == "set-up" {
            "the set-up's drag area"
        } else {
            cause
        };
        match printed_s(table, name) {
            Some(printed) => {
                assert!(
                    (printed - seconds).abs() <= 0.05 + 1e-9,
                    "{cause} {printed} {seconds}"
                );
                shown += 1;
            }
            None => assert!(
                seconds.abs() <= 0.05,
                "{cause}: {seconds} is not shown in {table}"
            ),
        }
    }
    assert!(shown >= 3, "{table}");
    let raw = stopwatch["raw_time_change_s"].as_f64().unwrap();
    assert!((printed_s(table, "stopwatch").unwrap() - raw).abs() <= 0.05 + 1e-9);
}

#[test]
fn one_set_up_alone_has_no_account() {
    let mut plan = out_and_back_plan(12, "AA", 0.0);
    plan.setups.truncate(1);
    let home = written(&plan);
    assert!(!compare(home.path(), &[]).contains("stopwatch"));
    assert_eq!(json(home.path())["comparisons"], Value::Array(Vec::new()));
}

#[test]
fn without_a_direction_in_common_there_is_null_and_a_reason() {
    let home = written(&out_and_back_plan(12, "AB", -6.0));
    let toml = home.path().join("test.toml");
    let text = std::fs::read_to_string(&toml).unwrap();
    let left_out = "[[exclude]]\nnumber = 2\nreason = \"a\"\n[[exclude]]\nnumber = 3\nreason = \"b\"\n";
    std::fs::write(&toml, text + left_out).unwrap();
    let day = json(home.path());
    assert_eq!(day["comparisons"][0]["stopwatch"], Value::Null);
    let warnings = day["warnings"].as_array().unwrap();
    let said: Vec<&Value> = warnings.iter().filter(|w| w["kind"] == "stopwatch").collect();
    assert!(
        said.len() == 1 && !said[0]["next_step"].as_str().unwrap().is_empty(),
        "{said:?}"
    );
    assert!(!compare(home.path(), &[]).contains("What the stopwatch saw"));
}
