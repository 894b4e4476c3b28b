//! Changes to the text of `test.toml` that leave every other byte of it where it was.
//!
//! Places come from the parser, the change is made in the text: comments, blank lines and the order of tables survive.

use super::parse;
use crate::error::{Fault, Result};
use crate::units::utc_text;
use std::ops::Range;
use std::path::Path;
use toml_edit::{Document, Item, Table, Value};

/// One change. Places in a list count from 0, in the order written.
#[derive(Debug, Clone, PartialEq)]
pub enum Edit {
    /// A pass is left out.
    LeaveOut { start_s: f64, reason: String },
    /// A stretch is left out of one pass, or of all (`None`).
    Cut {
        start_s: Option<f64>,
        from_m: f64,
        to_m: f64,
        reason: Option<String>,
    },
    /// Only a stretch is fitted, of one pass, or of all (`None`).
    Window {
        start_s: Option<f64>,
        from_m: f64,
        to_m: f64,
    },
    /// Other ends for what is there already.
    Ends {
        list: Stretches,
        place: usize,
        from_m: f64,
        to_m: f64,
    },
    /// A reading of the air is added.
    Air {
        temperature_c: f64,
        pressure_hpa: f64,
        relative_humidity_percent: f64,
    },
    /// The report of a weather station is added.
    Metar { report: String },
    /// An entry of a list goes.
    Remove { list: List, place: usize },
    /// A number of a table that is there once; the table and the key are added where they are missing.
    Number {
        table: &'static str,
        key: &'static str,
        value: f64,
    },
    /// The same for an entry of a list.
    NumberOf {
        list: List,
        place: usize,
        key: &'static str,
        value: f64,
    },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Stretches {
    Cuts,
    Windows,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum List {
    Excludes,
    Cuts,
    Windows,
    Setups,
    Air,
}

impl List {
    fn name(self) -> &'static str {
        match self {
            List::Excludes => "exclude",
            List::Cuts => "cut",
            List::Windows => "window",
            List::Setups => "setup",
            List::Air => "air",
        }
    }
}

impl From<Stretches> for List {
    fn from(stretches: Stretches) -> List {
        match stretches {
            Stretches::Cuts => List::Cuts,
            Stretches::Windows => List::Windows,
        }
    }
}

/// The text with one change made to it.
///
/// # Errors
/// `text` is no test day, or would be none afterwards; the entry is not there; it is written in a way that has to be
/// changed by hand.
pub fn edited(file: &Path, text: &str, edit: &Edit) -> Result<String> {
    parse(file, text)?;
    let changed = change(text, edit).map_err(|fault| fault.in_file(file))?;
    parse(file, &changed)?;
    Ok(changed)
}

fn change(text: &str, edit: &Edit) -> std::result::Result<String, Fault> {
    let document = Document::parse(text).map_err(|error| {
        Fault::new(
            format!("it is no TOML ({})", error.message()),
            "Mend it in an editor.",
        )
    })?;
    let root = document.as_table();
    match edit {
        Edit::LeaveOut { start_s, reason } => Ok(appended(
            text,
            &[
                "[[exclude]]".to_string(),
                format!("start_time = {}", utc_text(*start_s, 0)),
                format!("reason = {}", quoted(reason)),
            ],
        )),
        Edit::Cut {
            start_s,
            from_m,
            to_m,
            reason,
        } => {
            let mut lines = stretch("cut", *start_s, *from_m, *to_m);
            lines.extend(reason.iter().map(|reason| format!("reason = {}", quoted(reason))));
            Ok(appended(text, &lines))
        }
        Edit::Window {
            start_s,
            from_m,
            to_m,
        } => Ok(appended(text, &stretch("window", *start_s, *from_m, *to_m))),
        Edit::Air {
            temperature_c,
            pressure_hpa,
            relative_humidity_percent,
        } => Ok(appended(
            text,
            &[
                "[[air]]".to_string(),
                format!("temperature_c = {}", number(*temperature_c)),
                format!("pressure_hpa = {}", number(*pressure_hpa)),
                format!(
                    "relative_humidity_percent = {}",
                    number(*relative_humidity_percent)
                ),
            ],
        )),
        Edit::Metar { report } => Ok(appended(
            text,
            &["[[air]]".to_string(), format!("metar = {}", quoted(report))],
        )),
        Edit::Ends {
            list,
            place,
            from_m,
            to_m,
        } => {
            let list = List::from(*list);
            let first = with_number(text, entry(root, list, *place)?, "from_m", metres(*from_m))?;
            let document = Document::parse(first.as_str()).map_err(|_| by_hand(list))?;
            let table = entry(document.as_table(), list, *place)?;
            with_number(&first, table, "to_m", metres(*to_m))
        }
        Edit::Remove { list, place } => without(text, entry(root, *list, *place)?, *list),
        Edit::Number { key, .. } if every_setup_has(root, key) => Err(Fault::new(
            format!("every [[setup]] has a {key} of its own, which stands above this one"),
            "Change it there, in an editor.",
        )),
        Edit::Number { table, key, value } => match root.get(table) {
            None => Ok(appended(
                text,
                &[format!("[{table}]"), format!("{key} = {}", number(*value))],
            )),
            Some(Item::Table(found)) => with_number(text, found, key, number(*value)),
            Some(_) => Err(Fault::new(
                format!("{table} is not written as a table of its own"),
                format!("Change {key} in an editor."),
            )),
        },
        Edit::NumberOf {
            list,
            place,
            key,
            value,
        } => with_number(text, entry(root, *list, *place)?, key, number(*value)),
    }
}

fn every_setup_has(root: &Table, key: &str) -> bool {
    match root.get(List::Setups.name()) {
        Some(Item::ArrayOfTables(setups)) => setups.iter().all(|setup| setup.contains_key(key)),
        _ => false,
    }
}

fn by_hand(list: List) -> Fault {
    Fault::new(
        format!(
            "there is no [[{}]] in this place that can be changed",
            list.name()
        ),
        format!("Change it in an editor, or write each as [[{}]].", list.name()),
    )
}

fn entry(root: &Table, list: List, place: usize) -> std::result::Result<&Table, Fault> {
    match root.get(list.name()) {
        Some(Item::ArrayOfTables(tables)) => tables.get(place).ok_or_else(|| by_hand(list)),
        _ => Err(by_hand(list)),
    }
}

fn stretch(name: &str, start_s: Option<f64>, from_m: f64, to_m: f64) -> Vec<String> {
    let mut lines = vec![format!("[[{name}]]")];
    lines.extend(start_s.map(|start_s| format!("start_time = {}", utc_text(start_s, 0))));
    lines.push(format!("from_m = {}", metres(from_m)));
    lines.push(format!("to_m = {}", metres(to_m)));
    lines
}

/// Positions along a course are no better than this.
fn metres(value: f64) -> String {
    number((value * 10.0).round() / 10.0)
}

/// The shortest text that is read as the same number.
fn number(value: f64) -> String {
    format!("{value}")
}

/// On one line.
fn quoted(text: &str) -> String {
    Value::from(text.split_whitespace().collect::<Vec<_>>().join(" ")).to_string()
}

/// With a table at the end, in the file's own kind of line ends.
fn appended(text: &str, lines: &[String]) -> String {
    let end = line_end(text);
    let mut out = text.to_string();
    if !out.is_empty() && !out.ends_with('\n') {
        out.push_str(end);
    }
    if !out.is_empty() {
        out.push_str(end);
    }
    for line in lines {
        out.push_str(line);
        out.push_str(end);
    }
    out
}

fn line_end(text: &str) -> &'static str {
    if text.contains("\r\n") { "\r\n" } else { "\n" }
}

