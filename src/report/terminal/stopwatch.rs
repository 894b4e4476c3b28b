//! What the stopwatch saw: the raw time difference, line by line.

use super::super::table::table;
use super::super::words::{signed, signed_range, wrapped};
use super::letter;
use crate::study::{Compared, Stopwatched};
use crate::test_day::Shape;
use crate::verdict::{Cause, Finding};

/// More pairs than this do not fit beside each other: those with the first set-up are shown.
const MOST_COLUMNS: usize = 6;

/// A table of the pairs that have an account; `None` where there is none.
pub fn stopwatch(compared: &Compared, width: usize) -> Option<String> {
    let all: Vec<(&Finding, &Stopwatched)> = compared
        .findings
        .iter()
        .zip(&compared.stopwatches)
        .filter_map(|(finding, account)| Some((finding, account.as_ref()?)))
        .collect();
    let first = all.first()?.0.baseline;
    let shown: Vec<_> = if all.len() > MOST_COLUMNS {
        all.into_iter().filter(|(f, _)| f.baseline == first).collect()
    } else {
        all
    };
    let pass = match compared.surveyed.ridden.course.shape {
        Shape::OutAndBack => "seconds a pass, mean of both ways",
        Shape::OneWay => "seconds a pass",
        Shape::Loop => "seconds a lap",
    };
    let (rows, nothing) = rows(&shown);
    let pairs: Vec<String> = shown
        .iter()
        .map(|(f, _)| format!("{} to {}", letter(f.baseline), letter(f.setup)))
        .collect();
    let mut header = vec![""];
    header.extend(pairs.iter().map(String::as_str));
    if let [_] = shown.as_slice() {
        header.push("90 % interval");
    }
    Some(format!(
        "{}\n{}\n{}",
        wrapped(
            &format!("What the stopwatch saw, in {pass} (+: slower), and what made it:"),
            width
        ),
        table(&header, &[0], rows, width),
        wrapped(&note(&shown, &nothing), width)
    ))
}

/// The lines that show something, their sum, and the names of those that do not.
fn rows(shown: &[(&Finding, &Stopwatched)]) -> (Vec<Vec<String>>, Vec<&'static str>) {
    let mut causes: Vec<Cause> = Vec::new();
    for line in shown.iter().flat_map(|(_, s)| &s.account.lines) {
        if !causes.contains(&line.cause) {
            causes.push(line.cause);
        }
    }
    // What is told last stays last, also where a pair has lines that others have not.
    causes
        .sort_by_key(|cause| matches!(cause, Cause::SetUp) as u8 + 2 * matches!(cause, Cause::Uneven) as u8);
    let (mut rows, mut nothing) = (Vec::new(), Vec::new());
    for cause in causes {
        let seconds = |s: &Stopwatched| signed(s.account.time_change_s(cause), 1);
        let always = matches!(cause, Cause::SetUp | Cause::Uneven);
        if !always
            && shown
                .iter()
                .all(|(_, s)| signed(s.account.time_change_s(cause), 1) == "0.0")
        {
            let unknown = cause == Cause::Wind && shown.iter().all(|(_, s)| !s.wind_known);
            if !unknown {
                nothing.push(cause.as_text());
            }
            continue;
        }
        let name = match cause {
            Cause::SetUp => "the set-up's drag area",
            _ => cause.as_text(),
        };
        let mut row = vec![name.to_string()];
        row.extend(shown.iter().map(|(_, s)| seconds(s)));
        if let [(_, only)] = shown {
            let interval = only.setup_interval_90_s.filter(|_| cause == Cause::SetUp);
            row.push(interval.map_or(String::new(), |i| signed_range(i, 1)));
        }
        rows.push(row);
    }
    let mut sum = vec!["stopwatch".to_string()];
    sum.extend(shown.iter().map(|(_, s)| signed(s.account.raw_time_change_s, 1)));
    rows.push(sum);
    (rows, nothing)
}

fn note(shown: &[(&Finding, &Stopwatched)], nothing: &[&str]) -> String {
    let mut text = "Each line is the mean over all orders in which the differences can come.".to_string();
    if !nothing.is_empty() {
        text.push_str(&format!(" Less than 0.05 s: {}.", nothing.join(", ")));
    }
    if shown.iter().any(|(_, s)| !s.wind_known) {
        text.push_str(" The wind is not known: what it did is among the uneven riding and gusts.");
    }
    text
}
