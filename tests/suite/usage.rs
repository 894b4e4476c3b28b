//! What is typed at the command line is answered with help, a result or one clear message.

use crate::program::said;
use assert_cmd::Command;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::{contains, is_empty, starts_with};

fn stillair(words: &[&str]) -> Command {
    let mut command = Command::cargo_bin("stillair").unwrap();
    command.args(words);
    command
}

const COMMANDS: [&str; 15] = [
    "demo",
    "roads",
    "plan",
    "rehearse",
    "new",
    "inspect",
    "passes",
    "compare",
    "predict",
    "report",
    "export",
    "page",
    "watch",
    "completions",
    "manual",
];

#[test]
fn help_lists_the_commands_and_shows_an_example() {
    let mut help = stillair(&["--help"]).assert().success().stderr(is_empty());
    for name in COMMANDS {
        help = help.stdout(contains(format!("\n  {name} ")));
    }
    help.stdout(contains("Example: ").and(contains("\n  stillair demo ")));
}

#[test]
fn every_command_has_help_with_an_example_of_itself() {
    for name in COMMANDS {
        stillair(&[name, "--help"])
            .assert()
            .success()
            .stderr(is_empty())
            .stdout(contains("Example: ").count(1))
            .stdout(contains(format!("\n  stillair {name} ")).count(1))
            .stdout(contains("--json").and(contains("--quiet")));
    }
}

#[test]
fn the_version_is_that_of_the_package() {
    stillair(&["--version"])
        .assert()
        .success()
        .stdout(format!("stillair {}\n", env!("CARGO_PKG_VERSION")));
}

#[test]
fn wrong_usage_ends_with_2_and_says_why() {
    for words in [
        &["compare"][..],
        &["passes"],
        &["inspect"],
        &["passes", "a", "b"],
        &["compare", "--colour", "a"],
        &["fly"],
        &[],
    ] {
        stillair(words)
            .assert()
            .code(2)
            .stdout(is_empty())
            .stderr(contains("Usage: stillair"));
    }
}

#[test]
fn a_misspelt_command_is_told_the_right_one() {
    stillair(&["comparr", "x"])
        .assert()
        .code(2)
        .stderr(contains("'compare'"));
}

#[test]
fn a_missing_folder_or_file_ends_with_1_and_one_message() {
    let folder = tempfile::tempdir().unwrap();
    for (words, what) in [
        (["compare", "absent"], "there is no such folder"),
        (["passes", "absent"], "there is no such folder"),
        (["inspect", "absent"], "there is no such file"),
    ] {
        stillair(&words)
            .current_dir(folder.path())
            .assert()
            .code(1)
            .stdout(is_empty())
            .stderr(starts_with("stillair: absent: ").and(contains(what)))
            .stderr(contains("stillair: ").count(1));
    }
}

#[test]
fn faults_of_test_toml_come_in_a_paragraph_each_even_when_quiet() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("test.toml"), "titel = 1\n[tyres]\ncrr = 4.5\n").unwrap();
    for command in ["compare", "passes"] {
        stillair(&[command, "--quiet", "--json", "."])
            .current_dir(folder.path())
            .assert()
            .code(1)
            .stdout(is_empty())
            .stderr(
                contains("test.toml: line 1, titel: ")
                    .and(contains("\n\nstillair: ./test.toml: line 3, tyres.crr: ")),
            )
            .stderr(contains("\n\nstillair: .: the folder holds no recording. "))
            .stderr(contains("stillair: ").count(3));
    }
}