/// With another value for a key of a table, or with the key where it is missing, below the others.
fn with_number(text: &str, table: &Table, key: &str, value: String) -> std::result::Result<String, Fault> {
    let lost = || Fault::new(format!("{key} cannot be placed"), "Change it in an editor.");
    if let Some(item) = table.get(key) {
        let span = item.span().ok_or_else(lost)?;
        return replaced(text, span, &value).ok_or_else(lost);
    }
    let after = last_of(table).ok_or_else(lost)?;
    let at = end_of_line(text, after);
    let end = line_end(text);
    let line = match text.get(..at).is_some_and(|before| before.ends_with('\n')) {
        true => format!("{key} = {value}{end}"),
        false => format!("{end}{key} = {value}{end}"),
    };
    replaced(text, at..at, &line).ok_or_else(lost)
}

/// Without the lines from the head of a table to the last of its keys; remarks above it stay.
fn without(text: &str, table: &Table, list: List) -> std::result::Result<String, Fault> {
    let lost = || by_hand(list);
    let head = table.span().ok_or_else(lost)?.start;
    let start = text
        .get(..head)
        .ok_or_else(lost)?
        .rfind('\n')
        .map_or(0, |at| at + 1);
    let mut stop = end_of_line(text, last_of(table).ok_or_else(lost)?);
    // One of the two blank lines that were around it goes with it.
    let before_is_blank = text
        .get(..start)
        .is_some_and(|before| before.is_empty() || before.ends_with("\n\n") || before.ends_with("\n\r\n"));
    let rest = text.get(stop..).ok_or_else(lost)?;
    if before_is_blank {
        stop += rest.len()
            - rest
                .strip_prefix("\r\n")
                .or(rest.strip_prefix('\n'))
                .unwrap_or(rest)
                .len();
    }
    let mut out = replaced(text, start..stop, "").ok_or_else(lost)?;
    if before_is_blank && stop >= text.len() {
        // It was the last: so is the blank line above it.
        let kept = out.trim_end_matches(['\r', '\n']).len();
        out.truncate(kept);
        if !out.is_empty() {
            out.push_str(line_end(text));
        }
    }
    Ok(out)
}

/// Where the head or the last value of a table ends.
fn last_of(table: &Table) -> Option<usize> {
    let ends = table
        .iter()
        .filter_map(|(_, item)| item.span())
        .map(|span| span.end);
    ends.chain(table.span().map(|span| span.end)).max()
}

/// Just behind the end of the line that holds this place.
fn end_of_line(text: &str, at: usize) -> usize {
    text.get(at..)
        .and_then(|rest| rest.find('\n'))
        .map_or(text.len(), |line| at + line + 1)
}

fn replaced(text: &str, range: Range<usize>, by: &str) -> Option<String> {
    Some(format!(
        "{}{by}{}",
        text.get(..range.start)?,
        text.get(range.end..)?
    ))
}

#[cfg(test)]
#[path = "edit_tests.rs"]
mod tests;
