//! A test day on the analyst's desk: changes to `test.toml` are tried out in memory and written when asked for.
//!
//! What is tried is the text that would be written, read as any other `test.toml`: the page cannot give another number
//! than the command line gives afterwards.

use crate::error::{Error, Fault, Result};
use crate::saving;
use crate::study::{Compared, Progress, Surveyed, compare_surveyed, gather_under, passes_gathered};
use crate::test_day::edit::{Edit, edited};
use crate::test_day::{TestDay, parse, without_file};
use similar::{ChangeTag, TextDiff};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// More steps back than anybody takes.
const MOST_STEPS: usize = 500;

/// A folder with the changes that are tried out on it.
pub struct Desk {
    folder: PathBuf,
    /// `test.toml` as it was last read or written; `None`: there is none.
    on_disk: Option<String>,
    /// Texts that were tried, the one on disk first.
    texts: Vec<String>,
    at: usize,
    rides: std::result::Result<Surveyed, Error>,
    answer: std::result::Result<Arc<Compared>, Error>,
}

/// A line of what writing would change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    pub kind: Kind,
    pub text: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Kept,
    Taken,
    Added,
    /// Lines that stay as they are and are not shown.
    Between,
}

impl Desk {
    /// # Errors
    /// `test.toml` cannot be opened. What is wrong with it, or with the recordings, is the answer instead.
    pub fn open(folder: &Path, progress: Progress) -> Result<Desk> {
        let on_disk = read(&folder.join("test.toml"))?;
        let text = on_disk.clone().unwrap_or_default();
        let mut desk = Desk {
            folder: folder.to_path_buf(),
            on_disk,
            texts: vec![text],
            at: 0,
            rides: Err(nothing_read(folder)),
            answer: Err(nothing_read(folder)),
        };
        desk.read_rides(progress);
        Ok(desk)
    }

    pub fn folder(&self) -> &Path {
        &self.folder
    }

    fn test_toml(&self) -> PathBuf {
        self.folder.join("test.toml")
    }

    /// As it is tried.
    pub fn text(&self) -> &str {
        self.texts.get(self.at).map_or("", String::as_str)
    }

    pub fn answer(&self) -> std::result::Result<Arc<Compared>, Error> {
        self.answer.clone()
    }

    /// The answer with one more change, which is not kept: while a pointer moves.
    ///
    /// # Errors
    /// The change cannot be made; with it there is no answer.
    pub fn with(&self, edit: &Edit) -> Result<Compared> {
        let text = edited(&self.test_toml(), self.text(), edit)?;
        self.compared(&text)
    }

    /// # Errors
    /// The change cannot be made; nothing is changed then. That there is no answer with it is no error: it is shown.
    pub fn change(&mut self, edit: &Edit) -> Result<()> {
        let text = edited(&self.test_toml(), self.text(), edit)?;
        self.texts.truncate(self.at + 1);
        self.texts.push(text);
        if self.texts.len() > MOST_STEPS {
            self.texts.remove(1);
        }
        self.at = self.texts.len() - 1;
        self.answer_anew();
        Ok(())
    }

    pub fn can_undo(&self) -> bool {
        self.at > 0
    }

    pub fn can_redo(&self) -> bool {
        self.at + 1 < self.texts.len()
    }

    pub fn undo(&mut self) {
        if self.can_undo() {
            self.at -= 1;
            self.answer_anew();
        }
    }

    pub fn redo(&mut self) {
        if self.can_redo() {
            self.at += 1;
            self.answer_anew();
        }
    }

    /// Whether writing would change anything.
    pub fn is_changed(&self) -> bool {
        self.text() != self.on_disk.as_deref().unwrap_or_default()
    }

    /// What writing would change, with two lines around each change.
    pub fn difference(&self) -> Vec<Line> {
        const AROUND: usize = 2;
        let before = self.on_disk.as_deref().unwrap_or_default();
        let diff = TextDiff::from_lines(before, self.text());
        let mut lines = Vec::new();
        for (place, group) in diff.grouped_ops(AROUND).iter().enumerate() {
            if place > 0 {
                lines.push(Line {
                    kind: Kind::Between,
                    text: "…".to_string(),
                });
            }
            for change in group.iter().flat_map(|op| diff.iter_changes(op)) {
                lines.push(Line {
                    kind: match change.tag() {
                        ChangeTag::Equal => Kind::Kept,
                        ChangeTag::Delete => Kind::Taken,
                        ChangeTag::Insert => Kind::Added,
                    },
                    text: change.value().trim_end_matches(['\r', '\n']).to_string(),
                });
            }
        }
        lines
    }

