//! Two units on one ride: what one lacks is taken from the other, by what is between their clocks.

mod clock;
mod fit;
mod series;
mod take;
#[cfg(test)]
mod tests;
mod words;

pub use clock::{FoundBy, UnitClock};
pub use take::Given;

use super::overlap::{covered, length_s, shared_s, without};
use super::{Repair, Streams, speed_check};
use crate::treatment::{AsRecorded, Treatment};
use crate::warning::Warning;
use std::cmp::Ordering;
use std::path::PathBuf;

/// Another unit whose channels were taken into a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct JoinedUnit {
    pub file: PathBuf,
    pub given: Vec<Given>,
    pub clock: UnitClock,
}

/// What the user asks for and knows.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    /// The channel of the air speed.
    pub air_speed: Option<&'a str>,
    pub clocks: &'a [ClockGiven],
    pub as_recorded: &'a AsRecorded,
}

/// A clock that `test.toml` tells of.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockGiven {
    /// Name of the file whose clock it is.
    pub file: String,
    /// Its clock less that of the recording with power. [s]
    pub offset_s: f64,
    pub standard_uncertainty_s: f64,
}

/// A clock that nobody checked: units are set from satellites or a telephone, to a second or so (judgement). [s]
const UNCHECKED_S: f64 = 1.0;
/// A unit whose time is told to this share by the recordings it was joined to is used up.
const USED_UP: f64 = 0.8;
/// Zones are a quarter of an hour apart.
const ZONES_S: f64 = 900.0;
/// A clock that counts from its own start shows the first years of unix time.
const UNSET_BEFORE_S: f64 = 3.0e8;
/// A clock set by hand may be off by this besides (judgement).
const UNSET_S: f64 = 120.0;
/// By their own clocks, recordings of one ride share at least this much of the shorter one.
const SAME_TIME: f64 = 0.5;

impl Streams {
    /// Of the clock of the unit that the speed comes from, against that of the power; 0 where one unit has both.
    pub fn speed_clock_standard_uncertainty_s(&self) -> f64 {
        let gave_speed = |unit: &&JoinedUnit| unit.given.iter().any(|given| matches!(given, Given::Speed(_)));
        let unit = self.joined.iter().rfind(gave_speed);
        unit.map_or(0.0, |unit| unit.clock.standard_uncertainty_s)
    }
}

/// Joins recordings of one ride: the one with power keeps its samples and takes the channels that it lacks, or that
/// another unit has from a better source. What is between their clocks is found from what both recorded. What of
/// another unit lies outside the ride stays as a recording of its own, by the clock of the ride. Neither the order
/// given nor the names of files change the result.
pub fn join(mut streams: Vec<Streams>, asked: &Asked) -> (Vec<Streams>, Vec<Warning>) {
    streams.sort_by(best_first);
    let any_power = streams.iter().any(Streams::has_power);
    let mut bases: Vec<Streams> = Vec::new();
    let mut rest: Vec<Streams> = Vec::new();
    let mut warnings = Vec::new();
    // Without any power the passes can still be looked at.
    let is_base = |s: &Streams| {
        if any_power {
            s.has_power()
        } else {
            s.has_positions()
        }
    };
    for donor in streams {
        match give(&donor, &mut bases, asked, &mut warnings) {
            Some(clock) => rest.extend(left_over(donor, &clock, &bases)),
            None if is_base(&donor) => bases.push(donor),
            None => rest.push(donor),
        }
    }
    bases.extend(rest);
    (bases, warnings)
}

/// Power, then the source of speed, positions, samples, and the earlier; the name only of copies.
fn best_first(a: &Streams, b: &Streams) -> Ordering {
    let merits = |s: &Streams| {
        (
            s.has_power(),
            take::speed_rank(s.speed_source),
            s.has_positions(),
            s.time_s.len(),
        )
    };
    merits(b)
        .cmp(&merits(a))
        .then_with(|| a.start_s().total_cmp(&b.start_s()))
        .then_with(|| a.end_s().total_cmp(&b.end_s()))
        .then_with(|| a.file.cmp(&b.file))
}

/// Gives to every base what it needs of the donor; the clock of the base with which it shares most.
fn give(
    donor: &Streams,
    bases: &mut [Streams],
    asked: &Asked,
    warnings: &mut Vec<Warning>,
) -> Option<UnitClock> {
    let mut best: Option<(f64, UnitClock)> = None;
    let mut refused: Vec<(f64, Warning)> = Vec::new();
    for base in bases.iter_mut() {
        let offers = take::offers(base, donor, asked.air_speed);
        if offers.is_empty() {
            continue;
        }
        let shared = shared_s(&covered(base), &covered(donor));
        match clock_of(base, donor, asked) {
            Ok(clock) => {
                let unit = JoinedUnit {
                    file: donor.file.clone(),
                    given: offers,
                    clock,
                };
                warnings.push(words::joined(base, donor, &unit));
                take_in(base, donor, unit, asked.air_speed);
                let shared = shared_at(base, donor, &clock);
                if best.is_none_or(|(most, _)| shared > most) {
                    best = Some((shared, clock));
                }
            }
            // Rides of other hours are no news.
            Err(why) if shared > 0.0 => refused.push((shared, words::refused(base, donor, &offers, &why))),
            Err(_) => {}
        }
    }
    if best.is_none() {
        refused.sort_by(|a, b| b.0.total_cmp(&a.0));
        warnings.extend(refused.into_iter().next().map(|(_, warning)| warning));
    }
    best.map(|(_, clock)| clock)
}

