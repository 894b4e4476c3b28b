//! A plan → a ridden day on disk → what the engine makes of the folder, and the truth to hold beside it.

use geo::{Distance, Geodesic, Point};
use std::path::Path;
use stillair::course::Direction;
use stillair::simulate::{DayPlan, Shape, TrueDay, loop_plan, one_way_plan, out_and_back_plan, ride_day};
use stillair::study::{self, Compared, Surveyed};
use tempfile::TempDir;

/// A point of one line belongs to another line when it comes this near: half of the spacing of its nodes,
/// and the wander of positions that averaging over the passes leaves.
const SAME_ROAD_M: f64 = 15.0;

pub const SHAPES: [Shape; 3] = [Shape::OneWay, Shape::OutAndBack, Shape::Loop];

pub fn plan(shape: Shape, seed: u64, order: &str, change_percent: f64) -> DayPlan {
    match shape {
        Shape::OneWay => one_way_plan(seed, order, change_percent),
        Shape::OutAndBack => out_and_back_plan(seed, order, change_percent),
        Shape::Loop => loop_plan(seed, order, change_percent),
    }
}

fn nobody(_: usize, _: usize) {}

fn written(plan: &DayPlan, with_course: bool) -> (TrueDay, TempDir) {
    let day = ride_day(plan);
    let home = TempDir::new().unwrap();
    day.write_folder(home.path(), with_course).unwrap();
    (day, home)
}

pub fn surveyed(plan: &DayPlan, with_course: bool) -> (TrueDay, Surveyed) {
    let (day, home) = written(plan, with_course);
    let found = study::passes(home.path(), &nobody).unwrap_or_else(|error| panic!("{error}"));
    (day, found)
}

pub fn compared(plan: &DayPlan, with_course: bool) -> (TrueDay, Compared) {
    let (day, home) = written(plan, with_course);
    (day, compared_in(home.path()))
}

pub fn compared_in(folder: &Path) -> Compared {
    study::compare(folder, &nobody).unwrap_or_else(|error| panic!("{error}"))
}

/// F and R, in order of time.
pub fn directions(found: &Surveyed) -> String {
    let passes = found.ridden.passes.iter();
    passes
        .map(|pass| match pass.direction {
            Direction::Forward => 'F',
            Direction::Reverse => 'R',
        })
        .collect()
}

pub fn true_directions(day: &TrueDay) -> String {
    let passes = day.passes.iter();
    passes.map(|pass| if pass.forward { 'F' } else { 'R' }).collect()
}

pub fn line_of(found: &Surveyed) -> Vec<[f64; 2]> {
    let line = &found.ridden.course.line;
    let places = line.latitude_deg.iter().zip(&line.longitude_deg);
    places
        .map(|(&latitude, &longitude)| [latitude, longitude])
        .collect()
}

/// Which part of one line lies on another.
pub fn share_on(line: &[[f64; 2]], other: &[[f64; 2]]) -> f64 {
    let metres =
        |a: &[f64; 2], b: &[f64; 2]| Geodesic.distance(Point::new(a[1], a[0]), Point::new(b[1], b[0]));
    // A geodesic is dear: latitude alone rules most points out (111 km to the degree, within 1 %).
    let far = SAME_ROAD_M / 110_000.0;
    let on = line.iter().filter(|a| {
        let mut near = other.iter().filter(|b| (a[0] - b[0]).abs() < far);
        near.any(|b| metres(a, b) < SAME_ROAD_M)
    });
    on.count() as f64 / line.len() as f64
}

/// Start and end of each pass found, minus the true times at the gates that are reported. [s]
pub fn time_errors(day: &TrueDay, found: &Surveyed) -> Vec<[f64; 2]> {
    let course = &found.ridden.course;
    let gates = [course.line.start_deg(), course.line.finish_deg()];
    let is_loop = day.plan.course.shape == Shape::Loop;
    let around = if is_loop {
        day.all_crossings(gates[0])
    } else {
        Vec::new()
    };
    let passes = found.ridden.passes.iter().enumerate();
    passes
        .map(|(index, pass)| {
            let [first, last] = match pass.direction {
                Direction::Forward => gates,
                Direction::Reverse => [gates[1], gates[0]],
            };
            let start = day.crossing_times(first, index).unwrap_or(f64::NAN);
            let end = if is_loop {
                // A lap ends where the next one begins, half a minute later at the very least.
                around.iter().copied().find(|time| *time > start + 30.0)
            } else {
                day.crossing_times(last, index)
            };
            [pass.start_s - start, pass.end_s - end.unwrap_or(f64::NAN)]
        })
        .collect()
}
