//! README and docs against the program: what they show is what it does.

use crate::program;
use assert_cmd::Command;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use stillair::cli::cautions::CAUTIONS;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn text(name: &str) -> String {
    std::fs::read_to_string(root().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// README, DEVELOPERS and everything in docs.
fn documents() -> Vec<String> {
    let mut names = vec!["README.md".to_string(), "DEVELOPERS.md".to_string()];
    for entry in std::fs::read_dir(root().join("docs")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if name.ends_with(".md") {
            names.push(format!("docs/{name}"));
        }
    }
    names
}

/// What stands between a fence of this kind and its end, the first one of the document.
fn fenced(document: &str, kind: &str) -> String {
    let (_, rest) = document.split_once(&format!("\n```{kind}\n")).unwrap();
    rest.split_once("```").unwrap().0.to_string()
}

fn stillair(words: &[&str], folder: &Path) -> String {
    program::said(
        Command::cargo_bin("stillair")
            .unwrap()
            .args(words)
            .current_dir(folder),
    )
}

/// `OVERWRITE=1` writes the run into the README instead.
#[test]
fn the_run_in_the_readme_is_what_demo_prints() {
    let folder = tempfile::tempdir().unwrap();
    let printed = stillair(&["demo"], folder.path());
    let readme = text("README.md");
    let shown = fenced(&readme, "text");
    if std::env::var_os("OVERWRITE").is_some() {
        let renewed = readme.replacen(&format!("```text\n{shown}"), &format!("```text\n{printed}"), 1);
        std::fs::write(root().join("README.md"), renewed).unwrap();
        return;
    }
    assert!(
        shown == printed,
        "the run in README.md is out of date; OVERWRITE=1 renews it. Printed:\n{printed}"
    );
}

#[test]
fn the_example_in_the_readme_is_a_test_day_without_faults() {
    let day = stillair::test_day::parse(Path::new("test.toml"), &fenced(&text("README.md"), "toml"));
    let day = day.unwrap_or_else(|error| panic!("{error}"));
    assert_eq!((day.setups.len(), day.blocks.len()), (2, 5));
    assert_eq!((day.excludes.len(), day.windows.len(), day.air.len()), (1, 1, 1));
    assert!(day.course.is_some());
}

#[test]
fn the_notes_in_the_readme_are_a_test_day_without_faults() {
    let readme = text("README.md");
    let (_, rest) = readme.split_once("note before a block").unwrap();
    let day = stillair::test_day::parse(Path::new("test.toml"), &fenced(rest, "toml"));
    let day = day.unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(day.air_speed.unwrap().channel, "air speed");
    let notes = day.blocks[0].notes;
    assert!(notes.wind.is_some() && notes.total_mass_kg.is_some() && notes.rollout_m.is_some());
    assert_eq!(
        (notes.tyre_pressure_bar, notes.power_zero_nm),
        (Some(5.5), Some(0.12))
    );
    assert_eq!(day.blocks[1].notes.power_zero_nm, Some(0.09));
}

#[test]
fn the_readme_carries_every_caution_of_the_program() {
    let readme = text("README.md");
    for line in CAUTIONS.lines() {
        assert!(readme.contains(line.trim_end_matches(':')), "{line}");
    }
}

#[test]
fn the_table_of_commands_lists_those_that_there_are() {
    let readme = text("README.md");
    let shown: BTreeSet<&str> = readme
        .lines()
        .filter_map(|line| line.strip_prefix("| `stillair "))
        .filter_map(|rest| rest.split_whitespace().next())
        .collect();
    let help = stillair(&["--help"], root());
    let (_, commands) = help.split_once("Commands:\n").unwrap();
    let known: BTreeSet<&str> = commands
        .lines()
        .take_while(|line| !line.is_empty())
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .collect();
    assert_eq!(shown, known);
}

#[test]
fn links_and_paths_lead_somewhere() {
    for name in documents() {
        let document = text(&name);
        let here = root().join(&name).parent().unwrap().to_path_buf();
        let links = document
            .split("](")
            .skip(1)
            .filter_map(|rest| rest.split(')').next());
        for link in links.filter(|link| !link.contains("://")) {
            assert!(here.join(link).exists(), "{name} links to {link}");
        }
        // Whole paths in backticks, from the root; a pattern or a command is no path.
        let quoted = document.split('`').skip(1).step_by(2);
        for path in quoted.filter(|quote| !quote.contains([' ', '<', '*', '\n'])) {
            let ours = ["src/", "tests/", "docs/", "fixtures/", ".ci/"];
            if ours.iter().any(|start| path.starts_with(start)) {
                assert!(root().join(path).exists(), "{name} speaks of {path}");
            }
        }
    }
}

/// The source of a room, of `JSON` or of a single file.
fn source(room: &str) -> String {
    let path = match room {
        "JSON" => root().join("src/report/json.rs"),
        _ => [format!("src/{room}.rs"), format!("src/{room}")]
            .iter()
            .map(|path| root().join(path))
            .find(|path| path.exists())
            .unwrap_or_else(|| panic!("there is no room {room}")),
    };
    let mut files: Vec<PathBuf> = vec![path];
    if room == "JSON" {
        files.push(root().join("src/report/json"));
    }
    let mut all = String::new();
    while let Some(path) = files.pop() {
        if path.is_dir() {
            files.extend(
                std::fs::read_dir(path)
                    .unwrap()
                    .map(|entry| entry.unwrap().path()),
            );
        } else {
            all.push_str(&std::fs::read_to_string(path).unwrap());
        }
    }
    all
}

fn holds_word(source: &str, word: &str) -> bool {
    let part = |c: char| c.is_ascii_alphanumeric() || c == '_';
    source.split(|c| !part(c)).any(|found| found == word)
}

/// Each row of docs/names.md: the names in backticks stand in the source of every room that it lists.
#[test]
fn every_name_is_used_where_the_table_says() {
    let mut checked = 0;
    for row in text("docs/names.md")
        .lines()
        .filter(|line| line.starts_with("| `"))
    {
        let cells: Vec<&str> = row.trim_matches('|').split('|').map(str::trim).collect();
        let names: Vec<&str> = cells[0].split('`').skip(1).step_by(2).collect();
        for room in cells[cells.len() - 1].split(',').map(str::trim) {
            let source = if room == "all" {
                String::new()
            } else {
                source(room)
            };
            for name in names.iter().filter(|_| room != "all") {
                assert!(holds_word(&source, name), "{name} is not in {room}");
                checked += 1;
            }
        }
    }
    assert!(checked > 50, "{checked}");
}
