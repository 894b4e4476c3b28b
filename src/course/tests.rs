//! The whole room on small made rides: what is counted, what is not, and why.

use super::made::{NOON_S, ORIGIN, Rider, straight};
use super::*;
use crate::test_day::{CourseGiven, Shape};
use std::path::Path;

const ROAD: [[f64; 2]; 2] = [[0.0, 0.0], [0.0, 1500.0]];
const BEYOND: [[f64; 2]; 2] = [[0.0, -150.0], [0.0, 1650.0]];

fn given(shape: Option<Shape>, gates: &[[f64; 2]]) -> CourseGiven {
    given_from(ORIGIN, shape, gates)
}

fn given_from(origin: [f64; 2], shape: Option<Shape>, gates: &[[f64; 2]]) -> CourseGiven {
    let plane = ground::Plane::at(origin[0], origin[1]);
    let degrees = |gate: Option<&[f64; 2]>| gate.map(|&g| plane.unproject(g));
    CourseGiven {
        line: 12,
        shape,
        start_deg: degrees(gates.first()),
        finish_deg: degrees(gates.get(1)),
        lap: None,
    }
}

fn ride(streams: &[Streams], given: Option<&CourseGiven>) -> Ridden {
    survey(streams, given, Path::new("test.toml")).unwrap()
}

/// Out and back over the road, turning beyond each end.
fn out_and_back(rider: &mut Rider, times: usize) -> &mut Rider {
    for _ in 0..times {
        rider.to(BEYOND[1], 10.0, 250.0).to(BEYOND[0], 10.0, 250.0);
    }
    rider
}

fn directions(ridden: &Ridden) -> String {
    ridden
        .passes
        .iter()
        .map(|p| {
            if p.direction == Direction::Forward {
                'F'
            } else {
                'R'
            }
        })
        .collect()
}

#[test]
fn given_gates_cut_out_and_back_passes_to_a_hundredth_of_a_second() {
    let mut rider = Rider::at(BEYOND[0]);
    let day = [out_and_back(&mut rider, 3).done()];
    let ridden = ride(&day, Some(&given(None, &ROAD)));
    assert_eq!(ridden.course.shape, Shape::OutAndBack);
    assert!(!ridden.course.found);
    assert_eq!(directions(&ridden), "FRFRFR");
    for (index, pass) in ridden.passes.iter().enumerate() {
        // 150 m to the gate, 1500 m of course, 150 m beyond it, each way, at 10 m/s.
        let expected = NOON_S + 15.0 + 180.0 * index as f64;
        assert!(
            (pass.start_s - expected).abs() < 0.01,
            "{} {}",
            pass.start_s,
            expected
        );
        assert!((pass.duration_s() - 150.0).abs() < 0.01);
        assert!((pass.ridden_m - 1500.0).abs() < 0.1 && (pass.mean_power_w - 250.0).abs() < 1e-9);
        assert!((pass.entry_speed_m_s - 10.0).abs() < 1e-9);
        assert!((pass.crossing_standard_uncertainty_s - 0.3).abs() < 1e-9);
        assert_eq!(pass.number, index + 1);
    }
    // The made road climbs by 1 %.
    assert!((ridden.course.climb_m().unwrap() - 15.0).abs() < 0.01);
    assert!(
        (ridden.course.length_m() - 1500.0 * 1.0001f64.sqrt()).abs() < 0.2,
        "{}",
        ridden.course.length_m()
    );
    assert!(ridden.near_passes.is_empty(), "{:?}", ridden.near_passes);
}

#[test]
fn the_same_road_is_found_without_gates() {
    let mut rider = Rider::at([900.0, -800.0]);
    rider.to([0.0, -800.0], 9.0, 200.0).to(BEYOND[0], 9.0, 200.0);
    let day = [out_and_back(&mut rider, 4)
        .to([-2000.0, -150.0], 9.0, 200.0)
        .done()];
    let ridden = ride(&day, None);
    assert!(ridden.course.found);
    assert_eq!(ridden.course.shape, Shape::OutAndBack);
    assert_eq!(directions(&ridden), "FRFRFRFR");
    // 1800 m between the turns, less 20 m at each end.
    let length = ridden.course.line.length_m();
    assert!((length - 1760.0).abs() < 25.0, "{length}");
}

