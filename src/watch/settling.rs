//! When a folder that changes is to be read: once it stands still.

use super::folder::{Changed, Seen};
use std::time::{Duration, Instant};

/// Copying over a slow wire writes in pushes less than this apart; nobody minds waiting for it.
pub const STILL: Duration = Duration::from_millis(1200);

/// What was read last, and what was seen since.
#[derive(Debug)]
pub struct Settling {
    read: Seen,
    /// Of the folder as it was last there.
    there: Seen,
    looked: Seen,
    since: Instant,
}

impl Settling {
    /// Of a folder that is being read as it was seen.
    pub fn on(read: Seen, at: Instant) -> Settling {
        Settling {
            looked: read.clone(),
            there: read.clone(),
            read,
            since: at,
        }
    }

    /// Takes a look. Gives what changed since the last reading once it stood still: it counts as read then.
    pub fn look(&mut self, now: Seen, at: Instant) -> Vec<Changed> {
        if now != self.looked {
            self.looked = now;
            self.since = at;
            return Vec::new();
        }
        if self.looked == self.read || at.duration_since(self.since) < STILL {
            return Vec::new();
        }
        let mut changes = self.looked.since(&self.read);
        if self.looked.is_there() {
            if !self.read.is_there() {
                changes.extend(self.looked.since(&self.there));
            }
            self.there = self.looked.clone();
        }
        self.read = self.looked.clone();
        changes
    }

    /// Something changed that is not read yet.
    pub fn is_waiting(&self) -> bool {
        self.looked != self.read
    }

    /// One file was written by ourselves: it is as it is `now`, which is no news.
    pub fn wrote(&mut self, file: &str, now: &Seen) {
        self.read = std::mem::take(&mut self.read).with(file, now);
        self.there = std::mem::take(&mut self.there).with(file, now);
    }
}

#[cfg(test)]
mod tests {
    use super::super::folder::{What, seen};
    use super::*;

    #[test]
    fn a_file_that_grows_is_left_until_it_stands_still() {
        let home = tempfile::tempdir().unwrap();
        let start = Instant::now();
        let mut settling = Settling::on(seen(home.path()), start);
        let file = home.path().join("a.csv");
        let mut at = start;
        for size in 1..5 {
            std::fs::write(&file, vec![b'x'; size]).unwrap();
            at += STILL;
            assert!(settling.look(seen(home.path()), at).is_empty());
        }
        assert!(settling.is_waiting());
        assert!(settling.look(seen(home.path()), at + STILL / 2).is_empty());
        let changes = settling.look(seen(home.path()), at + STILL);
        assert_eq!(changes.len(), 1);
        assert_eq!(changes[0].what, What::New);
        assert!(!settling.is_waiting());
        assert!(settling.look(seen(home.path()), at + 2 * STILL).is_empty());
    }

    #[test]
    fn what_is_new_in_a_folder_that_comes_back_is_told() {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("day");
        std::fs::create_dir(&folder).unwrap();
        std::fs::write(folder.join("a.csv"), "x").unwrap();
        let mut at = Instant::now();
        let mut settling = Settling::on(seen(&folder), at);
        let mut settled = |folder: &std::path::Path| {
            at += STILL;
            settling.look(seen(folder), at);
            at += STILL;
            settling.look(seen(folder), at)
        };
        assert_eq!(settled(&home.path().join("none"))[0].what, What::FolderGone);
        std::fs::write(folder.join("b.csv"), "x").unwrap();
        let changes = settled(&folder);
        assert_eq!(changes.len(), 2);
        assert_eq!(changes[0].what, What::FolderBack);
        assert_eq!(
            (changes[1].file.as_str(), &changes[1].what),
            ("b.csv", &What::New)
        );
    }

    #[test]
    fn what_we_wrote_ourselves_is_no_news() {
        let home = tempfile::tempdir().unwrap();
        let start = Instant::now();
        let mut settling = Settling::on(seen(home.path()), start);
        std::fs::write(home.path().join("test.toml"), "x").unwrap();
        settling.wrote("test.toml", &seen(home.path()));
        settling.look(seen(home.path()), start + STILL);
        assert!(!settling.is_waiting());
        assert!(settling.look(seen(home.path()), start + 3 * STILL).is_empty());
    }
}
