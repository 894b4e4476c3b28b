//! A lorry overtakes in every pass of the second set-up: a following wind of 4 m/s for 8 s.

use super::paired::{Bends, Effect, nothing_written, shifts};
use crate::joint_days::drawn::Course;
use stillair::simulate::{DayPlan, Incident};
use stillair::treatment::Treatment;

/// Somewhere in the middle three quarters of each pass, never twice at the same place, which could not be told
/// from the road.
fn lorries(plan: &mut DayPlan) {
    let mut first = 1;
    for block in &plan.order {
        for pass in first..first + block.passes {
            if block.setup == Some(1) {
                let share = 0.1 + 0.75 * (0.618 * (pass as f64 + plan.seed as f64)).fract();
                plan.incidents.push(Incident::Lorry {
                    pass,
                    at_m: plan.course.length_m * share,
                    gust_m_s: 4.0,
                    duration_s: 8.0,
                });
            }
        }
        first += block.passes;
    }
}

#[test]
fn lorries_that_overtake_one_set_up_are_taken_out() {
    let effect = Effect {
        course: Course::OutAndBack,
        order: "ABBA",
        happens: &lorries,
        written: &nothing_written,
        untreated: &[Treatment::DisturbedStretches],
    };
    shifts(&effect, Bends::Ratio).hurts_and_is_mended("overtaken, out and back ABBA", false);
}
