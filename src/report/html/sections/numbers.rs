//! What the numbers are: set-ups, passes, stopwatch, budget, event.

use super::{Section, figure, key, picture, table};
use crate::report::html::Told;
use crate::report::sheet::Sheet;
use crate::report::terminal::passes::{Clock, fitted_note, sheet as passes_sheet};
use crate::report::terminal::setups::{legend, rolling, sheet as setups_sheet};
use crate::report::terminal::{answer, budget as budget_sheet, km_h, letter, stopwatch as account};
use crate::report::words::{sentence, signed, signed_range};
use crate::verdict::Worth;
use maud::html;

pub(super) fn setups(told: &Told) -> Option<Section> {
    let compared = told.compared;
    let differences = answer::differences(compared);
    let body = html! {
        div {
            @if let Some(picture) = picture::findings(compared) {
                (figure(&picture, "Dot and line: the estimate and its 90 % interval. Shaded: too small to matter to you."))
            }
            @if let Some(picture) = picture::setups(compared) {
                (figure(&picture, "The drag area itself is known less well than its change: what all passes share moves every set-up together."))
            }
        }
        div {
            (key(compared, "set-ups"))
            @if let Some(all) = differences {
                (table(&all.sheet, all.heading.as_deref().unwrap_or("Every pair").trim_end_matches(':')))
                p class="soft" { (all.note) }
            }
            (table(&setups_sheet(compared), "Set-ups"))
            p class="soft" { (legend(compared)) }
            p class="soft" { (rolling(compared)) }
        }
    };
    Some(Section {
        id: "set-ups",
        heading: "Set-ups",
        two: true,
        body,
    })
}

pub(super) fn passes(told: &Told, clock: &Clock) -> Section {
    let compared = told.compared;
    let ridden = &compared.surveyed.ridden.passes;
    let flagged = || compared.passes.iter().filter(|result| !result.flags.is_empty());
    let body = html! {
        div {
            @if let Some(picture) = picture::passes(compared) { (figure(&picture, "")) }
        }
        div {
            (key(compared, "passes"))
            p {
                "Dot and line: drag area and standard uncertainty of one pass, taken by itself. Bands are blocks, one \
                 mounting of a set-up each, named above. Hollow: not counted. Crossed above: flagged."
            }
            p class="soft" { (fitted_note(compared)) }
            @if flagged().next().is_some() {
                ul {
                    @for result in flagged() {
                        li { "Pass " (ridden[result.pass].number) ": " (result.flags.join("; ")) "." }
                    }
                }
            }
        }
        div class="whole" {
            (table(&passes_sheet(compared, clock), "Passes"))
        }
    };
    Section {
        id: "passes",
        heading: "Every pass",
        two: true,
        body,
    }
}

pub(super) fn stopwatch(told: &Told) -> Option<Section> {
    let compared = told.compared;
    let shown = account::shown(compared);
    let body = html! {
        div {
            @for (finding, seen) in &shown {
                (figure(&picture::stopwatch(finding, seen), &format!("From {} to {}.", letter(finding.baseline), letter(finding.setup))))
            }
        }
        div {
            (table(&account::sheet(&shown), account::heading(compared).trim_end_matches(':')))
            p class="soft" { (account::note(&shown)) }
        }
    };
    (!shown.is_empty()).then_some(Section {
        id: "stopwatch",
        heading: "What the stopwatch saw",
        two: true,
        body,
    })
}

pub(super) fn budget(told: &Told) -> Option<Section> {
    let compared = told.compared;
    let sheet = budget_sheet(compared, usize::MAX)?;
    let body = html! {
        div {
            @if let Some(picture) = picture::budget(compared) {
                (figure(&picture, "Each input moved by its standard uncertainty through the whole estimate."))
            }
        }
        div { (table(&sheet, "Uncertainty budget")) }
    };
    Some(Section {
        id: "budget",
        heading: "What makes it uncertain",
        two: true,
        body,
    })
}

/// `None` where nothing is compared.
pub(super) fn event(told: &Told) -> Option<Section> {
    let findings = &told.compared.findings;
    let first = findings.first()?;
    let cells = |worth: &Worth, decimals: usize| {
        let range = worth.interval_90.map(|ends| signed_range(ends, decimals));
        [
            signed(worth.value, decimals),
            range.unwrap_or("not known".to_string()),
        ]
    };
    let rows = findings
        .iter()
        .map(|f| {
            let mut row = vec![format!("{} to {}", letter(f.baseline), letter(f.setup))];
            row.extend(cells(&f.watts, 1));
            row.extend(cells(&f.seconds_per_40_km, 0));
            row
        })
        .collect();
    let watts = format!("W at {:.0} km/h", km_h(first.speed_m_s));
    let sheet = Sheet::new(
        &["change", &watts, "90 % interval", "s over 40 km", "90 % interval"],
        &[0],
        rows,
    );
    let body = html! {
        div class="whole" {
            (table(&sheet, "Flat road, still air, air of the test day; negative: less power, less time"))
            p class="soft" {
                (sentence("seconds do not scale with distance from a climb to a flat event. Another road is ridden by the balance with "))
                code { "stillair predict " (told.folder) " --event route.gpx --power 250" }
                ", a flat one of any length with "
                code { "--flat 20km" }
                "."
            }
        }
    };
    Some(Section {
        id: "event",
        heading: "What it is worth in an event",
        two: false,
        body,
    })
}
