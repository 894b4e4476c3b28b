//! Every pass is found, in order, in its direction and on time, with gates given or without.

use super::workbench::{SHAPES, directions, line_of, plan, share_on, surveyed, time_errors, true_directions};
use stillair::simulate::{
    BlockTruth, DayPlan, Files, Format, Incident, Sampling, Shape, SpeedTruth, TimerHabit, TrueDay,
};
use stillair::study::Surveyed;

const DAY_S: f64 = 86_400.0;
const ON_TIME_S: f64 = 1.0;
const OVERLAP: f64 = 0.90;

fn order(shape: Shape) -> &'static str {
    match shape {
        Shape::OneWay => "ABBAAB",
        Shape::OutAndBack => "ABBA",
        Shape::Loop => "ABB",
    }
}

/// All that is promised of the passes of one folder.
fn check(name: &str, day: &TrueDay, found: &Surveyed) {
    assert!(found.faults.is_empty(), "{name}: {:?}", found.faults);
    assert_eq!(directions(found), true_directions(day), "{name}");
    let course = &day.plan.course;
    let line = line_of(found);
    let overlap = share_on(&day.line, &line);
    assert!(overlap >= OVERLAP, "{name}: {overlap}");
    // What lies beyond the gates may be ridden just like a pass; more road than that there is not.
    let ridden_m = match course.shape {
        Shape::Loop => course.length_m,
        _ => course.lead_in_m + course.length_m + course.run_out_m,
    };
    let length_m = found.ridden.course.length_m();
    assert!(length_m < 1.01 * ridden_m, "{name}: {length_m} m");
    for (pass, errors) in found.ridden.passes.iter().zip(time_errors(day, found)) {
        let on_time = errors.iter().all(|error| error.abs() <= ON_TIME_S);
        assert!(on_time, "{name}, pass {}: {errors:?} s", pass.number);
    }
}

fn check_both_ways(name: &str, plan: &DayPlan) {
    for with_course in [true, false] {
        let (day, found) = surveyed(plan, with_course);
        assert_eq!(found.ridden.course.found, !with_course, "{name}");
        check(&format!("{name}, course given: {with_course}"), &day, &found);
    }
}

#[test]
fn every_pass_of_every_shape_is_found_in_both_formats() {
    for (format, first_seed) in [(Format::Fit, 8101), (Format::Gpx, 8111)] {
        for (shape, seed) in SHAPES.into_iter().zip(first_seed..) {
            let mut plan = plan(shape, seed, order(shape), -4.0);
            plan.format = format;
            check_both_ways(&format!("{shape:?} {format:?}"), &plan);
        }
    }
}

#[test]
fn a_file_for_each_block_holds_the_same_passes_as_one_file() {
    for (shape, seed) in SHAPES.into_iter().zip(8121..) {
        let mut plan = plan(shape, seed, order(shape), 5.0);
        let (_, one) = surveyed(&plan, true);
        plan.files = Files::PerBlock;
        check_both_ways(&format!("{shape:?} in parts"), &plan);
        let (day, parts) = surveyed(&plan, true);
        assert_eq!(day.recordings.len(), plan.order.len());
        assert_eq!(parts.streams.len(), plan.order.len());
        assert_eq!(one.ridden.passes.len(), parts.ridden.passes.len());
        for (a, b) in one.ridden.passes.iter().zip(&parts.ridden.passes) {
            assert!((a.start_s - b.start_s).abs() < 0.01 && (a.end_s - b.end_s).abs() < 0.01);
        }
    }
}

/// The day is moved so that midnight falls into the middle of a pass.
#[test]
fn midnight_in_a_pass_changes_nothing() {
    for (shape, seed) in SHAPES.into_iter().zip(8131..) {
        let mut plan = plan(shape, seed, order(shape), -4.0);
        let (day, _) = surveyed(&plan, true);
        let middle = day
            .passes
            .get(2)
            .map(|pass| 0.5 * (pass.start_s + pass.end_s))
            .unwrap();
        plan.start_s += (DAY_S - middle.rem_euclid(DAY_S)).round();
        let (_, found) = surveyed(&plan, true);
        let date = |time_s: f64| (time_s / DAY_S).floor();
        let pass = &found.ridden.passes[2];
        assert_eq!(date(pass.start_s) + 1.0, date(pass.end_s), "{shape:?}");
        check_both_ways(&format!("{shape:?} over midnight"), &plan);
    }
}

#[test]
fn the_antimeridian_across_a_course_changes_nothing() {
    for (shape, seed) in SHAPES.into_iter().zip(8141..) {
        for format in [Format::Fit, Format::Gpx] {
            let mut plan = plan(shape, seed, order(shape), -4.0);
            plan.format = format;
            plan.course.bearing_deg = 75.0;
            plan.course.longitude_deg = 179.998;
            let (day, _) = surveyed(&plan, true);
            let west = day.line.iter().filter(|place| place[1] < 0.0).count();
            assert!(
                0 < west && west < day.line.len(),
                "{shape:?}: {west} of {}",
                day.line.len()
            );
            check_both_ways(&format!("{shape:?} {format:?} across the antimeridian"), &plan);
        }
    }
}

