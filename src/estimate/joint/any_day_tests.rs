//! Whatever the day, the answer is numbers: finite means, variances that are none below zero, intervals that hold
//! their estimate.

use super::explore::Told;
use super::made_days::{Made, Plan, made};
use super::{Joint, Weighed, joint};
use crate::estimate::cells::BlockWind;
use crate::estimate::made::held;
use crate::test_day::{Differs, Shape};
use proptest::prelude::*;
use proptest::test_runner::{RngSeed, TestCaseError};

/// Days as they come, and days on which something is missing or the same twice.
fn any_plan() -> impl Strategy<Value = Plan> {
    let shape = prop_oneof![Just(Shape::OneWay), Just(Shape::OutAndBack), Just(Shape::Loop)];
    let differs = prop_oneof![4 => Just(Differs::Cda), 1 => Just(Differs::Crr), 1 => Just(Differs::Both)];
    let set_ups = proptest::collection::vec(differs, 1..4);
    let order = proptest::collection::vec(0usize..3, 1..5);
    let profile_m = prop_oneof![Just(None), Just(Some(0.0)), (0.05f64..2.0).prop_map(Some)];
    let wind_m_s = prop_oneof![Just(0.0), 0.1f64..3.0];
    let course = (shape, 2usize..6, profile_m, wind_m_s);
    (
        course,
        set_ups,
        order,
        1usize..3,
        any::<bool>(),
        any::<bool>(),
        any::<u64>(),
    )
        .prop_map(
            |((shape, cells, profile_m, wind_m_s), differs, order, passes_a_block, windows, alike, seed)| {
                Plan {
                    shape,
                    order: order.into_iter().map(|s| s % differs.len()).collect(),
                    passes_a_block,
                    cells,
                    differs,
                    profile_m,
                    wind_m_s,
                    // A pass must keep two cells.
                    windows: windows && cells > 3,
                    alike,
                    seed,
                }
            },
        )
}

fn answer(made: &Made, told: &Told) -> Option<Joint> {
    joint(&made.day(), made.profile.as_ref(), &held(), told)
}

fn is_sound(made: &Made, found: &Joint) -> Result<(), TestCaseError> {
    let weights: f64 = found.drags.iter().map(|b| b.weight).sum();
    prop_assert!((0.999..1.001).contains(&weights), "weights sum to {weights}");
    for believed in &found.drags {
        prop_assert!(believed.weight >= 0.0);
        prop_assert!(believed.mean.iter().all(|m| m.is_finite()), "{}", believed.mean);
        for i in 0..believed.mean.len() {
            let own = believed.covariance[(i, i)];
            prop_assert!(own.is_finite() && own >= 0.0, "{}", believed.covariance);
            for j in 0..i {
                let shared = believed.covariance[(i, j)];
                let most = own.sqrt() * believed.covariance[(j, j)].sqrt();
                prop_assert!(shared.abs() <= most * (1.0 + 1e-9), "{}", believed.covariance);
            }
        }
    }
    let s = found.strengths;
    let strengths = [
        s.wander_sd_m_s,
        s.wander_memory_s,
        s.gust_q_m2_s,
        s.block_sd,
        s.pass_sd,
    ];
    prop_assert!(strengths.iter().all(|s| s.is_finite() && *s > 0.0), "{s:?}");
    for pass in &found.passes {
        let wind = pass.wind_m_s;
        prop_assert!(
            wind.iter()
                .all(|(value, sd)| value.is_finite() && sd.is_finite() && *sd >= 0.0),
            "{wind:?}"
        );
        prop_assert!(pass.headwind_standard_uncertainty_m_s >= 0.0);
        prop_assert!(pass.left_out.off.is_finite() && pass.left_out.studentised.is_finite());
        prop_assert!(pass.without.iter().all(|change| change.is_finite()));
    }
    for line in &found.inside {
        let mut all = line.log_cda.iter().chain(&line.log_ratio);
        prop_assert!(all.all(|sd| sd.is_finite() && *sd >= 0.0), "{line:?}");
    }
    let setups = made.setups.len();
    let of = Weighed {
        drag: 1.0,
        rolling: 0.0,
    };
    for setup in 0..setups {
        let (log_crr, rolling) = found.log_crr(setup).unwrap();
        prop_assert!(log_crr.is_finite());
        holds(rolling.interval(0.9))?;
        let (log_cda, spread) = found.log_cda(setup).unwrap();
        prop_assert!(log_cda.is_finite());
        holds(spread.interval(0.9))?;
        for baseline in 0..setups {
            let difference = found.compare([setup, baseline], of, 0.001, [1, 2]).unwrap();
            prop_assert!(difference.log_ratio.is_finite());
            holds(difference.spread.as_ref().unwrap().interval(0.9))?;
            let [low, high] = difference.ratio_interval(0.9).unwrap();
            prop_assert!(low > 0.0 && low <= difference.ratio() && difference.ratio() <= high);
            let probability = difference.probability_lower().unwrap();
            prop_assert!((0.0..=1.0).contains(&probability), "{probability}");
            let across = found.compare([baseline, setup], of, 0.001, [2, 1]).unwrap();
            prop_assert!((across.log_ratio + difference.log_ratio).abs() < 1e-12);
        }
    }
    Ok(())
}

