use super::*;
use crate::estimate::trials::log_risks;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// A day that found the ratio of two set-ups with these (weight, log ratio, variance), before it counted what it
/// believed beforehand.
fn day(setups: [usize; 2], found: &[(f64, f64, f64)]) -> DayDrags {
    let prior = RATIO_LOG_SD.powi(2);
    let believed = |(weight, x, v): &(f64, f64, f64)| {
        let covariance = 1.0 / (1.0 / v + 1.0 / prior);
        // Weight: that of the data, times how well they go with what was believed: N(x; 0, v + prior).
        let fits = (-0.5 * x * x / (v + prior)).exp() / (v + prior).sqrt();
        Believed {
            weight: weight * fits,
            mean: DVector::from_vec(vec![-1.2, -1.2 + covariance * x / v]),
            covariance: DMatrix::from_row_slice(2, 2, &[0.0, 0.0, 0.0, covariance]),
        }
    };
    DayDrags {
        setups: setups.to_vec(),
        drags: found.iter().map(believed).collect(),
        first_is_baseline: true,
        common: Vec::new(),
    }
}

fn plain_day(x: f64, v: f64) -> DayDrags {
    day([0, 1], &[(1.0, x, v)])
}

fn ratio(days: &[DayDrags], day_sd: Option<f64>) -> Comparison {
    combine(days, 2, day_sd).unwrap().compare(1, 0, [2, 2]).unwrap()
}

fn sd(comparison: &Comparison) -> f64 {
    comparison.spread.as_ref().unwrap().standard_uncertainty()
}

fn width(comparison: &Comparison) -> f64 {
    let [low, high] = comparison.spread.as_ref().unwrap().interval(0.9);
    high - low
}

/// Mean and variance of normal days by their precisions, with the prior of a ratio among them (D).
fn by_precision(days: &[(f64, f64)]) -> (f64, f64) {
    let all = days.iter().map(|(_, v)| 1.0 / v).sum::<f64>() + RATIO_LOG_SD.powi(-2);
    let mean = days.iter().map(|(x, v)| x / v).sum::<f64>() / all;
    (mean, 1.0 / all)
}

#[test]
fn without_a_day_effect_days_are_weighted_by_their_precision() {
    let days = [(-0.05, 4e-4), (-0.02, 1e-4), (0.01, 9e-4)];
    let found = ratio(&days.map(|(x, v)| plain_day(x, v)), Some(0.0));
    let (mean, variance) = by_precision(&days);
    assert!((found.log_ratio - mean).abs() < 1e-12, "{found:?}");
    assert!((sd(&found) / variance.sqrt() - 1.0).abs() < 1e-9);
}

#[test]
fn one_day_without_an_effect_says_what_it_said_alone() {
    let mut alone = day(
        [0, 1],
        &[(0.3, -0.05, 1e-4), (0.5, -0.04, 4e-4), (0.2, -0.02, 2e-3)],
    );
    alone.common = vec![CommonInput {
        input: "total mass",
        of_the_day: false,
        effect: vec![0.0, 0.01],
    }];
    let found = ratio(std::slice::from_ref(&alone), Some(0.0));
    let (mean, spread) = linear(&alone.drags, &[(1, 1.0), (0, -1.0)]).unwrap();
    let spread = spread.with(0.01);
    // Pieces are met in proportion to their weight, to one in 256.
    assert!(
        (found.log_ratio - mean).abs() < 2e-4,
        "{} {mean}",
        found.log_ratio
    );
    assert!((sd(&found) / spread.standard_uncertainty() - 1.0).abs() < 0.01);
}