#[test]
fn a_climb_is_one_way_and_rolling_back_down_does_not_count() {
    let mut rider = Rider::at([0.0, -300.0]);
    for _ in 0..4 {
        rider.to([0.0, 2200.0], 6.0, 300.0).to([0.0, -300.0], 9.0, 0.0);
    }
    let ridden = ride(&[rider.done()], None);
    assert_eq!(ridden.course.shape, Shape::OneWay);
    assert_eq!(directions(&ridden), "FFFF");
    assert_eq!(ridden.course.roll_backs, 4);
    assert!(ridden.near_passes.is_empty(), "{:?}", ridden.near_passes);
    assert!(
        ridden.course.line.bearing_at_rad(100.0).abs() < 0.01,
        "up is north"
    );
}

#[test]
fn a_given_climb_counts_one_way_only() {
    let mut rider = Rider::at([0.0, -300.0]);
    for _ in 0..2 {
        rider.to([0.0, 2200.0], 6.0, 300.0).to([0.0, -300.0], 9.0, 200.0);
    }
    let day = [rider.done()];
    let ridden = ride(
        &day,
        Some(&given(Some(Shape::OneWay), &[[0.0, 0.0], [0.0, 2000.0]])),
    );
    assert_eq!(
        (directions(&ridden).as_str(), ridden.course.roll_backs),
        ("FF", 2)
    );
    let ridden = ride(&day, Some(&given(None, &[[0.0, 0.0], [0.0, 2000.0]])));
    assert_eq!(directions(&ridden), "FRFR", "worked for both ways, so both count");
}

#[test]
fn gates_of_a_climb_that_were_exchanged_are_noticed() {
    let mut rider = Rider::at([0.0, -300.0]);
    rider
        .to([0.0, 2200.0], 6.0, 300.0)
        .to([2000.0, 2200.0], 9.0, 100.0);
    let ridden = ride(
        &[rider.done()],
        Some(&given(Some(Shape::OneWay), &[[0.0, 2000.0], [0.0, 0.0]])),
    );
    assert!(ridden.passes.is_empty());
    let kinds: Vec<&str> = ridden.warnings.iter().map(|w| w.kind.as_str()).collect();
    assert_eq!(kinds, ["wrong way", "one pass"]);
}

/// Laps of a square with 450 m sides, joined and left at its corner by a side road.
fn laps(rider: &mut Rider, count: usize) -> &mut Rider {
    rider.to([0.0, 0.0], 9.0, 220.0);
    for _ in 0..count {
        for corner in [[0.0, 450.0], [450.0, 450.0], [450.0, 0.0], [0.0, 0.0]] {
            rider.to(corner, 9.0, 250.0);
        }
    }
    rider
}

#[test]
fn flying_laps_of_a_loop_are_all_counted() {
    let mut rider = Rider::at([-700.0, -60.0]);
    laps(&mut rider, 4)
        .to([0.0, 120.0], 9.0, 200.0)
        .to([-700.0, 120.0], 9.0, 150.0)
        .stand(60);
    rider.to([-700.0, -60.0], 6.0, 100.0);
    laps(&mut rider, 4)
        .to([0.0, 120.0], 9.0, 200.0)
        .to([-700.0, 120.0], 9.0, 150.0);
    let day = [rider.done()];
    let ridden = ride(&day, None);
    assert_eq!(ridden.course.shape, Shape::Loop);
    assert_eq!(directions(&ridden), "FFFFFFFF");
    assert!(
        (ridden.course.line.length_m() - 1800.0).abs() < 40.0,
        "{}",
        ridden.course.line.length_m()
    );
    assert_eq!(ridden.course.climb_m(), Some(0.0));
    let given = ride(&day, Some(&given(None, &[[0.0, 60.0]])));
    assert_eq!(
        (given.course.shape, directions(&given).as_str()),
        (Shape::Loop, "FFFFFFFF")
    );
    for lap in &given.passes {
        assert!((lap.duration_s() - 200.0).abs() < 0.3, "{}", lap.duration_s());
    }
}

