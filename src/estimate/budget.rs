//! Which input is worth how much: each one moved by its standard uncertainty through the whole fit.
//!
//! After JCGM 100:2008, 5.1, by differences: both ways, so that what is first order and what is second order
//! (wind along an out-and-back course) both count.

use super::cells::Shift;
use super::plain::{Averages, Day, averages};
use super::rolling::Rolling;

#[derive(Debug, Clone, PartialEq)]
pub struct BudgetLine {
    pub input: &'static str,
    pub standard_uncertainty: f64,
    pub unit: &'static str,
    /// The joint estimate carries it among its own unknowns already.
    pub inside: bool,
    /// On each set-up's CdA, m²; NaN where it has no pass.
    pub effect_cda_m2: Vec<f64>,
    /// On the log ratio of each set-up to the first that was ridden.
    pub effect_log_ratio: Vec<f64>,
}

/// One input that every pass shares.
#[derive(Debug, Clone, Copy)]
pub struct SharedInput {
    pub input: &'static str,
    pub standard_uncertainty: f64,
    pub unit: &'static str,
    pub inside: bool,
    /// The shift for an error of this size.
    pub shift: fn(f64) -> Shift,
}

/// The budget of what is common to all passes.
pub fn budget(day: &Day, rolling: &Rolling, at_rest: &Averages, inputs: &[SharedInput]) -> Vec<BudgetLine> {
    let rest = cda_m2(at_rest);
    let first = rest.iter().position(|cda_m2| cda_m2.is_finite()).unwrap_or(0);
    inputs
        .iter()
        .filter_map(|input| {
            let side = |sign: f64| {
                averages(day, rolling, &(input.shift)(sign * input.standard_uncertainty)).map(|a| cda_m2(&a))
            };
            let (up, down) = (side(1.0)?, side(-1.0)?);
            let ratio = |all: &[f64], s: usize| (all[s] / all[first]).ln();
            let count = rest.len();
            Some(BudgetLine {
                input: input.input,
                standard_uncertainty: input.standard_uncertainty,
                unit: input.unit,
                inside: input.inside,
                effect_cda_m2: (0..count).map(|s| effect(up[s], down[s], rest[s])).collect(),
                effect_log_ratio: (0..count)
                    .map(|s| effect(ratio(&up, s), ratio(&down, s), ratio(&rest, s)))
                    .collect(),
            })
        })
        .collect()
}

fn cda_m2(averages: &Averages) -> Vec<f64> {
    averages
        .setups
        .iter()
        .map(|s| s.as_ref().map_or(f64::NAN, |s| s.cda_m2))
        .collect()
}

/// First order by the central difference, second order by the mean shift of both ends, together.
fn effect(up: f64, down: f64, rest: f64) -> f64 {
    (0.5 * (up - down)).hypot(0.5 * (up + down) - rest)
}

#[cfg(test)]
#[path = "budget_tests.rs"]
mod tests;
