//! The course on plain ground, and its elevation.

use super::draw::{Anchor, axis_below, axis_left, line, route, text};
use super::scale::Scale;
use super::{Picture, WIDTH};
use crate::course::Course;
use crate::report::terminal::shape_text;
use crate::test_day::Shape;
use maud::{Markup, html};

const MARGIN: i32 = 420;
/// Half a gate, in tenths.
const GATE: i32 = 130;
/// From a gate to its name.
const NAME: i32 = 240;
/// No course is drawn flatter or taller than this, in tenths.
const SIDES: [f64; 2] = [900.0, 3200.0];

/// North is up. The only picture that tells where a course is.
pub fn plan(course: &Course) -> Picture {
    let ground = course.line.east_north_m();
    let span = |axis: usize| {
        let values = ground.iter().map(|p| p[axis]);
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        });
        (low, high - low)
    };
    let ((west, wide), (south, tall)) = (span(0), span(1));
    let room = f64::from(WIDTH - 2 * MARGIN);
    let per_m = (room / wide.max(1.0)).min(SIDES[1] / tall.max(1.0));
    let height = (tall * per_m).max(SIDES[0]).round() as i32;
    let across = (room - wide * per_m) / 2.0;
    let down = (f64::from(height) - tall * per_m) / 2.0;
    let at = |point: &[f64; 2]| {
        let x = f64::from(MARGIN) + across + (point[0] - west) * per_m;
        let y = f64::from(MARGIN + height) - down - (point[1] - south) * per_m;
        [x.round() as i32, y.round() as i32]
    };
    let points: Vec<[i32; 2]> = ground.iter().map(at).collect();
    let bearings = &course.line.bearing_rad;
    let looped = course.shape == Shape::Loop;
    let bar_m = bar_length_m(room / per_m);
    let bottom = height + 2 * MARGIN;
    let body = html! {
        path class="road" d=(route(&points, looped)) {}
        @if let (Some(start), Some(bearing)) = (points.first(), bearings.first()) {
            (gate(*start, *bearing, -1.0, if looped { "start and finish" } else { "start" }))
        }
        @if let (Some(finish), Some(bearing), false) = (points.last(), bearings.last(), looped) {
            (gate(*finish, *bearing, 1.0, "finish"))
        }
        path class="odd" d=(format!("M{} 330V90m-60 90l60 -90l60 90", WIDTH - 120)) {}
        (text("strong", [WIDTH - 120, 480], Anchor::Middle, "N"))
        path class="gate" d=(format!("M60 {}v60h{}v-60", bottom - 60, (bar_m * per_m).round() as i32)) {}
        (text("soft", [60, bottom - 100], Anchor::Start, &format!("{bar_m:.0} m")))
    };
    Picture {
        id: "picture-course".into(),
        title: "The course from above, north up".into(),
        told: format!(
            "{}, {:.0} m along the road; it reaches {wide:.0} m from west to east and {tall:.0} m from south to north.",
            shape_text(course.shape),
            course.length_m()
        ),
        width: WIDTH,
        height: bottom + 40,
        body,
    }
}

/// A stroke across the road, its name beyond the road's end: `way` is 1 at the finish, −1 at the start.
fn gate([x, y]: [i32; 2], bearing_rad: f64, way: f64, name: &str) -> Markup {
    let reach = |share: f64, size: i32| (share * f64::from(size)).round() as i32;
    // East is right, north is up: square to the way ridden.
    let (dx, dy) = (reach(bearing_rad.cos(), GATE), reach(bearing_rad.sin(), GATE));
    let aside = [
        x + reach(way * bearing_rad.sin(), NAME),
        y - reach(way * bearing_rad.cos(), NAME) + 45,
    ];
    // Names stand over the middle of their place, and inside the picture.
    let anchor = match aside[0] {
        x if x < MARGIN => Anchor::Start,
        x if x > WIDTH - MARGIN => Anchor::End,
        _ => Anchor::Middle,
    };
    let aside = [aside[0].clamp(0, WIDTH), aside[1]];
    html! {
        (line("gate", [x - dx, y - dy], [x + dx, y + dy]))
        (text("", aside, anchor, name))
    }
}

/// The longest round length that takes a third of the width at most.
fn bar_length_m(room_m: f64) -> f64 {
    let most = room_m / 3.0;
    let power = 10f64.powf(most.log10().floor());
    [5.0, 2.0, 1.0]
        .into_iter()
        .map(|times| times * power)
        .find(|length| *length <= most)
        .unwrap_or(power)
}

/// `None` without altitudes.
pub fn profile(course: &Course) -> Option<Picture> {
    const LEFT: i32 = 480;
    const TOP: i32 = 220;
    const BOTTOM: i32 = 1150;
    let profile = course.profile.as_ref()?;
    let x = Scale::holding(profile.distance_m.iter().copied(), 0.0, [LEFT, WIDTH - 100]);
    let y = Scale::holding(profile.elevation_m.iter().copied(), 0.1, [BOTTOM, TOP]);
    let both = profile.distance_m.iter().zip(&profile.elevation_m);
    let points: Vec<[i32; 2]> = both.clone().map(|(d, h)| [x.at(*d), y.at(*h)]).collect();
    let highest = both.clone().max_by(|a, b| a.1.total_cmp(b.1))?;
    let lowest = both.min_by(|a, b| a.1.total_cmp(b.1))?;
    let body = html! {
        (axis_left(&y, true, [LEFT, WIDTH], 4))
        (axis_below(&x, false, [BOTTOM, BOTTOM + 40], 5))
        path class="road" d=(route(&points, false)) {}
        (text("soft", [0, 110], Anchor::Start, "m above the start"))
        (text("soft", [(LEFT + WIDTH) / 2, BOTTOM + 350], Anchor::Middle, "along the course, m"))
    };
    Some(Picture {
        id: "picture-profile".into(),
        title: "Elevation along the course, from all passes together".into(),
        told: format!(
            "Lowest {:.1} m at {:.0} m, highest {:.1} m at {:.0} m from the start, relative to it; a height difference \
             over 150 m is known to ± {:.1} m.",
            lowest.1, lowest.0, highest.1, highest.0, profile.standard_uncertainty_m
        )
        .replace(" -", " −"),
        width: WIDTH,
        height: BOTTOM + 400,
        body,
    })
}
