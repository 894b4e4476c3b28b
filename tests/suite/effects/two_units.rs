//! Two units on one ride: power and positions in one, the wheel in the other, whose clock is off.

use super::paired::{Bends, Effect, nothing_written, shifts_seen};
use crate::joint_days::drawn::Course;
use stillair::simulate::{Channels, DayPlan, Format, SecondUnit, SensorTruth, SpeedTruth};
use stillair::treatment::Treatment;

/// A clock set by hand or by a telephone is off by some seconds (common practice, no published source).
const OFF_S: f64 = -8.0;

fn wheel_apart(plan: &mut DayPlan) {
    plan.second_unit = Some(SecondUnit {
        sensors: SensorTruth {
            speed_source: SpeedTruth::WheelSensor,
            ..plan.sensors.clone()
        },
        has: Channels {
            power: false,
            positions: false,
            ..Channels::ALL
        },
        first_has: Channels {
            speed: false,
            ..Channels::ALL
        },
        clock_offset_s: OFF_S,
        clock_drift_s_per_h: 0.2,
        format: Format::Fit,
    });
}

#[test]
fn a_wheel_in_another_unit_is_joined_by_its_true_clock() {
    let effect = Effect {
        course: Course::OutAndBack,
        order: "ABBA",
        happens: &wheel_apart,
        written: &nothing_written,
        untreated: &[Treatment::UnitClocks],
    };
    let (shifts, joined) = shifts_seen(&effect, Bends::Cda, |day| {
        let unit = &day.surveyed.streams[0].joined[0];
        (unit.clock.offset_s - OFF_S, unit.clock.standard_uncertainty_s)
    });
    // The clock gains 0.2 s/h on a ride of half an hour.
    let worst = joined.iter().map(|(off, _)| off.abs()).fold(0.0, f64::max);
    println!("clock off by {worst:.2} s at most, said {:.2}", joined[0].1);
    assert!(worst < 0.5, "{worst}");
    shifts.hurts_and_is_mended("wheel in a unit 8 s behind, out and back ABBA, CdA", true);
}
