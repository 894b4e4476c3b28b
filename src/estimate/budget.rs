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
    /// On the log ratio of each set-up to the first.
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

/// What an error of one standard uncertainty in one input does to one output.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// Half the difference of the two ends: the sensitivity times the standard uncertainty, with its sign.
    pub first_order: f64,
    /// How far the mean of both ends is from the output at rest.
    pub second_order: f64,
}

impl Effect {
    pub fn size(&self) -> f64 {
        self.first_order.hypot(self.second_order)
    }
}

/// Moves each input in turn up and down by its standard uncertainty. `outputs` takes the input's index and its
/// error; `at_rest` are the outputs without any. An input that `outputs` has no answer for gives `None`.
///
/// One input at a time: what a product of two errors does (JCGM 100:2008, 5.1.2, note) is not seen.
pub fn effects(
    standard_uncertainties: &[f64],
    at_rest: &[f64],
    outputs: impl Fn(usize, f64) -> Option<Vec<f64>>,
) -> Vec<Option<Vec<Effect>>> {
    standard_uncertainties
        .iter()
        .enumerate()
        .map(|(input, u)| {
            let (up, down) = (outputs(input, *u)?, outputs(input, -u)?);
            let ends = up.iter().zip(&down).zip(at_rest);
            Some(
                ends.map(|((up, down), rest)| Effect {
                    first_order: 0.5 * (up - down),
                    second_order: 0.5 * (up + down) - rest,
                })
                .collect(),
            )
        })
        .collect()
}

/// The budget of what is common to all passes.
pub fn budget(day: &Day, rolling: &Rolling, at_rest: &Averages, inputs: &[SharedInput]) -> Vec<BudgetLine> {
    let uncertainties: Vec<f64> = inputs.iter().map(|input| input.standard_uncertainty).collect();
    let found = effects(&uncertainties, &outputs(at_rest), |input, error| {
        averages(day, rolling, &(inputs[input].shift)(error)).map(|a| outputs(&a))
    });
    inputs
        .iter()
        .zip(found)
        .filter_map(|(input, effects)| {
            let sizes: Vec<f64> = effects?.iter().map(Effect::size).collect();
            let (cda_m2, log_ratio) = sizes.split_at(at_rest.setups.len());
            Some(BudgetLine {
                input: input.input,
                standard_uncertainty: input.standard_uncertainty,
                unit: input.unit,
                inside: input.inside,
                effect_cda_m2: cda_m2.to_vec(),
                effect_log_ratio: log_ratio.to_vec(),
            })
        })
        .collect()
}

/// The drag area of each set-up, then the logarithm of its ratio to the first; NaN where there is no pass.
fn outputs(averages: &Averages) -> Vec<f64> {
    let cda_m2: Vec<f64> = averages
        .setups
        .iter()
        .map(|s| s.as_ref().map_or(f64::NAN, |s| s.cda_m2))
        .collect();
    let ratios: Vec<f64> = cda_m2.iter().map(|cda| (cda / cda_m2[0]).ln()).collect();
    [cda_m2, ratios].concat()
}

#[cfg(test)]
#[path = "budget_tests.rs"]
mod tests;

#[cfg(test)]
#[path = "guide_tests.rs"]
mod guide_tests;