#[test]
fn what_nearly_was_a_pass_says_why_it_is_none() {
    let mut rider = Rider::at(BEYOND[0]);
    out_and_back(&mut rider, 2);
    rider.to([0.0, 700.0], 10.0, 250.0).to(BEYOND[0], 10.0, 250.0);
    rider
        .to([0.0, 700.0], 10.0, 250.0)
        .stand(42)
        .to(BEYOND[1], 10.0, 250.0);
    rider
        .to([0.0, 900.0], 10.0, 250.0)
        .pause(90.0)
        .to(BEYOND[0], 10.0, 250.0);
    rider
        .to([0.0, 800.0], 10.0, 250.0)
        .to([900.0, 800.0], 10.0, 250.0);
    rider.to([900.0, 1700.0], 10.0, 250.0).to(BEYOND[1], 10.0, 250.0);
    rider.to([0.0, 900.0], 10.0, 250.0).gap(30.0, false);
    rider.at = [0.0, 600.0];
    rider.to(BEYOND[0], 10.0, 250.0).to([0.0, 1000.0], 10.0, 250.0);
    let ridden = ride(&[rider.done()], Some(&given(None, &ROAD)));
    assert_eq!(directions(&ridden), "FRFR");
    let reasons: Vec<&str> = ridden
        .near_passes
        .iter()
        .map(|near| near.reason.as_str())
        .collect();
    assert_eq!(
        reasons,
        [
            "turned round after 700 m",
            // The made speed falls from 10 m/s to 0 within a second, which is another 5 m.
            "stopped for 42 s after 705 m",
            "cut short by a pause of 90 s after 600 m",
            "left the road after 800 m",
            "no samples for 30 s after 600 m",
            "the recording ends after 1000 m",
        ]
    );
    assert!((ridden.near_passes[0].start_s - NOON_S - 735.0).abs() < 0.1);
}

#[test]
fn joining_late_turning_twice_and_another_road_are_near_passes_too() {
    let mut rider = Rider::at([0.0, 500.0]);
    rider.to(BEYOND[1], 10.0, 250.0).to(BEYOND[0], 10.0, 250.0);
    rider
        .to([0.0, 800.0], 10.0, 250.0)
        .to([0.0, 400.0], 10.0, 250.0)
        .to(BEYOND[1], 10.0, 250.0);
    rider
        .to([800.0, 1650.0], 10.0, 250.0)
        .to([800.0, 900.0], 10.0, 250.0);
    rider.to([0.0, 900.0], 10.0, 250.0).to(BEYOND[0], 10.0, 250.0);
    let ridden = ride(&[rider.done()], Some(&given(None, &ROAD)));
    assert_eq!(directions(&ridden), "R");
    let reasons: Vec<&str> = ridden
        .near_passes
        .iter()
        .map(|near| near.reason.as_str())
        .collect();
    assert_eq!(reasons.len(), 3, "{reasons:?}");
    assert_eq!(reasons[0], "the recording starts 500 m beyond the gate");
    assert_eq!(reasons[1], "turned round after 800 m and once more");
    assert!(
        reasons[2].starts_with("joined the road 6") && reasons[2].ends_with("m beyond the gate"),
        "{reasons:?}"
    );
    assert!(
        ridden.warnings.iter().any(|w| w.kind == "one pass"),
        "{:?}",
        ridden.warnings
    );
}

