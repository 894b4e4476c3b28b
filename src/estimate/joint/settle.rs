//! The likeliest point of a day, by Gauss and Newton.

use super::explore::{Ended, Told, likeliest_gusts};
use super::layout::LOG_CDA;
use super::prior::Hyper;
use super::system::{Model, Point};

/// Steps of Gauss and Newton at most; four to eight are usual. One way, where the mean wind and the drag area pull at
/// each other, a step takes off three quarters of what is missing: up to 20 steps were seen (regression).
const MOST_STEPS: usize = 40;
/// Converged when no log drag area and no ratio moves by more.
const STILL: f64 = 1e-6;
/// The gusts' strength is searched once the steps are smaller than this.
const SETTLED_ENOUGH: f64 = 0.02;
/// The likeliest point.
pub struct Settled {
    pub point: Point,
    pub log_gust_q: f64,
    pub ended: Ended,
    pub steps: usize,
}

/// Gauss–Newton to the likeliest point, with the gusts' strength found on the way. `from`: a point near it.
pub fn settle(model: &Model, told: &Told, from: Option<&Settled>) -> Option<Settled> {
    let mut hyper = Hyper::medians();
    if let Some(sd) = told.wander_sd_m_s {
        hyper.wander = sd.ln();
    }
    if let Some(memory) = told.wander_memory_s {
        hyper.memory = memory.ln();
    }
    let mut point = match from {
        Some(near) => {
            hyper.gust_q = near.log_gust_q;
            near.point.clone()
        }
        None => {
            let mut point = model.prior_mean(hyper.gust_q);
            point[LOG_CDA] = rough_log_cda(model);
            point
        }
    };
    let mut found = None;
    for steps in 1..=MOST_STEPS {
        let pooled = model.pool(&point, hyper.gust_q)?;
        let next = model.solve(&point, &pooled, &hyper)?.point;
        let moved = movement(model, &point, &next);
        point = next;
        if !moved.is_finite() {
            return None;
        }
        match found {
            None if moved < SETTLED_ENOUGH || steps == MOST_STEPS => {
                let (log_gust_q, ended) = likeliest_gusts(model, &point, hyper, told);
                hyper.gust_q = log_gust_q;
                found = Some(ended);
            }
            Some(ended) if moved < STILL => {
                return Some(Settled {
                    point,
                    log_gust_q: hyper.gust_q,
                    ended,
                    steps,
                });
            }
            _ => {}
        }
    }
    Some(Settled {
        point,
        log_gust_q: hyper.gust_q,
        ended: Ended::NotConverged,
        steps: MOST_STEPS,
    })
}

/// From the whole of every pass, in the wind as it is known.
fn rough_log_cda(model: &Model) -> f64 {
    let (mut energy, mut air) = (0.0, 0.0);
    for c in &model.contributions {
        energy += c.energy_j.iter().sum::<f64>();
        air += c.air.iter().map(|a| a.still).sum::<f64>();
    }
    // Three spreads of the prior each way.
    (energy / air).clamp(0.1, 0.9).ln()
}

fn movement(model: &Model, from: &Point, to: &Point) -> f64 {
    (0..model.contributions.len())
        .map(|pass| (model.log_cda(to, pass) - model.log_cda(from, pass)).abs())
        .fold(0.0, f64::max)
}
