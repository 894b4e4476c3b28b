//! Which input is worth how much: each one moved by its standard uncertainty through the whole fit.
//!
//! After JCGM 100:2008, 5.1, by differences: both ways, so that what is first order and what is second order
//! (wind along an out-and-back course) both count.

use super::cells::Shift;
use rayon::prelude::*;

#[derive(Debug, Clone, PartialEq)]
pub struct BudgetLine {
    pub input: &'static str,
    pub standard_uncertainty: f64,
    pub unit: &'static str,
    /// The joint estimate carries it among its own unknowns already.
    pub inside: bool,
    /// The set-up that alone has this error; `None`: all share it.
    pub of_setup: Option<usize>,
    /// On each set-up's CdA, m²; NaN where it has no pass.
    pub effect_cda_m2: Vec<f64>,
    /// On the log ratio of each set-up's CdA to the first that was ridden.
    pub effect_log_ratio: Vec<f64>,
    /// ... and on that of rolling resistance, where a set-up differs in it.
    pub effect_log_crr_ratio: Vec<f64>,
}

/// One input that every pass shares.
#[derive(Debug, Clone, Copy)]
pub struct SharedInput {
    pub input: &'static str,
    pub standard_uncertainty: f64,
    pub unit: &'static str,
    pub inside: bool,
    /// The set-up that alone has this error; `None`: all share it.
    pub of_setup: Option<usize>,
    /// The shift for an error of this size.
    pub shift: fn(f64) -> Shift,
}

/// What an estimate says of each set-up.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    /// NaN for a set-up without a pass.
    pub log_cda: Vec<f64>,
    /// Log rolling resistance over what was assumed; 0 where a set-up does not differ in it.
    pub log_crr: Vec<f64>,
}

/// What an error of one standard uncertainty in one input does to one output.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// Half the difference of the two ends: the sensitivity times the standard uncertainty.
    pub first_order: f64,
    /// How far the mean of both ends is from the output at rest.
    pub second_order: f64,
}

impl Effect {
    /// Both orders together; with the sign of the first, so that the effects of one cause on two set-ups subtract.
    pub fn together(&self) -> f64 {
        self.first_order
            .hypot(self.second_order)
            .copysign(self.first_order)
    }
}

/// Moves each input in turn up and down by its standard uncertainty. `outputs` takes the input's index and its
/// error; `at_rest` are the outputs without any. An input that `outputs` has no answer for gives `None`.
///
/// One input at a time: what the product of two inputs' errors does is not seen.
pub fn effects(
    standard_uncertainties: &[f64],
    at_rest: &[f64],
    outputs: impl Fn(usize, f64) -> Option<Vec<f64>> + Sync,
) -> Vec<Option<Vec<Effect>>> {
    // Each end by itself: whole inputs would leave one core waiting for the other's last.
    let ends: Vec<Option<Vec<f64>>> = (0..2 * standard_uncertainties.len())
        .into_par_iter()
        .map(|end| {
            let u = standard_uncertainties[end / 2];
            outputs(end / 2, if end % 2 == 0 { u } else { -u })
        })
        .collect();
    ends.chunks_exact(2)
        .map(|of_input| {
            let (up, down) = (of_input[0].as_ref()?, of_input[1].as_ref()?);
            let ends = up.iter().zip(down).zip(at_rest);
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

/// The budget of what is common to all passes. `estimate`: the whole fit at a shift of its inputs.
pub fn budget(inputs: &[SharedInput], estimate: impl Fn(&Shift) -> Option<Said> + Sync) -> Vec<BudgetLine> {
    let Some(rest) = estimate(&Shift::default()) else {
        return Vec::new();
    };
    let uncertainties: Vec<f64> = inputs.iter().map(|input| input.standard_uncertainty).collect();
    let found = effects(&uncertainties, &outputs(&rest), |input, error| {
        let shift = Shift {
            speed_scale_of: inputs[input].of_setup,
            ..(inputs[input].shift)(error)
        };
        estimate(&shift).map(|said| outputs(&said))
    });
    inputs
        .iter()
        .zip(found)
        .filter_map(|(input, effects)| {
            let all: Vec<f64> = effects?.iter().map(Effect::together).collect();
            let setups = rest.log_cda.len();
            Some(BudgetLine {
                input: input.input,
                standard_uncertainty: input.standard_uncertainty,
                unit: input.unit,
                inside: input.inside,
                of_setup: input.of_setup,
                effect_cda_m2: all[..setups].to_vec(),
                effect_log_ratio: all[setups..2 * setups].to_vec(),
                effect_log_crr_ratio: all[2 * setups..].to_vec(),
            })
        })
        .collect()
}

/// The drag area of each set-up, then the log ratios to the first that was ridden: of drag area, and of rolling resistance.
fn outputs(said: &Said) -> Vec<f64> {
    // A set-up that was named and never ridden is nothing to compare with.
    let first = said.log_cda.iter().position(|log| log.is_finite()).unwrap_or(0);
    let over_first = |logs: &[f64]| -> Vec<f64> { logs.iter().map(|log| log - logs[first]).collect() };
    let cda_m2 = said.log_cda.iter().map(|log| log.exp()).collect();
    [cda_m2, over_first(&said.log_cda), over_first(&said.log_crr)].concat()
}

#[cfg(test)]
#[path = "budget_tests.rs"]
mod tests;

#[cfg(test)]
#[path = "guide_tests.rs"]
mod guide_tests;
