//! The page as HTML: what the engine computed, in parts that are swapped one by one.

use super::desk::{Desk, Kind};
use super::fields::fields;
use crate::error::Error;
use crate::report::html::{key, table, to_mind};
use crate::report::picture::strips::{Common, Marked, common, marked, readings, ruler, strip};
use crate::report::terminal::passes::{Clock, fitted_note, sheet as passes_sheet};
use crate::report::terminal::setups::{legend, rolling, sheet as setups_sheet};
use crate::report::terminal::{answer, letter};
use crate::report::words::count;
use crate::study::{Compared, PassResult};
use crate::test_day::edit::Stretches;
use crate::watch::Standing;
use maud::{DOCTYPE, Markup, html};

/// A part of the page by the name that it has there.
pub type Part = (&'static str, Markup);

/// Everything, by the text that is kept.
pub fn parts(desk: &Desk) -> Vec<Part> {
    let mut parts = match desk.answer() {
        Ok(compared) => {
            let mut parts = tried(&compared);
            parts.push(("stretches", stretches(&compared)));
            parts.push(("inputs", fields(&compared.surveyed.test_day)));
            parts
        }
        Err(error) => {
            let mut parts = without_answer(&error);
            parts.push(("stretches", html! {}));
            parts.push(("inputs", html! {}));
            parts
        }
    };
    parts.push(("bar", bar(desk)));
    parts.push(("changes", changes(desk)));
    parts
}

/// What follows the pointer.
pub fn tried(compared: &Compared) -> Vec<Part> {
    let clock = Clock::of(&compared.surveyed);
    vec![
        ("answer", answered(compared)),
        ("board", board(compared, &clock)),
        ("passes", passes(compared, &clock)),
        ("mind", to_mind(compared, &clock).unwrap_or_default()),
    ]
}

/// Why there is none.
pub fn without_answer(error: &Error) -> Vec<Part> {
    let why = html! {
        p class="answer" { "There is no answer." }
        ul class="faults" { @for fault in &error.faults { li { (fault) } } }
    };
    vec![
        ("answer", why),
        ("board", html! { p class="soft" { "Nothing to draw." } }),
        ("passes", html! {}),
        ("mind", html! {}),
    ]
}

/// The answer in words, for whoever does not see it change.
pub fn spoken(answer: std::result::Result<&Compared, &Error>) -> String {
    match answer {
        Ok(compared) => answer::sentences(compared).join(" "),
        Err(error) => format!("There is no answer. {error}"),
    }
}

/// The whole document. `version`: of what is kept.
pub fn page(desk: &Desk, version: u64) -> Markup {
    let parts = parts(desk);
    let part = |name: &str| {
        parts
            .iter()
            .find(|(known, _)| *known == name)
            .map(|(_, html)| html)
    };
    let named = desk.folder().file_name().unwrap_or(desk.folder().as_os_str());
    let named = named.to_string_lossy();
    let section = |id: &'static str, heading: &str, before: Markup| {
        html! {
            section aria-labelledby=(format!("{id}-heading")) {
                h2 id=(format!("{id}-heading")) { (heading) }
                (before)
                div id=(id) { @if let Some(inside) = part(id) { (inside) } }
            }
        }
    };
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (named) " · stillair" }
                link rel="icon" href="/icon.svg";
                link rel="stylesheet" href="/look.css";
                script src="/hand.js" defer {}
            }
            body data-version=(version) {
                header {
                    h1 { (named) }
                    div id="answer" { @if let Some(inside) = part("answer") { (inside) } }
                    div id="bar" { @if let Some(inside) = part("bar") { (inside) } }
                    p id="reading" { "Point at a strip to read it." }
                    p id="trouble" role="alert" hidden {}
                    p id="said" class="unseen" aria-live="polite" {}
                }
                main {
                    (section("board", "Left over along the course", how()))
                    div class="beside" {
                        (section("passes", "Passes", why_left_out()))
                        div {
                            (section("stretches", "Marked stretches", html! {}))
                            (section("inputs", "What was entered", html! {}))
                            (section("changes", "What would be written", html! {}))
                            (section("mind", "To mind", html! {}))
                        }
                    }
                }
                div id="drop" hidden { "Let go to add the recordings to this folder" }
            }
        }
    }
}

