//! Several folders are several days of one test: one answer over all of them, then each day.

use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};
use stillair::simulate::{DayPlan, out_and_back_plan, ride_day};
use tempfile::TempDir;

/// −6 % on each of two days, in the folders `monday` and `tuesday`.
fn two_days() -> TempDir {
    let home = tempfile::tempdir().unwrap();
    write(
        home.path(),
        "monday",
        out_and_back_plan(51, "ABBAABBA", -6.0),
        0.0,
    );
    write(
        home.path(),
        "tuesday",
        out_and_back_plan(52, "ABBAABBA", -6.0),
        1.0,
    );
    home
}

fn write(home: &Path, name: &str, mut plan: DayPlan, days_later: f64) {
    plan.start_s += 86_400.0 * days_later;
    ride_day(&plan).write_folder(&home.join(name), false).unwrap();
}

fn stillair(home: &Path, words: &[&str]) -> Output {
    let program = env!("CARGO_BIN_EXE_stillair");
    Command::new(program)
        .args(words)
        .current_dir(home)
        .output()
        .unwrap()
}

fn text(home: &Path, words: &[&str]) -> String {
    let output = stillair(home, words);
    assert!(output.status.success(), "{output:?}");
    String::from_utf8(output.stdout).unwrap()
}

fn json(home: &Path, words: &[&str]) -> Value {
    serde_json::from_str(&text(home, words)).unwrap()
}

fn interval(comparison: &Value) -> [f64; 2] {
    let ends = &comparison["cda_change_percent"]["interval_90"];
    [0, 1].map(|end| ends[end].as_f64().unwrap())
}

#[test]
fn the_json_holds_each_day_and_all_together() {
    let home = two_days();
    let found = json(home.path(), &["compare", "monday", "tuesday", "--json"]);
    assert_eq!(found["schema"], 1);
    let days = found["days"].as_array().unwrap();
    let alone = ["monday", "tuesday"].map(|day| json(home.path(), &["compare", day, "--json"]));
    assert_eq!(days.as_slice(), alone.as_slice());

    let together = &found["together"];
    assert_eq!(together["folders"], serde_json::json!(["monday", "tuesday"]));
    assert_eq!(
        together["setups"][1],
        serde_json::json!({"name": "set-up B", "days": [1, 2], "blocks": 8})
    );
    let [both] = together["comparisons"].as_array().unwrap().as_slice() else {
        panic!("{together}");
    };
    assert_eq!(
        (&both["setup"], &both["baseline"]),
        (&"set-up B".into(), &"set-up A".into())
    );
    let [low, high] = interval(both);
    assert!(low < -6.0 && -6.0 < high, "{low} {high}");
    for (day, of) in alone.iter().zip(both["days"].as_array().unwrap()) {
        let own = &day["comparisons"][0];
        assert_eq!(of["cda_change_percent"], own["cda_change_percent"]);
        let [from, to] = interval(own);
        // Days alike: what a day makes of the difference is less than its errors, so two of them narrow.
        assert!(high - low < to - from, "{low} {high} {from} {to}");
    }
    assert_eq!(both["days"][1]["day"], 2);
    assert_eq!(both["agreement"]["holds"], true);
    assert_eq!(both["agreement"]["degrees_of_freedom"], 1);
    let chance = both["agreement"]["chance_of_more"].as_f64().unwrap();
    assert!((0.05..=1.0).contains(&chance), "{chance}");
    assert!(together["day_to_day_percent"].as_f64().unwrap() > 0.2);
    assert_eq!(together["warnings"], serde_json::json!([]));
    assert!(both.get("stopwatch").is_none());
}

#[test]
fn the_terminal_gives_the_answer_over_all_days_first_and_a_line_for_each() {
    let home = two_days();
    let said = text(home.path(), &["compare", "monday", "tuesday"]);
    let lines: Vec<&str> = said.lines().collect();
    assert_eq!(lines[0], "Over 2 days:");
    let place = |word: &str| lines.iter().position(|line| line.contains(word)).unwrap();
    assert!(place("'set-up B' is faster than 'set-up A'") < place("all days"));
    let rows: Vec<&&str> = lines.iter().filter(|line| line.starts_with("A to B")).collect();
    assert_eq!(rows.len(), 3, "{said}");
    assert!(rows[0].contains("all days") && rows[1].contains("monday") && rows[2].contains("tuesday"));
    // The numbers of the table are those of the JSON.
    let found = json(home.path(), &["compare", "monday", "tuesday", "--json"]);
    let value = found["together"]["comparisons"][0]["cda_change_percent"]["value"]
        .as_f64()
        .unwrap();
    assert!(rows[0].contains(&format!("−{:.1} ", -value)), "{value} {said}");
}

#[test]
fn a_day_of_another_truth_is_pointed_out() {
    let home = two_days();
    write(home.path(), "friday", out_and_back_plan(53, "ABBAABBA", 9.0), 4.0);
    let words = ["compare", "monday", "tuesday", "friday", "--json"];
    let found = json(home.path(), &words);
    let together = &found["together"];
    assert_eq!(together["comparisons"][0]["agreement"]["holds"], false);
    let warning = &together["warnings"][0];
    assert_eq!(warning["kind"], "days disagree");
    assert!(
        warning["message"]
            .as_str()
            .unwrap()
            .contains("friday stands farthest")
    );
    assert!(!warning["next_step"].as_str().unwrap().is_empty());
    let said = text(home.path(), &words[..4]);
    assert!(said.contains("To mind:"), "{said}");
}

#[test]
fn days_with_nothing_in_common_are_shown_one_by_one() {
    let home = two_days();
    let toml = home.path().join("tuesday/test.toml");
    let own = std::fs::read_to_string(&toml).unwrap();
    std::fs::write(&toml, own.replace("set-up A", "blue").replace("set-up B", "red")).unwrap();
    let found = json(home.path(), &["compare", "monday", "tuesday", "--json"]);
    assert_eq!(found["together"]["warnings"][0]["kind"], "no set-up in common");
    assert_eq!(found["together"]["comparisons"].as_array().unwrap().len(), 2);
}
