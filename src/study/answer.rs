//! Estimates → set-ups with their combined uncertainty, and every pair compared.

use super::distrust::same_thing;
use super::looks::Order;
use super::yaw::Yaw;
use super::{SetupResult, Surveyed};
use crate::air::AirState;
use crate::estimate::budget::BudgetLine;
use crate::estimate::cells::{PassRide, Shift, rig};
use crate::estimate::joint::layout::differs;
use crate::estimate::joint::{Joint, Weighed};
use crate::estimate::plain::{Averages, Day, compare as compare_blocks};
use crate::estimate::rolling::Rolling;
use crate::physics::{RelativeWind, Rig, Surroundings, drag_force_n};
use crate::test_day::{Differs, Setup, TestDay};
use crate::verdict::{About, At, Finding, LEVEL, Pair, STATED_SPEED_M_S, StillAir, as_null_test, judge};

/// The baseline and the mean conditions of the day, for everything that is re-ridden or restated.
pub(super) struct AtWork {
    pub(super) rig: Rig,
    pub(super) air: AirState,
    pub(super) still_air: StillAir,
}

impl AtWork {
    pub(super) fn of(day: &Day, surveyed: &Surveyed, joint: &Joint, rolling: &Rolling) -> AtWork {
        let count = day.rides.len() as f64;
        let mean = |value: fn(&PassRide) -> f64| day.rides.iter().map(value).sum::<f64>() / count;
        let passes = || day.rides.iter().map(|ride| &surveyed.ridden.passes[ride.pass]);
        let known: Vec<f64> = passes()
            .map(|p| p.mean_power_w)
            .filter(|p| p.is_finite())
            .collect();
        let baseline = day.rides.iter().map(|r| r.setup).min().unwrap_or(0);
        let neutral = rig(&day.setups[baseline], &Shift::default());
        let air = AirState {
            temperature_c: mean(|r| r.air.temperature_c),
            density_kg_m3: mean(|r| r.air.density_kg_m3),
            density_standard_uncertainty_kg_m3: mean(|r| r.air.density_standard_uncertainty_kg_m3),
            wind_east_m_s: mean(|r| r.air.wind_east_m_s),
            wind_north_m_s: mean(|r| r.air.wind_north_m_s),
            wind_standard_uncertainty_m_s: mean(|r| r.air.wind_standard_uncertainty_m_s),
        };
        let around = Surroundings {
            air_density_kg_m3: air.density_kg_m3,
            gravity_m_s2: mean(|r| r.gravity_m_s2),
        };
        AtWork {
            rig: Rig {
                cda_m2: joint
                    .log_cda(baseline)
                    .map_or(f64::NAN, |(log_cda, _)| log_cda.exp()),
                crr: (neutral.crr + rolling.shift) * mean(PassRide::crr_factor),
                ..neutral
            },
            air,
            still_air: StillAir {
                power_w: known.iter().sum::<f64>() / known.len() as f64,
                entry_speed_m_s: passes().map(|p| p.entry_speed_m_s).sum::<f64>() / count,
                around,
            },
        }
    }
}

pub(super) fn setup_results(
    day: &Day,
    averages: &Averages,
    joint: &Joint,
    rolling: &Rolling,
    budget: &[BudgetLine],
) -> Vec<SetupResult> {
    let ridden: Vec<usize> = (0..day.setups.len())
        .filter(|s| averages.setups[*s].is_some())
        .collect();
    let lowest = (day.setups.len() > 2).then(|| joint.chance_of_lowest(&ridden));
    day.setups
        .iter()
        .enumerate()
        .map(|(index, setup)| {
            let drag = averages.setups[index].as_ref();
            let common = budget
                .iter()
                .filter(|line| !line.inside)
                .map(|line| line.effect_cda_m2[index].powi(2))
                .sum::<f64>()
                .sqrt();
            SetupResult {
                name: setup.name.clone(),
                // Of the logarithm: a drag area is not negative, and its errors are shares of it.
                cda_m2: drag.and_then(|_| {
                    let (log_cda, spread) = joint.log_cda(index)?;
                    let cda_m2 = log_cda.exp();
                    let spread = spread.with(common / cda_m2);
                    let interval = spread.interval(LEVEL).map(|off| (log_cda + off).exp());
                    Some((cda_m2, cda_m2 * spread.standard_uncertainty(), interval))
                }),
                crr: crr(index, setup, joint, rolling),
                blocks: drag.map_or(0, |d| d.blocks),
                passes: day.rides.iter().filter(|r| r.setup == index).count(),
                yaw: Yaw::of(day, joint, index),
                chance_lowest: lowest.as_ref().and_then(|l| {
                    let at = ridden.iter().position(|s| *s == index)?;
                    l.get(at).copied()
                }),
            }
        })
        .collect()
}