#[test]
fn a_gate_off_the_road_is_named_with_its_line_and_both_at_once() {
    let mut rider = Rider::at(BEYOND[0]);
    let day = [out_and_back(&mut rider, 2).done()];
    let ok = given(None, &[[15.0, 0.0], [0.0, 1500.0]]);
    assert_eq!(directions(&ride(&day, Some(&ok))), "FRFR");
    let off = given(None, &[[35.0, 0.0], [0.0, 2500.0]]);
    let error = survey(&day, Some(&off), Path::new("day/test.toml")).unwrap_err();
    assert_eq!(error.faults.len(), 2);
    let text = error.to_string();
    assert!(
        text.contains("day/test.toml: line 12, course.start: the gate lies 35 m off the road"),
        "{text}"
    );
    assert!(text.contains("course.finish: the gate lies 850 m off"), "{text}");
}

#[test]
fn rides_that_hold_no_course_say_what_is_wrong() {
    let single = straight(400, |_| 10.0, |_| 250.0);
    let error = survey(std::slice::from_ref(&single), None, Path::new("test.toml")).unwrap_err();
    assert!(
        error
            .to_string()
            .contains("no stretch of road of 250 m or more was ridden twice"),
        "{error}"
    );
    let mut blind = single;
    blind.latitude_deg.fill(f64::NAN);
    let error = survey(&[blind.clone(), blind], None, Path::new("test.toml")).unwrap_err();
    assert_eq!(error.faults.len(), 2);
    assert!(error.to_string().contains("no positions"), "{error}");
}

#[test]
fn one_day_in_several_files_across_midnight_and_the_antimeridian() {
    let origin = [-16.8, 179.9998];
    // 2026-05-28T23:57:00Z: the second file begins on the next day.
    let start_s = 1_780_012_620.0;
    let mut first = Rider::from(origin, start_s, BEYOND[0], 1.0);
    let mut second = Rider::from(origin, start_s + 800.0, BEYOND[0], 1.0);
    let day = [
        out_and_back(&mut first, 2).done(),
        out_and_back(&mut second, 1).done(),
    ];
    let east = given_from(origin, None, &ROAD);
    for given in [None, Some(&east)] {
        let ridden = ride(&day, given);
        assert_eq!(directions(&ridden), "FRFRFR");
        let files: Vec<usize> = ridden.passes.iter().map(|p| p.recording).collect();
        assert_eq!(files, [0, 0, 0, 0, 1, 1]);
    }
    // The road itself may cross: east-west over the line.
    let mut rider = Rider::from(origin, start_s, [-600.0, 0.0], 1.0);
    for _ in 0..3 {
        rider.to([600.0, 0.0], 10.0, 250.0).to([-600.0, 0.0], 10.0, 250.0);
    }
    let ridden = ride(&[rider.done()], None);
    assert_eq!(directions(&ridden), "FRFRFR");
    assert!((1100.0..1200.0).contains(&ridden.course.line.length_m()));
}

#[test]
fn sparse_samples_and_missing_power_still_give_the_passes() {
    let mut rider = Rider::from(ORIGIN, NOON_S, BEYOND[0], 4.0);
    let mut day = [out_and_back(&mut rider, 3).done()];
    day[0].power_w.fill(f64::NAN);
    for given in [None, Some(&given(None, &ROAD))] {
        let ridden = ride(&day, given);
        assert_eq!(
            (ridden.course.shape, directions(&ridden).as_str()),
            (Shape::OutAndBack, "FRFRFR")
        );
        assert!(
            ridden
                .passes
                .iter()
                .all(|p| p.mean_power_w.is_nan() && p.flags.contains(&"no power".to_string()))
        );
    }
}

#[test]
fn a_wheel_sensor_that_drops_to_zero_is_not_a_stop_and_a_slow_entry_is_flagged() {
    let mut rider = Rider::at(BEYOND[0]);
    out_and_back(&mut rider, 3);
    rider
        .to([0.0, -20.0], 10.0, 250.0)
        .to([0.0, 30.0], 5.0, 250.0)
        .to(BEYOND[1], 10.0, 250.0);
    let mut day = [rider.done()];
    for index in 60..70 {
        day[0].speed_m_s[index] = 0.0;
    }
    let ridden = ride(&day, Some(&given(None, &ROAD)));
    assert_eq!(directions(&ridden), "FRFRFRF");
    assert_eq!(ridden.passes[6].flags, ["entry speed 18.0 km/h below the others"]);
}

