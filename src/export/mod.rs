//! A day's answer as tables, for notebooks and databases: what the engine gave, nothing computed.

mod csv_file;
mod parquet_file;
mod table;
mod tables;

pub use table::{Column, Table, Values};
pub use tables::tables;

use crate::error::{Error, Result};
use crate::saving;
use std::path::{Path, PathBuf};

/// In which formats the tables are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Formats {
    pub csv: bool,
    pub parquet: bool,
}

/// Name of the list of all tables and columns, with units and meanings.
const DICTIONARY: &str = "dictionary.csv";

/// Writes the tables and their dictionary into `folder`, which is made where it is missing: all of them, or none where a
/// file is in the way. `replace`: files of these names are written over, one by one.
///
/// # Errors
/// Files that are in the way; a file that cannot be written.
pub fn write(folder: &Path, tables: &[Table], formats: Formats, replace: bool) -> Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for table in tables {
        if formats.csv {
            files.push((
                folder.join(format!("{}.csv", table.name)),
                csv_file::bytes(table)?,
            ));
        }
        if formats.parquet {
            let file = folder.join(format!("{}.parquet", table.name));
            files.push((file, parquet_file::bytes(table)?));
        }
    }
    files.push((
        folder.join(DICTIONARY),
        csv_file::bytes(&table::dictionary(tables))?,
    ));
    if replace {
        saving::make_folder(folder)?;
        for (file, bytes) in &files {
            saving::write(file, bytes)?;
        }
    } else {
        saving::write_all_new(folder, &files).map_err(or_replace)?;
    }
    Ok(files.into_iter().map(|(file, _)| file).collect())
}

/// What is in the way is mostly what an earlier run wrote.
fn or_replace(mut error: Error) -> Error {
    for fault in &mut error.faults {
        if fault.file.as_deref().is_some_and(saving::is_there) {
            fault.next_step =
                "Move it away, name another folder, or give --replace to write over it.".to_string();
        }
    }
    error
}

#[cfg(test)]
mod tests;