    /// Writes what is tried to `test.toml`, whole or not at all.
    ///
    /// # Errors
    /// The file changed since it was read: nothing is written then. It cannot be written.
    pub fn write(&mut self) -> Result<()> {
        let file = self.test_toml();
        if read(&file)? != self.on_disk {
            return Err(Fault::new(
                "it was changed by something else since it was read, so nothing was written",
                "Look at the file; read it again here, and make your changes once more.",
            )
            .in_file(&file)
            .into());
        }
        let text = self.text().to_string();
        match self.on_disk {
            Some(_) => saving::write_over(&file, text.as_bytes())?,
            None => saving::write_new(&file, text.as_bytes())?,
        }
        self.on_disk = Some(text);
        Ok(())
    }

    /// Drops what was tried and reads everything again.
    ///
    /// # Errors
    /// As [`Desk::open`].
    pub fn start_over(&mut self, progress: Progress) -> Result<()> {
        *self = Desk::open(&self.folder, progress)?;
        Ok(())
    }

    /// Reads the recordings again, since the folder changed. A `test.toml` that changed is taken where nothing is being
    /// tried; else it stays unread, and [`Desk::write`] refuses.
    ///
    /// # Errors
    /// `test.toml` cannot be opened.
    pub fn read_again(&mut self, progress: Progress) -> Result<()> {
        let now = read(&self.test_toml())?;
        if now != self.on_disk && !self.is_changed() {
            self.texts = vec![now.clone().unwrap_or_default()];
            self.at = 0;
            self.on_disk = now;
        }
        self.read_rides(progress);
        Ok(())
    }

    /// Whether `test.toml` on disk is another than the one that was read.
    pub fn changed_meanwhile(&self) -> bool {
        read(&self.test_toml()).is_ok_and(|now| now != self.on_disk)
    }

    fn day(&self, text: &str) -> Result<TestDay> {
        if text.is_empty() && self.on_disk.is_none() {
            return Ok(without_file());
        }
        parse(&self.test_toml(), text)
    }

    fn read_rides(&mut self, progress: Progress) {
        self.rides = self.rides_under(self.text(), progress);
        self.answer_anew();
    }

    fn rides_under(&self, text: &str, progress: Progress) -> Result<Surveyed> {
        let gathered = gather_under(&self.folder, || self.day(text), progress)?;
        passes_gathered(gathered, &self.folder)
    }

    fn answer_anew(&mut self) {
        self.answer = self.compared(self.text()).map(Arc::new);
    }

    /// From the rides that are read, unless the text says something that decides how they are read.
    fn compared(&self, text: &str) -> Result<Compared> {
        let day = self.day(text)?;
        let known = match &self.rides {
            Ok(rides) => rides.under(day),
            Err(error) => return Err(error.clone()),
        };
        match known {
            Some(rides) => compare_surveyed(rides),
            None => compare_surveyed(self.rides_under(text, &|_, _| ())?),
        }
    }
}

fn nothing_read(folder: &Path) -> Error {
    Fault::new("nothing was read yet", "Wait a moment.")
        .in_file(folder)
        .into()
}

/// `None` where there is none.
fn read(file: &Path) -> Result<Option<String>> {
    match std::fs::read(file) {
        Ok(bytes) => match String::from_utf8(bytes) {
            Ok(text) => Ok(Some(text)),
            Err(_) => Err(Fault::new(
                "this is not text in UTF-8",
                "Save the file again as UTF-8 in your editor.",
            )
            .in_file(file)
            .into()),
        },
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(Fault::new(
            format!("it cannot be read ({error})"),
            "Check that it is a file you may read.",
        )
        .in_file(file)
        .into()),
    }
}

#[cfg(test)]
#[path = "desk_tests.rs"]
mod tests;