/// Rolling resistance of a set-up: what is known of all of them, and what the day says where this one differs.
fn crr(index: usize, setup: &Setup, joint: &Joint, rolling: &Rolling) -> (f64, f64) {
    let shared = setup.crr.value + rolling.shift;
    match joint.log_crr(index) {
        Some((log, spread)) if spread.standard_uncertainty() > 0.0 => {
            let value = shared * log.exp();
            (
                value,
                rolling
                    .standard_uncertainty
                    .hypot(value * spread.standard_uncertainty()),
            )
        }
        _ => (shared, rolling.standard_uncertainty),
    }
}

/// What the estimates hold, and what the shared inputs leave in them.
pub(super) struct Estimates<'a> {
    pub(super) day: &'a Day<'a>,
    pub(super) averages: &'a Averages,
    pub(super) joint: &'a Joint,
    /// Through the joint estimate.
    pub(super) budget: &'a [BudgetLine],
    /// Through the average of passes, of what the joint estimate has among its own unknowns.
    pub(super) of_average: &'a [BudgetLine],
}

/// Every pair: the later set-up against the earlier one.
pub(super) fn findings(
    of: &Estimates,
    results: &[SetupResult],
    at_work: &AtWork,
    test_day: &TestDay,
    order: Option<&Order>,
) -> Vec<Finding> {
    let ridden: Vec<usize> = (0..of.day.setups.len())
        .filter(|s| of.averages.setups[*s].is_some())
        .collect();
    let pairs = ridden.len() * ridden.len().saturating_sub(1) / 2;
    let mut pairs_at = Vec::new();
    for (position, &baseline) in ridden.iter().enumerate() {
        for &setup in &ridden[position + 1..] {
            let base = results[baseline]
                .cda_m2
                .unwrap_or((f64::NAN, f64::NAN, [f64::NAN; 2]));
            let neutral = rig(&of.day.setups[baseline], &Shift::default());
            let at = At {
                rig: Rig {
                    cda_m2: base.0,
                    crr: results[baseline].crr.0,
                    ..neutral
                },
                around: at_work.still_air.around,
                smallest_difference_percent: test_day.smallest_difference_percent,
                baseline_standard_uncertainty_m2: base.1,
                pairs,
            };
            pairs_at.extend(pair(of, [setup, baseline], &at).map(|pair| (pair, at)));
        }
    }
    let level = level_over_all(of, &pairs_at);
    pairs_at
        .iter()
        .map(|(pair, at)| {
            let mut finding = judge(pair, at);
            let of_pair = [pair.tested.setup, pair.tested.baseline];
            if let Some(schedule) = order.and_then(|order| order.schedule(of_pair)) {
                finding = finding.looked_at(&pair.tested, &schedule, at.smallest_difference_percent);
            }
            if let Some(level) = level {
                finding = finding.holding_together(&pair.tested, level);
            }
            if same_thing(of.day.setups, finding.setup, finding.baseline) {
                finding = as_null_test(finding);
            }
            finding
        })
        .collect()
}

