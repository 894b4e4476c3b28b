//! Where positions and barometer lie: a bridge over the road, trees at a gate.

use super::paired::{Bends, DAYS, Said, Shifts, mean, said};
use crate::joint_days::drawn::{Course, Drawn};
use rayon::prelude::*;
use std::path::Path;
use stillair::simulate::{Covered, DayPlan, Incident, SpeedTruth, UnderCover};
use stillair::study::{Compared, compare_surveyed, gather_recordings, passes_gathered};
use stillair::test_day::{TestDay, Window};
use stillair::treatment::{AsRecorded, Treatment};

const FIRST: u64 = 9000;

/// A cover over the course, on a day that may have something else about it, and what the program's advice makes a
/// rider write.
struct Cover<'a> {
    course: Course,
    order: &'a str,
    before: fn(&mut DayPlan),
    happens: &'a (dyn Fn(&mut DayPlan) + Sync),
    untreated: &'a [Treatment],
    advised: fn(&mut TestDay),
    bends: Bends,
}

/// Shifts against days on which `before` holds too, of the days that had an answer; how many treated days were told
/// of heights under cover.
struct Told {
    shifts: Shifts,
    said: usize,
}

/// A day through the whole program; `None`: no answer.
fn answer(
    mut drawn: Drawn,
    happens: &dyn Fn(&mut DayPlan),
    write: &dyn Fn(&mut TestDay),
) -> Option<Compared> {
    happens(&mut drawn.plan);
    let mut truth = drawn.ride();
    truth.plan.incidents.clear();
    let mut day = drawn
        .test_day(&mut truth, &Path::new("day").join("test.toml"))
        .unwrap();
    write(&mut day);
    let gathered = gather_recordings(day, truth.recordings).ok()?;
    compare_surveyed(passes_gathered(gathered, Path::new("day")).ok()?).ok()
}

fn told(cover: &Cover) -> Told {
    let days: Vec<(Said, Option<Said>, Option<(Said, bool)>)> = (FIRST..FIRST + DAYS)
        .into_par_iter()
        .map(|number| {
            let drawn = || Drawn::new(cover.course, cover.order, number);
            let without = answer(drawn(), &cover.before, &|_| ()).unwrap();
            let both = |plan: &mut DayPlan| {
                (cover.before)(plan);
                (cover.happens)(plan);
            };
            let left = |day: &mut TestDay| day.as_recorded = AsRecorded::new(cover.untreated);
            let untreated = answer(drawn(), &both, &left);
            let treated = answer(drawn(), &both, &cover.advised);
            let of_kind = |day: &Compared| day.warnings.iter().any(|w| w.kind == "heights under cover");
            (
                said(&without, cover.bends),
                untreated.map(|day| said(&day, cover.bends)),
                treated.map(|day| (said(&day, cover.bends), of_kind(&day))),
            )
        })
        .collect();
    let untreated: Vec<(f64, f64)> = days
        .iter()
        .filter_map(|(without, with, _)| Some((with.as_ref()?, without)))
        .map(|(with, without)| (with.log - without.log, with.standard_uncertainty))
        .collect();
    let treated: Vec<(f64, f64)> = days
        .iter()
        .filter_map(|(without, _, with)| Some((with.as_ref()?.0, without)))
        .map(|(with, without)| (with.log - without.log, with.standard_uncertainty))
        .collect();
    let column = |pairs: &[(f64, f64)]| pairs.iter().map(|pair| pair.0).collect();
    let uncertainty = |pairs: &[(f64, f64)]| mean(pairs.iter().map(|pair| pair.1));
    Told {
        shifts: Shifts {
            untreated: column(&untreated),
            treated: column(&treated),
            standard_uncertainty: uncertainty(&treated),
            untreated_standard_uncertainty: uncertainty(&untreated),
        },
        said: days
            .iter()
            .filter(|day| day.2.is_some_and(|(_, said)| said))
            .count(),
    }
}

impl Told {
    fn print(&self, name: &str) {
        self.shifts.print(name);
        println!(
            "  answered: {} untreated, {} treated; told of heights: {}",
            self.shifts.untreated.len(),
            self.shifts.treated.len(),
            self.said
        );
    }
}

fn by_positions(plan: &mut DayPlan) {
    plan.sensors.speed_source = SpeedTruth::None;
}

fn as_drawn(_: &mut DayPlan) {}

fn nothing(_: &mut TestDay) {}

fn covered(positions: UnderCover, barometer_m: f64, from_m: f64, to_m: f64) -> impl Fn(&mut DayPlan) + Sync {
    move |plan| {
        plan.course.covered = Some(Covered {
            from_m,
            to_m,
            positions,
            barometer_m,
        });
    }
}

