//! What is said of recordings that were joined, or were not.

use super::{FoundBy, Given, JoinedUnit};
use crate::streams::Streams;
use crate::warning::Warning;

fn listed(given: &[Given]) -> String {
    let words: Vec<&str> = given.iter().map(|given| given.words()).collect();
    match words.as_slice() {
        [] => String::new(),
        [one] => one.to_string(),
        [all @ .., last] => format!("{} and {last}", all.join(", ")),
    }
}

pub(super) fn joined(base: &Streams, donor: &Streams, unit: &JoinedUnit) -> Warning {
    let (ride, other) = (base.name(), donor.name());
    let clock = &unit.clock;
    let side = if clock.offset_s < 0.0 {
        "behind"
    } else {
        "ahead of"
    };
    let mut message = format!(
        "{ride} and {other} are taken as one ride: {} from {other}, the rest from {ride}; the clock of {other} is \
         {:.1} ± {:.1} s {side} that of {ride}, {}",
        listed(&unit.given),
        clock.offset_s.abs(),
        clock.standard_uncertainty_s,
        clock.found_by.words(),
    );
    let (drift, sure) = (clock.drift_s_per_h, clock.drift_standard_uncertainty_s_per_h);
    if sure > 0.0 && drift.abs() > 2.0 * sure {
        let way = if drift < 0.0 { "loses" } else { "gains" };
        message += &format!("; it {way} {:.1} ± {sure:.1} s in an hour", drift.abs());
    }
    let next_step = if clock.found_by == FoundBy::TakenAsRight {
        format!(
            "Check both clocks; if {other} was off, write by how much into [sensors] of test.toml: clock_offset_s = {{ \
             \"{other}\" = seconds }}."
        )
    } else {
        format!("Take {other} out of the folder if it is another ride.")
    };
    Warning::new("joined", message, next_step)
}

pub(super) fn refused(base: &Streams, donor: &Streams, offers: &[Given], why: &str) -> Warning {
    let (ride, other) = (base.name(), donor.name());
    Warning::new(
        "not joined",
        format!(
            "{other} has {} that {ride} lacks, and is not joined to it, because {why}",
            listed(offers)
        ),
        format!(
            "If both are of one ride, write what is between their clocks into [sensors] of test.toml: clock_offset_s = {{ \
             \"{other}\" = seconds }} (ahead: positive); else take {other} out of the folder."
        ),
    )
}