/// The level for the interval of each pair at which all of them hold together; `None` with a single pair.
fn level_over_all(of: &Estimates, pairs: &[(Pair, At)]) -> Option<f64> {
    let shared: Vec<Vec<f64>> = of
        .budget
        .iter()
        .filter(|line| !line.inside)
        .map(|line| [line.effect_log_ratio.as_slice(), &line.effect_log_crr_ratio].concat())
        .collect();
    let tested: Vec<_> = pairs
        .iter()
        .map(|(pair, at)| ([pair.tested.setup, pair.tested.baseline], tested(pair.about, at)))
        .collect();
    (pairs.len() > 1)
        .then(|| of.joint.level_for_each(&tested, &shared, LEVEL))
        .flatten()
}

pub(super) fn pair(of: &Estimates, [setup, baseline]: [usize; 2], at: &At) -> Option<Pair> {
    let setups = of.day.setups;
    let about = about(setups, [setup, baseline]);
    // The effects on the two log ratios to the first set-up have one cause each: they subtract.
    let left = |lines: &mut dyn Iterator<Item = &BudgetLine>, weighed: Weighed| -> f64 {
        let apart = |effects: &[f64]| effects[setup] - effects[baseline];
        lines
            .map(|line| {
                let drag = weighed.drag * apart(&line.effect_log_ratio);
                drag + weighed.rolling * apart(&line.effect_log_crr_ratio)
            })
            .map(|effect| effect * effect)
            .sum()
    };
    let [drag_only, rolling_only] = [About::Drag, About::Rolling].map(|about| tested(about, at));
    let outside = || of.budget.iter().filter(|line| !line.inside);
    let common = left(&mut outside(), drag_only) + left(&mut of.of_average.iter(), drag_only);
    let pass_average = compare_blocks(of.averages, setup, baseline, common.sqrt())?;
    let typed = (setups[setup].crr.value / setups[baseline].crr.value).ln();
    let compare = |weighed: Weighed| {
        let common = left(&mut outside(), weighed).sqrt();
        let mut found = of
            .joint
            .compare([setup, baseline], weighed, common, pass_average.blocks)?;
        // What test.toml has of both is where the estimate of rolling resistance starts from.
        found.log_ratio += weighed.rolling * typed;
        Some(found)
    };
    let (drag, rolling) = match about {
        About::Drag => (Some(compare(drag_only)?), None),
        About::Rolling => (None, Some(compare(rolling_only)?)),
        About::Both => (Some(compare(drag_only)?), Some(compare(rolling_only)?)),
    };
    let tested = match (&drag, &rolling) {
        (Some(only), None) | (None, Some(only)) => only.clone(),
        _ => compare(tested(About::Both, at))?,
    };
    Some(Pair {
        about,
        tested,
        drag,
        rolling,
        pass_average,
    })
}

/// What the two differ in by test.toml.
pub fn about(setups: &[Setup], pair: [usize; 2]) -> About {
    let own = |s: usize| differs(setups, s);
    let both = match pair {
        [setup, 0] => [own(setup); 2],
        [setup, other] => [own(setup), own(other)],
    };
    match both {
        [Differs::Cda, Differs::Cda] => About::Drag,
        [Differs::Crr, Differs::Crr] => About::Rolling,
        _ => About::Both,
    }
}

/// What a test about this weighs: of both, the shares of air and tyres in their resistance together, at the stated
/// speed on the flat.
pub fn tested(about: About, at: &At) -> Weighed {
    let (drag, rolling) = match about {
        About::Drag => (1.0, 0.0),
        About::Rolling => (0.0, 1.0),
        About::Both => shares(at),
    };
    Weighed { drag, rolling }
}

fn shares(at: &At) -> (f64, f64) {
    let air_n = drag_force_n(
        at.rig.cda_m2,
        at.around.air_density_kg_m3,
        STATED_SPEED_M_S,
        RelativeWind::default(),
    );
    let tyres_n = at.rig.crr * at.rig.total_mass_kg * at.around.gravity_m_s2;
    let both_n = air_n + tyres_n;
    (air_n / both_n, tyres_n / both_n)
}