fn how() -> Markup {
    html! {
        div class="how" {
            span role="group" aria-label="What marking does" {
                button id="mode-cut" type="button" aria-pressed="true" { "Mark to leave out" }
                button id="mode-window" type="button" aria-pressed="false" { "Mark to keep alone" }
            }
        }
        details {
            summary { "What is drawn, and how to work on it" }
            p {
                "Line: virtual less shared elevation, what drag, tyres and road do not explain, gathered along the course. \
                 Bars: the energy that each piece has left over by itself. All strips have one scale. Shaded: does not \
                 count. Hatched: left out by a mark."
            }
            p {
                "Drag along a strip to mark a stretch of that pass, along the topmost strip to mark it for all. Pull an end to move \
                 it. Shift turns the kind of mark round. By keyboard: Tab to a strip, arrow keys move a cursor (10 m; with \
                 Shift 1 m), Enter starts a mark, arrow keys stretch it, Enter makes it, Escape gives it up. On an end, arrow keys \
                 move it and Delete takes the mark away. Ctrl+Z and Ctrl+Shift+Z undo and redo. Nothing is written until you say so."
            }
        }
    }
}

fn why_left_out() -> Markup {
    html! {
        p class="field" {
            label for="reason" { "Why a pass or a stretch is left out" }
            input id="reason" type="text" maxlength="300" placeholder="a lorry overtook";
        }
    }
}

fn answered(compared: &Compared) -> Markup {
    let sentences = answer::sentences(compared);
    html! {
        @for said in &sentences { p class="answer" { (said) } }
        @if let Some(advice) = Standing::of(compared).advice { p class="advice" { (advice.in_words()) } }
        details id="set-ups" open {
            summary { "Set-ups" }
            (key(compared, "answer"))
            (table(&setups_sheet(compared), "Drag area of each set-up"))
            p class="soft" { (legend(compared)) " " (rolling(compared)) }
        }
    }
}

fn bar(desk: &Desk) -> Markup {
    let changed = desk
        .difference()
        .iter()
        .filter(|line| matches!(line.kind, Kind::Added | Kind::Taken))
        .count();
    html! {
        button type="button" id="undo" data-post="/undo" disabled[!desk.can_undo()] { "Undo" }
        button type="button" id="redo" data-post="/redo" disabled[!desk.can_redo()] { "Redo" }
        button type="button" id="write" data-post="/write" class="main" disabled[!desk.is_changed()] { "Write to test.toml" }
        button type="button" id="start-over" data-post="/start-over" { "Read again" }
        span class="soft" {
            @if desk.is_changed() { "Tried, not written: " (count(changed, "line")) "." }
            @else { "As in test.toml." }
        }
        @if !desk.folder().is_dir() {
            strong { " The folder is gone; what was read of it stays. Put the drive back." }
        } @else if desk.changed_meanwhile() {
            strong { " test.toml was changed by something else; it will not be written over. 'Read again' drops what is tried." }
        }
    }
}

fn changes(desk: &Desk) -> Markup {
    let lines = desk.difference();
    html! {
        @if lines.is_empty() { p class="soft" { "Nothing: test.toml stays as it is." } }
        @else {
            pre class="difference" tabindex="0" aria-label="Lines of test.toml that would change" {
                @for line in &lines {
                    @match line.kind {
                        Kind::Kept | Kind::Between => { "  " (line.text) },
                        Kind::Taken => del { "− " (line.text) },
                        Kind::Added => ins { "+ " (line.text) },
                    }
                    "\n"
                }
            }
        }
    }
}

fn named(compared: &Compared, result: &PassResult) -> String {
    let number = compared.surveyed.ridden.passes[result.pass].number;
    match result.setup.filter(|_| compared.setups.len() > 1) {
        Some(setup) => format!("{number} {}", letter(setup)),
        None => number.to_string(),
    }
}

fn board(compared: &Compared, clock: &Clock) -> Markup {
    let common = common(compared);
    let marked = marked(&compared.surveyed.test_day, common.length_m);
    let heading = |place: usize| {
        let result = &compared.passes[place];
        let first = place == 0 || compared.passes[place - 1].block != result.block;
        first.then(|| match (result.block, result.setup) {
            (Some(block), Some(setup)) => format!("Block {block}: {}", compared.setups[setup].name),
            (Some(block), None) => format!("Block {block}: no set-up"),
            (None, _) => "Outside any block".to_string(),
        })
    };
    html! {
        div class="lines" data-length=(common.length_m) {
            div class="line all" id="line-all" tabindex="0" role="group"
                aria-label="All passes: mark here what holds for every pass" {
                div class="name" { strong { "all passes" } }
                div class="lane" { (ruler(&common, &marked)) }
            }
            @for (place, result) in compared.passes.iter().enumerate() {
                @if let Some(heading) = heading(place) { p class="block" { (heading) } }
                (line(compared, result, clock, &common, &marked))
            }
        }
        p class="soft" {
            "Full height of a strip: ± " (format!("{:.2}", common.apart_m)) " m for the line, ± "
            (format!("{:.0}", common.left_over_j)) " J for the bars."
        }
    }
}

