//! Warnings about the answer itself: too good to be true, a null test that failed, mountings that nobody repeated.

use super::SetupResult;
use crate::air::UNKNOWN_WIND_M_S;
use crate::estimate::cells::PassRide;
use crate::estimate::joint::prior::HYPER_PRIOR;
use crate::estimate::plain::Day;
use crate::test_day::Setup;
use crate::verdict::{Finding, too_good};
use crate::warning::Warning;

/// Two names of one set-up: one is `same_as` the other, or both are of a third.
pub(super) fn same_thing(setups: &[Setup], one: usize, other: usize) -> bool {
    let thing = |setup: usize| setups[setup].same_as.unwrap_or(setup);
    thing(one) == thing(other)
}

pub(super) fn distrust(day: &Day, setups: &[SetupResult], findings: &[Finding]) -> Vec<Warning> {
    let mut all: Vec<Warning> = one_block(setups).into_iter().collect();
    for finding in findings {
        let names = [finding.setup, finding.baseline].map(|s| setups[s].name.as_str());
        if too_good(finding) {
            all.push(too_good_to_be_true(day, finding, names));
        }
        all.extend(null_test(finding, names));
    }
    all
}

fn too_good_to_be_true(day: &Day, finding: &Finding, [name, base]: [&str; 2]) -> Warning {
    let percent = finding.cda_change_percent.value;
    let than = if percent < 0.0 { "less" } else { "more" };
    let here = seen_here(day, finding);
    let here = if here.is_empty() {
        String::new()
    } else {
        format!(". On this day {}", here.join(", and "))
    };
    Warning::new(
        "too good to be true",
        format!(
            "{:.0} % {than} drag area with '{name}' than with '{base}' is more than posture or equipment is known to \
             make: published are 6 to 15 % for a whole posture, and a helmet makes 1 to 2 %. What usually makes it \
             is the order of riding, wind, a power meter that drifted, or a speed sensor, wheel or tyre changed \
             between the set-ups{here}",
            percent.abs()
        ),
        "Ride both again in a balanced order such as A B B A, with the power meter zeroed before each block and the \
         wheel's circumference checked by a rollout, and believe it when it comes back.",
    )
}

/// Those of the usual causes that the day itself shows.
fn seen_here(day: &Day, finding: &Finding) -> Vec<&'static str> {
    let pair = || {
        day.rides
            .iter()
            .filter(|ride| ride.setup == finding.setup || ride.setup == finding.baseline)
    };
    let mut here = Vec::new();
    let mut ridden: Vec<(f64, usize)> = pair().map(|ride| (ride.middle_s, ride.setup)).collect();
    ridden.sort_by(|a, b| a.0.total_cmp(&b.0));
    let changes = ridden.windows(2).filter(|two| two[0].1 != two[1].1).count();
    if changes == 1 {
        here.push("all passes of one were ridden before the first of the other");
    }
    let wind_known = |ride: &PassRide| {
        ride.air.wind_standard_uncertainty_m_s < UNKNOWN_WIND_M_S
            || ride.wind_reading.is_some()
            || ride.air_speed_scale_standard_uncertainty.is_some()
    };
    if !pair().any(wind_known) {
        here.push("nobody wrote the wind down");
    }
    here
}

/// A null test that failed, of one day or of several.
pub(super) fn null_test(finding: &Finding, [name, base]: [&str; 2]) -> Option<Warning> {
    let test = finding.null_test?;
    let next = match test.agrees() {
        Some(true) => return None,
        Some(false) => {
            "Look at what differed between their blocks: their place in the order, wind, power-meter zero, position, \
             odd passes; then ride the pair again."
        }
        None => "Ride at least two blocks under each name.",
    };
    Some(Warning::new(
        "null test",
        format!(
            "'{name}' and '{base}' are the same thing under two names and {}",
            test.in_words()
        ),
        next,
    ))
}

/// With one mounting of a set-up its spread was not seen, and the interval stands on what is assumed of it.
fn one_block(setups: &[SetupResult]) -> Option<Warning> {
    let single: Vec<String> = setups
        .iter()
        .filter(|s| s.blocks == 1)
        .map(|s| format!("'{}'", s.name))
        .collect();
    if single.is_empty() {
        return None;
    }
    let (median, log_sd) = HYPER_PRIOR[3];
    let assumed = format!(
        "what is assumed beforehand, {:.2} % of CdA from one mounting to the next, give or take a factor of {:.1}",
        100.0 * median,
        log_sd.exp()
    );
    let names = single.join(", ");
    let repeated = setups.iter().any(|s| s.blocks > 1);
    let (message, next) = if setups.iter().filter(|s| s.blocks > 0).count() == 1 {
        (
            format!("all passes of {names} are of one mounting: its spread between mountings is {assumed}"),
            "Ride again on another day, or get off and back into position, and write a block for each.",
        )
    } else if repeated {
        (
            format!(
                "one block only of {names}: how much putting it on anew changes was not seen, and its intervals take \
                 that from the other set-ups and from {assumed}"
            ),
            "Ride at least two blocks of each set-up, changing over in between, such as A B B A.",
        )
    } else {
        (
            format!(
                "one block only of {names}: nothing was put on twice, so these rides cannot tell a set-up from the way \
                 it was put on that time, and the intervals rest on {assumed}"
            ),
            "Ride at least two blocks of each set-up, changing over in between, such as A B B A.",
        )
    };
    Some(Warning::new("one block", message, next))
}

#[cfg(test)]
#[path = "distrust_tests.rs"]
mod tests;