#[test]
fn lap_marks_pressed_at_one_place_are_offered_as_a_gate() {
    let mut rider = Rider::at(BEYOND[0]);
    let mut day = [out_and_back(&mut rider, 3).done()];
    // 100 m after the start gate of each forward pass, and once somewhere else.
    day[0].lap_marks_s = vec![NOON_S + 25.0, NOON_S + 385.4, NOON_S + 744.0, NOON_S + 90.0];
    let ridden = ride(&day, Some(&given(None, &ROAD)));
    let places = &ridden.course.lap_mark_places;
    assert_eq!((places.len(), places[0].marks), (1, 3));
    assert!((places[0].distance_m.unwrap() - 98.0).abs() < 3.0, "{places:?}");
}

#[test]
fn gates_that_do_not_go_together_are_refused_with_what_to_do() {
    let mut rider = Rider::at(BEYOND[0]);
    let day = [out_and_back(&mut rider, 2).done()];
    let refused = |shape, gates: &[[f64; 2]]| {
        survey(&day, Some(&given(shape, gates)), Path::new("test.toml"))
            .unwrap_err()
            .to_string()
    };
    assert!(refused(Some(Shape::OneWay), &ROAD[..1]).contains("needs a finish"));
    assert!(refused(Some(Shape::OutAndBack), &[ROAD[0], [0.0, 3.0]]).contains("needs a finish"));
    assert!(refused(Some(Shape::Loop), &ROAD).contains("a loop must finish where it starts"));
    assert!(refused(Some(Shape::Loop), &ROAD[..1]).contains("no ride goes round"));
    assert!(refused(None, &[[0.0, 0.0], [0.0, 30.0]]).contains("no ride goes from start to finish"));
}

#[test]
fn turning_right_behind_the_gates_does_not_bend_the_course() {
    let mut rider = Rider::at([0.0, -8.0]);
    for _ in 0..3 {
        rider.to([0.0, 1508.0], 9.0, 250.0).to([0.0, -8.0], 9.0, 250.0);
    }
    let ridden = ride(&[rider.done()], Some(&given(None, &ROAD)));
    assert_eq!(directions(&ridden), "FRFRFR");
    assert!(
        (ridden.course.line.length_m() - 1500.0).abs() < 1.0,
        "{}",
        ridden.course.line.length_m()
    );
    assert!(
        ridden
            .passes
            .iter()
            .all(|pass| (pass.duration_s() - 1500.0 / 9.0).abs() < 0.05)
    );
}

/// A climb with three hairpins, limbs 30 m apart.
fn hairpins(rider: &mut Rider, up: bool, speed: f64, power: f64) {
    let mut road = vec![
        [0.0, 0.0],
        [400.0, 0.0],
        [415.0, 15.0],
        [400.0, 30.0],
        [0.0, 30.0],
        [-15.0, 45.0],
    ];
    road.extend([
        [0.0, 60.0],
        [400.0, 60.0],
        [415.0, 75.0],
        [400.0, 90.0],
        [-100.0, 90.0],
    ]);
    if !up {
        road.reverse();
    }
    for place in road {
        rider.to(place, speed, power);
    }
}

#[test]
fn a_road_with_hairpins_is_one_course() {
    let mut rider = Rider::at([0.0, 0.0]);
    for _ in 0..4 {
        hairpins(&mut rider, true, 5.0, 300.0);
        hairpins(&mut rider, false, 8.0, 0.0);
    }
    let day = [rider.done()];
    let ridden = ride(&day, None);
    assert_eq!(
        (ridden.course.shape, directions(&ridden).as_str()),
        (Shape::OneWay, "FFFF")
    );
    assert_eq!(ridden.course.roll_backs, 4);
    // 4 limbs and 3 bends, less the ends.
    assert!(
        ridden.course.line.length_m() > 1600.0,
        "{}",
        ridden.course.line.length_m()
    );
    let given = ride(
        &day,
        Some(&given(Some(Shape::OneWay), &[[100.0, 0.0], [0.0, 90.0]])),
    );
    assert_eq!(
        (directions(&given).as_str(), given.near_passes.len()),
        ("FFFF", 0)
    );
}

