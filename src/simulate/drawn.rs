//! What an ordinary day brings, drawn: strengths of wind, how well the position is held, errors of what is believed.
//! Days of docs/accuracy.md and rehearsed days draw the same.

use super::plan::DayPlan;
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// Standard uncertainties of what the rider wrote: the truth differs by errors of these sizes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uncertain {
    pub crr: f64,
    pub total_mass_kg: f64,
    /// A ratio.
    pub power_scale: f64,
}

/// Of the power meter's zero. [W/h]
const DRIFT_W_PER_H: f64 = 1.5;

pub fn log_uniform(rng: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    rng.random_range(low.ln()..high.ln()).exp()
}

pub fn normal(rng: &mut ChaCha8Rng) -> f64 {
    rng.sample(StandardNormal)
}

/// Sets everything that differs from day to day, save the mean wind; errors of mass and Crr are the same in all set-ups.
///
/// The ranges are those of quiet to lively days (common practice, no published source).
pub fn draw_ordinary(plan: &mut DayPlan, uncertain: &Uncertain, rng: &mut ChaCha8Rng) {
    plan.wind.wander_sd_m_s = log_uniform(rng, 0.1, 0.8);
    plan.wind.wander_memory_s = 60.0 * log_uniform(rng, 5.0, 40.0);
    plan.wind.gust_along_sd_m_s = log_uniform(rng, 0.15, 0.8);
    plan.wind.gust_across_sd_m_s = log_uniform(rng, 0.15, 0.8);
    plan.rider.position_block_sd = log_uniform(rng, 0.003, 0.015);
    plan.rider.position_pass_sd = 0.5 * plan.rider.position_block_sd;
    let crr_off = uncertain.crr * normal(rng);
    let mass_off_kg = uncertain.total_mass_kg * normal(rng);
    for setup in &mut plan.setups {
        setup.crr += crr_off;
        setup.total_mass_kg += mass_off_kg;
    }
    plan.sensors.power_scale_error = uncertain.power_scale * normal(rng);
    plan.sensors.power_drift_w_per_h = DRIFT_W_PER_H * normal(rng);
}
