//! The air of a long day, and the rider's mass.

use super::of_a_kind::{Effect, Kind, nothing_written, seen};
use super::paired::Bends;
use super::power::LONG;
use crate::joint_days::drawn::Course;
use stillair::simulate::DayPlan;
use stillair::test_day::Measured;
use stillair::treatment::Treatment;

/// 2 K an hour from sunrise to noon (common practice, no published source). The unit comes out of the house 8 K too
/// warm, gets 5 K warmer where it stands, and forgets in 5 min (seen on 16 real rides); its sun grows by 0.4 K an hour
/// (judgement).
fn warms(plan: &mut DayPlan) {
    plan.air.temperature_trend_c_per_h = 2.0;
    plan.sensors.temperature_offset_c_per_h = 0.4;
    plan.sensors.thermometer_memory_s = 300.0;
    plan.sensors.temperature_start_c = 8.0;
    plan.sensors.temperature_standing_c = 5.0;
}

const WARMING: Effect = Effect {
    kind: LONG,
    happens: warms,
    written: nothing_written,
    untreated: &[Treatment::WarmingAir],
    warning: "warming air",
};

#[test]
fn air_read_once_follows_the_units_thermometer() {
    let seen = seen(&WARMING, Bends::Ratio);
    seen.shifts
        .hurts_and_is_mended("air +2 K/h, read once, loop AAABBB", false);
    seen.print("air +2 K/h, read once, loop AAABBB");
    assert_eq!(seen.warned, super::paired::DAYS);
}

#[test]
fn air_read_before_each_block_is_followed_from_end_to_end() {
    let effect = Effect {
        happens: |plan| {
            warms(plan);
            plan.air.pressure_trend_hpa_per_h = -1.0;
            plan.sensors.air_readings = 7;
        },
        untreated: &[],
        ..WARMING
    };
    let name = "air +2 K/h and −1 hPa/h, read seven times, loop AAABBB";
    let seen = seen(&effect, Bends::Ratio);
    seen.print(name);
    seen.shifts.is_mended(name);
    assert_eq!(seen.warned, 0);
}

/// Without a thermometer nothing shows it: it is in the interval, and said. 1.5 K an hour is what the interval takes for
/// one standard deviation.
#[test]
fn air_that_nobody_and_nothing_read_is_allowed_for() {
    let effect = Effect {
        happens: |plan| {
            plan.air.temperature_trend_c_per_h = 1.5;
            plan.sensors.has_thermometer = false;
        },
        ..WARMING
    };
    seen(&effect, Bends::Ratio).hurts_and_is_allowed_for("air +1.5 K/h, no thermometer, loop AAABBB");
}

/// 0.8 kg an hour by sweat and breath (from memory, M), in the order that leaves it in the ratio.
fn sweats(plan: &mut DayPlan) {
    plan.rider.mass_loss_kg_per_h = 0.8;
}

const CLIMB: Kind = Kind {
    name: "long morning on a climb AAABBB",
    course: Course::OneWay,
    ..LONG
};

#[test]
fn a_rider_who_loses_water_does_no_harm_and_a_loss_that_is_written_is_set_right() {
    let lost = Effect {
        kind: CLIMB,
        happens: sweats,
        written: nothing_written,
        untreated: &[],
        warning: "",
    };
    let unwritten = seen(&lost, Bends::Ratio);
    unwritten.does_no_harm("0.8 kg/h lost, one way AAABBB");
    let written = Effect {
        written: |day, _| {
            day.slow.mass_loss_kg_per_h = Measured {
                value: 0.8,
                standard_uncertainty: 0.2,
                given: true,
            };
        },
        ..lost
    };
    let written = seen(&written, Bends::Ratio);
    written.print("0.8 kg/h lost and written, one way AAABBB");
    let [before, after] =
        [&unwritten, &written].map(|s| super::paired::mean(s.shifts.treated.iter().copied()));
    assert!(after.abs() < 0.2 * before.abs(), "{before} {after}");
}
