//! What one rehearsed day said, against its truth.

use super::looked::Stopped;
use crate::study::Compared;
use crate::verdict::Call;

/// One day, from 1.
#[derive(Debug, Clone, PartialEq)]
pub struct RehearsedDay {
    pub number: usize,
    /// Whether it was ridden with the difference that is looked for.
    pub different: bool,
    /// Each set-up against the first, but for two names of the same thing; or why there was no answer.
    pub outcome: Result<Vec<Judged>, String>,
    /// Looked at after every block, where the plan says so and the day gave an answer.
    pub looked: Option<Vec<Stopped>>,
}

/// One answer and the truth, of what the test is about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    pub setup: usize,
    pub true_percent: f64,
    pub value_percent: f64,
    pub standard_uncertainty_percent: Option<f64>,
    pub interval_90_percent: Option<[f64; 2]>,
    pub call: Call,
}

impl Judged {
    /// Of the true ratio.
    pub fn off_percent(&self) -> f64 {
        100.0 * ((100.0 + self.value_percent) / (100.0 + self.true_percent) - 1.0)
    }

    /// `None` without an interval.
    pub fn held(&self) -> Option<bool> {
        let [low, high] = self.interval_90_percent?;
        Some((low..=high).contains(&self.true_percent))
    }
}

pub(super) fn judged(compared: &Compared, true_percent: impl Fn(usize) -> f64) -> Vec<Judged> {
    let against_first = compared
        .findings
        .iter()
        .filter(|finding| finding.baseline == 0 && finding.null_test.is_none());
    against_first
        .map(|finding| {
            let said = finding.tested_percent();
            Judged {
                setup: finding.setup,
                true_percent: true_percent(finding.setup),
                value_percent: said.value,
                standard_uncertainty_percent: said.standard_uncertainty,
                interval_90_percent: said.interval_90,
                call: finding.call,
            }
        })
        .collect()
}
