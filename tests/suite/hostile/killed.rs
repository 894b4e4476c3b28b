//! Killed at any moment, on a full disk, or beside another of its kind: somebody's files are as before or as after.

use crate::bad_input::workbench::{Bench, short_day};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Stdio;
use std::time::Instant;

const KILLS_EACH: usize = 50;

type Files = BTreeMap<String, Vec<u8>>;

/// Everything below a folder.
fn files(home: &Path) -> Files {
    let mut found = Files::new();
    let mut open = vec![home.to_path_buf()];
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
                continue;
            }
            let name = path.strip_prefix(home).unwrap().to_string_lossy().into_owned();
            found.insert(name, std::fs::read(&path).unwrap());
        }
    }
    found
}

/// What is being written when a process is killed; the next one takes it away.
fn is_left_over(name: &str) -> bool {
    name.contains(".stillair-")
}

/// A folder as it is before a command, made anew.
fn set_up(before: &Files) -> Bench {
    let bench = Bench::new();
    for (name, bytes) in before {
        bench.write(name, bytes);
    }
    bench
}

struct Case {
    words: &'static [&'static str],
    before: Files,
}

fn cases() -> Vec<Case> {
    let day = files(Bench::of(&short_day()).path("").as_path());
    let mut unwritten = day.clone();
    unwritten.remove("day/test.toml");
    let mut reported = day.clone();
    let bench = set_up(&day);
    bench.run(&["report", "day"]);
    let old = std::fs::read_to_string(bench.path("day/report.html")).unwrap();
    reported.insert(
        "day/report.html".into(),
        old.replacen("<body", "<!-- older --><body", 1).into_bytes(),
    );
    let mut exported = day.clone();
    bench.run(&["export", "day"]);
    for (name, bytes) in files(&bench.path("")) {
        if name.ends_with(".csv") || name.ends_with(".parquet") {
            exported.insert(name, [b"older ".as_slice(), &bytes].concat());
        }
    }
    vec![
        Case {
            words: &["new", "day"],
            before: unwritten,
        },
        Case {
            words: &["report", "day"],
            before: reported,
        },
        Case {
            words: &[
                "plan", "next", "--setup", "one", "--setup", "two", "--length", "2km", "--mass", "82",
                "--seed", "3",
            ],
            before: day,
        },
        Case {
            words: &["export", "day", "--replace"],
            before: exported,
        },
        Case {
            words: &["demo", "fresh"],
            before: Files::new(),
        },
    ]
}

#[test]
fn a_killed_program_leaves_files_as_before_or_as_after() {
    let mut random = ChaCha8Rng::seed_from_u64(7);
    for case in cases() {
        let whole = set_up(&case.before);
        let started = Instant::now();
        let ran = whole.run(case.words);
        assert_eq!(ran.code, Some(0), "{:?} {}", case.words, ran.stderr);
        let takes = started.elapsed();
        let after = files(&whole.path(""));
        assert_ne!(after, case.before, "{:?} writes nothing", case.words);
        let mut killed = 0;
        for _ in 0..KILLS_EACH {
            let bench = set_up(&case.before);
            let mut child = bench
                .command(case.words)
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn()
                .unwrap();
            // Half of them about the end, where files are written.
            let share = if random.random_bool(0.5) {
                random.random_range(0.8..1.1)
            } else {
                random.random_range(0.0..1.0)
            };
            std::thread::sleep(takes.mul_f64(share));
            let _ = child.kill();
            killed += usize::from(!child.wait().unwrap().success());
            for (name, bytes) in files(&bench.path("")) {
                let sound = [case.before.get(&name), after.get(&name)].contains(&Some(&bytes));
                assert!(
                    sound || is_left_over(&name),
                    "{:?}: {name} is in between",
                    case.words
                );
            }
            for name in case.before.keys() {
                assert!(bench.path(name).exists(), "{:?}: {name} is gone", case.words);
            }
        }
        assert!(killed > KILLS_EACH / 4, "{:?}: {killed} were killed", case.words);
    }
}

/// No file may grow: every write fails, as on a full disk.
#[test]
fn a_full_disk_costs_no_file() {
    for case in cases() {
        let bench = set_up(&case.before);
        let program = bench.command(case.words);
        let words: Vec<&str> = program.get_args().map(|word| word.to_str().unwrap()).collect();
        let mut limited = std::process::Command::new("bash");
        limited
            .args([
                "-c",
                "trap '' XFSZ; ulimit -f 0; \"$0\" \"$@\" 2>&1 | cat; exit \"${PIPESTATUS[0]}\"",
            ])
            .arg(program.get_program())
            .args(words)
            .current_dir(bench.path(""));
        let output = limited.output().unwrap();
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        assert_eq!(output.status.code(), Some(1), "{:?} {said}", case.words);
        assert!(said.contains("cannot be written"), "{:?} {said}", case.words);
        assert_eq!(files(&bench.path("")), case.before, "{:?}", case.words);
    }
}

/// Of two that write the same file one succeeds, and the other says that there is one.
#[test]
fn of_two_at_once_one_writes() {
    let case = cases().remove(0);
    for _ in 0..6 {
        let bench = set_up(&case.before);
        let start = || {
            bench
                .command(case.words)
                .stdout(Stdio::null())
                .stderr(Stdio::piped())
                .spawn()
                .unwrap()
        };
        let both = [start(), start()];
        let ended = both.map(|child| child.wait_with_output().unwrap());
        let worked = ended.iter().filter(|output| output.status.success()).count();
        assert_eq!(worked, 1, "{ended:?}");
        let refused = ended.iter().find(|output| !output.status.success()).unwrap();
        let said = String::from_utf8_lossy(&refused.stderr);
        assert!(said.contains("test.toml: there is one already"), "{said}");
        let names: Vec<String> = files(&bench.path("")).into_keys().collect();
        assert!(!names.iter().any(|name| is_left_over(name)), "{names:?}");
    }
}