#[test]
fn the_demonstration_never_writes_over_files() {
    let folder = tempfile::tempdir().unwrap();
    let ride = folder.path().join("ride.fit");
    std::fs::write(&ride, b"mine").unwrap();
    stillair(&["demo", "."])
        .current_dir(folder.path())
        .assert()
        .code(1)
        .stderr(contains("the folder is not empty"));
    assert_eq!(std::fs::read(&ride).unwrap(), b"mine");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[cfg(target_os = "linux")]
#[test]
fn a_reader_that_has_gone_is_no_failure() {
    // The pipe has no reader from the start.
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let status = std::process::Command::new(env!("CARGO_BIN_EXE_stillair"))
        .arg("--help")
        .stdout(writer)
        .status()
        .unwrap();
    assert_eq!(status.code(), Some(0));
}

#[test]
fn what_the_simulator_writes_down_is_read_as_it_was_ridden() {
    use stillair::simulate::{demo_plan, loop_plan, one_way_plan, ride_day};
    for plan in [
        demo_plan(),
        one_way_plan(5, "ABBA", -3.0),
        loop_plan(6, "AB", 4.0),
    ] {
        let day = ride_day(&plan);
        for with_course in [true, false] {
            let text = day.test_toml(with_course);
            let read = stillair::test_day::parse(std::path::Path::new("test.toml"), &text)
                .unwrap_or_else(|error| panic!("{error}\nin\n{text}"));
            let names: Vec<&str> = read.setups.iter().map(|setup| setup.name.as_str()).collect();
            let ridden: Vec<&str> = plan.setups.iter().map(|setup| setup.name.as_str()).collect();
            assert_eq!(names, ridden);
            for (setup, truth) in read.setups.iter().zip(&plan.setups) {
                assert_eq!(setup.total_mass_kg.value, truth.total_mass_kg);
                assert_eq!(setup.crr.value, truth.crr);
            }
            let order: Vec<Option<usize>> = read.blocks.iter().map(|block| block.setup).collect();
            let planned: Vec<Option<usize>> = plan.order.iter().map(|block| block.setup).collect();
            assert_eq!(order, planned);
            assert_eq!(read.course.is_some(), with_course);
        }
    }
}

/// Bash itself is asked what it would offer.
#[test]
fn a_shell_completes_commands_and_options() {
    let home = tempfile::tempdir().unwrap();
    let script = home.path().join("stillair");
    std::fs::write(&script, said(&mut stillair(&["completions", "bash"]))).unwrap();
    let offered = |words: &[&str]| {
        let line = words
            .iter()
            .map(|word| format!("'{word}'"))
            .collect::<Vec<_>>()
            .join(" ");
        let last = words.len() - 1;
        let ask = format!(
            "source {}; COMP_WORDS=({line}); COMP_CWORD={last}; _stillair stillair '{}' '{}'; echo \"${{COMPREPLY[@]}}\"",
            script.display(),
            words[last],
            words[last - 1],
        );
        said(Command::new("bash").args(["-c", &ask]))
    };
    assert_eq!(offered(&["stillair", "comp"]).trim(), "compare completions");
    assert!(offered(&["stillair", "predict", "--fl"]).contains("--flat"));
}

#[test]
fn every_command_has_a_page_of_the_manual_and_none_is_written_over() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("man1");
    let to = folder.to_str().unwrap();
    stillair(&["manual", to]).assert().success();
    let page = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    for name in COMMANDS {
        assert!(page(&format!("stillair-{name}.1")).contains(&format!("stillair {name} ")));
        assert!(
            page("stillair.1").contains(&format!("stillair\\-{name}(1)")),
            "{name}"
        );
    }
    std::fs::write(folder.join("stillair.1"), "mine").unwrap();
    std::fs::remove_file(folder.join("stillair-new.1")).unwrap();
    stillair(&["manual", to])
        .assert()
        .code(1)
        .stderr(contains("stillair.1").and(contains("not written over")));
    assert_eq!(page("stillair.1"), "mine");
    assert!(!folder.join("stillair-new.1").exists());
}

/// As typed by whoever copies it from the help, in a folder that has what it speaks of.
#[test]
fn every_example_works_as_it_stands() {
    let home = tempfile::tempdir().unwrap();
    let bin = assert_cmd::cargo::cargo_bin("stillair");
    let path = format!("{}:/usr/bin:/bin", bin.parent().unwrap().display());
    let bash = |at: &std::path::Path, typed: &str| {
        let mut command = Command::new("bash");
        command
            .args(["-ec", typed])
            .current_dir(at)
            .env("PATH", &path)
            .env("HOME", home.path());
        command
    };
    said(&mut bash(home.path(), "stillair demo a-day --quiet"));
    for name in COMMANDS {
        let help = said(&mut stillair(&[name, "--help"]));
        let (_, example) = help.split_once("Example: ").unwrap();
        let typed: String = example
            .lines()
            .skip(1)
            .map(|line| format!("{}\n", line.trim_start()))
            .collect();
        assert!(
            typed.starts_with("stillair") || typed.starts_with("mkdir"),
            "{help}"
        );
        // 'man' may be missing; a page and a watch end when they are told to.
        let typed = typed.replace(
            "man stillair-compare",
            "test -s ~/.local/share/man/man1/stillair-compare.1",
        );
        // The first line is enough of what would run on. (Bash lets what it starts beside itself ignore INT.)
        let started = |words: &str| format!("exec 3< <(exec {words}); head -n 1 <&3; kill -TERM $!");
        let typed = match name {
            "page" => started(&format!("{} --no-open", typed.trim_end())),
            "watch" => started(typed.trim_end()),
            _ => typed,
        };
        let at = home.path().join(name);
        std::fs::create_dir(&at).unwrap();
        let ready = match name {
            "demo" | "plan" | "completions" | "manual" => "true",
            "roads" => "cp -r ../a-day rides",
            "new" => "mkdir helmets; cp ../rehearse/ridden/ride.fit helmets",
            "rehearse" => "mkdir helmets; cp ../plan/helmets/test.toml helmets",
            _ => "cp -r ../a-day helmets",
        };
        bash(&at, ready).assert().success();
        let printed = said(&mut bash(&at, &typed));
        assert!(
            !printed.is_empty() || ["report", "rehearse", "new", "manual", "completions"].contains(&name),
            "{name}"
        );
    }
}
