use super::*;
use crate::course::ascents::pool;
use crate::test_day::Shape;

const NODES: usize = 76;

/// Passes over a hilly road by a barometer with a lag, in turns each way; `noise` is added at a node of a pass.
fn ascents(
    lag_s: f64,
    passes: usize,
    one_way: bool,
    noise: impl Fn(usize, usize) -> f64,
) -> (Vec<Ascent>, Vec<f64>) {
    let hill = |d: f64| 0.004 * d + 4.0 * (d / 190.0).sin();
    let made = (0..passes).map(|pass| {
        let reverse = !one_way && pass % 2 == 1;
        let sign = if reverse { -1.0 } else { 1.0 };
        let time = |n: usize| sign * (2.0 * n as f64 - 75.0);
        Ascent {
            reverse,
            altitude_m: (0..NODES)
                .map(|n| 120.0 + pass as f64 + hill(20.0 * n as f64 - sign * 10.0 * lag_s) + noise(pass, n))
                .collect(),
            time_s: (0..NODES).map(time).collect(),
            offset_m: 120.0,
            drift_m_s: 0.0,
            weight: 1.0,
            part: false,
        }
    });
    let mut made: Vec<Ascent> = made.collect();
    let heights = pool(&mut made, NODES, Shape::OutAndBack, 7);
    (made, heights)
}

/// Even noise of 0.15 m without a random number: fractions of multiples of an irrational one.
fn noise(pass: usize, node: usize) -> f64 {
    0.52 * ((0.754_877_666 * (pass * NODES + node) as f64).fract() - 0.5)
}

#[test]
fn the_lag_is_told_by_the_two_directions() {
    for lag_s in [0.0, 1.0, 3.0] {
        let (made, heights) = ascents(lag_s, 8, false, noise);
        let found = told(&made, &heights, 20.0, 0.0).unwrap();
        // One look takes tan for the angle where hills are short: 30 m of 1190 m are 0.8 %.
        assert!(
            (found.more_s - lag_s).abs() < 0.03 * lag_s + 3.0 * found.standard_uncertainty_s,
            "{found:?}"
        );
        assert!(found.standard_uncertainty_s < 0.3, "{found:?}");
        assert_eq!(clear(&as_lag(&found)), lag_s > 0.5, "{found:?}");
    }
}

#[test]
fn one_direction_or_a_level_road_tell_nothing() {
    let (made, heights) = ascents(3.0, 8, true, noise);
    assert_eq!(told(&made, &heights, 20.0, 0.0), None);
    let (made, _) = ascents(3.0, 8, false, |_, _| 0.0);
    assert_eq!(told(&made, &[0.0; NODES], 20.0, 0.0), None);
}

#[test]
fn a_lag_that_would_be_before_the_road_is_not_applied() {
    let (made, heights) = ascents(-2.0, 8, false, noise);
    let found = told(&made, &heights, 20.0, 0.0).unwrap();
    assert!(found.more_s < -1.5 && !clear(&as_lag(&found)), "{found:?}");
}

fn as_lag(told: &Told) -> HeightLag {
    HeightLag {
        lag_s: told.more_s,
        standard_uncertainty_s: told.standard_uncertainty_s,
        applied_s: 0.0,
        given: false,
    }
}