fn holds([low, high]: [f64; 2]) -> Result<(), TestCaseError> {
    prop_assert!(
        low.is_finite() && high.is_finite() && low <= 0.0 && high >= 0.0,
        "{low} {high}"
    );
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 300,
        rng_seed: RngSeed::Fixed(1),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// `twice`: passes in pairs at the same time, as where two recordings of one ride were not told apart.
    /// `noted`: an air-speed sensor, some of it in every cell, and winds read beside the road, as sure as can be.
    /// `power`: what the meter shows of the true power, down to nothing at all.
    #[test]
    fn any_day_gives_sound_numbers(
        plan in any_plan(),
        twice in any::<bool>(),
        noted in prop_oneof![2 => Just(None), 1 => (0.0f64..12.0).prop_map(Some)],
        power in prop_oneof![3 => Just(1.0), 1 => 0.0f64..2.0],
        unknown_j in prop_oneof![3 => Just(0.0), 1 => 0.0f64..5000.0],
    ) {
        let mut made = made(&plan);
        for pass in (1..made.rides.len()).step_by(2) {
            if twice {
                made.rides[pass].middle_s = made.rides[pass - 1].middle_s;
            }
            made.rides[pass].cells[0].unknown_power_j = unknown_j;
        }
        for step in made.rides.iter_mut().flat_map(|r| &mut r.cells).flat_map(|c| &mut c.steps) {
            step.power_w *= power;
        }
        if let Some(air_speed_m_s) = noted {
            for ride in &mut made.rides {
                ride.air_speed_scale_standard_uncertainty = Some(0.0);
                ride.power_zero_noted = true;
                ride.wind_reading = Some(BlockWind {
                    time_s: ride.middle_s,
                    wind_east_m_s: 1.0,
                    wind_north_m_s: air_speed_m_s - 6.0,
                    wind_standard_uncertainty_m_s: 0.0,
                });
                for step in ride.cells.iter_mut().step_by(2).flat_map(|cell| &mut cell.steps) {
                    step.air_speed_m_s = air_speed_m_s;
                }
            }
        }
        let found = answer(&made, &Told::default());
        prop_assert!(found.is_some(), "no answer");
        is_sound(&made, &found.unwrap())?;
    }
}

#[test]
fn a_day_without_a_pass_has_no_answer() {
    let mut made = made(&Plan {
        shape: Shape::OneWay,
        order: vec![0],
        passes_a_block: 1,
        cells: 3,
        differs: vec![Differs::Cda],
        profile_m: None,
        wind_m_s: 1.0,
        windows: false,
        alike: true,
        seed: 1,
    });
    assert!(answer(&made, &Told::default()).is_some());
    made.rides.clear();
    assert!(answer(&made, &Told::default()).is_none());
}
