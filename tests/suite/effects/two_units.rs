//! Two units on one ride: power and positions in one, the wheel in the other, whose clock is off.

use super::paired::{Bends, Effect, nothing_written, shifts_seen};
use crate::joint_days::drawn::Course;
use stillair::simulate::{Channels, DayPlan, Format, SecondUnit, SensorTruth, SpeedTruth};
use stillair::treatment::Treatment;

/// A clock set by hand or by a telephone is off by some seconds (common practice, no published source).
const OFF_S: f64 = 8.0;

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
    shifts.hurts_and_is_mended("wheel in a unit 8 s ahead, out and back ABBA, CdA", true);
}

#[test]
#[ignore = "exploration"]
fn explore() {
    use super::paired::{compared, compared_each, said};
    use crate::joint_days::drawn::Drawn;
    use rayon::prelude::*;
    for course in [Course::OutAndBack, Course::OneWay, Course::Loop] {
        for off_s in [-60.0, -30.0, -8.0, 20.0, 30.0, 60.0] {
            let days: Vec<[f64; 4]> = (9000..9008u64)
                .into_par_iter()
                .filter_map(|n| {
                    let without = compared(Drawn::new(course, "ABBA", n), |_| (), nothing_written);
                    let happens = |plan: &mut DayPlan| {
                        wheel_apart(plan);
                        if let Some(u) = plan.second_unit.as_mut() {
                            u.clock_offset_s = off_s;
                        }
                    };
                    let with = std::panic::catch_unwind(|| {
                        compared_each(
                            Drawn::new(course, "ABBA", n),
                            happens,
                            nothing_written,
                            &[&[Treatment::UnitClocks]],
                        )
                        .remove(0)
                    })
                    .ok()?;
                    let b = Bends::Cda;
                    let (w, o) = (said(&with, b), said(&without, b));
                    Some([
                        w.log - o.log,
                        w.standard_uncertainty,
                        with.passes.iter().filter(|p| p.kept).count() as f64,
                        without.passes.iter().filter(|p| p.kept).count() as f64,
                    ])
                })
                .collect();
            let m = |k: usize| days.iter().map(|d| d[k]).sum::<f64>() / days.len() as f64;
            println!(
                "EXPLORE {} {off_s}: n {} shift {:+.4} u {:.4} kept {:.1}/{:.1}",
                course.name(),
                days.len(),
                m(0),
                m(1),
                m(2),
                m(3)
            );
        }
    }
}
