//! What a day will tell before it is ridden: the covariance of the fit at the passes that are planned.
//!
//! The information of a day does not depend on what its passes read, only on how they are ridden. So the passes of a
//! plan, made with a power that closes their balance, go into the same system as recorded ones; it is taken at the
//! truth they were made by. What no plan knows is how strong wind and rider vary: strengths are drawn from what is
//! known of any day, with no evidence, which a made day would give for days without any variation.

use super::Believed;
use super::answer::told_of_setups;
use super::explore::{Told, beforehand};
use super::layout::{GUST_SQUARE, LOG_CDA, MEAN_WIND};
use super::moved_about;
use super::prior::{HYPER_PRIOR, Hyper};
use super::system::{Model, Point};
use crate::course::Profile;
use crate::estimate::budget::Said;
use crate::estimate::cells::Shift;
use crate::estimate::plain::Day;
use crate::estimate::rolling::Rolling;
use std::ops::Range;

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
/// `points`: which of the strengths, numbered without end and spread evenly over what is known beforehand; their
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
    points
        .map(|index| {
            let hyper = beforehand(index, told);
            let point = at(&model, truth, hyper.gust_q);
            let pooled = model.pool(&point, hyper.gust_q)?;
            let solved = model.solve(&point, &pooled, &hyper)?;
            Some(Believed {
                weight,
                mean: functions.tr_mul(&point),
                covariance: solved.covariance(&functions),
            })
        })
        .collect()
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
