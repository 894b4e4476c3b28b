//! Roads with a known truth.

use super::super::made::{NOON_S, ORIGIN, Rider};
use super::*;
use crate::streams::Streams;

const SPEED_M_S: f64 = 9.0;

fn rider(ride: usize) -> Rider {
    Rider::from(ORIGIN, NOON_S + 86_400.0 * ride as f64, [0.0, 0.0], 1.0)
}

fn found(rides: &[Streams]) -> Vec<Candidate> {
    let all: Vec<Trail> = rides
        .iter()
        .enumerate()
        .flat_map(|(index, s)| trails(index, s))
        .collect();
    candidates(&all, 20)
}

fn length_m(candidate: &Candidate) -> f64 {
    let ends = candidate.points.windows(2);
    ends.map(|p| {
        geodesic_m(
            [p[0].latitude_deg, p[0].longitude_deg],
            [p[1].latitude_deg, p[1].longitude_deg],
        )
    })
    .sum()
}

#[test]
fn a_road_ridden_out_and_home_is_one_road_with_passes_both_ways() {
    let rides: Vec<Streams> = (0..3)
        .map(|ride| {
            let mut rider = rider(ride);
            rider.to([0.0, 2000.0], SPEED_M_S, 200.0);
            rider.to([6.0, 2000.0], 3.0, 50.0);
            rider.to([6.0, 0.0], SPEED_M_S, 200.0);
            rider.streams
        })
        .collect();
    let all = found(&rides);
    assert!(!all.is_empty());
    for one in &all {
        assert!(!one.closes, "the turn is no lap");
        assert_eq!(
            (one.seen.forward, one.seen.reverse, one.seen.recordings),
            (3, 3, 3)
        );
        assert_eq!((one.seen.passes_stopped, one.seen.passes_braked), (0, 0));
        let ridden_m = 10.0 * (one.points.len() - 1) as f64;
        assert!((length_m(one) / ridden_m - 1.0).abs() < 0.01);
        // The made rides climb 1 % northward.
        let rise_m = one.points[one.points.len() - 1].altitude_m.unwrap() - one.points[0].altitude_m.unwrap();
        assert!(
            (rise_m.abs() / ridden_m - 0.01).abs() < 0.001,
            "{rise_m} over {ridden_m}"
        );
        assert!(one.seen.turning_deg < 5.0);
    }
    // No part of it is another road.
    let shares = |a: &Candidate, b: &Candidate| a.road == b.road || !a.is_on_the_road_of(b);
    assert!(all.iter().all(|a| all.iter().all(|b| shares(a, b))));
}

#[test]
fn a_lap_is_a_loop_and_its_laps_are_passes() {
    // A circle of 230 m, joined and left on its west side.
    let radius_m = 230.0;
    let mut rider = rider(0);
    rider.to([0.0, 300.0], SPEED_M_S, 200.0);
    for step in 1..=3 * 72 {
        let (sin, cos) = (f64::from(step) * std::f64::consts::TAU / 72.0).sin_cos();
        rider.to([radius_m * (1.0 - cos), 300.0 + radius_m * sin], SPEED_M_S, 200.0);
    }
    let all = found(&[rider.streams]);
    let lap = all.iter().find(|one| one.closes).expect("a loop");
    let truth_m = std::f64::consts::TAU * radius_m;
    assert!(
        (length_m(lap) / truth_m - 1.0).abs() < 0.01,
        "{} {truth_m}",
        length_m(lap)
    );
    assert!((2..=3).contains(&lap.seen.passes()), "{:?}", lap.seen);
    assert!(
        (lap.seen.turning_deg - 360.0).abs() < 30.0,
        "{}",
        lap.seen.turning_deg
    );
}