/// What is published of these trials: a random-effects mean of −0.7145 ± 0.1798 at a restricted-likelihood variance
/// between trials of 0.3132, and without it −0.4303 ± 0.0405 (from memory, M+; recomputed L with Python 3.11:
/// −0.71453 ± 0.17978, 0.31324, −0.43029 ± 0.04050). Scaled by 0.01, so that the prior of a ratio weighs nothing.
#[test]
fn a_well_known_random_effects_analysis_comes_out() {
    let days = log_risks().map(|(x, v)| plain_day(0.01 * x, 1e-4 * v));
    let fixed = ratio(&days, Some(0.0));
    assert!((100.0 * fixed.log_ratio + 0.43029).abs() < 1e-4, "{fixed:?}");
    assert!((100.0 * sd(&fixed) - 0.04050).abs() < 1e-4);
    let between = 0.01 * 0.31324f64.sqrt();
    let found = ratio(&days, Some(between));
    assert!((100.0 * found.log_ratio + 0.71453).abs() < 1e-4, "{found:?}");
    assert!((100.0 * sd(&found) - 0.17978).abs() < 1e-4);

    let evidence = |variance: f64| {
        let over = combine(&days, 2, Some(0.01 * variance.sqrt())).unwrap();
        over.log_evidence
    };
    let best = (1000..6000)
        .step_by(5)
        .map(|k| f64::from(k) * 1e-4)
        .max_by(|a, b| evidence(*a).total_cmp(&evidence(*b)))
        .unwrap();
    assert!((best - 0.31324).abs() < 6e-4, "{best}");
}

/// Against brute force: 4000 steps over the day effect, written down from the definition (D).
#[test]
fn the_day_effect_is_integrated_over() {
    for (x, what) in [(-0.03, "agree"), (0.06, "disagree")] {
        let days = [(-0.04, 2e-4), (x, 1e-4)];
        let found = ratio(&days.map(|(x, v)| plain_day(x, v)), None);
        let (mut all, mut first, mut second, mut below) = (0.0, 0.0, 0.0, 0.0);
        let low = found.spread.as_ref().unwrap().quantile(0.05) + found.log_ratio;
        for step in 0..4000 {
            let z = -5.0 + 12.0 * f64::from(step) / 4000.0;
            let effect = (DAY_PRIOR.0 * (DAY_PRIOR.1 * z).exp()).powi(2);
            let wide = days.map(|(x, v)| (x, v + effect));
            let (mean, variance) = by_precision(&wide);
            // Evidence: the two days and the prior multiplied together and integrated over the ratio.
            let squares: f64 = wide.iter().map(|(x, v)| x * x / v).sum();
            let spreads: f64 = wide.iter().map(|(_, v)| v.ln()).sum();
            let log = -0.5 * (spreads + squares - mean * mean / variance - variance.ln()) - 0.5 * z * z;
            let weight = log.exp();
            let share = student_below((low - mean) / variance.sqrt());
            all += weight;
            first += weight * mean;
            second += weight * (variance + mean * mean);
            below += weight * share;
        }
        let mean = first / all;
        assert!((found.log_ratio - mean).abs() < 2e-5, "{what}: {found:?} {mean}");
        let brute = (second / all - mean * mean).sqrt();
        assert!(
            (sd(&found) / brute - 1.0).abs() < 0.01,
            "{what}: {} {brute}",
            sd(&found)
        );
        assert!((below / all - 0.05).abs() < 0.001, "{what}: {}", below / all);
    }
}

fn student_below(z: f64) -> f64 {
    crate::estimate::student::t_cdf(z, f64::INFINITY).unwrap()
}

/// Every piece of one day with every piece of the other, written out (D).
#[test]
fn mixtures_of_days_are_multiplied() {
    let one = [(0.5, -0.05, 1e-4), (0.3, -0.03, 4e-4), (0.2, -0.06, 2.5e-3)];
    let two = [(0.6, -0.01, 2e-4), (0.4, -0.04, 1.2e-3)];
    let found = ratio(&[day([0, 1], &one), day([0, 1], &two)], Some(0.0));
    let mut normals = Vec::new();
    for (weight, x, v) in one {
        for (other, y, u) in two {
            let (mean, variance) = by_precision(&[(x, v), (y, u)]);
            let squares = x * x / v + y * y / u - mean * mean / variance;
            let fits = (-0.5 * squares).exp() * (variance / (v * u)).sqrt();
            normals.push((weight * other * fits, mean, variance));
        }
    }
    let (mean, spread) = Spread::mixture(&normals).unwrap();
    // 256 meetings: a hundredth of the standard deviation.
    let brute = spread.standard_uncertainty();
    assert!(
        (found.log_ratio - mean).abs() < 0.02 * brute,
        "{} {mean}",
        found.log_ratio
    );
    assert!((sd(&found) / brute - 1.0).abs() < 0.02, "{} {brute}", sd(&found));
    let ends = spread.interval(0.9);
    for (own, other) in found.spread.unwrap().interval(0.9).iter().zip(ends) {
        assert!((own - other).abs() < 0.03 * brute, "{own} {other}");
    }
}

