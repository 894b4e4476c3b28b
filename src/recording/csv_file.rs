//! CSV → a recording. Columns are known by their headers, in any order; unknown ones are kept by name.

mod columns;
mod times;

use super::bounds::{MAX_LINE_BYTES, MAX_REWORKED_BYTES, too_large_because};
use super::rows::Rows;
use super::{Format, Recording, Sample, text};
use crate::error::{Error, Fault, Result};
use columns::{Column, Columns, Role};
use std::path::Path;
use times::Times;

/// How many bad cells are named one by one.
const NAMED_FAULTS: usize = 20;
/// Some exports put a few lines about the ride above the header.
const HEADER_WITHIN_LINES: usize = 30;

pub(super) fn read(file: &Path, bytes: Vec<u8>) -> Result<Recording> {
    let content = with_one_line_end(text::decoded(bytes)?);
    bounded(&content)?;
    let mut recording = Recording::empty(file, Format::Csv);
    let (columns, skipped) = find_header(&content)?;
    let mut bad = Bad::default();
    let body = after_lines(&content, skipped);
    let records = || table(body, columns.separator);
    let line =
        |record: &csv::StringRecord| skipped as u64 + record.position().map_or(0, |place| place.line());
    let times = Times::settle(
        &columns,
        || records().into_records().filter_map(std::result::Result::ok),
        &mut recording.faults,
    )?;
    let mut rows = Rows::default();
    for record in records().into_records() {
        let record = match record {
            Ok(record) => record,
            Err(cause) => {
                bad.push(format!("a row cannot be read: {cause}"));
                continue;
            }
        };
        if rows.full() {
            break;
        }
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        let Some(time_s) = times.of(&record) else {
            bad.push(format!(
                "line {}: no usable time in '{}'; the row is left out",
                line(&record),
                times.cell(&record)
            ));
            continue;
        };
        rows.push(Sample {
            time_s,
            ..Sample::default()
        });
        for column in &columns.list {
            take(
                column,
                &record,
                &columns,
                &mut rows,
                &mut || line(&record),
                &mut bad,
            );
        }
    }
    recording.faults.extend(columns.faults);
    recording.faults.extend(bad.into_faults());
    (recording.samples, recording.extra) = rows.finish()?;
    if recording.samples.is_empty() {
        let what = "holds no samples: no row below its header has a usable time";
        let mut faults = vec![Fault::new(
            what,
            "Export the ride again, with a time in every row.",
        )];
        faults.append(&mut recording.faults);
        return Err(Error { faults });
    }
    Ok(recording)
}

/// The rows below the header, of any length.
fn table(body: &str, separator: u8) -> csv::Reader<&[u8]> {
    let mut table = csv::ReaderBuilder::new();
    table.delimiter(separator).has_headers(false).flexible(true);
    table.from_reader(body.as_bytes())
}

/// The table reader counts lines wrongly at the line end of two bytes.
fn with_one_line_end(content: String) -> String {
    if !content.contains('\r') {
        return content;
    }
    let mut before = 0;
    let lines = content.into_bytes();
    let one: Vec<u8> = lines
        .into_iter()
        .filter_map(|byte| {
            let kept = match (before, byte) {
                (b'\r', b'\n') => None,
                (_, b'\r') => Some(b'\n'),
                (_, other) => Some(other),
            };
            before = byte;
            kept
        })
        .collect();
    String::from_utf8(one).unwrap_or_default()
}

/// A row is held in memory as a whole, and a cell in quotes may run over many lines.
fn bounded(content: &str) -> std::result::Result<(), Fault> {
    if content.len() > MAX_REWORKED_BYTES && content.contains('"') {
        return Err(too_large_because("has cells in quotes"));
    }
    match content.lines().position(|line| line.len() > MAX_LINE_BYTES) {
        Some(index) => Err(Fault::new(
            format!("the line is longer than {} kB", MAX_LINE_BYTES >> 10),
            "This is no table of a ride; export the ride again as FIT, GPX, TCX or CSV.",
        )
        .at(format!("line {}", index + 1))),
        None => Ok(()),
    }
}

/// Puts one cell where it belongs.
fn take(
    column: &Column,
    record: &csv::StringRecord,
    columns: &Columns,
    rows: &mut Rows,
    line: &mut dyn FnMut() -> u64,
    bad: &mut Bad,
) {
    let cell = record.get(column.index).unwrap_or("").trim();
    if is_missing(cell) {
        return;
    }
    let value = number(cell, columns.decimal_comma);
    match (&column.role, value) {
        (Role::Moment(_) | Role::Day, _) => {}
        (Role::Value(known, conversion), Some(value)) => {
            if let Some(sample) = rows.samples.last_mut() {
                sample.put(known.quantity, conversion.apply(value));
            }
        }
        (Role::Extra { units }, Some(value)) => rows.put_extra(&column.name, units, value),
        // An unknown column may hold words: names of laps, notes.
        (Role::Extra { .. }, None) => {}
        (Role::Value(..), None) => {
            bad.push(format!(
                "line {}, column '{}': '{}' is not a number",
                line(),
                column.name,
                short(cell)
            ));
        }
    }
}

/// Bad rows and cells: all counted, the first ones named.
#[derive(Default)]
struct Bad {
    named: Vec<String>,
    count: usize,
}

impl Bad {
    fn push(&mut self, what: String) {
        self.count += 1;
        if self.named.len() < NAMED_FAULTS {
            self.named.push(what);
        }
    }

    fn into_faults(self) -> Vec<Fault> {
        let more = self.count - self.named.len();
        let mut faults: Vec<Fault> = self
            .named
            .into_iter()
            .map(|what| Fault::new(what, "Correct the row, or go on without it."))
            .collect();
        if more > 0 {
            faults.push(Fault::new(
                format!("{more} more rows or cells are bad"),
                "Export the file again.",
            ));
        }
        faults
    }
}

/// The header is the first line that has a column of times.
fn find_header(content: &str) -> std::result::Result<(Columns, usize), Error> {
    let mut first = None;
    for (index, line) in content.lines().take(HEADER_WITHIN_LINES).enumerate() {
        if line.trim().is_empty() {
            continue;
        }
        first.get_or_insert(line);
        let columns = Columns::read(line);
        if columns.has_time() && columns.list.len() > 1 {
            return Ok((columns, index + 1));
        }
    }
    let what = match first {
        Some(line) => format!("no column of times in the header '{}'", short(line)),
        None => "holds no header and no rows".to_string(),
    };
    Err(Fault::new(what, columns::understood()).at("line 1").into())
}

fn after_lines(content: &str, lines: usize) -> &str {
    let end = content
        .match_indices('\n')
        .nth(lines.saturating_sub(1))
        .map_or(content.len(), |(at, _)| at + 1);
    content.get(end..).unwrap_or("")
}

fn is_missing(cell: &str) -> bool {
    cell.is_empty() || ["nan", "na", "n/a", "null", "none", "-", "--"].contains(&cell.to_lowercase().as_str())
}

fn number(cell: &str, decimal_comma: bool) -> Option<f64> {
    if decimal_comma && cell.contains(',') && !cell.contains('.') {
        return text::number(&cell.replacen(',', ".", 1));
    }
    text::number(cell)
}

/// At most 120 characters of what a file says, for a message.
fn short(text: &str) -> String {
    match text.char_indices().nth(120) {
        Some((end, _)) => format!("{}…", text.get(..end).unwrap_or("")),
        None => text.trim_end().to_string(),
    }
}

#[cfg(test)]
mod tests;
