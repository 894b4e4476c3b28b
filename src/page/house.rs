//! The desk behind a lock, and what is told of it.

use super::asked::Asked;
use super::desk::Desk;
use super::guard::{Guard, bare_name};
use super::show;
use crate::error::{Error, Result};
use crate::report::json as report;
use crate::saving;
use crate::watch::{Changed, Settling, What, seen};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Instant;
use tokio::sync::watch;

/// What open pages are told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum News {
    /// Counts up with everything that is kept or read.
    Version(u64),
    /// The program ends.
    Over,
}

pub struct House {
    pub guard: Guard,
    pub news: watch::Sender<News>,
    folder: PathBuf,
    kept: Mutex<Kept>,
    /// Of several tries that wait only the newest is worked on.
    newest_try: AtomicU64,
}

struct Kept {
    desk: Desk,
    version: u64,
    folder: Settling,
}

/// What a look at the folder found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Looked {
    pub is_there: bool,
    /// Something changed and does not stand still yet.
    pub is_waiting: bool,
}

/// What a button of the page does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    Undo,
    Redo,
    Write,
    StartOver,
}

impl House {
    pub fn new(desk: Desk, guard: Guard) -> House {
        let folder = desk.folder().to_path_buf();
        let settling = Settling::on(seen(&folder), Instant::now());
        House {
            guard,
            news: watch::channel(News::Version(1)).0,
            folder,
            kept: Mutex::new(Kept {
                desk,
                version: 1,
                folder: settling,
            }),
            newest_try: AtomicU64::new(0),
        }
    }

    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// A desk is whole between any two of its steps, so one that broke off left it usable.
    fn kept(&self) -> MutexGuard<'_, Kept> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub fn page(&self) -> String {
        let kept = self.kept();
        show::page(&kept.desk, kept.version).into_string()
    }

    pub fn now(&self) -> Value {
        self.told(&self.kept())
    }

    /// As `compare --json` gives them, of what is kept.
    ///
    /// # Errors
    /// There is no answer.
    pub fn numbers(&self) -> Result<Value> {
        let answer = self.kept().desk.answer()?;
        Ok(report::compare(&answer))
    }

    /// To be taken when a try arrives, before it waits.
    pub fn number_of_try(&self) -> u64 {
        self.newest_try.fetch_add(1, Ordering::SeqCst) + 1
    }

    /// What a change would give, which is not kept. `None`: a newer try waits behind this one.
    ///
    /// # Errors
    /// The change makes no sense.
    pub fn try_out(&self, number: u64, asked: Asked) -> Result<Option<Value>> {
        let edit = asked.edit()?;
        let kept = self.kept();
        if self.newest_try.load(Ordering::SeqCst) != number {
            return Ok(None);
        }
        Ok(Some(match kept.desk.with(&edit) {
            Ok(compared) => json!({
                "tried": true,
                "version": kept.version,
                "parts": in_words(show::tried(&compared)),
                "said": show::spoken(Ok(&compared)),
            }),
            Err(error) => json!({
                "tried": true,
                "version": kept.version,
                "parts": in_words(show::without_answer(&error)),
                "said": show::spoken(Err(&error)),
            }),
        }))
    }

    /// # Errors
    /// The change cannot be made; nothing is changed then.
    pub fn change(&self, asked: Asked) -> Result<Value> {
        let edit = asked.edit()?;
        let mut kept = self.kept();
        kept.desk.change(&edit)?;
        Ok(self.renewed(&mut kept))
    }

    /// # Errors
    /// `test.toml` changed meanwhile, or cannot be read or written.
    pub fn step(&self, step: Step) -> Result<Value> {
        let mut kept = self.kept();
        match step {
            Step::Undo => kept.desk.undo(),
            Step::Redo => kept.desk.redo(),
            Step::Write => {
                kept.desk.write()?;
                // What we wrote is no news; what else changed is found at the next look.
                kept.folder.wrote("test.toml", &seen(&self.folder));
            }
            Step::StartOver => {
                kept.folder = Settling::on(seen(&self.folder), Instant::now());
                kept.desk.start_over(&|_, _| ())?;
            }
        }
        Ok(self.renewed(&mut kept))
    }

    /// Puts a recording into the folder, never over one that is there, and reads the folder again.
    ///
    /// # Errors
    /// The name is none for a recording; there is a file of this name; it cannot be written.
    pub fn drop_in(&self, name: &str, bytes: &[u8]) -> Result<Value> {
        let file = self.folder.join(bare_name(name)?);
        let mut kept = self.kept();
        saving::write_new(&file, bytes)?;
        self.read_again(&mut kept)?;
        Ok(self.renewed(&mut kept))
    }

    /// Takes a look at the folder, and reads it again once it has changed and stands still. Without the folder, on a
    /// drive that was taken out, the last answer stays.
    ///
    /// # Errors
    /// `test.toml` cannot be opened.
    pub fn look(&self) -> Result<Looked> {
        let now = seen(&self.folder);
        let mut kept = self.kept();
        let changes = kept.folder.look(now.clone(), Instant::now());
        let gone = |change: &Changed| change.what == What::FolderGone;
        if !changes.is_empty() {
            if !changes.iter().any(gone) {
                kept.desk.read_again(&|_, _| ())?;
            }
            self.renewed(&mut kept);
        }
        Ok(Looked {
            is_there: now.is_there(),
            is_waiting: kept.folder.is_waiting(),
        })
    }

    fn read_again(&self, kept: &mut Kept) -> Result<()> {
        kept.folder = Settling::on(seen(&self.folder), Instant::now());
        kept.desk.read_again(&|_, _| ())
    }

    fn renewed(&self, kept: &mut Kept) -> Value {
        kept.version += 1;
        self.news.send_replace(News::Version(kept.version));
        self.told(kept)
    }

    fn told(&self, kept: &Kept) -> Value {
        let answer = kept.desk.answer();
        json!({
            "tried": false,
            "version": kept.version,
            "parts": in_words(show::parts(&kept.desk)),
            "said": show::spoken(answer.as_deref()),
        })
    }
}

fn in_words(parts: Vec<show::Part>) -> Value {
    let parts = parts.into_iter();
    Value::Object(
        parts
            .map(|(name, html)| (name.to_string(), Value::String(html.into_string())))
            .collect(),
    )
}

/// Each fault as a line for whoever sits in front of the page.
pub fn refused(error: &Error) -> Value {
    let faults: Vec<String> = error.faults.iter().map(ToString::to_string).collect();
    json!({ "faults": faults })
}
