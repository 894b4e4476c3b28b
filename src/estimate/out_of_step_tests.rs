use super::*;
use crate::estimate::made::ridden;
use crate::simulate::{DayPlan, loop_plan, one_way_plan, out_and_back_plan};
use crate::streams::align;

fn seen(plan: &DayPlan) -> Vec<Seen> {
    let day = ridden(plan);
    assert_eq!(day.truth.recordings.len(), 1);
    let worked = Worked::of(&align(day.truth.recordings[0].clone()).unwrap());
    day.rides
        .iter()
        .map(|ride| Seen::of(ride, &day.setups[ride.setup], &worked).unwrap())
        .collect()
}

fn told_of(plan: &DayPlan) -> Delay {
    delay(&seen(plan).iter().collect::<Vec<_>>())
}

/// Four to sixteen passes in gusts of 0.4 m/s by a rider whose power is uneven by 8 %.
#[test]
fn offsets_from_early_to_late_are_found_within_what_is_said_of_them() {
    let plans = [
        one_way_plan as fn(u64, &str, f64) -> DayPlan,
        out_and_back_plan,
        loop_plan,
    ];
    let (mut squares, mut sum, mut count) = (0.0, 0.0, 0.0);
    for make in plans {
        for (number, delay_s) in [-1.0, 0.0, 0.5, 1.2, 2.0, 3.5].into_iter().enumerate() {
            for seed in 0..2 {
                let mut plan = make(8100 + 2 * number as u64 + seed, "ABBA", -3.0);
                plan.sensors.power_delay_s = delay_s;
                let told = told_of(&plan);
                let off_s = told.delay_s - delay_s;
                assert!(told.standard_uncertainty_s < 0.5, "{told:?}");
                assert!(
                    off_s.abs() < 4.0 * told.standard_uncertainty_s,
                    "{delay_s} {told:?}"
                );
                squares += (off_s / told.standard_uncertainty_s).powi(2);
                sum += off_s;
                count += 1.0;
            }
        }
    }
    // 36 errors: chi-squared lies below 60 but once in a hundred times (M); and their mean is nothing to 0.02 s.
    assert!(squares < 60.0, "{squares}");
    assert!(f64::abs(sum / count) < 0.06, "{}", sum / count);
}

#[test]
fn power_that_is_averaged_is_late_by_half_of_what_it_is_averaged_over() {
    let mut plan = out_and_back_plan(8140, "ABBAAB", -3.0);
    plan.sensors.power_averaged_s = 3.0;
    let told = told_of(&plan);
    // A second is what it would be without.
    assert!(
        (told.delay_s - 1.0).abs() < 3.0 * told.standard_uncertainty_s,
        "{told:?}"
    );
}

/// Hills that a barometer shows 5 s late, on a road where the rider pushes up every rise.
#[test]
fn neither_late_hills_nor_a_wind_are_taken_for_late_power() {
    for seed in 8150..8153 {
        let mut plan = one_way_plan(seed, "ABBA", -3.0);
        plan.rider.climb_response = 0.15;
        for hill in &mut plan.course.hills {
            hill.amplitude *= 4.0;
        }
        plan.sensors.altitude_lag_s = 5.0;
        plan.wind.mean_north_m_s = 4.0;
        let told = told_of(&plan);
        assert!(told.delay_s.abs() < 3.5 * told.standard_uncertainty_s, "{told:?}");
        assert!(told.standard_uncertainty_s < 0.5, "{told:?}");
    }
}

#[test]
fn what_the_rides_do_not_tell_is_as_it_was_beforehand() {
    assert_eq!(delay(&[]), Delay::unknown());
    let mut plan = out_and_back_plan(8160, "AB", -3.0);
    plan.sensors.power_delay_s = 2.0;
    let dark: Vec<Seen> = seen(&plan)
        .into_iter()
        .map(|one| Seen {
            stretch: vec![None; one.stretch.len()],
            ..one
        })
        .collect();
    assert_eq!(delay(&dark.iter().collect::<Vec<_>>()), Delay::unknown());
}

#[test]
fn a_second_of_silence_costs_its_neighbourhood_only() {
    let mut plan = out_and_back_plan(8170, "ABBA", -3.0);
    plan.sensors.power_delay_s = 1.5;
    let whole = told_of(&plan);
    for pass in 1..=8 {
        plan.incidents.push(crate::simulate::Incident::PowerDropOut {
            pass,
            at_m: 500.0,
            duration_s: 3.0,
        });
    }
    let holed = told_of(&plan);
    assert!(
        (holed.delay_s - 1.5).abs() < 3.0 * holed.standard_uncertainty_s,
        "{holed:?}"
    );
    assert!(
        holed.standard_uncertainty_s < 1.4 * whole.standard_uncertainty_s,
        "{holed:?}"
    );
}

#[test]
fn the_four_seconds_stand_where_the_offset_is_and_let_as_much_noise_through_everywhere() {
    for k in -20..=50 {
        let delay_s = 0.1 * f64::from(k);
        let (first, weights) = place(delay_s);
        let at = |k: usize| f64::from(EARLIEST_S) + (first + k) as f64;
        let sum = |of: &dyn Fn(usize) -> f64| (0..4).map(of).sum::<f64>();
        assert!((sum(&|k| weights[k]) - 1.0).abs() < 1e-9);
        assert!((sum(&|k| weights[k] * at(k)) - delay_s).abs() < 1e-9, "{delay_s}");
        assert!(
            (sum(&|k| weights[k] * weights[k]) - SQUARES).abs() < 1e-9,
            "{delay_s}"
        );
    }
}

/// A meter whose single readings scatter by 40 W, as those of pedal strokes do.
#[test]
fn noise_of_single_readings_draws_the_offset_to_no_half_second() {
    for delay_s in [0.0, 1.0, 0.5] {
        let mut sum = 0.0;
        for seed in 0..4 {
            let mut plan = out_and_back_plan(8180 + seed, "ABBA", -3.0);
            plan.sensors.power_noise_w = 40.0;
            plan.sensors.power_delay_s = delay_s;
            sum += told_of(&plan).delay_s - delay_s;
        }
        // Four times ± 0.15 s.
        assert!((sum / 4.0_f64).abs() < 0.2, "{delay_s}: {}", sum / 4.0);
    }
}
