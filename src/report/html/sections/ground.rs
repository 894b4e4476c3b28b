//! What the answer rests on, what to mind, and how to get it again.

use super::{Section, table};
use crate::report::html::Told;
use crate::report::sheet::Sheet;
use crate::report::terminal::passes::Clock;
use crate::report::terminal::{ground, seen};
use crate::report::words::sentence;
use crate::study::Compared;
use maud::{Markup, html};

pub(super) fn rests_on(told: &Told) -> Section {
    let body = html! {
        div class="whole" {
            p class="soft" { "±: standard uncertainty. In brackets: the key of test.toml." }
            ul { @for said in ground(told.compared) { li { (said) } } }
        }
    };
    Section {
        id: "rests-on",
        heading: "What it rests on",
        two: false,
        body,
    }
}

/// `None` where there is nothing.
pub(super) fn mind(told: &Told, clock: &Clock) -> Option<Section> {
    Some(Section {
        id: "mind",
        heading: "To mind",
        two: false,
        body: to_mind(told.compared, clock)?,
    })
}

/// Remarks, files that could not be read, what nearly was a pass.
pub(crate) fn to_mind(compared: &Compared, clock: &Clock) -> Option<Markup> {
    let surveyed = &compared.surveyed;
    let near = &surveyed.ridden.near_passes;
    let nothing = compared.warnings.is_empty() && surveyed.faults.is_empty() && near.is_empty();
    let body = html! {
        div class="whole" {
            @if !compared.warnings.is_empty() {
                ul {
                    @for warning in &compared.warnings {
                        li { (seen(warning)) ". " strong { (sentence(&warning.next_step)) } }
                    }
                }
            }
            @if !surveyed.faults.is_empty() {
                p { "Files that could not be read, or only in part:" }
                ul {
                    @for fault in &surveyed.faults {
                        li {
                            @if let Some(name) = fault.file.as_ref().and_then(|file| file.file_name()) {
                                (name.to_string_lossy()) ": "
                            }
                            @if let Some(place) = &fault.place { (place) ": " }
                            (fault.what) ". " strong { (fault.next_step) }
                        }
                    }
                }
            }
            @if !near.is_empty() {
                p { "Nearly a pass:" }
                ul { @for one in near { li { (near_time(clock, one.start_s)) ": " (one.reason) } } }
            }
        }
    };
    (!nothing).then_some(body)
}

fn near_time(clock: &Clock, start_s: f64) -> String {
    match clock {
        Clock::Utc | Clock::UtcOfDay => format!("{} UTC", clock.text(start_s)),
        Clock::MinutesSince(_) => format!("Minute {}", clock.text(start_s)),
    }
}

pub(super) fn cautions(told: &Told) -> Section {
    let (listed, other): (Vec<&str>, Vec<&str>) =
        told.cautions.lines().partition(|line| line.starts_with("- "));
    let closing = other.iter().skip(1);
    let body = html! {
        div class="whole" {
            ul { @for line in listed { li { (line.trim_start_matches("- ")) } } }
            @for line in closing { p { (line) } }
        }
    };
    Section {
        id: "cautions",
        heading: "Before you ride a test",
        two: false,
        body,
    }
}

pub(super) fn again(told: &Told) -> Section {
    let rows = told
        .files
        .iter()
        .map(|file| vec![file.name.clone(), file.sha256.clone()])
        .collect();
    let private = if told.private { " --private" } else { "" };
    let body = html! {
        div class="whole" {
            p {
                "Version " (env!("CARGO_PKG_VERSION")) " of stillair, command "
                code { "stillair report " (told.folder) (private) }
                ". The same files give the same document, byte for byte; numbers for programs come from "
                code { "stillair compare --json " (told.folder) } "."
            }
            (table(&Sheet::new(&["file", "SHA-256"], &[0, 1], rows), "Files"))
        }
    };
    Section {
        id: "again",
        heading: "How to get this again",
        two: false,
        body,
    }
}
