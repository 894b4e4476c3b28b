use super::*;
use crate::estimate::comparison::Spread;

/// REFERENCES 9: ρ 1.2, CdA 0.25, Crr 0.004, 80 kg, η 0.976.
fn at(pairs: usize) -> At {
    At {
        rig: Rig {
            cda_m2: 0.25,
            crr: 0.004,
            total_mass_kg: 80.0,
            wheel_inertia_kg_m2: 0.14,
            wheel_radius_m: 0.336,
            drivetrain_efficiency: 0.976,
        },
        around: Surroundings {
            air_density_kg_m3: 1.2,
            gravity_m_s2: 9.80665,
        },
        smallest_difference_percent: 2.0,
        baseline_standard_uncertainty_m2: 0.005,
        pairs,
    }
}

fn told(comparison: &Comparison, at: &At) -> Finding {
    let pair = Pair {
        about: About::Drag,
        tested: comparison.clone(),
        drag: Some(comparison.clone()),
        rolling: None,
        pass_average: comparison.clone(),
    };
    judge(&pair, at)
}

/// Of one pair.
pub fn told_of(comparison: &Comparison) -> Finding {
    told(comparison, &at(1))
}

/// Spread of the log ratio with so many degrees of freedom that Student's t is normal.
fn of(ratio: f64, standard_uncertainty: f64) -> Comparison {
    Comparison {
        setup: 1,
        baseline: 0,
        log_ratio: ratio.ln(),
        spread: Some(Spread::student(standard_uncertainty, f64::INFINITY)),
        block_standard_deviation: Some(standard_uncertainty),
        blocks: [2, 2],
    }
}

#[test]
fn the_interval_decides_the_call() {
    // Half-widths of 1.645 %: 3 % is outside, 1 % inside.
    for (ratio, call, more) in [
        (0.97, Call::LowerDrag, Some(0)),
        (1.03, Call::HigherDrag, Some(0)),
        (0.99, Call::NotResolved, None),
        (1.01, Call::NotResolved, None),
    ] {
        let found = told(&of(ratio, 0.01), &at(1));
        assert_eq!(found.call, call, "{ratio}");
        if more.is_some() {
            assert_eq!(found.more_blocks_to_resolve, more);
        } else {
            assert!(found.more_blocks_to_resolve.unwrap() > 0);
        }
        let [low, high] = found.cda_change_percent.interval_90.unwrap();
        assert_eq!(
            low > 0.0 || high < 0.0,
            call != Call::NotResolved,
            "{ratio}: {low} {high}"
        );
        assert!(low < found.cda_change_percent.value && found.cda_change_percent.value < high);
        assert_eq!(found.probability_lower.unwrap() > 0.5, ratio < 1.0);
    }
    assert_eq!(
        [Call::LowerDrag, Call::HigherDrag, Call::NotResolved].map(Call::as_text),
        ["lower drag", "higher drag", "not resolved"]
    );
}

/// ± 0.5 % · 1.645 about 0.1 % lies within ± 2 %; a resolved difference may be known to be small as well.
#[test]
fn a_narrow_interval_knows_the_difference_to_be_small() {
    let small = told(&of(1.001, 0.005), &at(1));
    assert_eq!((small.call, small.known_to_be_small), (Call::NotResolved, true));
    assert_eq!(small.more_blocks_to_resolve, Some(0));
    let resolved = told(&of(1.01, 0.004), &at(1));
    assert_eq!(
        (resolved.call, resolved.known_to_be_small),
        (Call::HigherDrag, true)
    );
    assert!(!told(&of(1.001, 0.02), &at(1)).known_to_be_small);
}

/// REFERENCES 5.5 rests the sample sizes of `blocks_to_resolve`; here it is how they are turned into advice.
#[test]
fn more_blocks_are_those_that_are_missing() {
    let difference = 1.02f64.ln();
    for spread in [0.01, 0.02, 0.03] {
        let each = blocks_to_resolve(difference, spread, 0.10, 0.80, 100).unwrap();
        let comparison = Comparison {
            block_standard_deviation: Some(spread),
            ..of(1.0, 0.03)
        };
        let expected = if each > 2 { 2 * (each - 2) } else { 2 };
        assert_eq!(
            told(&comparison, &at(1)).more_blocks_to_resolve,
            Some(expected),
            "{spread}"
        );
    }
    // Enough blocks were ridden by that reckoning, and still it is open: one more of each.
    let enough = Comparison {
        blocks: [9, 9],
        block_standard_deviation: Some(0.01),
        ..of(1.0, 0.03)
    };
    assert_eq!(told(&enough, &at(1)).more_blocks_to_resolve, Some(2));
    // Nobody rides hundreds of blocks, and without a spread nobody knows.
    let hopeless = Comparison {
        block_standard_deviation: Some(0.5),
        ..of(1.0, 0.5)
    };
    assert_eq!(told(&hopeless, &at(1)).more_blocks_to_resolve, None);
    let alone = Comparison {
        block_standard_deviation: None,
        spread: None,
        blocks: [1, 1],
        ..of(0.95, 1.0)
    };
    let found = told(&alone, &at(1));
    assert_eq!(
        (found.call, found.more_blocks_to_resolve),
        (Call::NotResolved, None)
    );
    assert_eq!(
        (found.cda_change_percent.interval_90, found.watts.interval_90),
        (None, None)
    );
    assert_eq!((found.probability_lower, found.known_to_be_small), (None, false));
    assert!((found.cda_change_percent.value + 5.0).abs() < 1e-9);
}

