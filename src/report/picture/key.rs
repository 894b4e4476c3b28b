//! The mark of a set-up, as the other pictures have it.

use super::Picture;
use super::draw::{curve, dot};
use crate::report::terminal::letter;
use maud::html;

/// `place` tells this one from the same mark elsewhere in a document.
pub fn mark(setup: usize, place: &str) -> Picture {
    Picture {
        id: format!("picture-mark-{setup}-{place}"),
        title: format!("Mark of {}", letter(setup)),
        told: "Its shape, colour and dash in the pictures.".into(),
        width: 560,
        height: 200,
        body: html! {
            (curve(setup, &[[0, 100], [560, 100]], false))
            (dot(setup, [280, 100], false))
        },
    }
}
