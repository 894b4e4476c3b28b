//! Draws of what the test day says → times over an event.

use super::pacing::{self, Pacing};
use super::road::EventRoad;
use crate::physics::{Piece, Rig, Surroundings};
use crate::verdict::{Estimated, LEVEL, Worth};
use rayon::prelude::*;

/// Rolling off the line.
const ENTRY_SPEED_M_S: f64 = 2.0;

/// What is ridden with, and how.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// At the meter of the test day, mean over time.
    pub power_w: f64,
    pub pacing: Pacing,
    pub around: Surroundings,
    /// Where the air moves to, at rider height: east, north.
    pub wind_m_s: [f64; 2],
}

/// One draw of the rider and the bicycle: what the test day and its inputs may be.
#[derive(Debug, Clone, PartialEq)]
pub struct Rider {
    /// One for each set-up.
    pub rigs: Vec<Rig>,
    /// True power over what the meter shows.
    pub power_scale: f64,
}

/// Of one set-up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Times {
    pub time_s: Estimated,
    pub mean_speed_m_s: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Predicted {
    /// In the order of the set-ups.
    pub times: Vec<Times>,
    /// Of each later set-up less each earlier one.
    pub changes: Vec<Change>,
    /// Power on the level; the power asked for, unless the pacing varies it.
    pub level_power_w: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    pub setup: usize,
    pub baseline: usize,
    pub time_change_s: Estimated,
    /// Power that the set-up needs for the baseline's time, less what the baseline needs. [W]
    pub watts_at_equal_time: Worth,
}

/// `middle`: what the day says in the middle; `draws`: what else it may be. `None` where the rider would stall, at
/// the middle or in so many draws that no interval can be given (one in a hundred).
pub fn predict(
    road: &EventRoad,
    with: &Conditions,
    middle: &Rider,
    draws: &[Rider],
    progress: &(dyn Fn(usize) + Sync),
) -> Option<Predicted> {
    let pieces: Vec<Piece> = road.stretches.iter().map(|s| s.in_wind(with.wind_m_s)).collect();
    let first = middle.rigs.first()?;
    let level_power_w = pacing::level_power_w(
        first,
        &with.around,
        &pieces,
        with.pacing,
        with.power_w,
        ENTRY_SPEED_M_S,
    )?;
    let time_s = |rig: &Rig, level_w: f64| {
        pacing::ride(rig, &with.around, &pieces, with.pacing, level_w, ENTRY_SPEED_M_S)
            .map(|paced| paced.time_s)
    };
    let all_times = |rider: &Rider| -> Option<Vec<f64>> {
        let level_w = level_power_w * rider.power_scale;
        rider.rigs.iter().map(|rig| time_s(rig, level_w)).collect()
    };
    let at_middle = all_times(middle)?;
    let done = std::sync::atomic::AtomicUsize::new(0);
    let drawn: Vec<Vec<f64>> = draws
        .par_iter()
        .filter_map(|rider| {
            let times = all_times(rider);
            progress(done.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1);
            times
        })
        .collect();
    if drawn.len() * 100 < draws.len() * 99 {
        return None;
    }
    let column = |of: &dyn Fn(&[f64]) -> f64| drawn.iter().map(|times| of(times)).collect::<Vec<f64>>();
    let setups = middle.rigs.len();
    let times = (0..setups).map(|s| Times {
        time_s: estimated(at_middle[s], column(&|times| times[s])),
        mean_speed_m_s: road.length_m / at_middle[s],
    });
    let mut changes = Vec::new();
    for baseline in 0..setups {
        // Seconds a watt, at the power asked for: what turns a time into watts.
        let step_w = 1e-3 * level_power_w;
        let per_watt = |level_w: f64| time_s(&middle.rigs[baseline], level_w);
        let seconds_per_w =
            (per_watt(level_power_w + step_w)? - per_watt(level_power_w - step_w)?) / (2.0 * step_w);
        for setup in baseline + 1..setups {
            let change = estimated(
                at_middle[setup] - at_middle[baseline],
                column(&|times| times[setup] - times[baseline]),
            );
            let watts = equal_time_w(&at_middle, [setup, baseline], level_power_w, |level_w| {
                time_s(&middle.rigs[setup], level_w)
            })? * with.power_w
                / level_power_w;
            changes.push(Change {
                setup,
                baseline,
                time_change_s: change,
                watts_at_equal_time: Worth {
                    value: watts,
                    // About the exact value, by the slope: the interval is some per cent of the power at most.
                    interval_90: change
                        .interval_90
                        .map(|ends| ends.map(|end| watts + (end - change.value) / -seconds_per_w)),
                },
            });
        }
    }
    Some(Predicted {
        times: times.collect(),
        changes,
        level_power_w,
    })
}

/// Extra power on the level with which the set-up takes the baseline's time; by the secant.
fn equal_time_w(
    at_middle: &[f64],
    [setup, baseline]: [usize; 2],
    level_power_w: f64,
    time_s: impl Fn(f64) -> Option<f64>,
) -> Option<f64> {
    let wanted_s = at_middle[baseline];
    let (mut before_w, mut before_s) = (level_power_w, at_middle[setup]);
    let mut now_w = level_power_w * (at_middle[setup] / wanted_s).powi(2);
    for _ in 0..30 {
        if (now_w - before_w).abs() < 1e-9 * level_power_w {
            break;
        }
        let now_s = time_s(now_w)?;
        let slope = (now_s - before_s) / (now_w - before_w);
        (before_w, before_s) = (now_w, now_s);
        if slope == 0.0 || (now_s - wanted_s).abs() < 1e-9 * wanted_s {
            break;
        }
        now_w -= (now_s - wanted_s) / slope;
    }
    Some(now_w - level_power_w)
}

/// The value in the middle with the interval of the draws.
fn estimated(value: f64, mut drawn: Vec<f64>) -> Estimated {
    drawn.sort_by(f64::total_cmp);
    let count = drawn.len() as f64;
    let mean = drawn.iter().sum::<f64>() / count;
    let variance = drawn.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / (count - 1.0);
    let at = |share: f64| {
        let place = share * (count - 1.0);
        let (low, part) = (place.floor() as usize, place.fract());
        drawn.get(low).map(|a| {
            let b = drawn.get(low + 1).unwrap_or(a);
            a + part * (b - a)
        })
    };
    let ends = [0.5 - 0.5 * LEVEL, 0.5 + 0.5 * LEVEL].map(at);
    Estimated {
        value,
        standard_uncertainty: (count > 1.0).then(|| variance.sqrt()),
        interval_90: match ends {
            [Some(low), Some(high)] if count > 1.0 => Some([low, high]),
            _ => None,
        },
    }
}
