use super::*;
use crate::course::made::straight;

const NODES: usize = 76;

fn one(reverse: bool, altitude_m: Vec<f64>) -> Ascent {
    let sign = if reverse { -1.0 } else { 1.0 };
    Ascent {
        reverse,
        time_s: (0..NODES).map(|n| sign * (2.0 * n as f64 - 75.0)).collect(),
        altitude_m,
        offset_m: 0.0,
        drift_m_s: 0.0,
        weight: 1.0,
        part: false,
    }
}

/// A slow swing of one standard deviation `sd_m` over some two minutes, another in each pass.
fn swung(pass: usize, sd_m: f64) -> Vec<f64> {
    let phase = 1.7 * pass as f64;
    let swing = |n: usize| sd_m * 2f64.sqrt() * (phase + 2.0 * n as f64 / 40.0).sin();
    (0..NODES).map(|n| 100.0 + 0.2 * n as f64 + swing(n)).collect()
}

fn pooled(sd_m: f64) -> (Vec<Ascent>, Vec<f64>) {
    let mut made: Vec<Ascent> = (0..6).map(|pass| one(pass % 2 == 1, swung(pass, sd_m))).collect();
    let heights = pool(&mut made, NODES, Shape::OutAndBack, 7);
    (made, heights)
}

#[test]
fn heights_that_swing_by_metres_wander_and_those_that_swing_by_decimetres_do_not() {
    let (quiet, _) = pooled(0.2);
    let (loud, heights) = pooled(4.0);
    assert!(wander_m(&quiet, NODES, 7).unwrap() < 0.3);
    assert!(wander_m(&loud, NODES, 7).unwrap() > 0.9);
    // Over 57 nodes a sine of 2/40 rad a node differs from itself by 2 sin(57/40) of its 4 m, root mean square over
    // phases: 7.9 m. The mean of six passes knows that to 7.9/√6 = 3.2 m, times √(5/3): 4.2 m, here of six phases only.
    let known_m = wander_uncertainty(&loud, &heights);
    assert!((3.4..5.0).contains(&known_m), "{known_m}");
}

#[test]
fn one_pass_in_each_direction_tells_no_wander() {
    let made = [one(false, swung(0, 4.0)), one(true, swung(1, 4.0))];
    assert_eq!(wander_m(&made, NODES, 7), None);
}

#[test]
fn a_pass_across_a_step_comes_in_two_parts_with_an_offset_each() {
    let mut s = straight(200, |_| 10.0, |_| 200.0);
    s.altitude_m = (0..s.time_s.len()).map(|i| 0.3 * i as f64).collect();
    let step_s = s.time_s[100] - 0.5;
    s.altitude_steps_s = vec![step_s];
    let pass = Pass {
        number: 1,
        recording: 0,
        direction: Direction::Forward,
        start_s: s.time_s[20],
        end_s: s.time_s[170],
        crossing_standard_uncertainty_s: 0.3,
        ridden_m: 1500.0,
        entry_speed_m_s: 10.0,
        exit_speed_m_s: 10.0,
        mean_power_w: 200.0,
        flags: Vec::new(),
    };
    let parts = of_pass(&pass, &s, NODES - 1, 0.0, true);
    assert_eq!(parts.len(), 2);
    for n in 0..NODES {
        let known: Vec<bool> = parts.iter().map(|part| part.altitude_m[n].is_finite()).collect();
        assert_eq!(known[0], !known[1], "{n}");
        assert_eq!(known[0], pass.start_s + 2.0 * n as f64 <= step_s, "{n}");
    }
    assert_eq!(of_pass(&pass, &s, NODES - 1, 0.0, false).len(), 1);
    // What was levelled badly, by 3 m, is put right by the others.
    let mut all: Vec<Ascent> = (0..3)
        .flat_map(|_| of_pass(&pass, &s, NODES - 1, 0.0, false))
        .collect();
    let true_heights = pool(&mut all, NODES, Shape::OneWay, 7);
    for altitude in &mut s.altitude_m[..100] {
        *altitude += 3.0;
    }
    all.extend(of_pass(&pass, &s, NODES - 1, 0.0, true));
    let heights = pool(&mut all, NODES, Shape::OneWay, 7);
    let climb = |h: &[f64]| h[NODES - 1] - h[0];
    assert!((climb(&heights) - climb(&true_heights)).abs() < 0.05);
}
