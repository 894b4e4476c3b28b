//! From a folder of rides to an answer: `stillair new`, then `stillair compare`.

use assert_cmd::Command;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::{contains, is_empty};
use std::path::Path;

fn stillair(words: &[&str]) -> Command {
    let mut command = Command::cargo_bin("stillair").unwrap();
    command.args(words);
    command
}

/// The demonstration's ride without its notes.
fn rides(home: &Path) -> String {
    let demo = home.join("demo");
    stillair(&["demo", demo.to_str().unwrap()]).assert().success();
    let folder = home.join("day");
    std::fs::create_dir(&folder).unwrap();
    std::fs::copy(demo.join("ride.fit"), folder.join("ride.fit")).unwrap();
    folder.to_str().unwrap().to_string()
}

#[test]
fn a_folder_of_rides_becomes_an_answer() {
    let home = tempfile::tempdir().unwrap();
    let folder = rides(home.path());
    let words = [
        "new", &folder, "--setup", "loose", "--setup", "close", "--order", "ABBAABBA", "--mass", "82",
    ];
    stillair(&words)
        .assert()
        .success()
        .stdout(contains("16 passes in 8 likely blocks").and(contains("stillair compare")));
    // The demonstration's truth: 6 % less drag area.
    stillair(&["compare", &folder])
        .assert()
        .success()
        .stdout(contains("'close' is faster than 'loose'"));
}

#[test]
fn nothing_is_written_over_and_what_does_not_add_up_is_said() {
    let home = tempfile::tempdir().unwrap();
    let folder = rides(home.path());
    let toml = Path::new(&folder).join("test.toml");
    stillair(&[
        "new", &folder, "--setup", "loose", "--setup", "close", "--order", "ABBA",
    ])
    .assert()
    .code(1)
    .stdout(is_empty())
    .stderr(contains(
        "the order has 4 blocks, and 8 were found: block 1: passes 1 to 2",
    ));
    assert!(!toml.exists());
    stillair(&["new", &folder, "--order", "ABBA"]).assert().code(2);
    stillair(&["new", &folder])
        .assert()
        .success()
        .stdout(contains("Wrote"));
    let before = std::fs::read(&toml).unwrap();
    stillair(&["new", &folder, "--mass", "70"])
        .assert()
        .code(1)
        .stdout(is_empty())
        .stderr(contains("test.toml").and(contains("not written over")));
    assert_eq!(std::fs::read(&toml).unwrap(), before);
    let empty = home.path().join("empty");
    std::fs::create_dir(&empty).unwrap();
    stillair(&["new", empty.to_str().unwrap()])
        .assert()
        .code(1)
        .stderr(contains("no recording"));
}
