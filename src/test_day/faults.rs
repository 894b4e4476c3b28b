//! Faults of one `test.toml`, gathered until the whole file has been looked at.

use crate::error::{Error, Fault, Result};
use std::cell::RefCell;
use std::path::Path;

pub(super) struct Faults<'a> {
    file: &'a Path,
    text: &'a str,
    found: RefCell<Vec<(usize, Fault)>>,
}

impl<'a> Faults<'a> {
    pub fn new(file: &'a Path, text: &'a str) -> Self {
        Faults {
            file,
            text,
            found: RefCell::new(Vec::new()),
        }
    }

    /// Line, from 1, of a place given in bytes from the start of the text.
    pub fn line_of(&self, byte: usize) -> usize {
        1 + self.text.bytes().take(byte).filter(|b| *b == b'\n').count()
    }

    pub fn add(&self, line: usize, key: &str, what: impl Into<String>, next_step: impl Into<String>) {
        let place = if key.is_empty() {
            format!("line {line}")
        } else {
            format!("line {line}, {key}")
        };
        let fault = Fault::new(what, next_step).in_file(self.file).at(place);
        self.found.borrow_mut().push((line, fault));
    }

    /// All faults in the order of the lines, or nothing.
    pub fn finish(self) -> Result<()> {
        let mut found = self.found.into_inner();
        if found.is_empty() {
            return Ok(());
        }
        found.sort_by_key(|(line, _)| *line);
        Err(Error {
            faults: found.into_iter().map(|(_, fault)| fault).collect(),
        })
    }
}
