//! The estimate of the day on data whose variance components are published: its evidence is the restricted
//! likelihood, and its mixture over strengths has the interval of the small sample.
//!
//! Readings enter as 1 + SCALE × (reading − its centre): so small that the priors of a mean and of a difference,
//! 35 and 30 % wide, are flat beside them, and the exponential of a log drag area is straight.

use super::contribution::Contribution;
use super::explore::{Told, explore};
use super::layout::{LOG_CDA, Layout, Own};
use super::prior::{CDA_LOG_SD, HYPER_PRIOR, Hyper};
use super::system::{Model, Solved};
use crate::estimate::comparison::Spread;
use crate::estimate::made::setup;
use crate::estimate::student::t_cdf;
use crate::test_day::Setup;
use argmin::core::{CostFunction, Executor};
use argmin::solver::neldermead::NelderMead;
use nalgebra::DMatrix;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

const SCALE: f64 = 1e-6;
/// A standard deviation that is as good as none.
const NONE: f64 = 1e-6;

/// Davies and Goldsmith 1972, yield of dyestuff in six batches (REFERENCES 6, S).
const DYESTUFF: [[f64; 5]; 6] = [
    [1545.0, 1440.0, 1440.0, 1520.0, 1580.0],
    [1540.0, 1555.0, 1490.0, 1560.0, 1495.0],
    [1595.0, 1550.0, 1605.0, 1510.0, 1560.0],
    [1445.0, 1440.0, 1595.0, 1465.0, 1545.0],
    [1595.0, 1630.0, 1515.0, 1635.0, 1625.0],
    [1520.0, 1455.0, 1450.0, 1480.0, 1445.0],
];
const DYESTUFF_MEAN: f64 = 1527.5;

/// Shoes of ten boys, material A on one foot and B on the other (MASS; REFERENCES 5.8, S).
const SHOES: [[f64; 2]; 10] = [
    [13.2, 14.0],
    [8.2, 8.8],
    [10.9, 11.2],
    [14.3, 14.2],
    [10.7, 11.8],
    [6.6, 6.4],
    [9.5, 9.8],
    [10.8, 11.3],
    [8.8, 9.3],
    [13.3, 13.6],
];

fn model(contributions: Vec<Contribution>, setups: usize) -> Model {
    let setups: Vec<Setup> = (0..setups).map(|s| setup(&format!("set-up {s}"))).collect();
    let layout = Layout::of(&contributions, &setups, None);
    Model {
        profile_precision: DMatrix::identity(layout.free_knots(), layout.free_knots()),
        layout,
        contributions,
        wind_standard_uncertainty_m_s: 1.0,
        cross_square_m2_s2: 0.0,
    }
}

/// About the prior's mean, with standard deviations in the units of the readings.
fn solved(model: &Model, block: f64, pass: f64) -> Solved {
    let [wander, memory, gust_q, ..] = Hyper::medians().to_array();
    let hyper = Hyper::from_array([wander, memory, gust_q, (block * SCALE).ln(), (pass * SCALE).ln()]);
    let point = model.prior_mean(gust_q);
    let pooled = model.pool(&point, gust_q).unwrap();
    model.solve(&point, &pooled, &hyper).unwrap()
}

fn scaled(readings: &[f64], centre: f64) -> Vec<f64> {
    readings.iter().map(|y| 1.0 + SCALE * (y - centre)).collect()
}

/// A batch is a pass and its readings are cells.
fn batches_as_passes(batch: f64, residual: f64) -> Solved {
    let passes = DYESTUFF.iter().enumerate().map(|(number, readings)| {
        let variance = (residual * SCALE).powi(2);
        Contribution::of_readings(0, number, &scaled(readings, DYESTUFF_MEAN), variance)
    });
    solved(&model(passes.collect(), 1), NONE, batch)
}

/// A batch is a block and each reading a pass of one cell, whose error is half the pass's own and half noise.
fn batches_as_blocks(batch: f64, residual: f64) -> Solved {
    let passes = DYESTUFF.iter().enumerate().flat_map(|(number, readings)| {
        let variance = 0.5 * (residual * SCALE).powi(2);
        scaled(readings, DYESTUFF_MEAN)
            .into_iter()
            .map(move |reading| Contribution::of_readings(0, number, &[reading], variance))
    });
    solved(&model(passes.collect(), 1), batch, residual * 0.5f64.sqrt())
}

/// −2 log restricted likelihood of the readings as they are, from the evidence of the scaled ones: the density
/// of the prior for the mean is that of its middle, and each of 29 contrasts was scaled.
fn reml_criterion(log_evidence: f64) -> f64 {
    let flat = -(CDA_LOG_SD * std::f64::consts::TAU.sqrt()).ln();
    -2.0 * (log_evidence - flat + 29.0 * SCALE.ln())
}

