//! What an answer rests on, by name, size and time of each file, and what changed from one look to the next.

use crate::recording::is_recording_name;
use std::collections::BTreeMap;
use std::path::Path;
use std::time::SystemTime;

/// Size and time of the last change.
type Mark = (u64, Option<SystemTime>);

/// Equal as long as nothing changed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Seen {
    /// `None`: the folder is not there, or cannot be read.
    files: Option<BTreeMap<String, Mark>>,
}

/// One thing that happened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Changed {
    /// Empty where it is the folder.
    pub file: String,
    pub what: What,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum What {
    New,
    Changed,
    Gone,
    /// It had this name before.
    Renamed(String),
    FolderGone,
    FolderBack,
}

impl Seen {
    pub fn is_there(&self) -> bool {
        self.files.is_some()
    }

    pub fn recordings(&self) -> usize {
        let files = self.files.iter().flatten();
        files.filter(|(name, _)| *name != "test.toml").count()
    }

    /// As it was, but for `file`, which is as it is now.
    pub fn with(mut self, file: &str, now: &Seen) -> Seen {
        if let Some(files) = &mut self.files {
            files.remove(file);
            let mark = now.files.as_ref().and_then(|files| files.get(file));
            files.extend(mark.map(|mark| (file.to_string(), *mark)));
        }
        self
    }

    /// By name; a file of another name with the size and the time of one that is gone was renamed.
    pub fn since(&self, before: &Seen) -> Vec<Changed> {
        let of_folder = |what| Changed {
            file: String::new(),
            what,
        };
        let (now, was) = match (&self.files, &before.files) {
            (None, None) => return Vec::new(),
            (None, Some(_)) => return vec![of_folder(What::FolderGone)],
            (Some(_), None) => return vec![of_folder(What::FolderBack)],
            (Some(now), Some(was)) => (now, was),
        };
        let mut changes = Vec::new();
        let mut gone: Vec<(&String, &Mark)> =
            was.iter().filter(|(name, _)| !now.contains_key(*name)).collect();
        for (name, mark) in now {
            let what = match was.get(name) {
                Some(old) if old == mark => continue,
                Some(_) => What::Changed,
                None => match gone.iter().position(|(_, old)| *old == mark) {
                    Some(place) => What::Renamed(gone.remove(place).0.clone()),
                    None => What::New,
                },
            };
            changes.push(Changed {
                file: name.clone(),
                what,
            });
        }
        changes.extend(gone.into_iter().map(|(name, _)| Changed {
            file: name.clone(),
            what: What::Gone,
        }));
        changes
    }
}

/// `test.toml` and the recordings; nothing else counts.
pub fn seen(folder: &Path) -> Seen {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Seen::default();
    };
    let files = entries
        .flatten()
        .filter(|entry| {
            let name = entry.file_name();
            name == "test.toml" || is_recording_name(Path::new(&name))
        })
        .filter_map(|entry| {
            let about = std::fs::metadata(entry.path()).ok()?;
            let name = entry.file_name().to_string_lossy().into_owned();
            Some((name, (about.len(), about.modified().ok())))
        });
    Seen {
        files: Some(files.collect()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(changes: &[Changed]) -> Vec<(&str, &What)> {
        changes.iter().map(|one| (one.file.as_str(), &one.what)).collect()
    }

    #[test]
    fn only_what_counts_is_noticed() {
        let home = tempfile::tempdir().unwrap();
        let at_first = seen(home.path());
        std::fs::write(home.path().join("report.html"), "x").unwrap();
        assert_eq!(seen(home.path()), at_first);
        std::fs::write(home.path().join("a.csv"), "x").unwrap();
        let then = seen(home.path());
        assert_eq!(said(&then.since(&at_first)), [("a.csv", &What::New)]);
        assert_eq!((at_first.recordings(), then.recordings()), (0, 1));
        std::fs::write(home.path().join("a.csv"), "xy").unwrap();
        assert_eq!(said(&seen(home.path()).since(&then)), [("a.csv", &What::Changed)]);
    }

    #[test]
    fn a_new_name_is_no_new_ride() {
        let home = tempfile::tempdir().unwrap();
        std::fs::write(home.path().join("a.csv"), "x").unwrap();
        std::fs::write(home.path().join("c.csv"), "xyz").unwrap();
        let before = seen(home.path());
        std::fs::rename(home.path().join("a.csv"), home.path().join("b.csv")).unwrap();
        std::fs::remove_file(home.path().join("c.csv")).unwrap();
        let renamed = What::Renamed("a.csv".to_string());
        let changes = seen(home.path()).since(&before);
        assert_eq!(said(&changes), [("b.csv", &renamed), ("c.csv", &What::Gone)]);
    }

    #[test]
    fn a_folder_goes_and_comes_back() {
        let home = tempfile::tempdir().unwrap();
        std::fs::write(home.path().join("a.csv"), "x").unwrap();
        let (there, away) = (seen(home.path()), seen(&home.path().join("none")));
        assert!(there.is_there() && !away.is_there());
        assert_eq!(said(&away.since(&there)), [("", &What::FolderGone)]);
        assert_eq!(said(&there.since(&away)), [("", &What::FolderBack)]);
        assert!(away.since(&away).is_empty());
    }

    #[test]
    fn one_file_is_taken_as_it_is_now() {
        let home = tempfile::tempdir().unwrap();
        let before = seen(home.path());
        std::fs::write(home.path().join("test.toml"), "x").unwrap();
        std::fs::write(home.path().join("a.csv"), "x").unwrap();
        let now = seen(home.path());
        let taken = before.with("test.toml", &now);
        assert_eq!(said(&now.since(&taken)), [("a.csv", &What::New)]);
    }
}
