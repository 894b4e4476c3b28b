//! Virtual and shared elevation of a pass along the course.

use super::Elevations;
use crate::course::Course;
use crate::estimate::cells::{PassRide, Shift, accounts};
use crate::estimate::one_pass::{left_over_m, virtual_elevation_m};
use crate::estimate::plain::Day;
use crate::estimate::rolling::Rolling;

/// What is cut out of a pass rises and falls as the shared profile does.
pub(super) fn elevations(
    ride: &PassRide,
    day: &Day,
    course: &Course,
    cda_m2: f64,
    rolling: &Rolling,
) -> Elevations {
    let setup = &day.setups[ride.setup];
    let account = accounts(ride, setup, day.course_length_m, &Shift::default());
    let crr = setup.crr.value + rolling.shift;
    let climbs: Vec<f64> = ride.cells.iter().map(|cell| cell.climb_m).collect();
    let along_virtual_m = virtual_elevation_m(&account, &climbs, cda_m2, crr);
    let mut seen = Elevations {
        along_m: Vec::new(),
        virtual_m: Vec::new(),
        shared_m: Vec::new(),
        left_over_m: 0.0,
    };
    let mut between_m = 0.0;
    let mut shared_m = 0.0;
    for (number, cell) in ride.cells.iter().enumerate() {
        if !ride.goes_on(number) {
            if let Some(before) = number.checked_sub(1).map(|before| &ride.cells[before]) {
                let climb_m = climb_between_m(course, before.to_m, cell.from_m);
                between_m += climb_m;
                shared_m += climb_m;
            }
            seen.along_m.push(cell.from_m);
            seen.shared_m.push(shared_m);
            seen.virtual_m.push(along_virtual_m[number] + between_m);
        }
        shared_m += cell.climb_m;
        seen.along_m.push(cell.to_m);
        seen.shared_m.push(shared_m);
        seen.virtual_m.push(along_virtual_m[number + 1] + between_m);
    }
    let left: Vec<f64> = account.iter().map(|a| left_over_m(a, cda_m2, crr)).collect();
    let mean = left.iter().sum::<f64>() / left.len() as f64;
    seen.left_over_m = (left.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / left.len() as f64).sqrt();
    seen
}

/// By the shared profile; 0 where there is none.
fn climb_between_m(course: &Course, from_m: f64, to_m: f64) -> f64 {
    // The profile is measured on the level, the course along the road.
    let level = course.line.length_m() / course.length_m();
    course.profile.as_ref().map_or(0.0, |p| {
        p.elevation_at(to_m * level) - p.elevation_at(from_m * level)
    })
}