/// REFERENCES 9 (D): 0.002 m² is worth 1.7 W, 0.005 4.2 W, 0.010 8.4 W at 40 km/h.
#[test]
fn watts_are_those_derived_at_40_km_an_hour() {
    for (area, watts) in [(0.002, 1.7), (0.005, 4.2), (0.010, 8.4)] {
        let found = told(&of(1.0 + area / 0.25, 0.01), &at(1));
        assert!(
            (found.watts.value - watts).abs() < 0.05,
            "{area}: {}",
            found.watts.value
        );
        assert!((found.cda_change_m2.value - area).abs() < 1e-12);
        let less = told(&of(1.0 - area / 0.25, 0.01), &at(1));
        assert!(
            (less.watts.value + found.watts.value).abs() < 1e-9,
            "power is linear in drag area"
        );
        let [low, high] = found.watts.interval_90.unwrap();
        assert!(low < found.watts.value && found.watts.value < high);
    }
}

/// By bisection on the balance written out here, level and in still air.
fn seconds_for_40_km(cda_m2: f64, power_w: f64) -> f64 {
    let needed =
        |v: f64| v * (0.5 * 1.2 * cda_m2 * v * v + 0.004 * 80.0 * 9.80665 + 0.091 + 0.0087 * v) / 0.976;
    let (mut low, mut high) = (1.0, 30.0);
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if needed(middle) < power_w {
            low = middle
        } else {
            high = middle
        }
    }
    40_000.0 / low
}

#[test]
fn seconds_are_those_of_the_balance_at_the_same_power() {
    let v: f64 = 40.0 / 3.6;
    let power_w = v * (0.5 * 1.2 * 0.25 * v * v + 0.004 * 80.0 * 9.80665 + 0.091 + 0.0087 * v) / 0.976;
    assert!((seconds_for_40_km(0.25, power_w) - 3600.0).abs() < 1e-6);
    for ratio in [0.94, 0.99, 1.02] {
        let found = told(&of(ratio, 0.01), &at(1)).seconds_per_40_km;
        let expected = seconds_for_40_km(0.25 * ratio, power_w) - 3600.0;
        assert!(
            (found.value - expected).abs() < 1e-4,
            "{ratio}: {} {expected}",
            found.value
        );
        let [low, high] = found.interval_90.unwrap();
        assert!(low < found.value && found.value < high);
    }
    // Power goes nearly with the cube of speed: 1 % of drag area is worth a little less than a third in time.
    let one = told(&of(1.01, 0.01), &at(1)).seconds_per_40_km.value;
    assert!((9.0..12.0).contains(&one), "{one}");
}

/// Šidák over three pairs: 0.9^(1/3) a pair, z 2.114054 instead of 1.644854 (L, Python 3 statistics).
#[test]
fn intervals_over_all_pairs_are_wider_by_the_number_of_pairs() {
    assert_eq!(told(&of(0.97, 0.01), &at(1)).interval_90_all_pairs_percent, None);
    let found = told(&of(0.97, 0.01), &at(3));
    let [low, high] = found.interval_90_all_pairs_percent.unwrap();
    assert!(
        (low - 100.0 * (0.97 * (-0.02114054f64).exp() - 1.0)).abs() < 1e-5,
        "{low}"
    );
    assert!(
        (high - 100.0 * (0.97 * 0.02114054f64.exp() - 1.0)).abs() < 1e-5,
        "{high}"
    );
    let [inner_low, inner_high] = found.cda_change_percent.interval_90.unwrap();
    assert!(low < inner_low && inner_high < high);
}

/// The change in m² carries the baseline's error in proportion: 2 % of a drag area known to 2 % is 0.04 % of it.
#[test]
fn the_baseline_error_enters_the_change_in_square_metres_only() {
    let sure = At {
        baseline_standard_uncertainty_m2: 0.0,
        ..at(1)
    };
    let (with, without) = (told(&of(0.90, 0.01), &at(1)), told(&of(0.90, 0.01), &sure));
    assert_eq!(with.cda_change_percent, without.cda_change_percent);
    let (a, b) = (
        with.cda_change_m2.standard_uncertainty.unwrap(),
        without.cda_change_m2.standard_uncertainty.unwrap(),
    );
    assert!((b - 0.25 * 0.90 * 0.01).abs() < 1e-12);
    assert!((a - b.hypot(0.1 * 0.005)).abs() < 1e-12);
    let [low, high] = with.cda_change_m2.interval_90.unwrap();
    let [l, h] = without.cda_change_m2.interval_90.unwrap();
    assert!(low < l && h < high);
}
