//! What the stopwatch saw: the raw time difference, line by line.

use super::super::sheet::Sheet;
use super::super::words::{signed, signed_range, wrapped};
use super::letter;
use crate::study::{Compared, Stopwatched};
use crate::test_day::Shape;
use crate::verdict::{Cause, Finding, stopwatch_misleads};

/// More pairs than this do not fit beside each other: those with the first set-up are shown.
const MOST_COLUMNS: usize = 6;

/// A table of the pairs that have an account; `None` where there is none.
pub fn stopwatch(compared: &Compared, width: usize) -> Option<String> {
    let shown = shown(compared);
    (!shown.is_empty()).then(|| {
        let heading = wrapped(&heading(compared), width);
        let note = wrapped(&note(&shown), width);
        format!("{heading}\n{}\n{note}", sheet(&shown).text(width))
    })
}

/// The pairs that have an account and room beside each other.
pub fn shown(compared: &Compared) -> Vec<(&Finding, &Stopwatched)> {
    let all: Vec<(&Finding, &Stopwatched)> = compared
        .findings
        .iter()
        .zip(&compared.stopwatches)
        .filter_map(|(finding, account)| Some((finding, account.as_ref()?)))
        .collect();
    let first = all.first().map(|(finding, _)| finding.baseline);
    if all.len() > MOST_COLUMNS {
        all.into_iter()
            .filter(|(f, _)| Some(f.baseline) == first)
            .collect()
    } else {
        all
    }
}

pub fn heading(compared: &Compared) -> String {
    let pass = match compared.surveyed.ridden.course.shape {
        Shape::OutAndBack => "a pass (mean of both ways; +: slower)",
        Shape::OneWay => "a pass (+: slower)",
        Shape::Loop => "a lap (+: slower)",
    };
    format!("What the stopwatch saw, in seconds {pass}, and what made it:")
}

pub fn sheet(shown: &[(&Finding, &Stopwatched)]) -> Sheet {
    let pairs: Vec<String> = shown
        .iter()
        .map(|(f, _)| format!("{} to {}", letter(f.baseline), letter(f.setup)))
        .collect();
    let mut header = vec![""];
    header.extend(pairs.iter().map(String::as_str));
    if let [_] = shown {
        header.push("90 % interval");
    }
    Sheet::new(&header, &[0], rows(shown).0)
}

/// The lines that show something, their sum, and the names of those that do not.
fn rows(shown: &[(&Finding, &Stopwatched)]) -> (Vec<Vec<String>>, Vec<&'static str>) {
    let (mut rows, mut nothing) = (Vec::new(), Vec::new());
    for cause in causes(shown) {
        let seconds: Vec<String> = shown
            .iter()
            .map(|(_, s)| signed(s.account.time_change_s(cause), 1))
            .collect();
        let always = matches!(cause, Cause::SetUp | Cause::Uneven);
        if !always && seconds.iter().all(|text| text == "0.0") {
            nothing.push(cause.as_text());
            continue;
        }
        let name = match cause {
            Cause::SetUp => "the set-up's drag area",
            _ => cause.as_text(),
        };
        let mut row = vec![name.to_string()];
        row.extend(seconds);
        if let (Cause::SetUp, [(_, only)]) = (cause, shown) {
            row.extend(only.setup_interval_90_s.map(|interval| signed_range(interval, 1)));
        }
        rows.push(row);
    }
    let mut sum = vec!["stopwatch".to_string()];
    sum.extend(shown.iter().map(|(_, s)| signed(s.account.raw_time_change_s, 1)));
    rows.push(sum);
    (rows, nothing)
}

/// Those of any pair, in the order of `Cause`. Where no pair knows its wind, the note speaks of it.
fn causes(shown: &[(&Finding, &Stopwatched)]) -> Vec<Cause> {
    let wind_known = shown.iter().any(|(_, s)| s.wind_known);
    let told = |cause: &Cause| {
        shown
            .iter()
            .any(|(_, s)| s.account.lines.iter().any(|line| line.cause == *cause))
    };
    Cause::ALL
        .into_iter()
        .filter(told)
        .filter(|cause| *cause != Cause::Wind || wind_known)
        .collect()
}

pub fn note(shown: &[(&Finding, &Stopwatched)]) -> String {
    let (_, nothing) = rows(shown);
    let wind = if shown.iter().all(|(_, s)| s.wind_known) {
        ""
    } else {
        ", and the wind, which is not known"
    };
    let mut text = format!(
        "Each line is the mean over all orders in which the conditions can be exchanged one by one; 'uneven \
         riding and gusts' is what the means of whole passes leave{wind}."
    );
    if !nothing.is_empty() {
        text.push_str(&format!(" Less than 0.05 s: {}.", nothing.join(", ")));
    }
    for (finding, seen) in shown {
        let if_all_drag = seen.change_if_all_drag_percent;
        if let (true, Some(percent)) = (stopwatch_misleads(finding, if_all_drag), if_all_drag) {
            text.push_str(&format!(
                " From {} to {} the times alone would take a change of {} % in drag area, more than posture or \
                 equipment is known to make; the estimate puts {} % down to the set-up.",
                letter(finding.baseline),
                letter(finding.setup),
                signed(percent, 0),
                signed(finding.cda_change_percent.value, 1)
            ));
        }
    }
    text
}
