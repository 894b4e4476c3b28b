//! Wind along the day, as all passes together see it.

use super::draw::{Anchor, axis_left, dot, interval, line, text};
use super::scale::Scale;
use super::{Picture, WIDTH, pass_named};
use crate::report::words::signed;
use crate::study::Compared;
use maud::{Markup, html};

const LEFT: i32 = 480;
const LANE: i32 = 1050;
const GAP: i32 = 300;

struct Seen {
    minutes: f64,
    setup: usize,
    named: String,
    /// East and north, where the air moves to, each with its standard uncertainty.
    wind_m_s: [(f64, f64); 2],
}

/// Two lanes over the minutes since the first pass. `None` where no pass was fitted.
pub fn wind(compared: &Compared) -> Option<Picture> {
    let ridden = &compared.surveyed.ridden.passes;
    let first_s = ridden.first()?.start_s;
    let known: Vec<Seen> = compared
        .passes
        .iter()
        .filter_map(|result| {
            let pass = &ridden[result.pass];
            Some(Seen {
                minutes: (0.5 * (pass.start_s + pass.end_s) - first_s) / 60.0,
                setup: result.setup.unwrap_or(0),
                named: pass_named(compared, result),
                wind_m_s: result.judged.as_ref()?.wind_m_s,
            })
        })
        .collect();
    let x = Scale::holding(known.iter().map(|seen| seen.minutes), 0.04, [LEFT, WIDTH - 60]);
    let ends = known
        .iter()
        .flat_map(|seen| seen.wind_m_s.iter().flat_map(|(w, u)| [w - u, w + u]));
    let range: Vec<f64> = ends.chain([0.0]).collect();
    let bottom = 2 * (GAP + LANE);
    let body = html! {
        (lane(&known, 0, "to the east, m/s (+: from the west)", &x, &range))
        (lane(&known, 1, "to the north, m/s (+: from the south)", &x, &range))
        @for tick in x.ticks(6, false) {
            (text("soft", [tick.at, bottom + 170], Anchor::Middle, &tick.text))
        }
        (text("soft", [(LEFT + WIDTH) / 2, bottom + 340], Anchor::Middle, "minutes since the first pass"))
    };
    let told: Vec<String> = known
        .iter()
        .map(|seen| {
            let [(east, east_u), (north, north_u)] = seen.wind_m_s;
            format!(
                "{} east {} ± {east_u:.1}, north {} ± {north_u:.1}",
                seen.named,
                signed(east, 1),
                signed(north, 1)
            )
        })
        .collect();
    (!known.is_empty()).then(|| Picture {
        id: "picture-wind".into(),
        title: "Wind during each pass, with its standard uncertainty".into(),
        told: format!("Where the air moves to, in m/s: {}.", told.join("; ")),
        width: WIDTH,
        height: bottom + 380,
        body,
    })
}

fn lane(known: &[Seen], way: usize, name: &str, x: &Scale, range: &[f64]) -> Markup {
    let top = way as i32 * (GAP + LANE) + GAP;
    let y = Scale::holding(range.iter().copied(), 0.05, [top + LANE, top]);
    html! {
        (text("", [0, top - 90], Anchor::Start, name))
        (axis_left(&y, true, [LEFT, WIDTH], 4))
        (line("zero", [LEFT, y.at(0.0)], [WIDTH, y.at(0.0)]))
        @for seen in known {
            @let (wind, u) = seen.wind_m_s[way];
            @let at = x.at(seen.minutes);
            (interval(seen.setup, [at, y.at(wind - u)], [at, y.at(wind + u)]))
            (dot(seen.setup, [at, y.at(wind)], false))
        }
    }
}
