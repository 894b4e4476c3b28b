//! What is left over along the course: virtual less shared elevation, a strip for each pass.

use super::draw::{Anchor, axis_below, curve, line, text};
use super::scale::Scale;
use super::{Picture, WIDTH, pass_named};
use crate::report::words::signed;
use crate::study::{Compared, Elevations, PassResult};
use maud::html;

const LEFT: i32 = 740;
const STRIP: i32 = 230;

/// All strips have the same scale. `None` where no pass was fitted.
pub fn left_over(compared: &Compared) -> Option<Picture> {
    let known: Vec<(&PassResult, &Elevations, Vec<f64>)> = compared
        .passes
        .iter()
        .filter_map(|result| {
            let seen = result.elevation.as_ref()?;
            Some((result, seen, seen.apart_m()))
        })
        .collect();
    let most_m = known
        .iter()
        .map(|(_, _, apart)| furthest(apart))
        .fold(0.0, f64::max);
    let bottom = 60 + STRIP * known.len() as i32;
    let along = known.iter().flat_map(|(_, seen, _)| seen.along_m.iter().copied());
    let x = Scale::holding(along, 0.0, [LEFT, WIDTH - 400]);
    // Strips may reach half into their neighbours: what is large is seen, and what is small not lost.
    let y = |strip: usize| {
        let middle = 60 + STRIP * strip as i32 + STRIP / 2;
        Scale::holding([-most_m, most_m], 0.0, [middle + STRIP, middle - STRIP])
    };
    let body = html! {
        (axis_below(&x, false, [0, bottom], 5))
        @for (strip, (result, seen, apart)) in known.iter().enumerate() {
            @let scale = y(strip);
            @let points: Vec<[i32; 2]> =
                seen.along_m.iter().zip(apart).map(|(along, apart)| [x.at(*along), scale.at(*apart)]).collect();
            (line("rule", [LEFT, scale.at(0.0)], [WIDTH - 400, scale.at(0.0)]))
            (curve(result.setup.unwrap_or(0), &points, false))
            (text("", [0, scale.at(0.0) + 45], Anchor::Start, &pass_named(compared, result)))
            (text("soft", [WIDTH, scale.at(0.0) + 45], Anchor::End, &format!("{:.1} m", furthest(apart))))
        }
        (text("soft", [(LEFT + WIDTH - 400) / 2, bottom + 320], Anchor::Middle, "along the course, m"))
    };
    let told: Vec<String> = known
        .iter()
        .map(|(result, _, apart)| {
            let low = apart.iter().copied().fold(0.0, f64::min);
            let high = apart.iter().copied().fold(0.0, f64::max);
            format!(
                "{} between {} and {} m",
                pass_named(compared, result),
                signed(low, 2),
                signed(high, 2)
            )
        })
        .collect();
    (!known.is_empty()).then(|| Picture {
        id: "picture-left-over".into(),
        title: "Virtual less shared elevation along the course".into(),
        told: format!("{}.", told.join("; ")),
        width: WIDTH,
        height: bottom + 360,
        body,
    })
}

fn furthest(apart_m: &[f64]) -> f64 {
    apart_m.iter().map(|apart| apart.abs()).fold(0.0, f64::max)
}
