//! The speed scale in words: what was set right, what could not be, and what to do about it.

use super::{Common, Own, SpeedScales};
use crate::study::Surveyed;
use crate::test_day::TestDay;
use crate::warning::Warning;

/// +1 % of speed is −3.2 % of CdA (docs/limits.md).
const CDA_OVER_SPEED: f64 = 3.2;
/// A scale that stands, although it seems farther off than this, is worth a word.
const WORTH_A_WORD: f64 = 0.01;
/// A given scale farther from the measured one than this many standard uncertainties is.
const DOUBTED: f64 = 3.0;

impl SpeedScales {
    pub(in crate::study) fn warnings(&self, surveyed: &Surveyed) -> Vec<Warning> {
        let mut all = Vec::new();
        all.extend(self.of_all());
        all.extend(self.of_setups(&surveyed.test_day));
        all
    }

    fn of_all(&self) -> Option<Warning> {
        let (scale, u) = self.measured?;
        let off = 100.0 * (1.0 / scale - 1.0);
        let seen = format!(
            "the speed reads {off:+.1} ± {:.1} % beside the positions of the rides and the length of the course",
            100.0 * u
        );
        let worth = format!("{:+.0} % of CdA", -CDA_OVER_SPEED * off);
        let rollout = "Set the wheel's circumference in the unit by a rollout";
        match self.common {
            Common::SetRight => Some(Warning::new(
                "speed scale",
                format!("{seen}: this, {worth}, is taken out"),
                format!(
                    "{rollout}; or write what you know as speed_scale into [sensors], and it stands instead."
                ),
            )),
            Common::AsRecorded | Common::Stands if off.abs() > 100.0 * WORTH_A_WORD.max(2.0 * u) => {
                Some(Warning::new(
                    "speed scale",
                    format!("{seen}, {worth}; it stands as recorded"),
                    format!("{rollout}; between set-ups on the same wheel it cancels."),
                ))
            }
            Common::Given => {
                let given = self.factors.first()?;
                let apart = u.hypot(self.common_standard_uncertainty);
                ((given / scale).ln().abs() > DOUBTED * apart).then(|| {
                    Warning::new(
                        "speed scale",
                        format!(
                            "speed_scale in test.toml is {given:.4}, but {seen}, which is a scale of {scale:.4} ± {u:.4}"
                        ),
                        "Measure the rollout again, or leave speed_scale away; what is written is used.",
                    )
                })
            }
            _ => None,
        }
    }

    fn of_setups(&self, day: &TestDay) -> Option<Warning> {
        let low = self.least(|a, b| a < b)?;
        let high = self.least(|a, b| a > b)?;
        let name = |setup: usize| format!("'{}'", day.setups[setup].name);
        let share = 100.0 * (self.factors[high] / self.factors[low] - 1.0);
        let u = 100.0 * self.own_standard_uncertainty[high].hypot(self.own_standard_uncertainty[low]);
        let apart = format!(
            "one turn of the wheel is {share:.2} ± {u:.2} % longer with {} than with {}",
            name(high),
            name(low)
        );
        let worth = format!("{:.1} % of CdA in the comparison", CDA_OVER_SPEED * share);
        match &self.own {
            Own::Found => Some(Warning::new(
                "speed scale of set-ups",
                format!("{apart}, as the passes show from gate to gate: this, {worth}, is taken out"),
                "If tyre and wheel stayed, look at the passes; if they were changed, note rollout_m before each block.",
            )),
            Own::Told { rollouts } => Some(Warning::new(
                "speed scale of set-ups",
                format!(
                    "{apart}, by {} the passes from gate to gate: this, {worth}, is taken out",
                    if *rollouts { "the rollouts and" } else { "" }
                )
                .replace("by  the", "by the"),
                if *rollouts {
                    "This takes the unit to have counted with one circumference throughout; the passes do not deny it."
                } else {
                    "Note rollout_m before each block: it tells the two apart better than the passes do."
                },
            )),
            Own::Contradicted {
                setup,
                by_rollouts,
                by_gates,
                standard_uncertainty,
            } => Some(Warning::new(
                "rollout",
                format!(
                    "with {} one turn of the wheel is {:+.2} % longer than with {} by the rollouts, but {:+.2} % by the \
                     passes from gate to gate (± {:.2} %): the unit was set anew, or one was measured wrong; the passes \
                     are believed",
                    name(*setup),
                    100.0 * by_rollouts,
                    name(0),
                    100.0 * by_gates,
                    100.0 * standard_uncertainty
                ),
                "Leave the circumference in the unit as it is for the whole day, or write speed_scale for each [[setup]].",
            )),
            Own::Same | Own::AsRecorded => None,
        }
    }

    /// The set-up whose factor goes before all others; `None` without set-ups.
    fn least(&self, before: fn(f64, f64) -> bool) -> Option<usize> {
        (0..self.factors.len()).reduce(|a, b| {
            if before(self.factors[b], self.factors[a]) {
                b
            } else {
                a
            }
        })
    }

    /// What the numbers rest on.
    pub(in crate::study) fn sentences(&self, day: &TestDay) -> Vec<String> {
        let mut all = Vec::new();
        let u = 100.0 * self.common_standard_uncertainty;
        match (self.common, self.measured) {
            (Common::SetRight, Some((scale, _))) => all.push(format!(
                "Speed is multiplied by {scale:.4} ± {:.4}, as the positions have it.",
                u / 100.0
            )),
            (Common::Stands, Some((scale, measured_u))) => all.push(format!(
                "Speed stands as recorded: beside the positions it reads {:+.2} ± {:.2} %, which is within its \
                 uncertainty or too little to matter; ± {u:.2} % is allowed for.",
                100.0 * (1.0 / scale - 1.0),
                100.0 * measured_u
            )),
            (Common::Stands, None) => all.push(format!(
                "Speed stands as recorded, ± {u:.1} %: nothing could be held against it."
            )),
            _ => {}
        }
        if let Own::Same = self.own
            && day.setups.len() > 1
        {
            all.push("The wheel is taken as the same in all set-ups, so that its size cancels.".to_string());
        }
        all
    }
}
