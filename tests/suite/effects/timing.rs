//! Power and speed out of step.

use super::paired::{Bends, Effect, nothing_written, shifts};
use crate::joint_days::drawn::Course;
use stillair::simulate::DayPlan;
use stillair::treatment::Treatment;

fn late(plan: &mut DayPlan) {
    plan.sensors.power_delay_s = 3.0;
}

#[test]
fn explore() {
    for (course, order) in [
        (Course::OneWay, "ABBAAB"),
        (Course::OutAndBack, "ABBA"),
        (Course::Loop, "ABBA"),
    ] {
        for bends in [Bends::Cda, Bends::Ratio] {
            let effect = Effect {
                course,
                order,
                happens: &late,
                written: &nothing_written,
                untreated: &[Treatment::PowerDelay],
            };
            shifts(&effect, bends).print(&format!("{} {bends:?}", course.name()));
        }
    }
}
