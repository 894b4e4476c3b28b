//! A comparison put into the words and units a rider can use.

use super::doubt::NullTest;
use super::looks::Looks;
use super::power::blocks_to_resolve;
use crate::estimate::comparison::Comparison;
use crate::physics::{RelativeWind, Rig, Surroundings, crank_power_w, steady_speed_m_s};

/// The interval that every answer carries.
pub const LEVEL: f64 = 0.90;
/// 40 km/h, where watts and seconds are stated unless asked otherwise.
pub const STATED_SPEED_M_S: f64 = 40.0 / 3.6;
const STATED_DISTANCE_M: f64 = 40_000.0;
/// The chance with which more blocks should resolve the difference the rider cares about.
pub(super) const CHANCE: f64 = 0.80;
/// More blocks than this nobody rides.
const MOST_BLOCKS: usize = 100;

/// A number with what is known of its error; `None` where the data cannot say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimated {
    pub value: f64,
    pub standard_uncertainty: Option<f64>,
    pub interval_90: Option<[f64; 2]>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Call {
    LowerDrag,
    HigherDrag,
    NotResolved,
}

impl Call {
    /// By what the interval of a ratio leaves room for.
    pub(super) fn of(interval: Option<[f64; 2]>) -> Call {
        match interval {
            Some([_, high]) if high < 1.0 => Call::LowerDrag,
            Some([low, _]) if low > 1.0 => Call::HigherDrag,
            _ => Call::NotResolved,
        }
    }

    /// As in the JSON.
    pub fn as_text(self) -> &'static str {
        match self {
            Call::LowerDrag => "lower drag",
            Call::HigherDrag => "higher drag",
            Call::NotResolved => "not resolved",
        }
    }
}

/// What a difference is worth: watts at the crank, or seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Worth {
    pub value: f64,
    pub interval_90: Option<[f64; 2]>,
}

/// The rider and the air in which a difference is turned into watts and seconds: still air, flat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct At {
    /// The baseline, with its CdA.
    pub rig: Rig,
    pub around: Surroundings,
    pub smallest_difference_percent: f64,
    /// Combined, of the baseline's CdA.
    pub baseline_standard_uncertainty_m2: f64,
    /// How many pairs of set-ups are compared.
    pub pairs: usize,
}

/// What a pair of set-ups is compared in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum About {
    Drag,
    Rolling,
    /// The resistance of air and tyres together, at the stated speed on the flat.
    Both,
}

/// The estimates of one pair.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    pub about: About,
    /// The log ratio of what it is about: it makes the verdict.
    pub tested: Comparison,
    /// Of drag area, where it is among what is compared.
    pub drag: Option<Comparison>,
    /// Of rolling resistance, likewise.
    pub rolling: Option<Comparison>,
    /// Of drag area, by the plain average of passes.
    pub pass_average: Comparison,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    pub setup: usize,
    pub baseline: usize,
    pub about: About,
    /// Without an uncertainty, and 0, where the test is about rolling resistance alone.
    pub cda_change_percent: Estimated,
    /// Where the test is about rolling resistance.
    pub crr_change_percent: Option<Estimated>,
    /// Of air and tyres together at the stated speed, where the test is about both.
    pub resistance_change_percent: Option<Estimated>,
    /// Of drag area by the plain average of passes, to stand beside the answer.
    pub pass_average_percent: Estimated,
    pub cda_change_m2: Estimated,
    pub speed_m_s: f64,
    pub watts: Worth,
    pub seconds_per_40_km: Worth,
    pub probability_lower: Option<f64>,
    pub call: Call,
    /// Whole day's blocks on top of those ridden; 0 when resolved or known to be small; `None`: no reachable number.
    pub more_blocks_to_resolve: Option<usize>,
    /// The interval lies within ± the smallest difference that the rider cares about.
    pub known_to_be_small: bool,
    /// Holds over all pairs together; `None` with a single pair.
    pub interval_90_all_pairs_percent: Option<[f64; 2]>,
    /// Where both are the same thing under two names; then there is no call.
    pub null_test: Option<NullTest>,
    /// Where the plan is to look after every block: `call` and `known_to_be_small` are then those of this look.
    pub looks: Option<Looks>,
}

impl Finding {
    /// With the interval of the pair at the level at which those of all pairs hold together.
    pub fn holding_together(self, comparison: &Comparison, level: f64) -> Finding {
        Finding {
            interval_90_all_pairs_percent: comparison.ratio_interval(level).map(|i| i.map(percent)),
            ..self
        }
    }

    /// The change that the verdict is about.
    pub fn tested_percent(&self) -> &Estimated {
        let other = match self.about {
            About::Drag => None,
            About::Rolling => self.crr_change_percent.as_ref(),
            About::Both => self.resistance_change_percent.as_ref(),
        };
        other.unwrap_or(&self.cda_change_percent)
    }

    /// Resolved by itself, while the intervals of all pairs together leave room for no difference at all.
    pub fn resolved_only_alone(&self) -> bool {
        let holds_nothing = |[low, high]: [f64; 2]| low <= 0.0 && high >= 0.0;
        self.call != Call::NotResolved && self.interval_90_all_pairs_percent.is_some_and(holds_nothing)
    }
}

