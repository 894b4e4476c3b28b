//! A folder to spoil, the program run on it, and what it said.

use serde_json::Value;
use std::path::PathBuf;
use std::process::Command;
use stillair::simulate::{DayPlan, TrueDay, demo_plan, one_way_plan, ride_day};
use tempfile::TempDir;

/// Folders are named from inside the temporary one, so that messages show short names.
pub struct Bench {
    home: TempDir,
}

pub struct Ran {
    pub code: Option<i32>,
    pub stdout: String,
    pub stderr: String,
}

/// Out and back, two set-ups, ABBA with two passes each: 8 passes.
pub fn short_plan() -> DayPlan {
    demo_plan().with_order("ABBA", 2)
}

pub fn short_day() -> TrueDay {
    ride_day(&short_plan())
}

/// A climb, four passes.
pub fn climb_day() -> TrueDay {
    ride_day(&one_way_plan(3, "ABBA", -8.0))
}

impl Bench {
    pub fn new() -> Self {
        Bench {
            home: tempfile::tempdir().unwrap(),
        }
    }

    /// The recordings of a day and its test.toml in the folder `day`.
    pub fn of(day: &TrueDay) -> Self {
        let bench = Bench::new();
        day.write_folder(&bench.path("day"), false).unwrap();
        bench
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.home.path().join(name)
    }

    /// Writes a file, and the folder it is in.
    pub fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, content).unwrap();
    }

    /// Changes the text of `day/test.toml`; the change must be one.
    pub fn edit(&self, change: impl Fn(&str) -> String) {
        let path = self.path("day/test.toml");
        let before = std::fs::read_to_string(&path).unwrap();
        let after = change(&before);
        assert_ne!(before, after, "the edit changes nothing");
        std::fs::write(path, after).unwrap();
    }

    pub fn replace(&self, from: &str, to: &str) {
        self.edit(|text| text.replacen(from, to, 1));
    }

    pub fn append(&self, text: &str) {
        self.edit(|before| format!("{before}\n{text}\n"));
    }

    pub fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stillair"));
        command.args(words).current_dir(self.home.path());
        command
    }

    pub fn run(&self, words: &[&str]) -> Ran {
        let output = self.command(words).output().unwrap();
        Ran {
            code: output.status.code(),
            stdout: String::from_utf8(output.stdout).unwrap(),
            stderr: String::from_utf8(output.stderr).unwrap(),
        }
    }

    pub fn compare(&self) -> Ran {
        self.run(&["compare", "day"])
    }
}

impl Ran {
    /// Refused with exactly these messages, in this order: each begins with its file and place, and holds
    /// the words; nothing stands on standard output.
    pub fn refuses(&self, messages: &[(&str, &[&str])]) {
        let said: Vec<&str> = self.stderr.trim_end().split("\n\n").collect();
        assert_eq!(self.code, Some(1), "{}", self.stderr);
        assert_eq!(self.stdout, "");
        assert_eq!(said.len(), messages.len(), "{}", self.stderr);
        for (said, (place, words)) in said.iter().zip(messages) {
            let expected = format!("stillair: {place}: ");
            assert!(
                said.starts_with(&expected),
                "{said}\ndoes not begin with {expected}"
            );
            assert!(!said.contains('\n'), "{said}");
            tells(said, words);
        }
    }

    /// Done, with a result on standard output.
    pub fn works(&self) -> &Self {
        assert_eq!(self.code, Some(0), "{}", self.stderr);
        assert!(!self.stdout.is_empty());
        self
    }

    /// Standard output as JSON: the whole of it.
    pub fn json(&self) -> Value {
        self.works();
        serde_json::from_str(&self.stdout).unwrap()
    }
}

/// Holds all the words, and says in a full sentence what to do.
pub fn tells(said: &str, words: &[&str]) {
    for word in words {
        assert!(said.contains(word), "{said}\ndoes not hold {word}");
    }
    let (_, next) = said
        .split_once(". ")
        .unwrap_or_else(|| panic!("{said}\nhas no next step"));
    assert!(
        next.starts_with(char::is_uppercase) && next.ends_with(['.', '?']),
        "{said}"
    );
}

/// Text without its line breaks, so that a sentence is found wherever it was wrapped.
pub fn unwrapped(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
