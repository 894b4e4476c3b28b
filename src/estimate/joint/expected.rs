//! What a day will tell before it is ridden: the covariance of the fit at the passes that are planned.
//!
//! The information of a day does not depend on what its passes read, only on how they are ridden. So the passes of a
//! plan, made with a power that closes their balance, go into the same system as recorded ones; it is taken at the
//! truth they were made by. What no plan knows is how strong wind and rider vary: strengths are spread over what days
//! in the open are like, with no evidence, which a made day would give for days without any variation.

use super::Believed;
use super::answer::told_of_setups;
use super::explore::{Told, even_point};
use super::layout::{GUST_SQUARE, LOG_CDA, MEAN_WIND};
use super::moved_about;
use super::prior::{HYPER_PRIOR, Hyper};
use super::system::{Model, Point, Pooled};
use crate::course::Profile;
use crate::estimate::budget::Said;
use crate::estimate::cells::Shift;
use crate::estimate::one_pass::GUST_MEMORY_S;
use crate::estimate::plain::Day;
use crate::estimate::rolling::Rolling;
use statrs::distribution::{ContinuousCDF, Normal};
use std::ops::Range;

/// What days in the open are like, from … to, alike in the logarithm: wander of the wind and its memory, gusts, and
/// remounting (judgement, no published source; the days of docs/accuracy.md are drawn like this). Within a block a
/// position is held twice as well. The prior of the estimate reaches further, since it must not be surprised: over it
/// the mean square of what a day tells is twice that of these days.
const WANDER_M_S: [f64; 2] = [0.1, 0.8];
const MEMORY_S: [f64; 2] = [300.0, 2400.0];
const GUSTS_M_S: [f64; 2] = [0.15, 0.8];
const REMOUNTING: [f64; 2] = [0.003, 0.015];
/// Steps of the gusts' strength, each of which costs summing up the day anew.
const GUST_LEVELS: usize = 5;

/// By what the passes of a plan were made.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// Of each set-up.
    pub log_cda: Vec<f64>,
    /// Rolling resistance is an unknown of the day instead of held, known beforehand to e^±0.30 as ratios are; for
    /// set-ups that do not differ in it.
    pub rolling_free: bool,
    /// East and north, where the air moves to, beyond what the passes' air says of it.
    pub wind_m_s: [f64; 2],
}

/// Covariances of the quantities of `Joint::drags` under some of the strengths that any day may have.
///
/// `points`: which of the days, numbered without end and spread evenly over what days in the open are like; their
/// weights are alike and sum to one. `None` without a pass, or where the numbers have no factor.
pub fn expected(
    day: &Day,
    profile: Option<&Profile>,
    rolling: &Rolling,
    truth: &Truth,
    told: &Told,
    points: Range<usize>,
) -> Option<Vec<Believed>> {
    let model = modelled(day, profile, rolling, truth, &Shift::default())?;
    let functions = told_of_setups(&model.layout, day.setups.len());
    let weight = 1.0 / points.len() as f64;
    let mut pools: Vec<(f64, Point, Pooled)> = Vec::new();
    points
        .map(|index| {
            let hyper = on_a_day(index, told);
            if !pools.iter().any(|(gust_q, _, _)| *gust_q == hyper.gust_q) {
                let point = at(&model, truth, hyper.gust_q);
                let pooled = model.pool(&point, hyper.gust_q)?;
                pools.push((hyper.gust_q, point, pooled));
            }
            let (_, point, pooled) = pools.iter().find(|(gust_q, _, _)| *gust_q == hyper.gust_q)?;
            let solved = model.solve(point, pooled, &hyper)?;
            Some(Believed {
                weight,
                mean: functions.tr_mul(point),
                covariance: solved.covariance(&functions),
            })
        })
        .collect()
}

/// Strengths of one of many days, by its number; what is told stands as told.
fn on_a_day(index: usize, told: &Told) -> Hyper {
    let normal = Normal::standard();
    let share = even_point(index, &normal).map(|z| normal.cdf(z));
    let between = |[low, high]: [f64; 2], share: f64| low.ln() + share * (high / low).ln();
    let level = (index % GUST_LEVELS) as f64 + 0.5;
    let gusts = between(GUSTS_M_S, level / GUST_LEVELS as f64);
    let block = between(REMOUNTING, share[3]);
    let drawn = [
        between(WANDER_M_S, share[0]),
        between(MEMORY_S, share[1]),
        (2.0 * GUST_MEMORY_S).ln() + 2.0 * gusts,
        block,
        block - 2f64.ln(),
    ];
    let logs = told.logs();
    Hyper::from_array(std::array::from_fn(|k| logs[k].unwrap_or(drawn[k])))
}

/// What the day says with shared inputs shifted, at the strengths in the middle of those known beforehand.
pub fn expected_moved(
    day: &Day,
    profile: Option<&Profile>,
    rolling: &Rolling,
    truth: &Truth,
    shift: &Shift,
) -> Option<Said> {
    let model = modelled(day, profile, rolling, truth, shift)?;
    let hyper = Hyper::from_array(HYPER_PRIOR.map(|(median, _)| median.ln()));
    let point = at(&model, truth, hyper.gust_q);
    moved_about(day, &model, point, &hyper)
}

fn modelled(
    day: &Day,
    profile: Option<&Profile>,
    rolling: &Rolling,
    truth: &Truth,
    shift: &Shift,
) -> Option<Model> {
    let mut model = super::model(day, profile, rolling, shift)?;
    if truth.rolling_free {
        model.layout.share_rolling();
    }
    Some(model)
}

fn at(model: &Model, truth: &Truth, log_gust_q: f64) -> Point {
    let mut point = model.prior_mean(log_gust_q);
    point[LOG_CDA] = truth.log_cda[0];
    for (setup, place) in model.layout.drag.iter().enumerate() {
        if let Some(place) = place {
            point[*place] = truth.log_cda[setup] - truth.log_cda[0];
        }
    }
    for (place, wind) in MEAN_WIND.into_iter().zip(truth.wind_m_s) {
        point[place] = wind;
    }
    // The passes are made without gusts.
    point[GUST_SQUARE] = 0.0;
    point
}
