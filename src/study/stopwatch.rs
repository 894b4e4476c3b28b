//! The day → what the account of the stopwatch needs: how each set-up was ridden, by direction.

use super::{SetupResult, Surveyed};
use crate::air::UNKNOWN_WIND_M_S;
use crate::course::{Course, Direction, Pass};
use crate::estimate::cells::{PassRide, Shift, rig};
use crate::estimate::plain::Day;
use crate::physics::Rig;
use crate::verdict::{AsRidden, Cause, Finding, Leg, NoAccount, Stopwatch, road, stopwatch};
use crate::warning::Warning;

/// The account for one pair of set-ups.
#[derive(Debug, Clone, PartialEq)]
pub struct Stopwatched {
    pub account: Stopwatch,
    /// Of the set-up's line, from that of its drag area; `None` where the comparison has none.
    pub setup_interval_90_s: Option<[f64; 2]>,
    /// False: nobody knows the wind of these passes, so that what it did is among the uneven riding and gusts.
    pub wind_known: bool,
}

/// The wind of a pass as the day knows it, where the air moves *to*: east, north, in m/s. `None`: nothing is known.
fn wind_of(ride: &PassRide) -> Option<[f64; 2]> {
    let air = &ride.air;
    (air.wind_standard_uncertainty_m_s < UNKNOWN_WIND_M_S).then_some([air.wind_east_m_s, air.wind_north_m_s])
}

/// One account for each finding, in the same order; `None` where there is none, with a warning that says why.
pub(super) fn stopwatches(
    day: &Day,
    surveyed: &Surveyed,
    results: &[SetupResult],
    findings: &[Finding],
) -> (Vec<Option<Stopwatched>>, Vec<Warning>) {
    let mut warnings = Vec::new();
    let accounts = findings
        .iter()
        .map(|finding| match of_pair(day, surveyed, results, finding) {
            Ok(found) => Some(found),
            Err(why) => {
                let names = [finding.baseline, finding.setup].map(|s| day.setups[s].name.as_str());
                warnings.push(no_account(why, names));
                None
            }
        })
        .collect();
    (accounts, warnings)
}

fn of_pair(
    day: &Day,
    surveyed: &Surveyed,
    results: &[SetupResult],
    finding: &Finding,
) -> Result<Stopwatched, NoAccount> {
    let base_m2 = results[finding.baseline]
        .cda_m2
        .map_or(f64::NAN, |(cda, _, _)| cda);
    // The drag areas of the answer itself, so that this line and the verdict speak of the same difference.
    let with_change = |percent: f64| {
        let drag_m2 = [base_m2, base_m2 * (1.0 + percent / 100.0)];
        stopwatch(&legs(day, surveyed, results, finding, drag_m2))
    };
    let account = with_change(finding.cda_change_percent.value)?;
    let setup_s = |percent: f64| with_change(percent).ok().map(|a| a.time_change_s(Cause::SetUp));
    let ends = finding
        .cda_change_percent
        .interval_90
        .map(|ends| ends.map(setup_s));
    let pair = || {
        day.rides
            .iter()
            .filter(|r| r.setup == finding.setup || r.setup == finding.baseline)
    };
    Ok(Stopwatched {
        account,
        setup_interval_90_s: match ends {
            Some([Some(low), Some(high)]) => Some([low, high]),
            _ => None,
        },
        wind_known: pair().all(|ride| wind_of(ride).is_some()),
    })
}

/// The directions that were ridden with both set-ups. `drag_m2`: of the baseline and of the set-up.
fn legs(
    day: &Day,
    surveyed: &Surveyed,
    results: &[SetupResult],
    finding: &Finding,
    drag_m2: [f64; 2],
) -> Vec<Leg> {
    let course: &Course = &surveyed.ridden.course;
    let gravity_m_s2 = mean(day.rides.iter().map(|r| r.gravity_m_s2));
    let of = |setup: usize, direction: Direction, cda_m2: f64| {
        let rig = Rig {
            cda_m2,
            crr: results[setup].crr.0,
            ..rig(&day.setups[setup], &Shift::default())
        };
        as_ridden(day, surveyed, setup, direction, rig)
    };
    [Direction::Forward, Direction::Reverse]
        .into_iter()
        .filter_map(|direction| {
            Some(Leg {
                road: road(course, direction),
                gravity_m_s2,
                baseline: of(finding.baseline, direction, drag_m2[0])?,
                setup: of(finding.setup, direction, drag_m2[1])?,
            })
        })
        .collect()
}

/// Means over the passes of a set-up in one direction; `None` where there is none.
fn as_ridden(
    day: &Day,
    surveyed: &Surveyed,
    setup: usize,
    direction: Direction,
    rig: Rig,
) -> Option<AsRidden> {
    let own: Vec<(&PassRide, &Pass)> = day
        .rides
        .iter()
        .filter(|r| r.setup == setup && r.direction == direction)
        .map(|r| (r, &surveyed.ridden.passes[r.pass]))
        .collect();
    let of_rides = |value: fn(&PassRide) -> f64| mean(own.iter().map(|(ride, _)| value(ride)));
    let of_passes = |value: fn(&Pass) -> f64| mean(own.iter().map(|(_, pass)| value(pass)));
    let wind = |way: usize| mean(own.iter().map(|(ride, _)| wind_of(ride).unwrap_or_default()[way]));
    (!own.is_empty()).then(|| AsRidden {
        rig,
        power_w: of_passes(|pass| pass.mean_power_w),
        entry_speed_m_s: of_passes(|pass| pass.entry_speed_m_s),
        wind_east_m_s: wind(0),
        wind_north_m_s: wind(1),
        air_density_kg_m3: of_rides(|ride| ride.air.density_kg_m3),
        time_s: of_passes(Pass::duration_s),
    })
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
    sum / count
}

fn no_account(why: NoAccount, [baseline, setup]: [&str; 2]) -> Warning {
    match why {
        NoAccount::NothingInCommon => Warning::new(
            "stopwatch",
            format!(
                "'{baseline}' and '{setup}' were not ridden in the same direction, so their times cannot be compared"
            ),
            "Ride both set-ups both ways.",
        ),
        NoAccount::Stall => Warning::new(
            "stopwatch",
            format!(
                "the times of '{baseline}' and '{setup}' cannot be accounted for: with some of their conditions \
                 exchanged the rider would come to a stand on the course"
            ),
            "Compare rides of like power, entry speed and wind.",
        ),
    }
}

#[cfg(test)]
#[path = "stopwatch_tests.rs"]
mod tests;
