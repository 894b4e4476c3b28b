//! The day → what the account of the stopwatch needs: how each set-up was ridden, by direction.

use super::{SetupResult, Surveyed};
use crate::air::UNKNOWN_WIND_M_S;
use crate::course::{Direction, Pass};
use crate::estimate::cells::{PassRide, Shift, ride_rig, rig};
use crate::estimate::joint::Joint;
use crate::estimate::plain::Day;
use crate::physics::Rig;
use crate::verdict::{
    AsRidden, Cause, Finding, Leg, NoAccount, Stopwatch, change_if_all_drag_percent, road, stopwatch,
    with_other_drag,
};
use crate::warning::Warning;
use rayon::prelude::*;

/// The account for one pair of set-ups.
#[derive(Debug, Clone, PartialEq)]
pub struct Stopwatched {
    pub account: Stopwatch,
    /// Of the set-up's line, from that of its drag area; `None` where the comparison has none.
    pub setup_interval_90_s: Option<[f64; 2]>,
    /// What change of drag area the raw difference would take if nothing else had made it.
    pub change_if_all_drag_percent: Option<f64>,
    /// False: of some of these passes the wind is hardly known, so that what it did is among the uneven riding and
    /// gusts.
    pub wind_known: bool,
}

/// What an estimate knows of a day, for its accounts.
pub(super) struct Known<'a> {
    pub day: &'a Day<'a>,
    pub surveyed: &'a Surveyed,
    pub setups: &'a [SetupResult],
    /// Of each ride of the day, where the air moves *to*: east, north, in m/s. `None`: nothing is known.
    pub winds_m_s: Vec<Option<[f64; 2]>>,
}

/// The wind of each ride as the joint estimate has it; `None` where it hardly knows more than before.
pub(super) fn winds_m_s(joint: &Joint) -> Vec<Option<[f64; 2]>> {
    joint
        .passes
        .iter()
        .map(|pass| {
            let known = pass.headwind_standard_uncertainty_m_s < 0.5 * UNKNOWN_WIND_M_S;
            known.then_some(pass.wind_m_s.map(|(wind, _)| wind))
        })
        .collect()
}

/// One account for each finding, in the same order; `None` where there is none, with a warning that says why.
pub(super) fn stopwatches(known: &Known, findings: &[Finding]) -> (Vec<Option<Stopwatched>>, Vec<Warning>) {
    let all: Vec<Result<Stopwatched, NoAccount>> = findings
        .par_iter()
        .map(|finding| of_pair(known, finding))
        .collect();
    let warnings = findings
        .iter()
        .zip(&all)
        .filter_map(|(finding, account)| {
            let names = [finding.baseline, finding.setup].map(|s| known.setups[s].name.as_str());
            account.as_ref().err().map(|why| no_account(*why, names))
        })
        .collect();
    (all.into_iter().map(Result::ok).collect(), warnings)
}

fn of_pair(known: &Known, finding: &Finding) -> Result<Stopwatched, NoAccount> {
    let base_m2 = known.setups[finding.baseline]
        .cda_m2
        .map_or(f64::NAN, |(cda, _, _)| cda);
    // The drag areas of the answer itself, so that this line and the verdict speak of the same difference.
    let with_drag = |percent: f64| legs(known, finding, [base_m2, base_m2 * (1.0 + percent / 100.0)]);
    let account = stopwatch(&with_drag(finding.cda_change_percent.value))?;
    let setup_s = |percent: f64| {
        let other = with_other_drag(&account, &with_drag(percent)).ok()?;
        Some(other.time_change_s(Cause::SetUp))
    };
    let ends = finding
        .cda_change_percent
        .interval_90
        .map(|[low, high]| Some([setup_s(low)?, setup_s(high)?]));
    let mut pair = known
        .day
        .rides
        .iter()
        .zip(&known.winds_m_s)
        .filter(|(ride, _)| ride.setup == finding.setup || ride.setup == finding.baseline);
    Ok(Stopwatched {
        account,
        setup_interval_90_s: ends.flatten(),
        change_if_all_drag_percent: change_if_all_drag_percent(&with_drag(0.0)),
        wind_known: pair.all(|(_, wind)| wind.is_some()),
    })
}

/// The directions that were ridden with both set-ups. `drag_m2`: of the baseline and of the set-up.
fn legs(known: &Known, finding: &Finding, drag_m2: [f64; 2]) -> Vec<Leg> {
    let gravity_m_s2 = mean(known.day.rides.iter().map(|ride| ride.gravity_m_s2));
    [Direction::Forward, Direction::Reverse]
        .into_iter()
        .filter_map(|direction| {
            Some(Leg {
                road: road(&known.surveyed.ridden.course, direction),
                gravity_m_s2,
                baseline: as_ridden(known, finding.baseline, direction, drag_m2[0])?,
                setup: as_ridden(known, finding.setup, direction, drag_m2[1])?,
            })
        })
        .collect()
}

/// Means over the passes of a set-up in one direction; `None` where there is none.
fn as_ridden(known: &Known, setup: usize, direction: Direction, cda_m2: f64) -> Option<AsRidden> {
    let own: Vec<(&PassRide, &Pass, [f64; 2])> = known
        .day
        .rides
        .iter()
        .zip(&known.winds_m_s)
        .filter(|(ride, _)| ride.setup == setup && ride.direction == direction)
        .map(|(ride, wind)| {
            let pass = &known.surveyed.ridden.passes[ride.pass];
            (ride, pass, wind.unwrap_or_default())
        })
        .collect();
    let of_passes = |value: fn(&Pass) -> f64| mean(own.iter().map(|(_, pass, _)| value(pass)));
    let of_setup = &known.day.setups[setup];
    // As weighed before the blocks, where it was.
    let masses_kg = own
        .iter()
        .map(|(ride, _, _)| ride_rig(ride, of_setup, &Shift::default()).total_mass_kg);
    (!own.is_empty()).then(|| AsRidden {
        rig: Rig {
            cda_m2,
            crr: known.setups[setup].crr.0 * mean(own.iter().map(|(ride, _, _)| ride.crr_factor())),
            total_mass_kg: mean(masses_kg),
            ..rig(of_setup, &Shift::default())
        },
        power_w: mean(own.iter().map(|(ride, pass, _)| power_w(ride, pass))),
        entry_speed_m_s: of_passes(|pass| pass.entry_speed_m_s),
        wind_east_m_s: mean(own.iter().map(|(_, _, [east, _])| *east)),
        wind_north_m_s: mean(own.iter().map(|(_, _, [_, north])| *north)),
        air_density_kg_m3: mean(own.iter().map(|(ride, _, _)| ride.air.density_kg_m3)),
        time_s: of_passes(Pass::duration_s),
    })
}

/// As recorded; without the drift of the meter's zero where that was read, which the steps know.
fn power_w(ride: &PassRide, pass: &Pass) -> f64 {
    if !ride.power_zero_noted {
        return pass.mean_power_w;
    }
    let steps = || ride.cells.iter().flat_map(|cell| &cell.steps);
    let work_j: f64 = steps().map(|step| step.power_w * step.duration_s).sum();
    work_j / ride.duration_s()
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