/// A motorway on a bridge over the course: for 60 m the receiver holds its last place. Without a wheel sensor that
/// is standing still, and then a leap of 60 m in a second. Untreated some days lose a pass by it; on the others the
/// stretch counts as braked, and hardly moves anything.
#[test]
fn speed_by_positions_that_stand_still_under_a_bridge_is_mended() {
    let told = told(&Cover {
        course: Course::OutAndBack,
        order: "ABBA",
        before: by_positions,
        happens: &covered(UnderCover::Frozen, 0.0, 700.0, 760.0),
        untreated: &[Treatment::PositionJumps],
        advised: nothing,
        bends: Bends::Cda,
    });
    told.print("bridge, positions held, speed by positions, out and back ABBA, CdA");
    assert!(
        told.shifts.untreated.len() < DAYS as usize,
        "{}",
        told.shifts.untreated.len()
    );
    told.shifts.is_mended("bridge, positions held");
    assert_eq!(told.shifts.treated.len(), DAYS as usize);
}

/// The same road under cover for 120 m, positions 30 m aside, with a wheel sensor: untreated most days lose passes,
/// since the rider seems to leave the road.
#[test]
fn passes_under_a_bridge_that_throws_positions_aside_are_found() {
    let told = told(&Cover {
        course: Course::OutAndBack,
        order: "ABBA",
        before: as_drawn,
        happens: &covered(UnderCover::Jump { off_m: 30.0 }, 0.0, 700.0, 820.0),
        untreated: &[Treatment::PositionJumps],
        advised: nothing,
        bends: Bends::Cda,
    });
    told.print("bridge, positions 30 m aside, wheel sensor, out and back ABBA, CdA");
    assert!(
        told.shifts.untreated.len() < DAYS as usize / 2,
        "{}",
        told.shifts.untreated.len()
    );
    assert_eq!(told.shifts.treated.len(), DAYS as usize);
    told.shifts.is_mended("bridge, positions 30 m aside");
}

/// Positions drawn straight through an underpass do no harm on a road that is straight there, even as the only
/// source of speed: nothing is done about them.
#[test]
fn positions_drawn_straight_under_a_bridge_do_no_harm() {
    let told = told(&Cover {
        course: Course::OutAndBack,
        order: "ABBA",
        before: by_positions,
        happens: &covered(UnderCover::Straight, 0.0, 700.0, 760.0),
        untreated: &[],
        advised: nothing,
        bends: Bends::Cda,
    });
    told.print("bridge, positions drawn straight, speed by positions, out and back ABBA, CdA");
    told.shifts.is_mended("bridge, positions drawn straight");
    assert_eq!(told.shifts.treated.len(), DAYS as usize);
}

/// 2 m too high for 80 m in the middle of the course, both ways: no shift, but everything else is doubted for it.
#[test]
fn a_barometer_that_feels_a_cutting_does_not_widen_the_interval() {
    let told = told(&Cover {
        course: Course::OutAndBack,
        order: "ABBA",
        before: as_drawn,
        happens: &covered(UnderCover::Jump { off_m: 0.0 }, 2.0, 700.0, 780.0),
        untreated: &[Treatment::CoveredHeights],
        advised: nothing,
        bends: Bends::Ratio,
    });
    told.print("cutting of 2 m in the middle, out and back ABBA, ratio");
    let [untreated, treated] = [
        told.shifts.untreated_standard_uncertainty,
        told.shifts.standard_uncertainty,
    ];
    assert!(untreated > 1.5 * treated, "{untreated} {treated}");
    told.shifts.is_mended("cutting of 2 m in the middle");
    assert!(told.said >= 95 * DAYS as usize / 100, "{}", told.said);
}

/// As a bridge a little before the finish makes a rider do who follows the advice.
fn without_the_end(day: &mut TestDay) {
    day.windows.push(Window {
        line: 0,
        pass: None,
        from_m: None,
        to_m: Some(1750.0),
    });
}

/// 2 m too high from 120 m before the finish on: the climb from gate to gate is wrong. One way that is drag.
#[test]
fn a_finish_under_a_bridge_is_told_and_a_window_mends_it() {
    let told = told(&Cover {
        course: Course::OneWay,
        order: "ABBA",
        before: as_drawn,
        happens: &covered(UnderCover::Jump { off_m: 0.0 }, 2.0, 1880.0, 2030.0),
        untreated: &[Treatment::CoveredHeights],
        advised: without_the_end,
        bends: Bends::Cda,
    });
    told.print("finish under a bridge, one way ABBA, CdA");
    told.shifts.hurts_and_is_mended("finish under a bridge", true);
    assert!(told.said >= DAYS as usize / 2, "{}", told.said);
}

/// Trees at the start gate: positions 20 m behind while the rider goes through it, with the second set-up only.
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

/// A gate that is crossed 2 s late in every pass of one set-up moves the ratio by next to nothing, since energy is
/// accounted for from wherever to wherever; treated, it moves it even less.
#[test]
fn positions_that_lag_at_a_gate_do_no_harm() {
    for course in [Course::OneWay, Course::OutAndBack] {
        let told = told(&Cover {
            course,
            order: "ABBA",
            before: as_drawn,
            happens: &trees,
            untreated: &[Treatment::PositionJumps],
            advised: nothing,
            bends: Bends::Ratio,
        });
        let name = format!("trees at the gate, {} ABBA, ratio", course.name());
        told.print(&name);
        let untreated = mean(told.shifts.untreated.iter().copied());
        assert!(
            untreated.abs() < told.shifts.untreated_standard_uncertainty / 3.0,
            "{untreated}"
        );
        told.shifts.is_mended(&name);
    }
}
