//! One document of a day's answer: complete in itself, for paper, a screen or a telephone.
//!
//! It is HTML that also reads as XML. It holds no script and asks for nothing from elsewhere.

mod key;
mod sections;
mod style;

pub(crate) use key::key;
pub(crate) use sections::ground::to_mind;
pub(crate) use sections::table;

use super::private::{numbered, without_private};
use super::terminal::passes::Clock;
use crate::study::{Compared, FileDigest};
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// What a file of ours has in its head: only such a file is ever replaced.
pub const MARK: &str = "<meta name=\"generator\" content=\"stillair report\"/>";

/// What goes into a document besides the answer.
#[derive(Debug, Clone, Copy)]
pub struct Told<'a> {
    pub compared: &'a Compared,
    /// What the answer rests on.
    pub files: &'a [FileDigest],
    /// Without positions, dates, times of day, masses and names of files.
    pub private: bool,
    /// Name of the folder, for the command that makes this document again.
    pub folder: &'a str,
    /// What to mind on the road: a heading, a line for each, and a closing one.
    pub cautions: &'a str,
}

/// The same input gives the same bytes.
pub fn report(told: &Told) -> String {
    if !told.private {
        return document(told, &Clock::of(&told.compared.surveyed)).into_string();
    }
    let open = without_private(told.compared, told.files);
    let files = numbered(told.files);
    let first_s = open
        .surveyed
        .ridden
        .passes
        .first()
        .map_or(0.0, |pass| pass.start_s);
    let told = Told {
        compared: &open,
        files: &files,
        folder: "FOLDER",
        ..*told
    };
    document(&told, &Clock::MinutesSince(first_s)).into_string()
}

fn document(told: &Told, clock: &Clock) -> Markup {
    let title = told.compared.surveyed.test_day.title.as_deref();
    let title = title.unwrap_or("A test day, compared");
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                (PreEscaped("<meta charset=\"utf-8\"/>"))
                (PreEscaped(MARK))
                (PreEscaped("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>"))
                title { (title) }
                style { (PreEscaped(style::style())) }
            }
            body {
                main { (sections::all(told, clock, title)) }
            }
        }
    }
}
