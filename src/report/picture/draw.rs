//! What every picture is made of: text, lines, marks.

use super::paint::{SHAPES, dash, series};
use super::scale::{Scale, Tick};
use maud::{Markup, html};

#[derive(Debug, Clone, Copy)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

pub(super) fn text(class: &str, [x, y]: [i32; 2], anchor: Anchor, words: &str) -> Markup {
    let anchor = match anchor {
        Anchor::Start => None,
        Anchor::Middle => Some("middle"),
        Anchor::End => Some("end"),
    };
    html! { text class=(class) x=(x) y=(y) text-anchor=[anchor] { (words) } }
}

pub(super) fn line(class: &str, [x1, y1]: [i32; 2], [x2, y2]: [i32; 2]) -> Markup {
    html! { path class=(class) d=(format!("M{x1} {y1}L{x2} {y2}")) {} }
}

pub(super) fn area(class: &str, [x, y]: [i32; 2], [width, height]: [i32; 2]) -> Markup {
    html! { rect class=(class) x=(x) y=(y) width=(width.max(0)) height=(height.max(0)) {} }
}

/// Whole steps from point to point.
pub(super) fn route(points: &[[i32; 2]], closed: bool) -> String {
    let Some(first) = points.first() else {
        return String::new();
    };
    let mut text = format!("M{} {}", first[0], first[1]);
    for pair in points.windows(2) {
        text.push_str(&format!(
            "l{} {}",
            pair[1][0] - pair[0][0],
            pair[1][1] - pair[0][1]
        ));
    }
    if closed {
        text.push('z');
    }
    text
}

/// In the colour and with the dash of a set-up.
pub(super) fn curve(setup: usize, points: &[[i32; 2]], closed: bool) -> Markup {
    html! {
        path class=(format!("curve {}", series(setup))) stroke-dasharray=[dash(setup)] d=(route(points, closed)) {}
    }
}

/// In the colour and shape of a set-up; hollow for what does not count.
pub(super) fn dot(setup: usize, [x, y]: [i32; 2], hollow: bool) -> Markup {
    let kind = if hollow { "hollow" } else { "dot" };
    let shape = SHAPES[setup % SHAPES.len()];
    html! { path class=(format!("{kind} {}", series(setup))) d=(format!("M{x} {y}{shape}")) {} }
}

/// The line of an interval with its ends, along x or y.
pub(super) fn interval(setup: usize, [x1, y1]: [i32; 2], [x2, y2]: [i32; 2]) -> Markup {
    const END: i32 = 28;
    let d = if y1 == y2 {
        format!(
            "M{x1} {y1}H{x2}M{x1} {}v{}M{x2} {}v{}",
            y1 - END,
            2 * END,
            y1 - END,
            2 * END
        )
    } else {
        format!(
            "M{x1} {y1}V{y2}M{} {y1}h{}M{} {y2}h{}",
            x1 - END,
            2 * END,
            x1 - END,
            2 * END
        )
    };
    html! { path class=(format!("interval {}", series(setup))) d=(d) {} }
}

/// Ticks with a rule across the picture, numbers below.
pub(super) fn axis_below(scale: &Scale, sign: bool, [top, bottom]: [i32; 2], most: usize) -> Markup {
    html! {
        @for Tick { at, text: words } in scale.ticks(most, sign) {
            (line("rule", [at, top], [at, bottom]))
            (text("soft", [at, bottom + 150], Anchor::Middle, &words))
        }
    }
}

/// Ticks with a rule across the picture, numbers to the left.
pub(super) fn axis_left(scale: &Scale, sign: bool, [left, right]: [i32; 2], most: usize) -> Markup {
    html! {
        @for Tick { at, text: words } in scale.ticks(most, sign) {
            (line("rule", [left, at], [right, at]))
            (text("soft", [left - 50, at + 45], Anchor::End, &words))
        }
    }
}
