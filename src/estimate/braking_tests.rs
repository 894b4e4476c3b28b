use super::*;
use crate::estimate::made::level_pass;

fn step(power_w: f64, start_speed_m_s: f64, end_speed_m_s: f64) -> RiddenStep {
    RiddenStep {
        duration_s: 1.0,
        power_w,
        start_speed_m_s,
        end_speed_m_s,
        bearing_rad: 0.0,
        cos_slope: 1.0,
        sin_slope: 0.0,
        lean: crate::physics::Lean::UPRIGHT,
        air_speed_m_s: f64::NAN,
    }
}

/// What 80 kg lose of their speed, less what air and tyres of a rider who sits up can take; by hand, J.
fn lost_j(start: f64, end: f64) -> f64 {
    let metres = 0.5 * (start + end);
    let taken_n = 0.5 * 1.2 * 0.5 * metres * metres + 80.0 * 9.8 * 0.008;
    0.5 * 80.0 * (start * start - end * end) - taken_n * metres
}

#[test]
fn braking_for_a_bend_is_seen_though_its_seconds_begin_and_end_under_power() {
    // At 1.5 m/s² from 10 to 7.3 m/s: one second only without a turn of the cranks.
    let steps = [
        step(230.0, 10.0, 10.0),
        step(90.0, 10.0, 8.9),
        step(0.0, 8.9, 7.4),
        step(60.0, 7.4, 7.3),
        step(240.0, 7.3, 7.6),
    ];
    let found = braked_j(&steps, 9.8, 1.2);
    // The second from 10 to 8.9 m/s has 55 N beyond air and tyres of a rider who sits up, that to 7.3 m/s has none.
    assert!(
        (found - lost_j(10.0, 8.9) - lost_j(8.9, 7.4)).abs() < 1e-9,
        "{found}"
    );
    // Who only eases off, or rides into a gust, loses less.
    let eased = [step(90.0, 10.0, 9.6), step(20.0, 9.6, 9.2), step(60.0, 9.2, 9.0)];
    assert_eq!(braked_j(&eased, 9.8, 1.2), 0.0);
}

fn rides(braked: &[f64]) -> Vec<PassRide> {
    let ride = |braked_j: &f64| {
        let mut ride = level_pass(0.3, Direction::Forward, 0, 0);
        ride.cells[2].braked_j = *braked_j;
        ride
    };
    braked.iter().map(ride).collect()
}

#[test]
fn what_a_third_of_the_passes_brake_for_is_the_roads() {
    let mut some = rides(&[0.0, 900.0, 0.0, 700.0, 1200.0, 0.0]);
    let places = share_slow_places(&mut some);
    assert_eq!(places.len(), 1);
    assert_eq!(
        (places[0].braked, places[0].passes, places[0].braked_j),
        (3, 6, 900.0)
    );
    let now: Vec<f64> = some.iter().map(|ride| ride.cells[2].braked_j).collect();
    assert_eq!(now, [900.0, 900.0, 900.0, 900.0, 1200.0, 900.0]);
    assert!(some.iter().all(|ride| ride.cells[1].braked_j == 0.0));

    let mut few = rides(&[0.0, 900.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
    assert_eq!(share_slow_places(&mut few), Vec::new());
    let now: Vec<f64> = few.iter().map(|ride| ride.cells[2].braked_j).collect();
    assert_eq!(now, [0.0, 900.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
}
