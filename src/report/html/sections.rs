//! The sections of the document, in the order of a reader's questions.

mod along;
pub(super) mod ground;
mod numbers;

use super::Told;
use super::key::key;
use crate::report::picture::{self, Picture};
use crate::report::sheet::Sheet;
use crate::report::terminal::answer;
use crate::report::terminal::passes::Clock;
use crate::report::terminal::shape_text;
use crate::report::words::{count, sentence};
use maud::{Markup, html};

struct Section {
    id: &'static str,
    heading: &'static str,
    /// Picture and words beside each other where there is room.
    two: bool,
    body: Markup,
}

pub(super) fn all(told: &Told, clock: &Clock, title: &str) -> Markup {
    let sections: Vec<Section> = [
        numbers::setups(told),
        Some(numbers::passes(told, clock)),
        along::elevation(told),
        along::left_over(told),
        along::both(told),
        along::wind(told, clock),
        numbers::stopwatch(told),
        numbers::budget(told),
        numbers::event(told),
        Some(along::course(told)),
        Some(ground::rests_on(told)),
        ground::mind(told, clock),
        Some(ground::cautions(told)),
        Some(ground::again(told)),
    ]
    .into_iter()
    .flatten()
    .collect();
    html! {
        header { (answered(told, title)) }
        nav aria-label="Contents" {
            @for section in &sections { a href=(format!("#{}", section.id)) { (section.heading) } " " }
        }
        @for section in &sections {
            section id=(section.id) class=[section.two.then_some("two")] {
                h2 { (section.heading) }
                (section.body)
            }
        }
    }
}

fn answered(told: &Told, title: &str) -> Markup {
    let compared = told.compared;
    let sentences = answer::sentences(compared);
    let class = if sentences.len() > 1 {
        "answer several"
    } else {
        "answer"
    };
    let blocks: usize = compared.setups.iter().map(|setup| setup.blocks).sum();
    let passes: usize = compared.setups.iter().map(|setup| setup.passes).sum();
    let course = &compared.surveyed.ridden.course;
    html! {
        h1 { (title) }
        @for said in &sentences { p class=(class) { (said) } }
        p class="soft" {
            (sentence(&count(compared.setups.len(), "set-up"))) ", "
            (count(passes, "pass")) " in " (count(blocks, "block")) ", "
            (shape_text(course.shape)) " over " (format!("{:.0} m", course.length_m())) "."
            @if !compared.warnings.is_empty() {
                " " a href="#mind" { (count(compared.warnings.len(), "remark")) " to mind" } "."
            }
        }
    }
}

fn figure(picture: &Picture, caption: &str) -> Markup {
    html! {
        figure {
            (picture.svg())
            @if !caption.is_empty() { figcaption { (caption) } }
        }
    }
}

/// Scrolls by itself where the page is narrow, by keyboard too.
pub(crate) fn table(sheet: &Sheet, caption: &str) -> Markup {
    let class = |column: usize| sheet.left.contains(&column).then_some("words");
    html! {
        div class="scroll" tabindex="0" role="region" aria-label=(caption) {
            table {
                caption { (caption) }
                thead { tr {
                    @for (column, name) in sheet.header.iter().enumerate() {
                        // A head without a name is none to whoever hears the table.
                        @if name.is_empty() { td class=[class(column)] {} }
                        @else { th scope="col" class=[class(column)] { (name) } }
                    }
                } }
                tbody {
                    @for row in &sheet.rows {
                        tr {
                            @for column in 0..sheet.header.len() {
                                td class=[class(column)] { (row.get(column).map_or("", String::as_str)) }
                            }
                        }
                    }
                }
            }
        }
    }
}
