//! Averages → set-ups with their combined uncertainty, and every pair compared.

use super::doubts::same_thing;
use super::{SetupResult, Surveyed};
use crate::air::{AirState, UNKNOWN_WIND_M_S};
use crate::estimate::budget::BudgetLine;
use crate::estimate::cells::{PassRide, Shift, rig};
use crate::estimate::joint::Joint;
use crate::estimate::plain::{Averages, Day, compare as compare_blocks};
use crate::estimate::rolling::Rolling;
use crate::physics::{Rig, Surroundings};
use crate::test_day::TestDay;
use crate::verdict::{At, Finding, LEVEL, StillAir, as_null_test, judge};

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
                crr: neutral.crr + rolling.shift,
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
                crr: (setup.crr.value + rolling.shift, rolling.standard_uncertainty),
                blocks: drag.map_or(0, |d| d.blocks),
                passes: day.rides.iter().filter(|r| r.setup == index).count(),
                yaw_rms_deg: yaw_rms_deg(day.rides.iter().filter(|r| r.setup == index)),
                chance_lowest: lowest.as_ref().and_then(|l| {
                    let at = ridden.iter().position(|s| *s == index)?;
                    l.get(at).copied()
                }),
            }
        })
        .collect()
}

fn yaw_rms_deg<'a>(rides: impl Iterator<Item = &'a PassRide>) -> Option<f64> {
    let known = rides.filter(|r| r.air.wind_standard_uncertainty_m_s < UNKNOWN_WIND_M_S);
    let (mut squares, mut seconds) = (0.0, 0.0);
    for (yaw, duration_s) in known.flat_map(PassRide::yaws_deg) {
        squares += yaw * yaw * duration_s;
        seconds += duration_s;
    }
    (seconds > 0.0).then(|| (squares / seconds).sqrt())
}

/// Every pair: the later set-up against the earlier one.
pub(super) fn findings(
    day: &Day,
    averages: &Averages,
    joint: &Joint,
    budget: &[BudgetLine],
    results: &[SetupResult],
    at_work: &AtWork,
    test_day: &TestDay,
) -> Vec<Finding> {
    let ridden: Vec<usize> = (0..day.setups.len())
        .filter(|s| averages.setups[*s].is_some())
        .collect();
    let pairs = ridden.len() * ridden.len().saturating_sub(1) / 2;
    let shared: Vec<&[f64]> = budget
        .iter()
        .filter(|line| !line.inside)
        .map(|line| line.effect_log_ratio.as_slice())
        .collect();
    let level = (pairs > 1).then(|| joint.level_for_each(&ridden, &shared, LEVEL));
    let mut findings = Vec::new();
    for (position, &baseline) in ridden.iter().enumerate() {
        for &setup in &ridden[position + 1..] {
            // The effects on the two log ratios to the first set-up have one cause each: they subtract.
            let common = |inside_too: bool| {
                budget
                    .iter()
                    .filter(|line| inside_too || !line.inside)
                    .map(|line| (line.effect_log_ratio[setup] - line.effect_log_ratio[baseline]).powi(2))
                    .sum::<f64>()
                    .sqrt()
            };
            let Some(average) = compare_blocks(averages, setup, baseline, common(true)) else {
                continue;
            };
            let Some(comparison) = joint.compare(setup, baseline, common(false), average.blocks) else {
                continue;
            };
            let base = results[baseline]
                .cda_m2
                .unwrap_or((f64::NAN, f64::NAN, [f64::NAN; 2]));
            let neutral = rig(&day.setups[baseline], &Shift::default());
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
            let mut finding = judge(&comparison, &average, &at);
            if let Some(level) = level.flatten() {
                finding = finding.holding_together(&comparison, level);
            }
            if same_thing(day.setups, setup, baseline) {
                finding = as_null_test(finding);
            }
            findings.push(finding);
        }
    }
    findings
}
