//! Averages → set-ups with their combined uncertainty, and every pair compared.

use super::{SetupResult, Surveyed};
use crate::air::{AirState, UNKNOWN_WIND_M_S};
use crate::estimate::budget::BudgetLine;
use crate::estimate::cells::{PassRide, Shift, rig};
use crate::estimate::comparison::Spread;
use crate::estimate::plain::{Averages, Day, compare as compare_blocks};
use crate::estimate::rolling::Rolling;
use crate::physics::{Rig, Surroundings};
use crate::test_day::TestDay;
use crate::verdict::{At, Finding, StillAir, chance_of_lowest, judge};

/// The baseline and the mean conditions of the day, for everything that is re-ridden or restated.
pub(super) struct AtWork {
    pub(super) rig: Rig,
    pub(super) air: AirState,
    pub(super) still_air: StillAir,
}

impl AtWork {
    pub(super) fn of(day: &Day, surveyed: &Surveyed, averages: &Averages, rolling: &Rolling) -> AtWork {
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
                cda_m2: averages.setups[baseline].map_or(f64::NAN, |s| s.cda_m2),
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
    rolling: &Rolling,
    budget: &[BudgetLine],
) -> Vec<SetupResult> {
    let logs: Vec<(f64, Option<Spread>)> = averages
        .setups
        .iter()
        .flatten()
        .map(|s| {
            let relative = Spread {
                standard_uncertainty: s.spread.standard_uncertainty / s.cda_m2,
                ..s.spread
            };
            (s.cda_m2.max(1e-9).ln(), (s.blocks > 1).then_some(relative))
        })
        .collect();
    let all_ridden = logs.len() == day.setups.len();
    let lowest = (day.setups.len() > 2 && all_ridden)
        .then(|| chance_of_lowest(&logs))
        .flatten();
    day.setups
        .iter()
        .enumerate()
        .map(|(index, setup)| {
            let drag = averages.setups[index];
            let common = budget
                .iter()
                .map(|line| line.effect_cda_m2[index].powi(2))
                .sum::<f64>()
                .sqrt();
            SetupResult {
                name: setup.name.clone(),
                cda_m2: drag.map(|d| {
                    let combined = d.spread.with(common);
                    // Of the logarithm: a drag area is not negative, and its errors are shares of it.
                    let share = (combined.half_width(0.9) / d.cda_m2).exp();
                    (
                        d.cda_m2,
                        combined.standard_uncertainty,
                        [d.cda_m2 / share, d.cda_m2 * share],
                    )
                }),
                crr: (setup.crr.value + rolling.shift, rolling.standard_uncertainty),
                blocks: drag.map_or(0, |d| d.blocks),
                passes: day.rides.iter().filter(|r| r.setup == index).count(),
                yaw_rms_deg: yaw_rms_deg(day.rides.iter().filter(|r| r.setup == index)),
                chance_lowest: lowest.as_ref().map(|l| l[index]),
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
    budget: &[BudgetLine],
    results: &[SetupResult],
    at_work: &AtWork,
    test_day: &TestDay,
) -> Vec<Finding> {
    let ridden: Vec<usize> = (0..day.setups.len())
        .filter(|s| averages.setups[*s].is_some())
        .collect();
    let pairs = ridden.len() * ridden.len().saturating_sub(1) / 2;
    let mut findings = Vec::new();
    for (position, &baseline) in ridden.iter().enumerate() {
        for &setup in &ridden[position + 1..] {
            // The effects on the two log ratios to the first set-up have one cause each: they subtract.
            let common = budget
                .iter()
                .map(|line| (line.effect_log_ratio[setup] - line.effect_log_ratio[baseline]).powi(2))
                .sum::<f64>()
                .sqrt();
            let Some(comparison) = compare_blocks(averages, setup, baseline, common) else {
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
            findings.push(judge(&comparison, &at));
        }
    }
    findings
}
