//! Pictures of a day's answer as SVG. Pure functions: what the engine gave → a drawing with its text alternative.
//!
//! Drawn in tenths of a unit, so that coordinates are whole numbers. Colour comes from classes (`paint`), and never
//! says anything alone: a set-up also has its own shape, dash and letter.

mod both;
mod budget;
mod course;
mod draw;
mod elevation;
mod findings;
mod key;
mod left_over;
pub mod paint;
mod passes;
mod rows;
mod scale;
mod setups;
mod stopwatch;
pub mod strips;
mod wind;

pub use both::both;
pub use budget::budget;
pub use course::{plan, profile};
pub use elevation::elevations;
pub use findings::findings;
pub use key::mark;
pub use left_over::left_over;
pub use passes::passes;
pub use setups::setups;
pub use stopwatch::stopwatch;
pub use wind::wind;

use crate::study::{Compared, PassResult};
use maud::{Markup, html};

/// Width of a picture that has a line of its own, in tenths.
const WIDTH: i32 = 4000;

/// A drawing and what it shows in words, for whoever cannot see it.
#[derive(Debug, Clone)]
pub struct Picture {
    /// One of its kind in a document.
    pub id: String,
    pub title: String,
    /// What can be seen, with the numbers.
    pub told: String,
    /// In tenths.
    pub width: i32,
    pub height: i32,
    body: Markup,
}

impl Picture {
    pub fn svg(&self) -> Markup {
        let (title, told) = (format!("{}-title", self.id), format!("{}-told", self.id));
        let labelled = format!("{title} {told}");
        html! {
            svg id=(self.id) class="picture" role="img" aria-labelledby=(labelled)
                viewBox=(format!("0 0 {} {}", self.width, self.height)) {
                title id=(title) { (self.title) }
                desc id=(told) { (self.told) }
                (self.body)
            }
        }
    }
}

/// Longer names are cut: a drawing has no room for them, and the tables have them whole.
fn short(name: &str, most: usize) -> String {
    if name.chars().count() <= most {
        return name.to_string();
    }
    let kept: String = name.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

fn number(compared: &Compared, result: &PassResult) -> usize {
    compared.surveyed.ridden.passes[result.pass].number
}

/// A pass in words: its number, and its set-up's letter where there are several. In brackets where it is left out.
fn pass_named(compared: &Compared, result: &PassResult) -> String {
    let number = number(compared, result);
    let letter = result
        .setup
        .filter(|_| compared.setups.len() > 1)
        .map(crate::report::terminal::letter);
    match (letter, result.kept) {
        (Some(letter), true) => format!("pass {number} {letter}"),
        (Some(letter), false) => format!("pass {number} ({letter})"),
        (None, true) => format!("pass {number}"),
        (None, false) => format!("pass ({number})"),
    }
}

#[cfg(test)]
mod tests;
