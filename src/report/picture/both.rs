//! Where drag area and rolling resistance of each pass can lie together.

use super::draw::{Anchor, area, axis_below, axis_left, curve, dot, line, text};
use super::scale::Scale;
use super::{Picture, WIDTH, pass_named};
use crate::estimate::both::Both;
use crate::study::{Compared, PassResult};
use crate::verdict::LEVEL;
use maud::html;

const LEFT: i32 = 480;
const TOP: i32 = 200;
const BOTTOM: i32 = 2500;

/// An ellipse for each pass. `None` where no pass was fitted.
pub fn both(compared: &Compared) -> Option<Picture> {
    let known: Vec<(&PassResult, &Both, Vec<[f64; 2]>)> = compared
        .passes
        .iter()
        .filter_map(|result| {
            let both = result.both.as_ref()?;
            Some((result, both, both.together.outline(LEVEL)))
        })
        .collect();
    let edges = |axis: usize| {
        known
            .iter()
            .flat_map(move |(_, _, outline)| outline.iter().map(move |p| p[axis]))
    };
    let x = Scale::holding(edges(0), 0.03, [LEFT, WIDTH - 80]);
    let y = Scale::holding(edges(1), 0.03, [BOTTOM, TOP]);
    let before = compared.surveyed.test_day.setups.first().map(|setup| setup.crr)?;
    let [from, to] = [-1.0, 1.0].map(|side| x.at(before.value + side * before.standard_uncertainty));
    let body = html! {
        (area("shade", [from, TOP], [to - from, BOTTOM - TOP]))
        (axis_below(&x, false, [TOP, BOTTOM], 5))
        (axis_left(&y, false, [LEFT, WIDTH], 6))
        @for (result, both, outline) in &known {
            @let setup = result.setup.unwrap_or(0);
            @let points: Vec<[i32; 2]> = outline.iter().map(|[crr, cda]| [x.at(*crr), y.at(*cda)]).collect();
            g class="thin" { (curve(setup, &points, true)) }
            @if x.holds(both.together.crr) {
                (dot(setup, [x.at(both.together.crr), y.at(both.together.cda_m2)], false))
            }
        }
        @for (_, both, _) in known.iter().take(1) {
            (line("zero", [x.at(both.crr), TOP], [x.at(both.crr), BOTTOM]))
        }
        (text("soft", [0, 110], Anchor::Start, "CdA, m²"))
        (text("soft", [(LEFT + WIDTH) / 2, BOTTOM + 330], Anchor::Middle, "rolling resistance Crr"))
    };
    let told: Vec<String> = known
        .iter()
        .map(|(result, both, _)| {
            let fit = &both.together;
            format!(
                "{} CdA {:.3} ± {:.3} m² with Crr {:.4} ± {:.4}, correlation {:.2}",
                pass_named(compared, result),
                fit.cda_m2,
                fit.cda_standard_uncertainty_m2,
                fit.crr,
                fit.crr_standard_uncertainty,
                fit.correlation
            )
        })
        .map(|text| text.replace(" -", " −"))
        .collect();
    (!known.is_empty()).then(|| Picture {
        id: "picture-both".into(),
        title: "Where drag area and rolling resistance of each pass can lie together, nine times in ten"
            .into(),
        told: format!(
            "{}. Shaded: rolling resistance as known before the day, {:.4} ± {:.4}.",
            told.join("; "),
            before.value,
            before.standard_uncertainty
        ),
        width: WIDTH,
        height: BOTTOM + 380,
        body,
    })
}
