//! The one public error: every fault that was found, each with its file, its place and a way out.

use std::fmt;
use std::path::{Path, PathBuf};

/// One thing that is wrong: which file, where in it, what, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    pub file: Option<PathBuf>,
    /// Where in the file, as a person would look for it: "line 12, rider.total_mass_kg", "byte 54114".
    pub place: Option<String>,
    /// What is wrong, without a final full stop.
    pub what: String,
    /// What to do, a full sentence.
    pub next_step: String,
}

impl Fault {
    pub fn new(what: impl Into<String>, next_step: impl Into<String>) -> Self {
        Fault {
            file: None,
            place: None,
            what: what.into(),
            next_step: next_step.into(),
        }
    }

    pub fn in_file(mut self, file: &Path) -> Self {
        self.file = Some(file.to_path_buf());
        self
    }

    pub fn at(mut self, place: impl Into<String>) -> Self {
        self.place = Some(place.into());
        self
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(file) = &self.file {
            write!(f, "{}: ", file.display())?;
        }
        if let Some(place) = &self.place {
            write!(f, "{place}: ")?;
        }
        write!(f, "{}. {}", self.what, self.next_step)
    }
}

/// Why something could not be done: one fault or many, all of them at once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Error {
    pub faults: Vec<Fault>,
}

pub type Result<T> = std::result::Result<T, Error>;

impl From<Fault> for Error {
    fn from(fault: Fault) -> Self {
        Error { faults: vec![fault] }
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, fault) in self.faults.iter().enumerate() {
            if index > 0 {
                writeln!(f)?;
            }
            write!(f, "{fault}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Error {}