/// Sums of squares between and within batches (D).
fn sums_of_squares() -> [f64; 2] {
    let mean = |batch: &[f64; 5]| batch.iter().sum::<f64>() / 5.0;
    let between = DYESTUFF
        .iter()
        .map(|b| 5.0 * (mean(b) - DYESTUFF_MEAN).powi(2))
        .sum();
    let within = DYESTUFF
        .iter()
        .flat_map(|b| b.iter().map(move |y| (y - mean(b)).powi(2)))
        .sum();
    [between, within]
}

/// REFERENCES 6 (S, lme4's own tests): the criterion at relative standard deviations of 0 and 1 of the batches, each
/// with the best residual for it, and at the optimum.
#[test]
fn evidence_with_a_flat_mean_is_the_restricted_likelihood() {
    let [between, within] = sums_of_squares();
    let at = |relative: f64| {
        let residual = ((between / (1.0 + 5.0 * relative * relative) + within) / 29.0).sqrt();
        (relative * residual, residual)
    };
    let optimum = (1764.05f64.sqrt(), 2451.25f64.sqrt());
    for ((batch, residual), published) in [
        (at(0.0), 326.023232155879),
        (at(1.0), 319.792389042002),
        (optimum, 319.654276842342),
    ] {
        for found in [
            batches_as_passes(batch.max(NONE), residual),
            batches_as_blocks(batch.max(NONE), residual),
        ] {
            let criterion = reml_criterion(found.log_evidence);
            assert!(
                (criterion - published).abs() < 1e-6,
                "{batch} {residual}: {criterion}"
            );
        }
    }
}

struct Restricted;

impl CostFunction for Restricted {
    type Param = Vec<f64>;
    type Output = f64;

    fn cost(&self, logs: &Vec<f64>) -> Result<f64, argmin::core::Error> {
        Ok(-batches_as_passes(logs[0].exp(), logs[1].exp()).log_evidence)
    }
}

/// REFERENCES 6 (S): variances 1764.05 and 2451.25, mean 1527.5 ± 19.3834, and what each batch is off.
#[test]
fn the_most_evident_strengths_are_the_published_variance_components() {
    let start = vec![vec![3.0, 4.0], vec![4.0, 4.0], vec![3.0, 3.0]];
    let search = NelderMead::new(start).with_sd_tolerance(1e-12).unwrap();
    let found = Executor::new(Restricted, search)
        .configure(|s| s.max_iters(300))
        .run()
        .unwrap();
    let best = found.state.best_param.unwrap();
    let [batch, residual] = [best[0].exp(), best[1].exp()];
    assert!((batch * batch - 1764.05).abs() < 0.01, "{}", batch * batch);
    assert!(
        (residual * residual - 2451.25).abs() < 0.01,
        "{}",
        residual * residual
    );

    let solved = batches_as_passes(1764.05f64.sqrt(), 2451.25f64.sqrt());
    let mut mean = DMatrix::zeros(solved.point.len(), 1);
    mean[(LOG_CDA, 0)] = 1.0;
    let found = (solved.point[LOG_CDA] - 0.3f64.ln()) / SCALE;
    assert!(found.abs() < 1e-6, "{found}");
    assert!((solved.covariance(&mean)[(0, 0)].sqrt() / SCALE - 19.3834).abs() < 1e-4);
    let published = [-17.60685, 0.39126, 28.56223, -23.08454, 56.73319, -44.99529];
    let first = solved.point.len() - 3 * 6 + 6 * Own::LogDrag as usize;
    for (batch, expected) in published.into_iter().enumerate() {
        let found = solved.point[first + batch] / SCALE;
        assert!((found - expected).abs() < 1e-4, "{batch}: {found}");
    }
}

/// The shoes as a day: ten mountings of the rider, each with one pass of either set-up, whose error is half the
/// pass's own and half noise.
fn shoes(block: f64, pass: f64) -> (Model, Solved) {
    let passes = SHOES.iter().enumerate().flat_map(|(boy, pair)| {
        let variance = 0.5 * (pass * SCALE).powi(2);
        scaled(pair, 10.6)
            .into_iter()
            .enumerate()
            .map(move |(material, y)| Contribution::of_readings(material, boy, &[y], variance))
    });
    let model = model(passes.collect(), 2);
    let solved = solved(&model, block, pass * 0.5f64.sqrt());
    (model, solved)
}

/// Difference of the two set-ups, B less A, and its variance, in the units of the readings.
fn difference(model: &Model, solved: &Solved) -> (f64, f64) {
    let place = model.layout.drag[1].unwrap();
    let mut ratio = DMatrix::zeros(solved.point.len(), 1);
    ratio[(place, 0)] = 1.0;
    (
        solved.point[place] / SCALE,
        solved.covariance(&ratio)[(0, 0)] / SCALE / SCALE,
    )
}

/// REFERENCES 5.8: paired t −3.349 on 9 degrees of freedom (S, A less B); variances of boys and of shoes 6.100889 and
/// 0.0749444 (L). With these told the difference is that of the pairs, and its error theirs.
#[test]
fn pairs_within_a_block_are_compared_within_it() {
    let (model, solved) = shoes(6.100889f64.sqrt(), 0.0749444f64.sqrt());
    let (value, variance) = difference(&model, &solved);
    assert!((value - 0.41).abs() < 1e-6, "{value}");
    assert!(
        (value / variance.sqrt() - 3.349).abs() < 5e-4,
        "{}",
        value / variance.sqrt()
    );
}

