//! Course and passes → rides cut into cells, and what needs no joint estimate.

use super::altitude_lag;
use super::assign::{self, Assigned};
use super::cutting::Cutting;
use super::flags::{braking, other_lines};
use super::power_delay::PowerDelays;
use super::power_zero::PowerZeros;
use super::speed_scale::SpeedScales;
use super::track::OnTrack;
use super::weather::airs;
use super::{PassResult, Surveyed, covered};
use crate::air::Air;
use crate::course::HeightsGiven;
use crate::error::{Error, Fault, Result};
use crate::estimate::braking::{SlowPlace, share_slow_places};
use crate::estimate::cells::{PassRide, Shift};
use crate::estimate::plain::{Averages, Day, averages as averages_at};
use crate::estimate::rolling::{Rolling, rolling};
use crate::streams::Streams;
use crate::test_day::{Shape, TestDay};
use crate::treatment::Treatment;
use crate::warning::Warning;

/// A day cut into passes and cells, with what needs no joint estimate.
#[derive(Debug, Clone, PartialEq)]
pub struct Prepared {
    pub surveyed: Surveyed,
    pub rides: Vec<PassRide>,
    /// The passes that have a set-up, in short pieces from gate to gate, whatever is left out of them.
    pub(super) whole: Vec<PassRide>,
    pub rolling: Rolling,
    /// What the passes of a direction brake for.
    pub slow_places: Vec<SlowPlace>,
    pub(super) averages: Averages,
    pub(super) passes: Vec<PassResult>,
    /// Passes that are left out, for their own sake.
    pub(super) left_out: Vec<PassRide>,
    pub(super) airs: Vec<Air>,
    pub(super) zeros: PowerZeros,
    pub speed_scales: SpeedScales,
    pub on_track: Option<OnTrack>,
    pub(super) delays: PowerDelays,
    pub(super) warnings: Vec<Warning>,
}

impl Prepared {
    /// As the estimates take it.
    pub fn day(&self) -> Day<'_> {
        day(&self.surveyed, &self.rides)
    }
}

/// What the rider says of the altitudes.
pub(super) fn heights_given(day: &TestDay) -> HeightsGiven {
    HeightsGiven {
        lag_s: day.altitude_lag_s,
        as_recorded: day.as_recorded.clone(),
    }
}

pub(super) fn day<'a>(surveyed: &'a Surveyed, rides: &'a [PassRide]) -> Day<'a> {
    Day {
        rides,
        setups: &surveyed.test_day.setups,
        course_length_m: surveyed.ridden.course.length_m(),
        shape: surveyed.ridden.course.shape,
    }
}

/// # Errors
/// As [`compare_surveyed`].
pub fn prepared(mut surveyed: Surveyed) -> Result<Prepared> {
    let test_toml = surveyed.folder.join("test.toml");
    let assigned = assign::assign(&surveyed.test_day, &surveyed.ridden, &test_toml)?;
    bounded(&assigned, &surveyed)?;
    needs_power(&surveyed)?;
    needs_climb(&surveyed)?;
    let mut warnings = surveyed.warnings.clone();
    warnings.extend(assigned.warnings.iter().cloned());
    let (airs, air_warnings) = airs(&surveyed, &test_toml)?;
    warnings.extend(air_warnings);
    let zeros = PowerZeros::of(&surveyed.test_day, &surveyed.streams, &surveyed.ridden, &assigned);
    let speed_scales = SpeedScales::of(&surveyed, &assigned);
    let on_track = OnTrack::of(&surveyed);
    speed_scales.apply(&mut surveyed.ridden, &assigned);
    let as_recorded = zeros.corrected(&surveyed.streams);
    let cutting = Cutting {
        assigned: &assigned,
        airs: &airs,
        zeros: &zeros,
        speed_scales: &speed_scales,
        on_track: on_track.as_ref(),
    };
    let cut = |surveyed: &Surveyed, streams: &[Streams]| cutting.rides(surveyed, streams);
    let (mut rides, mut passes) = cut(&surveyed, &as_recorded);
    let delays = PowerDelays::of(&surveyed.test_day, &surveyed.ridden.passes, &rides, &as_recorded);
    let in_step = delays.corrected(as_recorded);
    if delays.moves_any() {
        (rides, passes) = cut(&surveyed, &in_step);
    }
    warnings.extend(delays.warnings(&surveyed.streams));
    for _ in 0..altitude_lag::ROUNDS {
        let heights = altitude_lag::Heights {
            day: &surveyed.test_day,
            passes: &surveyed.ridden.passes,
            streams: &surveyed.streams,
        };
        if !heights.put_back(&mut surveyed.ridden.course, &rides) {
            break;
        }
        (rides, passes) = cut(&surveyed, &in_step);
    }
    let found = covered::find(&covered::Day {
        surveyed: &surveyed,
        assigned: &assigned,
        airs: &airs,
        streams: &in_step,
        speed_scales: &speed_scales.factors,
    });
    if found.mends() {
        found.mend(&mut surveyed.ridden.course);
        (rides, passes) = cut(&surveyed, &in_step);
    }
    warnings.extend(found.warnings);
    let whole = cutting.whole(&surveyed, &in_step);
    let slow_places = brakes(&surveyed, &mut rides, &mut passes);
    other_lines(&rides, &surveyed.ridden, &mut passes);
    let only_left_out = Cutting {
        assigned: &assigned.only_left_out(),
        ..cutting
    };
    let (left_out, _) = only_left_out.rides(&surveyed, &in_step);
    if rides.is_empty() {
        return Err(nothing_usable(&surveyed, &passes));
    }
    let profile = surveyed.ridden.course.profile.as_ref();
    let profile_sd_m = profile.map_or(1.0, |p| p.standard_uncertainty_m) / 2f64.sqrt();
    let day = day(&surveyed, &rides);
    let (rolling, averages) = rolling(&rides, day.setups, day.course_length_m, profile_sd_m)
        .and_then(|rolling| {
            averages_at(&day, &rolling, &Shift::default()).map(|averages| (rolling, averages))
        })
        .ok_or_else(|| nothing_usable(&surveyed, &passes))?;
    Ok(Prepared {
        rides,
        whole,
        rolling,
        slow_places,
        averages,
        passes,
        left_out,
        airs,
        zeros,
        speed_scales,
        on_track,
        delays,
        warnings,
        surveyed,
    })
}