/// A warm-up, a stop, a turn before the end and a pause: what is left of the passes is found all the same,
/// and what is none is listed with the reason.
#[test]
fn what_went_wrong_on_a_day_is_told_from_its_passes() {
    for (shape, seed) in SHAPES.into_iter().zip(8151..) {
        let mut plan = plan(shape, seed, "ABBA", -4.0);
        let warm_up = BlockTruth {
            setup: None,
            passes: 2,
        };
        plan.order.insert(0, warm_up);
        for block in &mut plan.order {
            block.passes = block.passes.max(2);
        }
        plan.incidents = vec![
            Incident::Stop {
                pass: 4,
                at_m: 700.0,
                duration_s: 40.0,
            },
            Incident::TurnedRound { pass: 5, at_m: 600.0 },
            Incident::Pause {
                pass: 8,
                at_m: 800.0,
                duration_s: 25.0,
            },
        ];
        if shape == Shape::Loop {
            plan.incidents.remove(1); // On a loop the first attempt of a block is given up only before its first lap.
        }
        let (day, found) = surveyed(&plan, true);
        check(&format!("{shape:?} with mishaps"), &day, &found);
        assert_eq!(day.near_passes.len(), plan.incidents.len());
        for (near, word) in day.near_passes.iter().zip(words(&day)) {
            let told =
                found.ridden.near_passes.iter().any(|told| {
                    (told.start_s - near.start_s).abs() <= ON_TIME_S && told.reason.contains(word)
                });
            assert!(told, "{shape:?}: {near:?} in {:?}", found.ridden.near_passes);
        }
    }
}

fn words(day: &TrueDay) -> Vec<&'static str> {
    use stillair::simulate::NearReason;
    let near = day.near_passes.iter();
    near.map(|near| match near.reason {
        NearReason::TurnedRound { .. } => "turned round",
        NearReason::Stopped { .. } => "stopped for",
        NearReason::Paused { .. } => "pause of",
    })
    .collect()
}

/// Recording only when something changes, speed from satellites, no speed at all, pauses.
#[test]
fn other_units_and_habits_record_the_same_passes() {
    type Change = fn(&mut DayPlan);
    let changes: [(&str, Change); 4] = [
        ("on change", |plan| {
            plan.sensors.sampling = Sampling::OnChange { longest_s: 7.0 }
        }),
        ("unit's speed", |plan| {
            plan.sensors.speed_source = SpeedTruth::Unit
        }),
        ("no speed", |plan| plan.sensors.speed_source = SpeedTruth::None),
        ("pauses", |plan| plan.rider.timer = TimerHabit::AutoPause),
    ];
    for ((name, change), first_seed) in changes.into_iter().zip((8161..).step_by(3)) {
        for (shape, seed) in SHAPES.into_iter().zip(first_seed..) {
            let mut plan = plan(shape, seed, order(shape), -4.0);
            change(&mut plan);
            check_both_ways(&format!("{shape:?}, {name}"), &plan);
        }
    }
}

/// A rider sets off 3 m before the gate, where positions wander by as much. Slowly crossed, the gate is known
/// no better than they are: 10 m, four times their wander, at the 3.5 m/s of such a start; its end is on time.
#[test]
fn a_standing_start_at_the_gate_is_a_pass_all_the_same() {
    for (shape, seed) in SHAPES.into_iter().zip(8191..) {
        for timer in [TimerHabit::AutoPause, TimerHabit::KeepsRunning] {
            let mut plan = plan(shape, seed, order(shape), -4.0);
            plan.rider.standing_start = true;
            plan.rider.timer = timer;
            let (day, found) = surveyed(&plan, true);
            assert_eq!(directions(&found), true_directions(&day), "{shape:?} {timer:?}");
            for (pass, [start, end]) in found.ridden.passes.iter().zip(time_errors(&day, &found)) {
                let allowed = if pass.entry_speed_m_s < 5.0 {
                    3.0
                } else {
                    ON_TIME_S
                };
                assert!(
                    start.abs() <= allowed,
                    "{shape:?}, pass {}: {start} s",
                    pass.number
                );
                assert!(end.abs() <= ON_TIME_S, "{shape:?}, pass {}: {end} s", pass.number);
            }
        }
    }
}

/// Five times the noise of the sensors: 0.03 m/s on a speed, 2 W on each of some 150 powers.
#[test]
fn passes_at_given_gates_have_the_power_and_the_speed_of_the_ride() {
    for (shape, seed) in SHAPES.into_iter().zip(8181..) {
        let (day, found) = surveyed(&plan(shape, seed, order(shape), -4.0), true);
        assert_eq!(directions(&found), true_directions(&day), "{shape:?}");
        for (pass, truth) in found.ridden.passes.iter().zip(&day.passes) {
            let watts = pass.mean_power_w - truth.mean_power_w;
            let speed = pass.entry_speed_m_s - truth.entry_speed_m_s;
            assert!(watts.abs() < 1.0, "{shape:?}, pass {}: {watts} W", pass.number);
            assert!(speed.abs() < 0.15, "{shape:?}, pass {}: {speed} m/s", pass.number);
        }
    }
}
