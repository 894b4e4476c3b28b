use super::*;
use crate::estimate::made::{held, length_m, level, level_pass, setup};
use crate::estimate::student::t_quantile;
use Direction::{Forward, Reverse};

/// Passes given as drag area, direction, set-up, block.
fn averaged(passes: &[(f64, Direction, usize, usize)], out_and_back: bool) -> Averages {
    let setups = [setup("a"), setup("b")];
    let rides: Vec<PassRide> = passes
        .iter()
        .map(|(cda, way, s, block)| level_pass(*cda, *way, *s, *block))
        .collect();
    let day = Day {
        rides: &rides,
        setups: &setups,
        course_length_m: length_m(&level(0.3, &|_| 10.0)),
        shape: if out_and_back {
            crate::test_day::Shape::OutAndBack
        } else {
            crate::test_day::Shape::OneWay
        },
    };
    averages(&day, &held(), &Shift::default()).unwrap()
}

fn one_a_block(a: &[f64], b: &[f64]) -> Averages {
    let of = |values: &[f64], s: usize, first: usize| -> Vec<_> {
        values
            .iter()
            .enumerate()
            .map(|(i, cda)| (*cda, Forward, s, first + i))
            .collect()
    };
    averaged(&[of(a, 0, 0), of(b, 1, a.len())].concat(), false)
}

/// (D) Two blocks each: variances (ln x₁/x₂)²/2 of one block, halved for the mean; Satterthwaite's ν.
#[test]
fn the_comparison_is_welch_over_the_logarithms_of_the_blocks() {
    let found = compare(&one_a_block(&[0.30, 0.31], &[0.27, 0.285]), 1, 0, 0.0).unwrap();
    let expected = 0.5 * (0.27f64 * 0.285 / (0.30 * 0.31)).ln();
    assert!((found.log_ratio - expected).abs() < 1e-9, "{found:?}");
    let (a, b) = (
        (0.31f64 / 0.30).ln().powi(2) / 4.0,
        (0.285f64 / 0.27).ln().powi(2) / 4.0,
    );
    let spread = found.spread.unwrap();
    assert!((spread.standard_uncertainty() - (a + b).sqrt()).abs() < 1e-9);
    assert!((spread.degrees_of_freedom() - (a + b).powi(2) / (a * a + b * b)).abs() < 1e-6);
    assert!(
        (found.block_standard_deviation.unwrap() - (a + b).sqrt()).abs() < 1e-9,
        "n = 2: the same"
    );
    assert_eq!(found.blocks, [2, 2]);
}

/// Swapping the set-ups turns the sign of a log ratio, and scaling every drag area leaves it.
#[test]
fn a_log_ratio_does_not_mind_scale_and_turns_with_the_baseline() {
    let day = one_a_block(&[0.30, 0.31, 0.305], &[0.28, 0.285]);
    let (there, back) = (
        compare(&day, 1, 0, 0.0).unwrap(),
        compare(&day, 0, 1, 0.0).unwrap(),
    );
    assert!((there.log_ratio + back.log_ratio).abs() < 1e-12);
    assert!((there.ratio() * back.ratio() - 1.0).abs() < 1e-12);
    let wide = one_a_block(&[0.45, 0.465, 0.4575], &[0.42, 0.4275]);
    assert!((compare(&wide, 1, 0, 0.0).unwrap().log_ratio - there.log_ratio).abs() < 1e-9);
}

/// Three passes forward and one back: each direction counts once.
#[test]
fn the_directions_of_a_block_are_averaged_first() {
    let unbalanced = averaged(
        &[
            (0.34, Forward, 0, 0),
            (0.35, Forward, 0, 0),
            (0.36, Forward, 0, 0),
            (0.25, Reverse, 0, 0),
        ],
        true,
    );
    assert!(
        (unbalanced.blocks[0].cda_m2 - 0.30).abs() < 1e-9,
        "{:?}",
        unbalanced.blocks
    );
    assert!(unbalanced.blocks[0].balanced);
    // Laps and one-way passes have one direction only: a plain mean.
    let laps = averaged(&[(0.34, Forward, 0, 0), (0.36, Forward, 0, 0)], false);
    assert!((laps.blocks[0].cda_m2 - 0.35).abs() < 1e-9);
}

/// A block of one direction borrows what the others say of the wind: 0.33 forward, 0.27 reverse is ±10 %.
#[test]
fn a_block_of_one_direction_is_set_right_by_the_others() {
    let day = averaged(
        &[
            (0.33, Forward, 0, 0),
            (0.27, Reverse, 0, 0),
            (0.33, Forward, 0, 1),
            (0.27, Reverse, 0, 2),
        ],
        true,
    );
    let (effect, uncertainty) = day.forward_over_reverse.unwrap();
    assert!((effect - 0.2).abs() < 1e-9 && uncertainty > 0.0);
    for block in &day.blocks {
        assert!((block.cda_m2 - 0.30).abs() < 1e-9, "{block:?}");
    }
    assert_eq!(
        day.blocks.iter().map(|b| b.balanced).collect::<Vec<_>>(),
        [true, false, false]
    );
}