fn clock_of(base: &Streams, donor: &Streams, asked: &Asked) -> Result<UnitClock, clock::NotOne> {
    let plain = |offset_s, standard_uncertainty_s, found_by| UnitClock {
        offset_s,
        standard_uncertainty_s,
        drift_s_per_h: 0.0,
        drift_standard_uncertainty_s_per_h: 0.0,
        middle_s: 0.5 * (base.start_s() + base.end_s()),
        found_by,
    };
    let taken_as_right = plain(0.0, UNCHECKED_S, FoundBy::TakenAsRight);
    let same_time = |clock: &UnitClock| {
        let shorter = length_s(&covered(base)).min(length_s(&covered(donor)));
        shared_at(base, donor, clock) >= SAME_TIME * shorter
    };
    if let Some(given) = asked.clocks.iter().find(|given| given.file == donor.name()) {
        let clock = plain(given.offset_s, given.standard_uncertainty_s, FoundBy::Given);
        return if same_time(&clock) {
            Ok(clock)
        } else {
            Err("with the clock as test.toml gives it they share too little time".to_string())
        };
    }
    if asked.as_recorded.leaves(Treatment::UnitClocks) && same_time(&taken_as_right) {
        return Ok(taken_as_right);
    }
    match clock::between(base, donor, asked.air_speed) {
        // What holds nothing that could contradict is joined by its clock.
        Err(_) if !comparable(base, donor) && same_time(&taken_as_right) => Ok(taken_as_right),
        Ok(clock) if !same_time(&taken_as_right) => another_zone(donor, clock),
        other => other,
    }
}

/// Of recordings that were made at different times by their clocks. The rider who rides the same road at the same
/// power again makes a second recording that fits the first at some offset, so that a fit proves nothing: two blocks of
/// a simulated day fitted at 455.1 ± 0.4 s by power against power. What has power of its own is a ride of its own, and
/// the rest belongs to a ride only where its clock is off by a time zone.
fn another_zone(donor: &Streams, clock: UnitClock) -> Result<UnitClock, clock::NotOne> {
    let from_zone_s = (clock.offset_s / ZONES_S - (clock.offset_s / ZONES_S).round()) * ZONES_S;
    let never_set = donor.start_s() < UNSET_BEFORE_S;
    if donor.has_power() || !(never_set || from_zone_s.abs() <= UNSET_S) {
        return Err("by their clocks they were made at different times".to_string());
    }
    Ok(clock)
}

/// Whether both have something that would differ between two riders.
fn comparable(base: &Streams, donor: &Streams) -> bool {
    let has_speed = |s: &Streams| take::speed_rank(s.speed_source) > 0;
    base.has_power() && donor.has_power()
        || has_speed(base) && has_speed(donor)
        || base.has_altitude() && donor.has_altitude()
}

/// Time that both tell of, by the clock of the base. [s]
fn shared_at(base: &Streams, donor: &Streams, clock: &UnitClock) -> f64 {
    let of_donor: Vec<(f64, f64)> = covered(donor)
        .into_iter()
        .map(|(from, to)| (clock.own_s(from), clock.own_s(to)))
        .collect();
    shared_s(&covered(base), &of_donor)
}

fn take_in(base: &mut Streams, donor: &Streams, unit: JoinedUnit, air_speed: Option<&str>) {
    take::take(base, donor, &unit.clock, &unit.given, air_speed);
    base.speed_check = speed_check::check(base);
    let name = donor.name();
    base.repairs.extend(donor.repairs.iter().map(|repair| Repair {
        start_s: unit.clock.own_s(repair.start_s),
        end_s: unit.clock.own_s(repair.end_s),
        message: format!("{name}, by its own clock: {}", repair.message),
        ..repair.clone()
    }));
    base.repairs.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    base.joined.push(unit);
}

/// What of a donor lies outside the rides it was joined to.
fn left_over(mut donor: Streams, clock: &UnitClock, bases: &[Streams]) -> Vec<Streams> {
    let own = |time_s: &mut f64| *time_s = clock.own_s(*time_s);
    donor.time_s.iter_mut().for_each(own);
    donor.lap_marks_s.iter_mut().for_each(own);
    for gap in &mut donor.gaps {
        (gap.start_s, gap.end_s) = (clock.own_s(gap.start_s), clock.own_s(gap.end_s));
    }
    for repair in &mut donor.repairs {
        (repair.start_s, repair.end_s) = (clock.own_s(repair.start_s), clock.own_s(repair.end_s));
    }
    let joined = bases
        .iter()
        .filter(|base| base.joined.iter().any(|unit| unit.file == donor.file));
    let taken: Vec<(f64, f64)> = joined.flat_map(covered).collect();
    let told = covered(&donor);
    if take::speed_rank(donor.speed_source) == 0 || shared_s(&told, &taken) >= USED_UP * length_s(&told) {
        return Vec::new();
    }
    without(&donor, &taken)
}