/// A against B on one day, B against C on another: the errors of both add up. By hand, from the normal equations of
/// the two ratios to A, each with its prior (D).
#[test]
fn set_ups_of_different_days_are_linked_by_the_one_in_common() {
    let days = [
        day([0, 1], &[(1.0, -0.04, 1e-4)]),
        day([1, 2], &[(1.0, -0.03, 2e-4)]),
    ];
    for day_sd in [0.0, 0.01f64] {
        let over = combine(&days, 3, Some(day_sd)).unwrap();
        let found = over.compare(2, 0, [2, 2]).unwrap();
        let (v, u) = (1e-4 + day_sd * day_sd, 2e-4 + day_sd * day_sd);
        let prior = RATIO_LOG_SD.powi(-2);
        let (bb, bc, cc) = (prior + 1.0 / v + 1.0 / u, -1.0 / u, prior + 1.0 / u);
        let (b, c) = (-0.04 / v + 0.03 / u, -0.03 / u);
        let determinant = bb * cc - bc * bc;
        let (mean, variance) = ((bb * c - bc * b) / determinant, bb / determinant);
        assert!((found.log_ratio - mean).abs() < 1e-9, "{found:?} {mean}");
        assert!((sd(&found) / variance.sqrt() - 1.0).abs() < 1e-9);
        assert!((variance / (v + u) - 1.0).abs() < 0.01 && (mean + 0.07).abs() < 7e-4);
    }
    let on_days = days.map(|d| d.setups);
    assert_eq!(linked(&on_days, 4), vec![0, 0, 0, 3]);
    assert_eq!(linked(&[vec![0, 1], vec![2, 3], vec![3, 1]], 4), vec![2, 2, 2, 2]);
}

/// Of two set-ups: the normal distribution's share below 0, by the comparison itself. Of three alike, which differ by
/// what a day makes of each: one third each (D). 0.5 % is the error of the draws.
#[test]
fn chances_of_being_the_lowest_are_those_of_the_ratios() {
    let two = combine(&[plain_day(-0.01, 1e-4)], 2, Some(0.0)).unwrap();
    let chance = two.chance_of_lowest(&[0, 1]);
    let below = two.compare(1, 0, [1, 1]).unwrap().probability_lower().unwrap();
    assert!((chance[1] - below).abs() < 0.015, "{chance:?} {below}");
    let alike = DayDrags {
        setups: vec![0, 1, 2],
        drags: vec![Believed {
            weight: 1.0,
            mean: DVector::zeros(3),
            covariance: DMatrix::identity(3, 3) * 1e-4,
        }],
        first_is_baseline: true,
        common: Vec::new(),
    };
    let three = combine(&[alike], 3, Some(0.01)).unwrap();
    for chance in three.chance_of_lowest(&[0, 1, 2]) {
        assert!((chance - 1.0 / 3.0).abs() < 0.015, "{chance}");
    }
    // Tukey: q(0.90; 3, ∞) = 2.902 (tables, M), and each pair then stands at 2 Φ(2.902/√2) − 1 = 0.9598 (D).
    let level = three.level_for_each(&[[1, 0], [2, 0], [2, 1]], 0.9).unwrap();
    assert!((level - 0.9598).abs() < 0.005, "{level}");
    assert_eq!(two.level_for_each(&[[1, 0]], 0.9), None);
}

#[test]
fn another_order_of_days_and_another_baseline_change_nothing() {
    let (a, b) = ([(0.7, -0.04, 1e-4), (0.3, -0.03, 9e-4)], [(1.0, -0.02, 2e-4)]);
    let there = ratio(&[day([0, 1], &a), day([0, 1], &b)], None);
    let turned = b.map(|(w, x, v)| (w, -x, v));
    let back = ratio(&[day([1, 0], &turned), day([0, 1], &a)], None);
    assert!((there.log_ratio - back.log_ratio).abs() < 0.01 * sd(&there));
    assert!((width(&there) / width(&back) - 1.0).abs() < 0.01);
}

