//! `[course]`: the shape of the course and its gates, as typed.

use super::quantity::{BEND_RADIUS, CENTRE_OF_MASS_HEIGHT, LAP_LENGTH, Quantity, capitalised, plain};
use super::section::Section;
use super::suggest::nearest;
use super::{CourseGiven, LapGiven, Measured, Shape};
use geo::{Distance, Geodesic, Point};

/// A loop ends where it starts; positions of one place typed twice may differ by this much.
const SAME_PLACE_M: f64 = 5.0;
/// No test course is this long; a swapped latitude and longitude usually is.
const TOO_FAR_M: f64 = 100_000.0;

const SHAPES: [(&str, Shape); 3] = [
    ("one-way", Shape::OneWay),
    ("out-and-back", Shape::OutAndBack),
    ("loop", Shape::Loop),
];

/// Radius of the bends over the lap of usual tracks, and how widely it spreads: 400 m for running have 36.5 m, tracks of
/// 250 m 19 to 25 m (from memory, M).
const USUAL_RADIUS_SHARE: f64 = 0.09;
const USUAL_RADIUS_SPREAD: f64 = 0.011;
/// Of rider and bicycle: the rider's, who is some six sevenths of the mass, lies at the hips of who sits on a saddle
/// of a metre (common practice, no published source).
const USUAL_HEIGHT_M: f64 = 1.0;
const USUAL_HEIGHT_SPREAD_M: f64 = 0.1;

pub(super) fn read(section: &Section, assumptions: &mut Vec<String>) -> CourseGiven {
    let shape = section.text("shape").and_then(|text| {
        let found = SHAPES.iter().find(|(name, _)| *name == text);
        if found.is_none() {
            let names = SHAPES.map(|(name, _)| name);
            let next_step = match nearest(&text.replace([' ', '_'], "-"), &names) {
                Some(name) => format!("Did you mean \"{name}\"?"),
                None => "Write \"one-way\", \"out-and-back\" or \"loop\".".to_string(),
            };
            section.fault("shape", format!("\"{text}\" is not a shape of course"), next_step);
        }
        found.map(|(_, shape)| *shape)
    });
    let course = CourseGiven {
        line: section.line,
        shape,
        start_deg: section.position("start"),
        finish_deg: section.position("finish"),
        lap: lap(section, assumptions),
    };
    check(section, &course);
    course
}

fn lap(section: &Section, assumptions: &mut Vec<String>) -> Option<LapGiven> {
    let has_lap = section.has(LAP_LENGTH.key);
    for quantity in [&BEND_RADIUS, &CENTRE_OF_MASS_HEIGHT] {
        for key in [quantity.key, quantity.uncertainty_key] {
            if section.has(key) && !has_lap {
                section.fault(
                    key,
                    "bends without the length of the lap",
                    "Write lap_length_m beside it, or remove it.",
                );
            }
        }
    }
    let measured = |quantity: &Quantity, usual: f64, spread: f64, said: &mut Vec<String>| {
        let typed = section.quantity(quantity);
        let by_default = if typed.value.is_some() {
            quantity.uncertainty
        } else {
            spread
        };
        let measured = Measured {
            value: typed.value.unwrap_or(usual),
            standard_uncertainty: typed.uncertainty.unwrap_or(by_default),
            given: typed.value.is_some(),
        };
        if !measured.given || typed.uncertainty.is_none() {
            said.push(format!(
                "{} {} ± {}{}{}.",
                capitalised(quantity.name),
                plain(measured.value),
                plain(measured.standard_uncertainty),
                quantity.unit,
                match measured.given {
                    true => " (its uncertainty a default)".to_string(),
                    false => format!(", a default ({})", quantity.key),
                }
            ));
        }
        measured
    };
    let length_m = measured(&LAP_LENGTH, f64::NAN, f64::NAN, &mut Vec::new());
    if !length_m.given {
        return None;
    }
    let lap_m = length_m.value;
    let mut said = Vec::new();
    let lap = LapGiven {
        length_m: measured(&LAP_LENGTH, lap_m, 1.0, &mut said),
        bend_radius_m: measured(
            &BEND_RADIUS,
            (10.0 * USUAL_RADIUS_SHARE * lap_m).round() / 10.0,
            (10.0 * USUAL_RADIUS_SPREAD * lap_m).round() / 10.0,
            &mut said,
        ),
        centre_of_mass_height_m: measured(
            &CENTRE_OF_MASS_HEIGHT,
            USUAL_HEIGHT_M,
            USUAL_HEIGHT_SPREAD_M,
            &mut said,
        ),
    };
    if std::f64::consts::TAU * lap.bend_radius_m.value > lap_m {
        section.fault(
            BEND_RADIUS.key,
            format!(
                "two bends of {} m would make a lap longer than {} m",
                plain(lap.bend_radius_m.value),
                plain(lap_m)
            ),
            "Write the radius where the bends are tightest, and the length of a whole lap.",
        );
    }
    // Of a long lap without bends of its own nothing but the length counts.
    assumptions.extend(said.into_iter().take(if lap.is_track() { 3 } else { 1 }));
    Some(lap)
}

fn check(section: &Section, course: &CourseGiven) {
    if section.has(LAP_LENGTH.key) && matches!(course.shape, Some(Shape::OneWay | Shape::OutAndBack)) {
        section.fault(
            LAP_LENGTH.key,
            "only a loop has laps",
            "Remove it, or write shape = \"loop\".",
        );
    }
    if section.has("finish") && !section.has("start") {
        section.fault(
            "finish",
            "a finish without a start",
            "Write start = [latitude, longitude] as well, or remove finish.",
        );
    }
    let has_two_ends = matches!(course.shape, Some(Shape::OneWay | Shape::OutAndBack));
    if has_two_ends && section.has("start") && !section.has("finish") {
        section.fault(
            "start",
            "a start without a finish, which only a loop can have",
            "Write finish = [latitude, longitude] as well, or remove start to have the course found from the rides.",
        );
    }
    let (Some(start), Some(finish)) = (course.start_deg, course.finish_deg) else {
        return;
    };
    let apart_m = distance_m(start, finish);
    if course.shape == Some(Shape::Loop) && apart_m > SAME_PLACE_M {
        section.fault(
            "finish",
            format!("the finish of this loop is {apart_m:.0} m from its start ({SAME_PLACE_M} m at most)"),
            "Remove finish: a loop ends where it starts.",
        );
    } else if has_two_ends && apart_m <= SAME_PLACE_M {
        section.fault(
            "finish",
            format!("start and finish are {apart_m:.1} m apart"),
            "Write the other end of the course, or shape = \"loop\".",
        );
    } else if apart_m > TOO_FAR_M {
        section.fault(
            "finish",
            format!("start and finish are {:.0} km apart", apart_m / 1000.0),
            "Check both: latitude comes first, then longitude.",
        );
    }
}

fn distance_m([lat_a, lon_a]: [f64; 2], [lat_b, lon_b]: [f64; 2]) -> f64 {
    Geodesic.distance(Point::new(lon_a, lat_a), Point::new(lon_b, lat_b))
}
