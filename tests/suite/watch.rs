//! `watch`: the real program over a folder that changes. One line for each change, the numbers of `compare` and of the
//! page in it, and whether to ride on.

use crate::page::{Door, compare_json};
use assert_cmd::cargo::CommandCargoExt;
use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;
use stillair::simulate::{Files, out_and_back_plan, ride_day};
use tempfile::TempDir;

/// A test that waits longer than this has failed; nothing is asserted of how long anything takes.
const PATIENCE: Duration = Duration::from_secs(120);

/// The blocks that are not ridden yet are waited for.
const PLAN: &str = "\n[plan]\n";

struct Watched {
    program: Child,
    lines: Receiver<Value>,
}

impl Drop for Watched {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

impl Watched {
    fn on(folder: &Path, words: &[&str]) -> Watched {
        let mut program = Command::cargo_bin("stillair")
            .unwrap()
            .args(["watch", "--json", "--quiet"])
            .args(words)
            .arg(folder)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let out = BufReader::new(program.stdout.take().unwrap());
        let (teller, lines) = channel();
        std::thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                let value = serde_json::from_str(&line).unwrap_or(Value::String(line));
                if teller.send(value).is_err() {
                    return;
                }
            }
        });
        Watched { program, lines }
    }

    fn next(&self) -> Value {
        self.lines.recv_timeout(PATIENCE).expect("a line")
    }
}

/// What happened, as `what file`.
fn happened(line: &Value) -> Vec<String> {
    let words = |value: &Value| value.as_str().unwrap_or_default().to_string();
    let changes = line["changes"].as_array().unwrap().iter();
    changes
        .map(|one| {
            format!("{} {}", words(&one["what"]), words(&one["file"]))
                .trim()
                .to_string()
        })
        .collect()
}

/// A day of four blocks, a recording each, in a folder beside the one that is watched.
struct Day {
    home: TempDir,
    rides: Vec<PathBuf>,
}

impl Day {
    fn ridden(order: &str, change_percent: f64, notes: &str) -> Day {
        let home = TempDir::new().unwrap();
        let mut plan = out_and_back_plan(4, order, change_percent).calm();
        plan.files = Files::PerBlock;
        let day = ride_day(&plan);
        let whole = home.path().join("whole");
        let mut rides = day.write_files(&whole).unwrap();
        rides.sort();
        std::fs::create_dir(home.path().join("day")).unwrap();
        let test_toml = day.test_toml(true) + notes;
        std::fs::write(home.path().join("day/test.toml"), test_toml).unwrap();
        assert_eq!(rides.len(), order.len());
        Day { home, rides }
    }

    fn folder(&self) -> PathBuf {
        self.home.path().join("day")
    }

    fn name(&self, ride: usize) -> String {
        self.rides[ride]
            .file_name()
            .unwrap()
            .to_str()
            .unwrap()
            .to_string()
    }

    fn put(&self, ride: usize) {
        std::fs::copy(&self.rides[ride], self.folder().join(self.name(ride))).unwrap();
    }
}

#[test]
fn terminal_page_and_watcher_give_the_same_numbers_to_the_last_digit() {
    let day = Day::ridden("ABBA", -6.0, PLAN);
    day.put(0);
    day.put(1);
    let watched = Watched::on(&day.folder(), &["--page", "--no-open"]);
    let (mut address, mut line) = (String::new(), Value::Null);
    for _ in 0..2 {
        let told = watched.next();
        match told["address"].as_str() {
            Some(told) => address = told.to_string(),
            None => line = told,
        }
    }
    let page = Door::at(&address);
    for ride in [2, 3] {
        let wanted = compare_json(&day.folder());
        assert!(
            wanted["comparisons"][0]["cda_change_percent"].is_object(),
            "{wanted}"
        );
        assert_eq!(line["compare"], wanted);
        let warnings = wanted["warnings"].as_array().unwrap().len();
        assert!(
            line["says"]
                .as_str()
                .unwrap()
                .contains(&format!(" {warnings} warning")),
            "{}",
            line["says"]
        );
        // The page looks for itself, and may be a moment later.
        let until = std::time::Instant::now() + PATIENCE;
        let mut shown = page.get("/numbers").json();
        while shown != wanted && std::time::Instant::now() < until {
            std::thread::sleep(Duration::from_millis(200));
            shown = page.get("/numbers").json();
        }
        assert_eq!(shown, wanted);
        day.put(ride);
        line = watched.next();
        assert_eq!(happened(&line), [format!("new {}", day.name(ride))]);
    }
    assert_eq!(line["compare"], compare_json(&day.folder()));
}