/// Nobody tells the strengths: a normal distribution for each pair of them, weighted by its evidence, adds up to
/// Student's t on 9 degrees of freedom: 95 % from 0.133 to 0.687 and p 0.00854 (S). At the likeliest strengths
/// alone it would be 0.170 to 0.650 and p 0.0008 (D).
#[test]
fn weighting_by_evidence_makes_the_interval_of_the_small_sample() {
    let mut parts = Vec::new();
    // Even steps of the logarithms of both standard deviations, wide about what ten pairs allow.
    for pass in (0..=44).map(|k| -2.4 + 0.05 * f64::from(k)) {
        for block in (0..=12).map(|k| -0.4 + 0.25 * f64::from(k)) {
            let (model, solved) = shoes(f64::exp(block), f64::exp(pass));
            let (value, variance) = difference(&model, &solved);
            parts.push((solved.log_evidence, value, variance));
        }
    }
    let most = parts.iter().map(|p| p.0).fold(f64::NEG_INFINITY, f64::max);
    let normals: Vec<_> = parts
        .iter()
        .map(|(e, value, variance)| ((e - most).exp(), *value, *variance))
        .collect();
    let (value, spread) = Spread::mixture(&normals).unwrap();
    let [low, high] = spread.interval(0.95);
    assert!((value - 0.41).abs() < 1e-6);
    assert!(
        (value + low - 0.133).abs() < 2e-3 && (value + high - 0.687).abs() < 2e-3,
        "{low} {high}"
    );
    let p = 2.0 * spread.below(-value);
    assert!((p - 0.00854).abs() < 2e-4, "{p}");
}

/// pbkrtest's sugar beets, five plots in each of two harvests in each of three blocks (REFERENCES 5.8, S): a likelihood
/// ratio calls the harvests different with p 0.0003, while F(1, 2.00) = 15.2 has p 0.0599. Its data are in no
/// package that is used here; from its F our t says the same.
#[test]
fn three_blocks_leave_two_degrees_of_freedom() {
    let p = 2.0 * t_cdf(-(15.210526f64.sqrt()), 2.0).unwrap();
    assert!((p - 0.0599).abs() < 5e-5, "{p}");
}

/// ... and days of that kind, simulated: three mountings of each of two set-ups, three passes each, no true
/// difference, strengths drawn from their priors. As if passes were experiments, every third such day would be
/// called a difference at 90 %; the estimate, which is told no strength, does so one day in ten.
#[test]
fn three_mountings_are_not_taken_for_nine_experiments() {
    let mut random = ChaCha8Rng::seed_from_u64(7);
    let days = 150;
    let (mut naive, mut joint) = (0, 0);
    for _ in 0..days {
        let mut normal = || random.sample::<f64, _>(StandardNormal);
        let mut strength = |k: usize| HYPER_PRIOR[k].0 * (HYPER_PRIOR[k].1 * normal()).exp();
        let (block_sd, pass_sd) = (strength(3), strength(4));
        let mut logs: [Vec<f64>; 2] = Default::default();
        let mut passes = Vec::new();
        for block in 0..6 {
            let set = [0, 1, 1, 0, 0, 1][block];
            let mounted = block_sd * normal();
            for _ in 0..3 {
                let log = mounted + pass_sd * normal();
                logs[set].push(log);
                passes.push(Contribution::of_readings(set, block, &[log.exp()], 1e-8));
            }
        }
        let model = model(passes, 2);
        let told = Told::default();
        let settled = super::settle(&model, &told, None).unwrap();
        let nodes = explore(&model, &settled.point, settled.log_gust_q, &told);
        let place = model.layout.drag[1].unwrap();
        let mut ratio = DMatrix::zeros(model.layout.all(), 1);
        ratio[(place, 0)] = 1.0;
        let normals: Vec<_> = nodes
            .iter()
            .map(|n| {
                (
                    n.weight,
                    n.solved.point[place],
                    n.solved.covariance(&ratio)[(0, 0)],
                )
            })
            .collect();
        let (value, spread) = Spread::mixture(&normals).unwrap();
        let [low, high] = spread.interval(0.9);
        joint += usize::from(value + low > 0.0 || value + high < 0.0);
        let of_passes = crate::estimate::welch::welch(&logs[0], &logs[1]).unwrap();
        let spread = Spread::student(of_passes.standard_uncertainty, of_passes.degrees_of_freedom);
        naive += usize::from(spread.interval(0.9)[1] < of_passes.difference.abs());
    }
    let one_in_ten = 0.1 * days as f64;
    // Three standard deviations of a count.
    assert!(
        (joint as f64 - one_in_ten).abs() < 3.0 * (0.9 * one_in_ten).sqrt(),
        "{joint} of {days}"
    );
    assert!(naive * 4 > days, "{naive} of {days}");
}