#[test]
fn what_all_days_share_does_not_shrink_with_their_number() {
    let days = |of_the_day: bool| {
        [-0.05, -0.05, -0.05, -0.05].map(|x| DayDrags {
            common: vec![CommonInput {
                input: "any",
                of_the_day,
                effect: vec![0.0, 0.01],
            }],
            ..plain_day(x, 1e-6)
        })
    };
    let shared = sd(&ratio(&days(false), Some(0.0)));
    let own = sd(&ratio(&days(true), Some(0.0)));
    assert!((shared / 0.01 - 1.0).abs() < 0.01, "{shared}");
    assert!((own / 0.005 - 1.0).abs() < 0.01, "{own}");
}

#[test]
fn a_second_day_narrows_and_a_day_of_another_truth_widens() {
    let one = width(&ratio(&[plain_day(-0.04, 4e-4)], None));
    let two = width(&ratio(&[plain_day(-0.04, 4e-4), plain_day(-0.05, 4e-4)], None));
    let odd = width(&ratio(&[plain_day(-0.04, 4e-4), plain_day(0.08, 4e-4)], None));
    assert!(two < 0.85 * one, "{one} {two}");
    assert!(odd > 1.3 * two, "{two} {odd}");
}

/// Truth, day effects, errors and their strength drawn as the model says: nine intervals of ten hold the truth.
/// 600 draws: ± 1.2 % is one standard deviation.
#[test]
fn intervals_hold_the_truth_nine_times_in_ten() {
    let mut rng = ChaCha8Rng::seed_from_u64(20);
    let mut held = 0;
    for draw in 0..600 {
        let count = 2 + draw % 4;
        let mut normal = || rng.sample::<f64, _>(StandardNormal);
        let truth = 0.05 * normal();
        let day_sd = DAY_PRIOR.0 * (DAY_PRIOR.1 * normal()).exp();
        let days: Vec<DayDrags> = (0..count)
            .map(|_| {
                let error = 0.01 * (0.5 * normal()).exp();
                plain_day(truth + day_sd * normal() + error * normal(), error * error)
            })
            .collect();
        let found = ratio(&days, None);
        let [low, high] = found.ratio_interval(0.9).unwrap();
        held += usize::from((low..=high).contains(&truth.exp()));
    }
    assert!((520..=560).contains(&held), "{held} of 600");
}

#[test]
fn days_that_tell_nothing_give_nothing() {
    assert_eq!(combine(&[], 2, None), None);
    let mut alone = plain_day(0.0, 1e-4);
    alone.setups.truncate(1);
    assert_eq!(combine(&[alone.clone()], 2, None), None);
    let other = plain_day(-0.03, 1e-4);
    assert_eq!(
        combine(&[alone, other.clone()], 2, None),
        combine(&[other], 2, None)
    );
    let broken = plain_day(f64::NAN, 1e-4);
    assert_eq!(combine(&[broken], 2, None), None);
}

/// Welch and Satterthwaite by hand: u² = (0.02² + 0.01²)/4, ν = u⁴ / (0.01⁴/3 + 0.005⁴/5) (D).
#[test]
fn the_plain_mean_of_days_carries_their_uncertainties() {
    let of = |log_ratio, spread| Comparison {
        setup: 1,
        baseline: 0,
        log_ratio,
        spread,
        block_standard_deviation: None,
        blocks: [2, 2],
    };
    let days = [
        of(-0.04, Some(Spread::student(0.02, 3.0))),
        of(-0.02, Some(Spread::student(0.01, 5.0))),
    ];
    let found = mean_of_days(&days).unwrap();
    let spread = found.spread.as_ref().unwrap();
    let variance = 1e-4 + 2.5e-5;
    assert!((found.log_ratio + 0.03).abs() < 1e-15);
    assert!((spread.standard_uncertainty() - f64::sqrt(variance)).abs() < 1e-15);
    let freedom = variance * variance / (1e-8 / 3.0 + 6.25e-10 / 5.0);
    assert!((spread.degrees_of_freedom() - freedom).abs() < 1e-9);
    assert_eq!(found.blocks, [4, 4]);
    assert_eq!(
        mean_of_days(&[days[0].clone(), of(0.0, None)]).unwrap().spread,
        None
    );
    assert_eq!(mean_of_days(&[]), None);
}