#[test]
fn a_figure_of_eight_is_a_loop_that_crosses_itself() {
    let mut rider = Rider::at([-300.0, -310.0]);
    for _ in 0..4 {
        for corner in [[300.0, 300.0], [300.0, -300.0], [-300.0, 300.0], [-300.0, -300.0]] {
            rider.to(corner, 9.0, 250.0);
        }
    }
    rider.to([300.0, 300.0], 9.0, 250.0);
    let day = [rider.done()];
    let length = 4.0 * 848.5 / 2.0 + 2.0 * 600.0;
    for given in [None, Some(&given(None, &[[0.0, 0.0]]))] {
        let ridden = ride(&day, given);
        assert_eq!(ridden.course.shape, Shape::Loop);
        assert_eq!(directions(&ridden), "FFFF");
        assert!(
            (ridden.course.line.length_m() - length).abs() < 60.0,
            "{}",
            ridden.course.line.length_m()
        );
    }
}

#[test]
fn laps_ridden_both_ways_round_know_their_direction() {
    let mut rider = Rider::at([-700.0, -60.0]);
    laps(&mut rider, 3)
        .to([0.0, 120.0], 9.0, 200.0)
        .to([-700.0, 120.0], 9.0, 150.0);
    rider.to([0.0, 120.0], 9.0, 200.0);
    for _ in 0..3 {
        for corner in [[0.0, 0.0], [450.0, 0.0], [450.0, 450.0], [0.0, 450.0]] {
            rider.to(corner, 9.0, 250.0);
        }
    }
    rider.to([0.0, -30.0], 9.0, 200.0).to([-700.0, -60.0], 9.0, 200.0);
    let ridden = ride(&[rider.done()], Some(&given(None, &[[0.0, 60.0]])));
    assert_eq!(directions(&ridden), "FFFRRR");
}

/// A rider who stands at the gate is put behind it by the wander of positions, or before and then behind.
#[test]
fn a_standing_start_at_the_gate_begins_when_the_rider_sets_off() {
    let day = |paused: bool, first: f64, second: f64| {
        let mut rider = Rider::at(BEYOND[0]);
        rider.to([0.0, first], 10.0, 250.0).stand(4);
        rider.at = [0.0, second];
        if paused {
            rider.pause(40.0);
        }
        rider.stand(2).to(BEYOND[1], 10.0, 250.0);
        rider.done()
    };
    let at_gates = given(None, &ROAD);
    for (paused, first, second) in [
        (false, 4.0, 4.0),
        (true, 4.0, 4.0),
        (true, -2.0, 2.0),
        (false, -2.0, 2.0),
    ] {
        let streams = day(paused, first, second);
        let last_stand = streams.speed_m_s.iter().rposition(|speed| *speed == 0.0).unwrap();
        let set_off_s = streams.time_s[last_stand];
        let ridden = ride(&[streams], Some(&at_gates));
        let [pass] = ridden.passes.as_slice() else {
            panic!("{paused} {first} {second}: {:?}", ridden.near_passes);
        };
        assert!(
            (pass.start_s - set_off_s).abs() <= 1.0,
            "{paused} {first} {second}"
        );
        assert!((pass.duration_s() - 150.0).abs() < 1.5, "{}", pass.duration_s());
        assert!(ridden.near_passes.is_empty(), "{:?}", ridden.near_passes);
    }
}

#[test]
fn a_stop_well_beyond_the_gate_is_no_standing_start() {
    let mut rider = Rider::at(BEYOND[0]);
    out_and_back(&mut rider, 1);
    rider
        .to([0.0, 20.0], 10.0, 250.0)
        .stand(5)
        .to(BEYOND[1], 10.0, 250.0);
    let ridden = ride(&[rider.done()], Some(&given(None, &ROAD)));
    assert_eq!(directions(&ridden), "FR");
    assert_eq!(ridden.near_passes.len(), 1);
}
