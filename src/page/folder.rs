//! Whether anything in a folder changed: names, sizes and times of what an answer rests on.

use crate::recording::is_recording_name;
use std::path::Path;
use std::time::SystemTime;

/// Equal as long as nothing changed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Seen(Vec<(String, u64, Option<SystemTime>)>);

impl Seen {
    /// As it was, but for `test.toml`, which is as it is now.
    pub fn with_test_toml_of(self, now: &Seen) -> Seen {
        let is_it = |file: &&(String, u64, Option<SystemTime>)| file.0 == "test.toml";
        let mut files: Vec<_> = self.0.iter().filter(|file| !is_it(file)).cloned().collect();
        files.extend(now.0.iter().filter(is_it).cloned());
        files.sort();
        Seen(files)
    }
}

/// A folder that cannot be read looks empty.
pub fn seen(folder: &Path) -> Seen {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut files: Vec<_> = entries
        .filter(|entry| {
            let name = entry.file_name();
            name == "test.toml" || is_recording_name(Path::new(&name))
        })
        .filter_map(|entry| {
            let about = entry.metadata().ok()?;
            let name = entry.file_name().to_string_lossy().into_owned();
            Some((name, about.len(), about.modified().ok()))
        })
        .collect();
    files.sort();
    Seen(files)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_counts_is_noticed() {
        let home = tempfile::tempdir().unwrap();
        let at_first = seen(home.path());
        std::fs::write(home.path().join("report.html"), "x").unwrap();
        assert_eq!(seen(home.path()), at_first);
        std::fs::write(home.path().join("a.csv"), "x").unwrap();
        let then = seen(home.path());
        assert_ne!(then, at_first);
        std::fs::write(home.path().join("a.csv"), "xy").unwrap();
        assert_ne!(seen(home.path()), then);
        assert_eq!(seen(&home.path().join("none")), Seen::default());
    }
}
