//! Which input is worth how much: each one moved by its standard uncertainty through the whole fit.
//!
//! After JCGM 100:2008, 5.1, by differences: both ways, so that what is first order and what is second order
//! (wind along an out-and-back course) both count.

use super::cells::Shift;

#[derive(Debug, Clone, PartialEq)]
pub struct BudgetLine {
    pub input: &'static str,
    pub standard_uncertainty: f64,
    pub unit: &'static str,
    /// The joint estimate carries it among its own unknowns already.
    pub inside: bool,
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

/// The budget of what is common to all passes. `estimate`: the whole fit at a shift of its inputs.
pub fn budget(inputs: &[SharedInput], estimate: impl Fn(&Shift) -> Option<Said>) -> Vec<BudgetLine> {
    let Some(rest) = estimate(&Shift::default()) else {
        return Vec::new();
    };
    // A set-up that was named and never ridden is nothing to compare with.
    let first = rest.log_cda.iter().position(|log| log.is_finite()).unwrap_or(0);
    inputs
        .iter()
        .filter_map(|input| {
            let side = |sign: f64| estimate(&(input.shift)(sign * input.standard_uncertainty));
            let (up, down) = (side(1.0)?, side(-1.0)?);
            let effects = |value: &dyn Fn(&Said, usize) -> f64| {
                (0..rest.log_cda.len())
                    .map(|s| effect(value(&up, s), value(&down, s), value(&rest, s)))
                    .collect()
            };
            Some(BudgetLine {
                input: input.input,
                standard_uncertainty: input.standard_uncertainty,
                unit: input.unit,
                inside: input.inside,
                effect_cda_m2: effects(&|said, s| said.log_cda[s].exp()),
                effect_log_ratio: effects(&|said, s| said.log_cda[s] - said.log_cda[first]),
                effect_log_crr_ratio: effects(&|said, s| said.log_crr[s] - said.log_crr[first]),
            })
        })
        .collect()
}

/// First order by the central difference, second order by the mean shift of both ends, together; with the sign of
/// the first, so that the effects of one cause on two set-ups subtract.
fn effect(up: f64, down: f64, rest: f64) -> f64 {
    let first = 0.5 * (up - down);
    first.hypot(0.5 * (up + down) - rest).copysign(first)
}

#[cfg(test)]
#[path = "budget_tests.rs"]
mod tests;
