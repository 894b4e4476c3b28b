//! Power and heights out of step, from recordings to the answer.

use super::*;
use crate::course::HeightLag;
use crate::recording::Recording;
use crate::simulate::{DayPlan, Files, Wave, one_way_plan, out_and_back_plan, ride_day};
use crate::test_day::{Measured, TestDay, parse};
use crate::treatment::{AsRecorded, Treatment};
use crate::warning::Warning;

/// A day in memory; its recordings and notes can be changed first.
fn day(plan: &DayPlan, change: impl FnOnce(&mut TestDay, &mut Vec<Recording>)) -> Compared {
    let truth = ride_day(plan);
    let folder = Path::new("day");
    let mut day = parse(&folder.join("test.toml"), &truth.test_toml(true)).unwrap();
    let mut recordings = truth.recordings;
    change(&mut day, &mut recordings);
    compare_gathered(gather_recordings(day, recordings).unwrap(), folder).unwrap()
}

fn told<'a>(of: &'a Compared, kind: &str) -> Vec<&'a Warning> {
    of.warnings.iter().filter(|w| w.kind == kind).collect()
}

fn budget_s(of: &Compared, input: &str) -> Option<f64> {
    of.budget
        .iter()
        .find(|line| line.input == input)
        .map(|line| line.standard_uncertainty)
}

fn known(value: f64, standard_uncertainty: f64) -> Option<Measured> {
    Some(Measured {
        value,
        standard_uncertainty,
        given: true,
    })
}

fn says(of: &Compared, words: &str) -> bool {
    of.assumptions.iter().any(|sentence| sentence.contains(words))
}

fn lag(of: &Compared) -> Option<HeightLag> {
    of.surveyed.ridden.course.profile.as_ref().unwrap().lag
}

#[test]
fn late_power_is_said_once_moved_and_budgeted() {
    let mut plan = one_way_plan(8400, "ABBAAB", -3.0);
    let in_step = day(&plan, |_, _| ());
    assert!(told(&in_step, "power delay").is_empty());
    assert!(says(&in_step, "Power and speed are taken as in step"));
    assert!(budget_s(&in_step, "power delay").unwrap() < 0.4);
    plan.sensors.power_delay_s = 2.0;
    let late = day(&plan, |_, _| ());
    let warnings = told(&late, "power delay");
    assert_eq!(warnings.len(), 1);
    let message = &warnings[0].message;
    assert!(message.starts_with("ride.fit: power is stamped "), "{message}");
    assert!(
        message.contains(" s later than the speed that it made"),
        "{message}"
    );
    assert!(budget_s(&late, "power delay").unwrap() < 0.3);
    let left = day(&plan, |day, _| {
        day.as_recorded = AsRecorded::new(&[Treatment::PowerDelay])
    });
    assert!(told(&left, "power delay").is_empty() && budget_s(&left, "power delay").is_none());
    // The run-up is harder than the pass: its power comes into it late.
    let off = |of: &Compared| of.setups[0].cda_m2.unwrap().0 / in_step.setups[0].cda_m2.unwrap().0 - 1.0;
    assert!(off(&left) > 0.02, "{}", off(&left));
    assert!(
        off(&late).abs() < 0.4 * off(&left),
        "{} {}",
        off(&late),
        off(&left)
    );
}

#[test]
fn a_delay_that_is_written_down_stands() {
    let mut plan = out_and_back_plan(8401, "AB", -3.0);
    plan.sensors.power_delay_s = 2.0;
    let by_user = day(&plan, |day, _| day.power_delay_s = known(1.4, 0.25));
    assert!(told(&by_user, "power delay").is_empty());
    assert!(says(&by_user, "+1.40 ± 0.25 s later"));
    assert_eq!(budget_s(&by_user, "power delay"), Some(0.25));
}

#[test]
fn recordings_of_one_unit_share_their_delay_and_others_have_their_own() {
    let mut plan = out_and_back_plan(8402, "ABBA", -3.0);
    plan.files = Files::PerBlock;
    plan.sensors.power_delay_s = 1.5;
    let one_unit = day(&plan, |_, _| ());
    let warnings = told(&one_unit, "power delay");
    assert_eq!(warnings.len(), 1, "{warnings:?}");
    assert!(warnings[0].message.starts_with("all recordings:"), "{warnings:?}");
    // The last two of another unit, which is in step.
    plan.sensors.power_delay_s = 0.0;
    let in_step = ride_day(&plan).recordings;
    plan.sensors.power_delay_s = 3.0;
    let two_units = day(&plan, |_, recordings| {
        recordings.truncate(2);
        recordings.extend(in_step.into_iter().skip(2));
    });
    let messages: Vec<&str> = told(&two_units, "power delay")
        .iter()
        .map(|w| w.message.as_str())
        .collect();
    assert!(
        messages.iter().any(|m| m.starts_with("ride-01.fit")),
        "{messages:?}"
    );
    assert!(
        messages.iter().any(|m| m.starts_with("ride-02.fit")),
        "{messages:?}"
    );
    assert!(
        !messages.iter().any(|m| m.starts_with("ride-04.fit")),
        "{messages:?}"
    );
}

/// A climb with hills of 2.4 % on it.
fn hilly(seed: u64) -> DayPlan {
    let mut plan = one_way_plan(seed, "ABBAAB", -3.0);
    plan.course.hills = vec![
        Wave {
            amplitude: 0.02,
            length_m: 700.0,
            phase_rad: 0.3,
        },
        Wave {
            amplitude: 0.01,
            length_m: 400.0,
            phase_rad: 1.0,
        },
    ];
    plan
}

#[test]
fn late_heights_of_one_direction_are_put_back_and_said() {
    let mut plan = hilly(8403);
    plan.sensors.altitude_lag_s = 4.0;
    let late = day(&plan, |_, _| ());
    let found = lag(&late).unwrap();
    assert!(
        (found.lag_s - 4.0).abs() < 3.0 * found.standard_uncertainty_s,
        "{found:?}"
    );
    assert!(found.applied_s == found.lag_s && !found.given, "{found:?}");
    assert_eq!(told(&late, "altitude lag").len(), 1);
    assert_eq!(
        budget_s(&late, "altitude lag"),
        Some(found.standard_uncertainty_s)
    );
    let left = day(&plan, |day, _| {
        day.as_recorded = AsRecorded::new(&[Treatment::AltitudeLag])
    });
    assert_eq!((lag(&left), budget_s(&left, "altitude lag")), (None, None));
    let by_user = day(&plan, |day, _| day.altitude_lag_s = known(3.0, 0.5));
    let found = lag(&by_user).unwrap();
    assert!(found.given && found.applied_s == 3.0);
    assert!(told(&by_user, "altitude lag").is_empty());
    assert_eq!(budget_s(&by_user, "altitude lag"), Some(0.5));
    assert!(says(&by_user, "3.0 ± 0.5 s after the road, as test.toml says"));
}

#[test]
fn heights_of_both_directions_are_put_back_without_a_line_in_the_budget() {
    let mut plan = out_and_back_plan(8404, "ABBA", -3.0);
    for hill in &mut plan.course.hills {
        hill.amplitude *= 3.0;
    }
    plan.sensors.altitude_lag_s = 2.5;
    let late = day(&plan, |_, _| ());
    let found = lag(&late).unwrap();
    // A filter is late by less on short hills than on long ones.
    assert!((1.8..2.8).contains(&found.applied_s), "{found:?}");
    assert_eq!(told(&late, "altitude lag").len(), 1);
    assert_eq!(budget_s(&late, "altitude lag"), None);
}
