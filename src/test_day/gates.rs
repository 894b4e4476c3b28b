//! `[course]`: the shape of the course and its gates, as typed.

use super::section::Section;
use super::suggest::nearest;
use super::{CourseGiven, Shape};
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

pub(super) fn read(section: &Section) -> CourseGiven {
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
    };
    check(section, &course);
    course
}

fn check(section: &Section, course: &CourseGiven) {
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
