//! Random days, and days at the edges: whatever was ridden, the answer is sound or there is a reason.

use super::sound;
use proptest::prelude::*;
use std::path::Path;
use stillair::error::Error;
use stillair::simulate::{
    BlockTruth, DayPlan, WindTruth, loop_plan, one_way_plan, out_and_back_plan, ride_day, track_plan,
};
use stillair::study::{Compared, compare_gathered, gather_recordings};
use stillair::test_day::parse;

const RANDOM_DAYS: u32 = 60;

fn answer(plan: &DayPlan, twice: bool, extra_toml: &str) -> Result<Compared, Error> {
    let day = ride_day(plan);
    let folder = Path::new("day");
    let text = format!("{}\n{extra_toml}", day.test_toml(false));
    let test_day = parse(&folder.join("test.toml"), &text)?;
    let mut recordings = day.recordings.clone();
    if twice {
        recordings.extend(day.recordings);
    }
    compare_gathered(gather_recordings(test_day, recordings)?, folder)
}

fn sound(found: Result<Compared, Error>) -> Option<Compared> {
    match found {
        Ok(compared) => {
            sound::shown(&compared);
            Some(compared)
        }
        Err(error) => {
            assert!(!error.faults.is_empty());
            for fault in &error.faults {
                assert!(fault.file.is_some() && !fault.what.is_empty(), "{fault}");
                assert!(fault.next_step.ends_with(['.', '?']), "{fault}");
            }
            None
        }
    }
}

fn days() -> impl Strategy<Value = (DayPlan, bool)> {
    let course = (
        0..4usize,
        any::<u16>(),
        prop_oneof![50.0..400.0, 400.0..3000.0, 3000.0..12_000.0],
    );
    let blocks = prop::collection::vec((0..3usize, 1..5usize), 1..6);
    let rider = (60.0..450.0, 2.0..15.0, -30.0..30.0, -0.04..0.08);
    (course, blocks, rider, 0..4usize, prop::bool::weighted(0.1)).prop_map(
        |((shape, seed, length_m), blocks, (power_w, entry_m_s, change, gradient), weather, twice)| {
            let seed = u64::from(seed);
            let mut plan = match shape {
                0 => out_and_back_plan(seed, "AB", change),
                1 => one_way_plan(seed, "AB", change),
                2 => loop_plan(seed, "AB", change),
                _ => track_plan(seed, "AB", change),
            };
            if plan.course.track.is_none() {
                plan.course.length_m = length_m;
                plan.course.mean_gradient = gradient;
            }
            plan.order = blocks
                .into_iter()
                .map(|(setup, passes)| BlockTruth {
                    setup: setup.checked_sub(1),
                    passes,
                })
                .collect();
            plan.rider.power_w = power_w;
            plan.rider.entry_speed_m_s = entry_m_s;
            let plan = match weather {
                0 => plan.ideal(),
                1 => plan.calm(),
                2 => DayPlan {
                    wind: WindTruth::still(),
                    ..plan
                },
                _ => DayPlan {
                    wind: WindTruth {
                        mean_east_m_s: 5.0,
                        gust_along_sd_m_s: 2.0,
                        ..plan.wind
                    },
                    ..plan
                },
            };
            (plan, twice)
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: RANDOM_DAYS,
        failure_persistence: None,
        rng_seed: proptest::test_runner::RngSeed::Fixed(11),
        ..ProptestConfig::default()
    })]

    #[test]
    fn whatever_was_ridden_the_answer_is_sound((plan, twice) in days()) {
        sound(answer(&plan, twice, ""));
    }
}

fn flat(order: &str, passes: usize) -> DayPlan {
    let mut plan = out_and_back_plan(5, order, -6.0);
    plan.course.mean_gradient = 0.0;
    plan.course.hills.clear();
    for block in &mut plan.order {
        block.passes = passes;
    }
    plan
}

#[test]
fn one_pass_is_sound() {
    for plan in [
        flat("A", 1),
        one_way_plan(5, "A", 0.0),
        loop_plan(5, "A", 0.0).with_order("A", 1),
    ] {
        sound(answer(&plan, false, ""));
    }
}

/// Every pass at the same power and speed, without wind or noise: nothing tells Crr, and no spread tells of noise.
#[test]
fn equal_passes_are_sound() {
    let mut plan = flat("ABBA", 2).ideal();
    plan.rider.power_uneven_sd = 0.0;
    plan.rider.power_wander_sd = 0.0;
    plan.rider.entry_speed_sd_m_s = 0.0;
    let found = sound(answer(&plan, false, "")).expect("an answer");
    assert_eq!(found.findings.len(), 1);
}

/// The wind known to nothing at all, as nobody can.
#[test]
fn a_wind_that_is_known_exactly_is_sound() {
    let plan = flat("ABBA", 2);
    let no_wind = "[[air]]\ntime = \"2026-05-02T08:00:00Z\"\nwind_speed_m_s = 0\nwind_from_deg = 0\n\
                   wind_standard_uncertainty_m_s = ";
    for uncertainty in ["0", "1e-9", "0.01"] {
        sound(answer(&plan, false, &format!("{no_wind}{uncertainty}\n")));
    }
}

#[test]
fn more_passes_than_an_answer_holds_are_told() {
    let mut plan = flat("ABBAABBAAB", 24);
    plan.course.length_m = 250.0;
    let error = answer(&plan, false, "").expect_err("refused");
    assert!(error.to_string().contains("240 passes are more than"), "{error}");
}

/// The same recording twice: each moment counts once.
#[test]
fn the_same_passes_twice_count_once() {
    let plan = flat("ABBA", 2);
    let once = sound(answer(&plan, false, "")).expect("an answer");
    let twice = sound(answer(&plan, true, "")).expect("an answer");
    assert_eq!(once.passes.len(), twice.passes.len());
    let of = |found: &Compared| found.findings[0].cda_change_percent;
    assert_eq!(of(&once), of(&twice));
}

#[test]
fn two_hundred_passes_are_sound() {
    let mut plan = flat("ABBAABBAAB", 20);
    plan.course.length_m = 400.0;
    let found = sound(answer(&plan, false, "")).expect("an answer");
    assert_eq!(found.passes.len(), 200);
}

#[test]
fn roads_of_50_m_and_of_50_km_are_sound() {
    for length_m in [50.0, 251.0, 50_000.0] {
        let mut plan = flat("AB", 2);
        plan.course.length_m = length_m;
        let found = sound(answer(&plan, false, "")).expect("an answer");
        let seen_m = found.surveyed.ridden.course.length_m();
        // A course that is found reaches beyond the gates, as far as the road is ridden both ways.
        assert!(
            (length_m - 50.0..length_m + 300.0).contains(&seen_m),
            "{length_m} m: {seen_m} m"
        );
    }
}