#[test]
fn partial_files_deletions_renames_and_a_drive_that_goes_are_survived() {
    let day = Day::ridden("ABBA", -6.0, PLAN);
    let folder = day.folder();
    let watched = Watched::on(&folder, &[]);
    let empty = watched.next();
    assert_eq!((&empty["compare"], happened(&empty).len()), (&Value::Null, 0));
    assert!(!empty["faults"].as_array().unwrap().is_empty());

    day.put(0);
    watched.next();
    // Half of a copy that then stops: what is whole of it is used, and it is said. Then the rest arrives.
    let bytes = std::fs::read(&day.rides[1]).unwrap();
    let file = folder.join(day.name(1));
    std::fs::write(&file, &bytes[..bytes.len() / 2]).unwrap();
    let half = watched.next();
    assert_eq!(happened(&half), [format!("new {}", day.name(1))]);
    assert!(
        half["says"].as_str().unwrap().contains("still being copied"),
        "{half}"
    );
    std::fs::write(&file, &bytes).unwrap();
    let whole = watched.next();
    assert_eq!(happened(&whole), [format!("changed {}", day.name(1))]);
    assert_eq!(whole["blocks_ridden"], 2);
    assert_eq!(whole["faults"], serde_json::json!([]));

    let renamed = folder.join(format!("z-{}", day.name(1)));
    std::fs::rename(&file, &renamed).unwrap();
    let line = watched.next();
    assert_eq!(happened(&line), [format!("renamed z-{}", day.name(1))]);
    assert_eq!(line["changes"][0]["before"], day.name(1));
    assert_eq!(line["compare"]["comparisons"], whole["compare"]["comparisons"]);

    std::fs::remove_file(&renamed).unwrap();
    let line = watched.next();
    assert_eq!(happened(&line), [format!("gone z-{}", day.name(1))]);
    assert_eq!(line["blocks_ridden"], 1);

    let away = day.home.path().join("away");
    std::fs::rename(&folder, &away).unwrap();
    let line = watched.next();
    assert_eq!(happened(&line), ["folder gone"]);
    assert_eq!(line["says"], "the folder is gone: waiting for it");
    // Meanwhile something is added to it.
    std::fs::copy(&day.rides[1], away.join(day.name(1))).unwrap();
    std::fs::rename(&away, &folder).unwrap();
    let line = watched.next();
    assert_eq!(
        happened(&line),
        ["folder back".to_string(), format!("new {}", day.name(1))]
    );
    assert_eq!(line["blocks_ridden"], 2);
    assert_eq!(line["compare"], compare_json(&folder));

    // It still follows.
    std::fs::write(folder.join("test.toml"), "title = 3\n").unwrap();
    let line = watched.next();
    assert_eq!(happened(&line), ["changed test.toml"]);
    assert!(line["says"].as_str().unwrap().contains("test.toml"), "{line}");
}

#[test]
fn after_each_block_it_says_whether_to_ride_on() {
    // A difference that no calm day hides, one that more blocks would show, and none.
    let looks = format!("{PLAN}look_after_every_block = true\n");
    for (change_percent, notes, wanted, why, verdict) in [
        (-15.0, looks.as_str(), "stop", "it is resolved", "lower drag"),
        (-15.0, PLAN, "ride on", "4 blocks to come", "lower drag"),
        (-3.0, looks.as_str(), "ride on", "more block", "not resolved"),
        (0.0, looks.as_str(), "stop", "hardly", "not resolved"),
    ] {
        let day = Day::ridden("ABBAABBA", change_percent, notes);
        day.put(0);
        let watched = Watched::on(&day.folder(), &[]);
        let line = watched.next();
        assert_eq!(
            (&line["advice"], &line["blocks_ridden"], &line["blocks"]),
            (&"ride on".into(), &1.into(), &8.into())
        );
        let mut line = Value::Null;
        for ride in 1..4 {
            day.put(ride);
            line = watched.next();
        }
        let says = line["says"].as_str().unwrap();
        assert_eq!(line["advice"], wanted, "{says}");
        assert!(says.contains(why), "{says}");
        assert_eq!(line["compare"]["comparisons"][0]["verdict"], verdict, "{says}");
    }
}