fn line(
    compared: &Compared,
    result: &PassResult,
    clock: &Clock,
    common: &Common,
    marked: &[Marked],
) -> Markup {
    let pass = &compared.surveyed.ridden.passes[result.pass];
    let name = named(compared, result);
    let drawn = strip(compared, result, common, marked);
    let (edges, said) = result.elevation.as_ref().map(readings).unwrap_or_default();
    let cda = match (result.cda_m2, result.kept) {
        (Some((cda, u)), true) => format!("{cda:.3} ± {u:.3} m²"),
        _ => "left out".to_string(),
    };
    let label = format!("Pass {name}, {}, {cda}", clock.text(pass.start_s));
    html! {
        div class=(if result.kept { "line" } else { "line out" }) id=(format!("line-{}", pass.number)) tabindex="0"
            role="group" aria-label=(label) data-start=(pass.start_s) data-name=(name) data-edges=(edges) data-said=(said) {
            div class="name" {
                strong { (name) } " " span class="soft" { (clock.text(pass.start_s)) } " " span { (cda) }
            }
            div class="lane" {
                @match drawn {
                    Some(drawn) => (drawn),
                    None => p class="soft" { "Not drawn: " (result.flags.join("; ")) },
                }
            }
        }
    }
}

fn passes(compared: &Compared, clock: &Clock) -> Markup {
    let sheet = passes_sheet(compared, clock);
    let day = &compared.surveyed.test_day;
    let ridden = &compared.surveyed.ridden.passes;
    let rows = compared.passes.iter().zip(&sheet.rows);
    html! {
        div class="scroll" tabindex="0" role="region" aria-label="Every pass" {
            table {
                thead { tr {
                    @for name in &sheet.header { th scope="col" { (name) } }
                    th scope="col" { span class="unseen" { "leave out or count" } }
                } }
                tbody {
                    @for (result, row) in rows {
                        @let pass = &ridden[result.pass];
                        @let excluded = day.excludes.iter().position(|e| e.pass.off_s(pass.number, pass.start_s).is_some());
                        tr class=[(!result.kept).then_some("out")] {
                            @for cell in row { td { (cell) } }
                            td {
                                @if let Some(place) = excluded {
                                    button type="button" id=(format!("count-{}", pass.number)) data-exclude=(place)
                                        aria-label=(format!("Count pass {} again", pass.number)) { "count again" }
                                } @else if result.setup.is_some() {
                                    button type="button" id=(format!("leave-{}", pass.number)) data-leave=(pass.start_s)
                                        aria-label=(format!("Leave pass {} out", pass.number)) { "leave out" }
                                }
                            }
                        }
                        @if !result.flags.is_empty() {
                            tr class="flags" { td colspan=(row.len() + 1) { "* " (result.flags.join("; ")) } }
                        }
                    }
                }
            }
        }
        p class="soft" { (fitted_note(compared)) }
    }
}

fn stretches(compared: &Compared) -> Markup {
    let length_m = compared.surveyed.ridden.course.length_m();
    let marked = marked(&compared.surveyed.test_day, length_m);
    let of = |one: &Marked| {
        let ridden = compared.passes.iter().find(|result| {
            let pass = &compared.surveyed.ridden.passes[result.pass];
            one.is_of(pass.number, pass.start_s)
        });
        match (one.pass, ridden) {
            (None, _) => "all passes".to_string(),
            (Some(_), Some(result)) => format!("pass {}", named(compared, result)),
            (Some(_), None) => "a pass that is not there".to_string(),
        }
    };
    html! {
        @if marked.is_empty() { p class="soft" { "None: every pass counts from gate to gate." } }
        ul class="marks" {
            @for one in &marked {
                @let (what, list) = match one.list {
                    Stretches::Cuts => ("left out", "cuts"),
                    Stretches::Windows => ("kept alone", "windows"),
                };
                @let said = format!("{:.0} to {:.0} m {what}, {}", one.from_m, one.to_m, of(one));
                li {
                    (said) " "
                    @if let Some(reason) = &one.reason { "(" (reason) ") " }
                    button type="button" id=(format!("remove-{}", one.id())) data-remove=(list) data-place=(one.place)
                        aria-label=(format!("Take away: {said}")) { "take away" }
                }
            }
        }
    }
}
