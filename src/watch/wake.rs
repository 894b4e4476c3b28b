//! What the system tells of a folder wakes us; looking decides. Some drives tell nothing, so we look now and then anyway.

use super::settling::STILL;
use notify::{RecommendedWatcher, RecursiveMode, Watcher};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::{Duration, Instant};

/// Where the system tells nothing.
const LOOK_ANYWAY: Duration = Duration::from_secs(2);
/// News that follow each other this closely are one.
const TOGETHER: Duration = Duration::from_millis(50);

enum Told {
    Something,
    End,
}

/// Waits for something to happen in a folder that may go away and come back.
pub struct Wake {
    folder: PathBuf,
    /// What tells, as long as there is a folder to tell of.
    watcher: Option<RecommendedWatcher>,
    teller: Sender<Told>,
    told: Receiver<Told>,
}

/// Ends the waiting from another thread.
#[derive(Clone)]
pub struct End(Sender<Told>);

impl End {
    pub fn now(&self) {
        // Whoever waited may be gone already.
        let _ = self.0.send(Told::End);
    }
}

impl Wake {
    pub fn on(folder: &Path) -> Wake {
        let (teller, told) = channel();
        let mut wake = Wake {
            folder: folder.to_path_buf(),
            watcher: None,
            teller,
            told,
        };
        wake.watch();
        wake
    }

    pub fn end(&self) -> End {
        End(self.teller.clone())
    }

    /// Returns when the folder is worth a look; `false`: it was asked to end. `soon`: something is settling.
    pub fn wait(&mut self, soon: bool) -> bool {
        let patience = if soon { STILL } else { LOOK_ANYWAY };
        match self.told.recv_timeout(patience) {
            Ok(Told::End) | Err(RecvTimeoutError::Disconnected) => return false,
            Ok(Told::Something) | Err(RecvTimeoutError::Timeout) => {}
        }
        // One write makes several of them; where something is always written, it is looked all the same.
        let until = Instant::now() + STILL;
        while Instant::now() < until {
            match self.told.recv_timeout(TOGETHER) {
                Ok(Told::Something) => {}
                Ok(Told::End) | Err(RecvTimeoutError::Disconnected) => return false,
                Err(RecvTimeoutError::Timeout) => return true,
            }
        }
        true
    }

    /// To be called with each look: watching ends silently with the folder, or with the drive that it lies on.
    pub fn keep(&mut self, is_there: bool) {
        match (is_there, &self.watcher) {
            (false, Some(_)) => self.watcher = None,
            (true, None) => self.watch(),
            _ => {}
        }
    }

    /// Where this cannot be had, looking now and then has to do.
    fn watch(&mut self) {
        let teller = self.teller.clone();
        let tell = move |event: notify::Result<notify::Event>| {
            // Our own reading is no news.
            if !matches!(event, Ok(event) if event.kind.is_access()) {
                let _ = teller.send(Told::Something);
            }
        };
        self.watcher = notify::recommended_watcher(tell).ok().and_then(|mut watcher| {
            watcher.watch(&self.folder, RecursiveMode::NonRecursive).ok()?;
            Some(watcher)
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn news_without_end_do_not_keep_it_from_looking() {
        let home = tempfile::tempdir().unwrap();
        let mut wake = Wake::on(home.path());
        let teller = wake.teller.clone();
        // Ends when nobody listens any longer.
        let telling = std::thread::spawn(move || {
            while teller.send(Told::Something).is_ok() {
                std::thread::sleep(Duration::from_millis(5));
            }
        });
        assert!(wake.wait(false));
        drop(wake);
        telling.join().unwrap();
    }

    #[test]
    fn it_waits_until_it_is_told_to_end() {
        let home = tempfile::tempdir().unwrap();
        let mut wake = Wake::on(home.path());
        std::fs::write(home.path().join("a.csv"), "x").unwrap();
        assert!(wake.wait(false));
        wake.keep(false);
        wake.keep(true);
        assert!(wake.watcher.is_some());
        wake.end().now();
        while wake.wait(false) {}
    }
}