fn needs_power(surveyed: &Surveyed) -> Result<()> {
    if surveyed.streams.iter().any(Streams::has_power) {
        return Ok(());
    }
    let faults = surveyed
        .streams
        .iter()
        .map(|s| {
            Fault::new(
                "the recording has no power, and drag cannot be told from speed alone",
                "Ride with a power meter paired; `stillair passes` works without one.",
            )
            .in_file(&s.file)
        })
        .collect();
    Err(Error { faults })
}

/// One way, the climb is as large as the drag; without altitude nobody can tell them apart.
fn needs_climb(surveyed: &Surveyed) -> Result<()> {
    let course = &surveyed.ridden.course;
    if course.profile.is_some() || course.shape != Shape::OneWay {
        return Ok(());
    }
    Err(Fault::new(
        "the recordings have no altitude, and on a one-way course the climb cannot be told from drag",
        "Record with a barometer, or ride the stretch out and back or as a loop.",
    )
    .in_file(&surveyed.folder)
    .into())
}

/// Passes of one answer. Each brings three unknowns of its own; memory grows with the square of their number and time
/// with the third power. This many take some 450 MB (docs/reliability.md).
const MOST_PASSES: usize = 220;

fn bounded(assigned: &Assigned, surveyed: &Surveyed) -> Result<()> {
    let taken = assigned.passes.iter();
    let count = taken
        .filter(|pass| pass.setup.is_some() && pass.left_out.is_none())
        .count();
    if count <= MOST_PASSES {
        return Ok(());
    }
    Err(Fault::new(
        format!("{count} passes are more than one answer can hold, {MOST_PASSES}"),
        "Put whole blocks of the day into folders of their own and name them all: `stillair compare` puts days together.",
    )
    .in_file(&surveyed.folder)
    .into())
}

pub(super) fn nothing_usable(surveyed: &Surveyed, passes: &[PassResult]) -> Error {
    // Passes of the same fate are told together.
    let mut fates: Vec<(String, Vec<String>)> = Vec::new();
    for p in passes.iter().filter(|p| !p.kept && !p.flags.is_empty()) {
        let number = surveyed.ridden.passes[p.pass].number.to_string();
        let why = p.flags.join(", ");
        match fates.iter_mut().find(|(known, _)| *known == why) {
            Some((_, numbers)) => numbers.push(number),
            None => fates.push((why, vec![number])),
        }
    }
    let reasons: Vec<String> = fates
        .into_iter()
        .map(|(why, numbers)| format!("pass {}: {why}", numbers.join(", ")))
        .collect();
    let reasons = if reasons.is_empty() {
        "no pass was found".to_string()
    } else {
        reasons.join("; ")
    };
    Fault::new(
        format!("no pass could be fitted ({reasons})"),
        "See `stillair passes` for what was found; ride the stretch again with power and speed recorded.",
    )
    .in_file(&surveyed.folder)
    .into()
}

/// What the brakes took is told of each pass, and where most passes brake.
fn brakes(surveyed: &Surveyed, rides: &mut [PassRide], passes: &mut [PassResult]) -> Vec<SlowPlace> {
    if surveyed.test_day.as_recorded.leaves(Treatment::Brakes) {
        for cell in rides.iter_mut().flat_map(|ride| &mut ride.cells) {
            cell.braked_j = 0.0;
        }
    }
    let slow_places = share_slow_places(rides);
    for ride in rides.iter() {
        passes[ride.pass].flags.extend(braking(ride));
    }
    slow_places
}
