//! Where positions and barometer lie: a bridge over the road, trees at a gate.

use super::paired::{
    Bends, DAYS, Effect, Shifts, compared, compared_each, mean, nothing_written, said, shifts,
};
use crate::joint_days::drawn::{Course, Drawn};
use rayon::prelude::*;
use stillair::simulate::{Covered, DayPlan, Incident, SpeedTruth, UnderCover};
use stillair::treatment::Treatment;

/// Shifts against days on which `before` holds too, but not the effect itself.
fn shifts_beside(effect: &Effect, before: impl Fn(&mut DayPlan) + Sync, bends: Bends) -> Shifts {
    let days: Vec<[(f64, f64); 2]> = (20_000..20_000 + DAYS)
        .into_par_iter()
        .map(|number| {
            let drawn = || Drawn::new(effect.course, effect.order, number);
            let without = said(&compared(drawn(), &before, effect.written), bends);
            let happens = |plan: &mut DayPlan| {
                before(plan);
                (effect.happens)(plan);
            };
            let both = compared_each(drawn(), happens, effect.written, &[effect.untreated, &[]]);
            [0, 1].map(|of| {
                let with = said(&both[of], bends);
                (with.log - without.log, with.standard_uncertainty)
            })
        })
        .collect();
    let column = |of: usize| days.iter().map(|day| day[of].0).collect();
    let uncertainty = |of: usize| mean(days.iter().map(|day| day[of].1));
    Shifts {
        untreated: column(0),
        treated: column(1),
        standard_uncertainty: uncertainty(1),
        untreated_standard_uncertainty: uncertainty(0),
    }
}

fn by_positions(plan: &mut DayPlan) {
    plan.sensors.speed_source = SpeedTruth::None;
}

/// A motorway on a bridge over the course: 60 m without sky in the middle, positions 25 m aside.
fn bridge(plan: &mut DayPlan) {
    plan.course.covered = Some(Covered {
        from_m: 700.0,
        to_m: 760.0,
        positions: UnderCover::Jump { off_m: 25.0 },
        barometer_m: 0.0,
    });
}

#[test]
fn speed_by_positions_that_leap_aside_under_a_bridge_is_mended() {
    let effect = Effect {
        course: Course::OutAndBack,
        order: "ABBA",
        happens: &bridge,
        written: &nothing_written,
        untreated: &[Treatment::PositionJumps],
    };
    let shifts = shifts_beside(&effect, by_positions, Bends::Cda);
    shifts.hurts_and_is_mended("bridge, speed by positions", false);
}

/// Trees at the start gate: positions 20 m behind while the rider goes through it with the second set-up.
fn trees(plan: &mut DayPlan) {
    let mut first = 1;
    for block in &plan.order {
        for pass in first..first + block.passes {
            if block.setup == Some(1) {
                plan.incidents.push(Incident::PositionsOff {
                    pass,
                    at_m: -60.0,
                    ahead_m: -20.0,
                    left_m: 0.0,
                    duration_s: 14.0,
                });
            }
        }
        first += block.passes;
    }
}

#[test]
fn positions_that_lag_at_a_gate() {
    for course in [Course::OneWay, Course::OutAndBack] {
        let effect = Effect {
            course,
            order: "ABBAAB",
            happens: &trees,
            written: &nothing_written,
            untreated: &[Treatment::PositionJumps],
        };
        shifts(&effect, Bends::Ratio).print(&format!("trees at the gate, {}", course.name()));
    }
}
