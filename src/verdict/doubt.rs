//! Where doubt is due: differences too good to be true, and what a null test says of the day.

use super::finding::{Call, Finding, LEVEL};
use super::stopwatch::{Leg, ridden_s};

/// A larger change of drag area nobody has published for posture or equipment on one bicycle: a whole posture
/// makes 6 to 15 %, a helmet 1 to 2 % (REFERENCES 10: Grappe 1997 and Defraeye 2010, M+; Lim 2011, S).
pub const LARGEST_PERCENT: f64 = 15.0;
/// A failed null test that chance gives less often than this is not chance.
const HARDLY_CHANCE: f64 = 0.02;
/// Drag areas are tried up to this factor either way, as a logarithm.
const MOST_LOG_RATIO: f64 = 1.4;

/// A difference that is sure by its interval, and larger than what posture and equipment are known to make.
/// What is merely uncertain is not doubted, and of a null pair the null test speaks.
/// It is about drag areas: tyres differ by more in their rolling resistance.
pub fn too_good(finding: &Finding) -> bool {
    let drag = &finding.cda_change_percent;
    let sure = drag
        .interval_90
        .is_some_and(|[low, high]| low > 0.0 || high < 0.0);
    finding.null_test.is_none() && sure && drag.value.abs() > LARGEST_PERCENT
}

/// The change of drag area that alone would make the raw difference of the times, in percent of the baseline's,
/// everything else as the baseline was ridden.
///
/// `None` where no drag area between a quarter and four times the baseline's would do, or nothing was ridden.
pub fn change_if_all_drag_percent(legs: &[Leg]) -> Option<f64> {
    let raw_s: f64 = legs
        .iter()
        .map(|leg| leg.setup.time_s - leg.baseline.time_s)
        .sum();
    let time_s = |log_ratio: f64| -> Option<f64> {
        legs.iter()
            .map(|leg| {
                let mut ridden = leg.baseline;
                ridden.rig.cda_m2 *= log_ratio.exp();
                ridden_s(leg, &ridden)
            })
            .sum()
    };
    let as_it_was_s = time_s(0.0)?;
    // Who stalls takes longer than anybody.
    let too_slow = |log_ratio: f64| time_s(log_ratio).is_none_or(|time| time - as_it_was_s > raw_s);
    let (mut low, mut high) = (-MOST_LOG_RATIO, MOST_LOG_RATIO);
    if legs.is_empty() || !raw_s.is_finite() || too_slow(low) || !too_slow(high) {
        return None;
    }
    while high - low > 1e-6 {
        let middle = 0.5 * (low + high);
        if too_slow(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(100.0 * (0.5 * (low + high)).exp_m1())
}

/// The stopwatch alone would tell of a change that nobody believes, and the estimate of a believable one that
/// leaves it out.
pub fn stopwatch_misleads(finding: &Finding, if_all_drag_percent: Option<f64>) -> bool {
    let Some([low, high]) = finding.cda_change_percent.interval_90 else {
        return false;
    };
    if_all_drag_percent.is_some_and(|percent| {
        percent.abs() > LARGEST_PERCENT
            && !(low..=high).contains(&percent)
            && finding.cda_change_percent.value.abs() <= LARGEST_PERCENT
    })
}

/// What a day makes of nothing: a set-up compared with itself under another name.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NullTest {
    /// Of what the pair is compared in; nothing but zero would be true.
    pub change_percent: f64,
    pub standard_uncertainty_percent: Option<f64>,
    /// That chance alone gives a change as large or larger, either way; `None` without an interval.
    pub chance_of_more: Option<f64>,
}

/// The same comparison, read as a null test: it calls no difference, for there is none.
pub fn as_null_test(finding: Finding) -> Finding {
    let change = finding.tested_percent();
    Finding {
        call: Call::NotResolved,
        looks: None,
        null_test: Some(NullTest {
            change_percent: change.value,
            standard_uncertainty_percent: change.standard_uncertainty,
            chance_of_more: finding
                .probability_lower
                .map(|lower| 2.0 * lower.min(1.0 - lower)),
        }),
        ..finding
    }
}

impl NullTest {
    /// Whether the interval holds zero; `None` where there is none. Of sound days one in ten fails.
    pub fn agrees(&self) -> Option<bool> {
        self.chance_of_more.map(|chance| chance >= 1.0 - LEVEL)
    }

    /// What it says of the day, without its subject: "came out 0.8 ± 1.5 % apart: as it should be".
    pub fn in_words(&self) -> String {
        let size = self.change_percent.abs();
        let (Some(uncertainty), Some(chance)) = (self.standard_uncertainty_percent, self.chance_of_more)
        else {
            return format!("came out {size:.1} % apart, and there is no interval to hold that against");
        };
        let apart = format!("came out {size:.1} ± {uncertainty:.1} % apart");
        if chance >= 1.0 - LEVEL {
            return format!("{apart}: as it should be");
        }
        let times = (1.0 / chance).round();
        let often = if times < 1000.0 {
            format!("once in {times:.0} times")
        } else {
            "less than once in 1000 times".to_string()
        };
        let advice = if chance < HARDLY_CHANCE {
            "do not believe the other intervals before you know why"
        } else {
            "look for a reason before you build on the other intervals"
        };
        format!("{apart}, which chance alone gives {often}: {advice}")
    }
}

#[cfg(test)]
#[path = "doubt_tests.rs"]
mod tests;
