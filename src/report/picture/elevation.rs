//! Virtual and shared elevation along the course, a small picture for each pass.

use super::draw::{Anchor, axis_left, curve, line, route, text};
use super::scale::Scale;
use super::{Picture, pass_named};
use crate::report::words::sentence;
use crate::study::{Compared, Elevations};
use maud::html;

const SMALL: i32 = 1900;
const LEFT: i32 = 380;
const TOP: i32 = 230;
const BOTTOM: i32 = 960;
const HEIGHT: i32 = 1170;

/// All on the same axes, in the order ridden.
pub fn elevations(compared: &Compared) -> Vec<Picture> {
    let known = || compared.passes.iter().filter_map(|p| p.elevation.as_ref());
    let heights = known().flat_map(|e| e.virtual_m.iter().chain(&e.shared_m).copied());
    let y = Scale::holding(heights, 0.08, [BOTTOM, TOP]);
    let along = known().flat_map(|e| e.along_m.iter().copied());
    let x = Scale::holding(along, 0.0, [LEFT, SMALL - 60]);
    compared
        .passes
        .iter()
        .filter_map(|result| {
            let seen = result.elevation.as_ref()?;
            let setup = result.setup.unwrap_or(0);
            let points = |heights: &[f64]| -> Vec<[i32; 2]> {
                let both = seen.along_m.iter().zip(heights);
                both.map(|(along, height)| [x.at(*along), y.at(*height)])
                    .collect()
            };
            let name = sentence(&pass_named(compared, result));
            let body = html! {
                (axis_left(&y, false, [LEFT, SMALL], 3))
                @for tick in x.ticks(2, false) {
                    (line("rule", [tick.at, BOTTOM], [tick.at, BOTTOM + 40]))
                    (text("soft", [tick.at, BOTTOM + 180], Anchor::Middle, &tick.text))
                }
                path class="shared" d=(route(&points(&seen.shared_m), false)) {}
                (curve(setup, &points(&seen.virtual_m), false))
                (text("strong", [0, 120], Anchor::Start, &name))
                @if let Some(left_m) = seen.left_over_m {
                    (text("soft", [SMALL, 120], Anchor::End, &format!("± {left_m:.2} m")))
                }
            };
            Some(Picture {
                id: format!("picture-elevation-{}", result.pass + 1),
                title: format!("{name}: virtual and shared elevation"),
                told: told(seen),
                width: SMALL,
                height: HEIGHT,
                body,
            })
        })
        .collect()
}

fn told(seen: &Elevations) -> String {
    let apart = seen.apart_m();
    let widest = apart
        .iter()
        .zip(&seen.along_m)
        .max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
    let widest = widest.map_or(String::new(), |(apart, along)| {
        format!(
            " The two are furthest apart at {along:.0} m: virtual less shared is {} m.",
            crate::report::words::signed(*apart, 2)
        )
    });
    let left = seen
        .left_over_m
        .map_or(" The pass is left out.".to_string(), |left_m| {
            format!(" What a cell has left over is {left_m:.2} m, root mean square.")
        });
    format!(
        "Solid: the elevation that power and speed imply; dashed: the one that all passes share.{left}{widest}"
    )
}
