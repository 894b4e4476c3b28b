//! What shapes, dashes and letters stand for.

use crate::report::picture::mark;
use crate::report::terminal::letter;
use crate::study::Compared;
use maud::{Markup, html};

/// Nothing to tell where there is one set-up.
pub(crate) fn key(compared: &Compared, place: &str) -> Markup {
    html! {
        @if compared.setups.len() > 1 {
            ul class="key" {
                @for (index, setup) in compared.setups.iter().enumerate() {
                    li { (mark(index, place).svg()) span { (letter(index)) ": " (setup.name) } }
                }
            }
        }
    }
}