/// Turns a comparison into a finding. No new estimate is made here.
pub fn judge(pair: &Pair, at: &At) -> Finding {
    let comparison = &pair.tested;
    let ratio = comparison.ratio();
    let interval = comparison.ratio_interval(LEVEL);
    let small = at.smallest_difference_percent;
    let call = Call::of(interval);
    let known_to_be_small =
        interval.is_some_and(|[low, high]| percent(low) > -small && percent(high) < small);
    // Šidák: independent intervals at this level hold together at LEVEL; positively dependent ones more often.
    // An estimate that knows how the pairs depend on each other replaces it: `Finding::holding_together`.
    let together = LEVEL.powf(1.0 / at.pairs.max(1) as f64);
    Finding {
        setup: comparison.setup,
        baseline: comparison.baseline,
        about: pair.about,
        cda_change_percent: pair.drag.as_ref().map_or(UNCHANGED, change_percent),
        crr_change_percent: pair.rolling.as_ref().map(change_percent),
        resistance_change_percent: (pair.about == About::Both).then(|| change_percent(comparison)),
        pass_average_percent: change_percent(&pair.pass_average),
        cda_change_m2: pair.drag.as_ref().map_or(UNCHANGED, |drag| change_m2(drag, at)),
        speed_m_s: STATED_SPEED_M_S,
        watts: Worth {
            value: watts_more(at, pair.about, ratio),
            interval_90: interval.map(|i| i.map(|r| watts_more(at, pair.about, r))),
        },
        seconds_per_40_km: Worth {
            value: seconds_more(at, pair.about, ratio),
            interval_90: interval.map(|i| i.map(|r| seconds_more(at, pair.about, r))),
        },
        probability_lower: comparison.probability_lower(),
        call,
        more_blocks_to_resolve: more_blocks(comparison, call, known_to_be_small, small),
        known_to_be_small,
        interval_90_all_pairs_percent: (at.pairs > 1)
            .then(|| comparison.ratio_interval(together).map(|i| i.map(percent)))
            .flatten(),
        null_test: None,
        looks: None,
    }
}

/// Of what is not compared.
const UNCHANGED: Estimated = Estimated {
    value: 0.0,
    standard_uncertainty: None,
    interval_90: None,
};

pub(super) fn percent(ratio: f64) -> f64 {
    100.0 * (ratio - 1.0)
}

fn change_percent(comparison: &Comparison) -> Estimated {
    let ratio = comparison.ratio();
    let spread = comparison.spread.as_ref();
    Estimated {
        value: percent(ratio),
        standard_uncertainty: spread.map(|s| 100.0 * ratio * s.standard_uncertainty()),
        interval_90: comparison.ratio_interval(LEVEL).map(|i| i.map(percent)),
    }
}

/// The change in m² also carries the baseline's own error, in proportion to the change.
fn change_m2(drag: &Comparison, at: &At) -> Estimated {
    let (base_m2, base_su) = (at.rig.cda_m2, at.baseline_standard_uncertainty_m2);
    let ratio = drag.ratio();
    let interval = drag.ratio_interval(LEVEL);
    let su_log = drag.spread.as_ref().map(|s| s.standard_uncertainty());
    let value = base_m2 * (ratio - 1.0);
    let of_base = (ratio - 1.0) * base_su;
    let widen = |end: f64, z: f64| {
        let away = base_m2 * (end - 1.0) - value;
        value + away.signum() * away.hypot(z * of_base)
    };
    // 1.645: the normal quantile of the interval's level, for a common error of many degrees of freedom.
    Estimated {
        value,
        standard_uncertainty: su_log.map(|u| (base_m2 * ratio * u).hypot(of_base)),
        interval_90: interval.map(|i| i.map(|end| widen(end, 1.645))),
    }
}

/// The baseline's bike with what is compared `ratio` times as large.
fn with_change(at: &At, about: About, ratio: f64) -> Rig {
    let factor = |changes: bool| if changes { ratio } else { 1.0 };
    Rig {
        cda_m2: at.rig.cda_m2 * factor(about != About::Rolling),
        crr: at.rig.crr * factor(about != About::Drag),
        ..at.rig
    }
}

/// Watts at the crank that the set-up needs more than the baseline at the stated speed, flat and in still air.
fn watts_more(at: &At, about: About, ratio: f64) -> f64 {
    let power = |rig: &Rig| {
        crank_power_w(
            rig,
            &at.around,
            STATED_SPEED_M_S,
            RelativeWind::default(),
            0.0,
            0.0,
        )
    };
    power(&with_change(at, about, ratio)) - power(&at.rig)
}

/// Seconds more over a flat 40 km at the power with which the baseline rides at the stated speed.
fn seconds_more(at: &At, about: About, ratio: f64) -> f64 {
    let still = RelativeWind::default();
    let power_w = crank_power_w(&at.rig, &at.around, STATED_SPEED_M_S, still, 0.0, 0.0);
    steady_speed_m_s(&with_change(at, about, ratio), &at.around, power_w, 0.0, still)
        .map_or(f64::NAN, |speed| {
            STATED_DISTANCE_M / speed - STATED_DISTANCE_M / STATED_SPEED_M_S
        })
}

pub(super) fn more_blocks(
    comparison: &Comparison,
    call: Call,
    small: bool,
    smallest_percent: f64,
) -> Option<usize> {
    if call != Call::NotResolved || small {
        return Some(0);
    }
    let spread = comparison.block_standard_deviation?;
    let difference = (smallest_percent / 100.0).ln_1p();
    let each = blocks_to_resolve(difference, spread, 1.0 - LEVEL, CHANCE, MOST_BLOCKS)?;
    let missing = |have: usize| each.saturating_sub(have);
    // Already as many as should do: one more of each, since a chance of 80 % was not a promise.
    let more = missing(comparison.blocks[0]) + missing(comparison.blocks[1]);
    Some(if more == 0 { 2 } else { more })
}

#[cfg(test)]
#[path = "finding_tests.rs"]
pub(super) mod tests;