#[test]
fn one_block_of_a_set_up_gives_a_ratio_and_no_interval() {
    for (a, b) in [(vec![0.30], vec![0.28]), (vec![0.30, 0.31], vec![0.28])] {
        let found = compare(&one_a_block(&a, &b), 1, 0, 0.0).unwrap();
        assert!(found.ratio() < 1.0);
        assert_eq!(
            (
                found.spread.clone(),
                found.ratio_interval(0.9),
                found.probability_lower()
            ),
            (None, None, None)
        );
        assert_eq!(found.block_standard_deviation, None);
    }
    // Alone, it still carries a remounting's worth of error.
    let only = one_a_block(&[0.30], &[0.28]).setups[0].clone().unwrap();
    assert!(only.spread.standard_uncertainty() >= REMOUNTING_SHARE * 0.30);
}

#[test]
fn blocks_without_any_spread_have_no_interval_either() {
    let found = compare(&one_a_block(&[0.3, 0.3], &[0.3, 0.3]), 1, 0, 0.001).unwrap();
    assert!(found.log_ratio.abs() < 1e-9);
    // Equal to the last digit they never are: whatever is stated is finite and not below the common part.
    if let Some(spread) = found.spread {
        assert!(spread.standard_uncertainty() >= 0.001 && spread.degrees_of_freedom() > 0.0);
    }
}

/// What is common widens the interval and brings degrees of freedom.
#[test]
fn the_common_part_is_added_to_the_spread() {
    let day = one_a_block(&[0.30, 0.31], &[0.27, 0.285]);
    let (alone, with) = (
        compare(&day, 1, 0, 0.0).unwrap().spread.unwrap(),
        compare(&day, 1, 0, 0.02).unwrap().spread.unwrap(),
    );
    assert!((with.standard_uncertainty() - alone.standard_uncertainty().hypot(0.02)).abs() < 1e-12);
    assert!(with.degrees_of_freedom() > alone.degrees_of_freedom());
}

/// Common practice, no published source: 'three runs a set-up, averaged'. With passes that repeat to 2 % that is
/// ± t₀.₉₅(4) · 2 % · √(2/3) = ± 2.1318 · 1.633 % = ± 3.48 % (D): a helmet's 1 to 2 % stays unresolved.
#[test]
fn three_runs_a_set_up_do_not_resolve_two_per_cent() {
    let three = |middle: f64| {
        [0.98f64.ln(), 0.0, -(0.98f64.ln())].map(|off| middle * (off * 0.02 / 0.98f64.ln()).exp())
    };
    let found = compare(&one_a_block(&three(0.30), &three(0.30 * 0.98)), 1, 0, 0.0).unwrap();
    assert!((found.block_standard_deviation.unwrap() - 0.02).abs() < 1e-6);
    let half = found.spread.as_ref().unwrap().quantile(0.95);
    assert!((half - t_quantile(0.95, 4.0).unwrap() * 0.02 * (2.0 / 3.0f64).sqrt()).abs() < 1e-6);
    assert!((half - 0.0348).abs() < 5e-5, "{half}");
    let [low, high] = found.ratio_interval(0.9).unwrap();
    assert!(low < 0.98 && high > 1.0);
}

/// Common practice, no published source: 'repeat a run that is off'. Choosing which runs to repeat by their
/// result makes the rest look better than they are: of three runs at 2 % the two that agree best are on
/// average 0.9 % apart, not 2.3 % (D, 20 000 draws; the ratio of the two is what is asserted).
#[test]
fn the_two_of_three_that_agree_best_flatter_the_spread() {
    use rand::{Rng, SeedableRng};
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(3);
    let (mut best, mut any) = (0.0, 0.0);
    for _ in 0..20_000 {
        let mut runs: [f64; 3] = std::array::from_fn(|_| random.sample(rand_distr::StandardNormal));
        any += (runs[0] - runs[1]).abs();
        runs.sort_by(f64::total_cmp);
        best += (runs[1] - runs[0]).min(runs[2] - runs[1]);
    }
    assert!((0.35..0.45).contains(&(best / any)), "{}", best / any);
}

#[test]
fn equal_passes_are_believed_no_more_than_the_prior_allows() {
    let calm = averaged(&[(0.3, Forward, 0, 0); 4], false);
    let wild = averaged(
        &[
            (0.2, Forward, 0, 0),
            (0.4, Forward, 0, 0),
            (0.25, Forward, 0, 0),
            (0.35, Forward, 0, 0),
        ],
        false,
    );
    let (low, high) = (
        calm.passes[0].standard_uncertainty_m2,
        wild.passes[0].standard_uncertainty_m2,
    );
    assert!(low > 0.0 && high > 2.0 * low, "{low} {high}");
}
