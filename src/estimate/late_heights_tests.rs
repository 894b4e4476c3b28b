use super::*;
use crate::estimate::made::ridden_over;
use crate::simulate::{DayPlan, Wave, one_way_plan};

/// A climb of 2 km with hills of up to 2.4 % on it.
fn hilly(seed: u64, lag_s: f64) -> DayPlan {
    let mut plan = one_way_plan(seed, "ABBAAB", -3.0);
    for hill in &mut plan.course.hills {
        hill.amplitude *= 4.0;
    }
    plan.sensors.altitude_lag_s = lag_s;
    plan
}

fn told(plan: &DayPlan) -> Lag {
    let (day, course) = ridden_over(plan);
    let level = course.line.length_m() / course.length_m();
    lag(&day.rides, &day.setups, course.profile.as_ref().unwrap(), level).unwrap()
}

#[test]
fn the_lag_of_one_direction_is_told_by_power_and_speed_within_what_is_said_of_it() {
    let (mut squares, mut sum, mut count) = (0.0, 0.0, 0.0);
    for lag_s in [0.0, 2.0, 5.0] {
        for seed in 0..6 {
            let mut plan = hilly(8300 + seed, lag_s);
            if seed % 2 == 0 {
                // Flat at its foot, steep at its end.
                plan.course.hills.push(Wave {
                    amplitude: 0.02,
                    length_m: 4000.0,
                    phase_rad: -std::f64::consts::FRAC_PI_2,
                });
            }
            let told = told(&plan);
            assert!(told.standard_uncertainty_s < 0.8, "{told:?}");
            squares += ((told.lag_s - lag_s) / told.standard_uncertainty_s).powi(2);
            sum += told.lag_s - lag_s;
            count += 1.0;
        }
    }
    // 18 errors: chi-squared lies below 42 but once in a thousand times (M).
    assert!(squares < 42.0, "{squares}");
    assert!(f64::abs(sum / count) < 0.5, "{}", sum / count);
}

#[test]
fn where_the_road_is_even_the_uncertainty_says_that_nothing_is_told() {
    let mut plan = hilly(8320, 3.0);
    plan.course.hills.clear();
    let told = told(&plan);
    assert!(told.standard_uncertainty_s > 1.5, "{told:?}");
}

#[test]
fn one_pass_alone_tells_nothing() {
    let mut plan = hilly(8330, 3.0);
    plan.order.truncate(1);
    let (day, course) = ridden_over(&plan);
    assert_eq!(
        lag(&day.rides, &day.setups, course.profile.as_ref().unwrap(), 1.0),
        None
    );
}
