//! One line for each change, for whoever stands at the roadside; the same as JSON.

use super::folder::{Changed, What};
use super::standing::{Advice, Standing};
use crate::error::Error;
use crate::report::json as report;
use crate::report::words::{count, signed, signed_range};
use crate::study::Compared;
use crate::verdict::{Call, Finding};
use serde_json::{Value, json as object};

/// More pairs than this make no line.
const MOST_PAIRS: usize = 3;

/// `changes`: none where the folder is read for the first time.
pub fn line(changes: &[Changed], answer: Result<&Compared, &Error>) -> String {
    let happened: Vec<String> = changes.iter().map(happened).collect();
    let mut parts = Vec::new();
    if !happened.is_empty() {
        parts.push(happened.join(", "));
    }
    let is_away = changes.iter().any(|change| change.what == What::FolderGone);
    match answer {
        Ok(compared) => parts.extend(stands(changes, compared)),
        Err(_) if is_away => {}
        Err(error) => parts.push(no_answer(error)),
    }
    parts.join(" · ")
}

/// `compare` as `compare --json` has it; `null` where there is no answer, which `faults` explain.
pub fn json(time: &str, changes: &[Changed], answer: Result<&Compared, &Error>) -> Value {
    let standing = answer.ok().map(Standing::of);
    let advice = standing.as_ref().and_then(|standing| standing.advice.as_ref());
    let faults = match answer {
        Ok(compared) => compared.surveyed.faults.as_slice(),
        Err(error) => error.faults.as_slice(),
    };
    object!({
        "time": time,
        "changes": changes.iter().map(|one| object!({
            "file": if one.file.is_empty() { Value::Null } else { one.file.clone().into() },
            "what": match one.what {
                What::New => "new",
                What::Changed => "changed",
                What::Gone => "gone",
                What::Renamed(_) => "renamed",
                What::FolderGone => "folder gone",
                What::FolderBack => "folder back",
            },
            "before": match &one.what { What::Renamed(before) => Some(before), _ => None },
        })).collect::<Vec<_>>(),
        "blocks_ridden": standing.as_ref().map(|standing| standing.blocks_ridden),
        "blocks": standing.as_ref().map(|standing| standing.blocks),
        "advice": advice.map(|advice| match advice { Advice::Stop(_) => "stop", Advice::RideOn(_) => "ride on" }),
        "says": line(changes, answer),
        "faults": faults.iter().map(ToString::to_string).collect::<Vec<_>>(),
        "compare": answer.ok().map(report::compare),
    })
}

fn happened(change: &Changed) -> String {
    let file = &change.file;
    match &change.what {
        What::New => format!("{file} is new"),
        What::Changed => format!("{file} changed"),
        What::Gone => format!("{file} is gone"),
        What::Renamed(before) => format!("{before} is called {file} now"),
        What::FolderGone => "the folder is gone: waiting for it".to_string(),
        What::FolderBack => "the folder is back".to_string(),
    }
}

fn stands(changes: &[Changed], compared: &Compared) -> Vec<String> {
    let standing = Standing::of(compared);
    let mut parts = Vec::new();
    let is_new = |file: &std::path::Path| {
        let name = file.file_name().map(|name| name.to_string_lossy());
        changes.iter().any(|change| name.as_deref() == Some(&change.file))
    };
    let faults = &compared.surveyed.faults;
    for fault in faults
        .iter()
        .filter(|fault| fault.file.as_deref().is_some_and(is_new))
    {
        parts.push(format!("damaged, or still being copied: {}", fault.what));
    }
    let passes = if standing.passes_kept == standing.passes_found {
        count(standing.passes_found, "pass")
    } else {
        format!(
            "{} of {}",
            standing.passes_kept,
            count(standing.passes_found, "pass")
        )
    };
    parts.push(if standing.blocks > 0 {
        format!(
            "{passes}, {} of {}",
            standing.blocks_ridden,
            count(standing.blocks, "block")
        )
    } else {
        passes
    });
    let pairs: Vec<&Finding> = compared
        .findings
        .iter()
        .filter(|f| f.null_test.is_none())
        .collect();
    let with_first = pairs
        .iter()
        .filter(|f| f.baseline == 0 || pairs.len() <= MOST_PAIRS);
    parts.extend(with_first.map(|finding| pair(finding, compared)));
    if compared.findings.is_empty() {
        let alone = compared
            .setups
            .iter()
            .find_map(|setup| Some((setup, setup.cda_m2?)));
        parts.extend(
            alone.map(|(setup, (cda, u, _))| format!("CdA of '{}' {cda:.3} ± {u:.3} m²", setup.name)),
        );
    }
    // Those of the rides are among them.
    let minds = compared.warnings.len();
    if minds > 0 {
        parts.push(format!("{} (see compare)", count(minds, "warning")));
    }
    parts.extend(standing.advice.map(|advice| advice.in_words()));
    parts
}

fn pair(finding: &Finding, compared: &Compared) -> String {
    let names = &compared.surveyed.test_day.setups;
    let percent = finding.tested_percent();
    let interval = finding
        .looks
        .as_ref()
        .map_or(percent.interval_90, |looks| looks.interval_percent);
    let range = interval.map_or("no interval yet".to_string(), |interval| {
        signed_range(interval, 1)
    });
    let verdict = match finding.call {
        Call::NotResolved if finding.known_to_be_small => "not resolved, and small",
        call => call.as_text(),
    };
    let base = if compared.setups.len() > 2 {
        format!(" against '{}'", names[finding.baseline].name)
    } else {
        String::new()
    };
    format!(
        "'{}'{base} {} % ({range}), {verdict}",
        names[finding.setup].name,
        signed(percent.value, 1)
    )
}

fn no_answer(error: &Error) -> String {
    let mut faults = error.faults.iter();
    let first = faults
        .next()
        .map_or("no answer yet".to_string(), ToString::to_string);
    match faults.count() {
        0 => format!("no answer: {first}"),
        more => format!("no answer: {first} (and {} more)", count(more, "fault")),
    }
}
