//! The scale of the speed: a wheel that is set wrong, and tyres that change with the set-up.

use super::paired::{Bends, Effect, nothing_written, shifts};
use crate::joint_days::drawn::Course;
use stillair::simulate::DayPlan;
use stillair::treatment::Treatment;

/// A circumference from a table: real recordings were off by up to −1.2 % (docs/limits.md, R), and 2 % is the
/// difference of tyres of 25 and 32 mm (common practice, no published source). Too small a speed reads more drag.
fn wheel_set_too_small(plan: &mut DayPlan) {
    plan.sensors.speed_scale_error = -0.02;
}

/// Another tyre on the second set-up, 0.7 % larger round (judgement: 0.5 to 1 %), the unit left as it is.
fn larger_tyre(plan: &mut DayPlan) {
    plan.setups[1].rollout_factor = 1.007;
}

fn wheel(course: Course, order: &'static str) {
    let effect = Effect {
        course,
        order,
        happens: &wheel_set_too_small,
        written: &nothing_written,
        untreated: &[Treatment::SpeedScale],
    };
    let shifts = shifts(&effect, Bends::Cda);
    shifts.hurts_and_is_mended(
        &format!("wheel set 2 % too small, {} {order}", course.name()),
        true,
    );
}

#[test]
fn a_wheel_set_too_small_is_set_right_out_and_back() {
    wheel(Course::OutAndBack, "ABBA");
}

#[test]
fn a_wheel_set_too_small_is_set_right_on_a_loop() {
    wheel(Course::Loop, "ABBA");
}

fn tyre(course: Course, order: &'static str) {
    let effect = Effect {
        course,
        order,
        happens: &larger_tyre,
        written: &nothing_written,
        untreated: &[Treatment::SpeedScaleOfSetups],
    };
    let shifts = shifts(&effect, Bends::Ratio);
    shifts.hurts_and_is_mended(&format!("tyre 0.7 % larger, {} {order}", course.name()), true);
}

#[test]
fn a_tyre_that_nobody_told_of_is_set_right_out_and_back() {
    tyre(Course::OutAndBack, "ABBABAAB");
}

#[test]
fn a_tyre_that_nobody_told_of_is_set_right_on_a_loop() {
    tyre(Course::Loop, "ABBA");
}
