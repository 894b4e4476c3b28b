//! Every pass in the order ridden: drag area and its uncertainty, blocks as ground, set-ups as shapes.

use super::draw::{Anchor, area, axis_left, dot, interval, line, text};
use super::scale::Scale;
use super::{Picture, WIDTH, number, pass_named};
use crate::report::terminal::letter;
use crate::study::{Compared, PassResult};
use maud::{Markup, html};

const LEFT: i32 = 480;
const TOP: i32 = 340;
const BOTTOM: i32 = 2000;
const HEIGHT: i32 = 2420;
/// So many numbers of passes have room on the axis.
const MOST_NUMBERS: usize = 20;

/// Value and standard uncertainty, of a pass that is left out too.
fn drag(result: &PassResult) -> Option<(f64, f64)> {
    result.cda_m2.or(result.left_out_cda_m2)
}

/// `None` without a pass.
pub fn passes(compared: &Compared) -> Option<Picture> {
    let all = &compared.passes;
    let ends = |result: &PassResult| drag(result).map(|(value, u)| [value - u, value + u]);
    let scale = Scale::holding(all.iter().filter_map(ends).flatten(), 0.06, [BOTTOM, TOP]);
    let step = f64::from(WIDTH - LEFT) / all.len().max(1) as f64;
    let x = |index: usize| LEFT + ((index as f64 + 0.5) * step).round() as i32;
    let every = all.len().div_ceil(MOST_NUMBERS);
    let body = html! {
        (blocks(compared, step))
        (axis_left(&scale, false, [LEFT, WIDTH], 6))
        @for (index, result) in all.iter().enumerate() {
            (mark(result, x(index), &scale))
            @if index % every == 0 {
                (text("soft", [x(index), BOTTOM + 160], Anchor::Middle, &number(compared, result).to_string()))
            }
        }
        (text("soft", [0, 120], Anchor::Start, "CdA, m²"))
        (text("soft", [(LEFT + WIDTH) / 2, BOTTOM + 330], Anchor::Middle, "pass, in the order ridden"))
    };
    (!all.is_empty()).then(|| Picture {
        id: "picture-passes".into(),
        title: "Drag area of each pass, with its standard uncertainty".into(),
        told: told(compared),
        width: WIDTH,
        height: HEIGHT,
        body,
    })
}

/// Runs of passes of one block: every second one is shaded, each has its letter.
fn blocks(compared: &Compared, step: f64) -> Markup {
    let all = &compared.passes;
    let several = compared.setups.len() > 1;
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for (index, result) in all.iter().enumerate() {
        match runs.last_mut() {
            Some((first, count)) if all[*first].block == result.block => *count += 1,
            _ => runs.push((index, 1)),
        }
    }
    let edge = |index: usize| LEFT + (index as f64 * step).round() as i32;
    html! {
        @for (turn, (first, count)) in runs.iter().enumerate() {
            @let (from, to) = (edge(*first), edge(first + count));
            @if turn % 2 == 0 { (area("shade", [from, TOP - 170], [to - from, BOTTOM - TOP + 170])) }
            @let name = match (all[*first].block, all[*first].setup) {
                (Some(_), Some(setup)) if several => letter(setup),
                (Some(block), Some(_)) => block.to_string(),
                _ => "–".to_string(),
            };
            (text("strong", [(from + to) / 2, TOP - 40], Anchor::Middle, &name))
        }
    }
}

fn mark(result: &PassResult, x: i32, scale: &Scale) -> Markup {
    let setup = result.setup.unwrap_or(0);
    let Some((value, u)) = drag(result).filter(|(value, u)| value.is_finite() && u.is_finite()) else {
        // Nothing is known of it, but it was ridden.
        return html! { (dot(setup, [x, BOTTOM], true)) };
    };
    let (y, low, high) = (scale.at(value), scale.at(value - u), scale.at(value + u));
    html! {
        (interval(setup, [x, low], [x, high]))
        (dot(setup, [x, y], !result.kept))
        @if !result.flags.is_empty() {
            (line("odd", [x - 45, high - 130], [x + 45, high - 60]))
            (line("odd", [x - 45, high - 60], [x + 45, high - 130]))
        }
    }
}

fn told(compared: &Compared) -> String {
    let each: Vec<String> = compared
        .passes
        .iter()
        .map(|result| {
            let value = drag(result).map_or("no estimate".to_string(), |(value, u)| {
                format!("{value:.3} ± {u:.3} m²")
            });
            let kept = if result.kept { "" } else { ", not counted" };
            let flagged = if result.flags.is_empty() { "" } else { ", flagged" };
            format!("{} {value}{kept}{flagged}", pass_named(compared, result))
        })
        .collect();
    format!("{}.", each.join("; "))
}
