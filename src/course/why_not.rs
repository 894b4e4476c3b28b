//! Why a ride along the course is not a pass.

use super::located::Located;
use super::passes::{Attempt, Ended};
use super::track::Track;
use super::{Direction, measure};
use crate::streams::Streams;
use crate::test_day::Shape;

/// Slower than this for this long is a stop.
pub const STOP_M_S: f64 = 1.0;
pub const STOP_S: f64 = 3.0;
/// A longer time without samples hides what happened.
const HOLE_S: f64 = 15.0;
/// Less of the course than this is not nearly a pass: a crossing street, a turn at the gate.
const NEARLY: f64 = 0.2;
/// On a loop the ride home along part of it is normal; only most of a lap is nearly a pass.
const NEARLY_A_LAP: f64 = 0.5;
/// Length ridden over length of the course: outside, it was another road or there was a turn on the way.
const LENGTHS: std::ops::RangeInclusive<f64> = 0.9..=1.15;
/// Riding back farther than this is turning round; positions jump back by less.
const BACK_M: f64 = 50.0;
/// Less mean power than this share of what is usual the other way is rolling back, not riding.
pub const ROLLING: f64 = 0.5;

pub enum Reason {
    /// Not worth a word.
    TooLittle,
    /// The way back on a one-way course.
    RolledBack,
    Near(String),
}

/// `None`: it is a pass.
pub fn reason(attempt: &Attempt, located: &Located, track: &Track, s: &Streams) -> Option<Reason> {
    let length_m = located.line.length_m();
    let least = if located.shape == Shape::Loop {
        NEARLY_A_LAP
    } else {
        NEARLY
    };
    let covered_m = match attempt.ended {
        Ended::JoinedLate { after_m, .. } => length_m - after_m,
        _ => attempt.farthest_m,
    };
    if covered_m < least * length_m {
        return Some(Reason::TooLittle);
    }
    if located.shape == Shape::OneWay && attempt.direction == Direction::Reverse {
        // Whether it was ridden or rolled: the course counts one way only.
        let through = attempt.ended == Ended::Through;
        return Some(if through {
            Reason::RolledBack
        } else {
            Reason::TooLittle
        });
    }
    let words = match attempt.ended {
        Ended::JoinedLate {
            after_m,
            at_start_of_recording: true,
        } => Some(format!("the recording starts {after_m:.0} m beyond the gate")),
        Ended::JoinedLate { after_m, .. } => Some(format!("joined the road {after_m:.0} m beyond the gate")),
        Ended::TurnedBack => Some(format!("turned round after {:.0} m", attempt.farthest_m)),
        Ended::Through => {
            first_interruption(attempt, track, s).or_else(|| other_way(attempt, length_m, track))
        }
        Ended::Elsewhere => first_interruption(attempt, track, s)
            .or_else(|| Some(format!("left the road after {:.0} m", attempt.farthest_m))),
        Ended::OutOfRecording => first_interruption(attempt, track, s)
            .or_else(|| Some(format!("the recording ends after {:.0} m", attempt.farthest_m))),
    };
    words.map(Reason::Near)
}

/// The first thing that spoilt the ride: a pause, a stop, a hole, another road.
fn first_interruption(attempt: &Attempt, track: &Track, s: &Streams) -> Option<String> {
    let (from, to) = (attempt.from_s, attempt.to_s);
    let after = |time: f64| measure::ridden_m(s, from, time.max(from));
    let mut found: Vec<(f64, String)> = Vec::new();
    if let Some((time, after_m)) = attempt.left {
        found.push((time, format!("left the road after {after_m:.0} m")));
    }
    for gap in s.gaps.iter().filter(|gap| gap.start_s < to && gap.end_s > from) {
        let seconds = gap.end_s - gap.start_s;
        if gap.paused && seconds > 1.5 * s.nominal_interval_s {
            found.push((
                gap.start_s,
                format!(
                    "cut short by a pause of {seconds:.0} s after {:.0} m",
                    after(gap.start_s)
                ),
            ));
        } else if seconds > HOLE_S {
            found.push((
                gap.start_s,
                format!("no samples for {seconds:.0} s after {:.0} m", after(gap.start_s)),
            ));
        }
    }
    for (start, end) in stops(s, track, from, to) {
        found.push((
            start,
            format!("stopped for {:.0} s after {:.0} m", end - start, after(start)),
        ));
    }
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    found.into_iter().next().map(|(_, words)| words)
}

fn other_way(attempt: &Attempt, length_m: f64, track: &Track) -> Option<String> {
    if attempt.back_m > BACK_M {
        return Some(format!(
            "turned round after {:.0} m and once more",
            attempt.turned_at_m
        ));
    }
    // By positions: a wheel size that is wrong must not turn every pass into a near pass.
    let ridden_m = track.path_m(attempt.from_s, attempt.to_s);
    (!LENGTHS.contains(&(ridden_m / length_m)))
        .then(|| format!("went another way: {ridden_m:.0} m between the gates instead of {length_m:.0} m"))
}

/// Stops within a time, as (start, end): slow by the speed channel and not carried on by positions, since
/// a wheel sensor that drops out also reads zero.
pub fn stops(s: &Streams, track: &Track, from_s: f64, to_s: f64) -> Vec<(f64, f64)> {
    let mut found = Vec::new();
    let mut since: Option<usize> = None;
    let first = s.time_s.partition_point(|&t| t < from_s);
    let last = s.time_s.partition_point(|&t| t <= to_s);
    let mut close = |start: usize, end: usize| {
        let (start_s, end_s) = (s.time_s[start], s.time_s[end]);
        // A slow sample stands for the interval that it begins.
        let seconds = end_s - start_s + s.nominal_interval_s;
        if seconds >= STOP_S && track.moved_m(start_s, end_s) < 1.5 * STOP_M_S * seconds + 5.0 {
            found.push((start_s, start_s + seconds));
        }
    };
    for index in first..last {
        let speed = s.speed_m_s[index];
        let speed = if speed.is_finite() {
            speed
        } else {
            track.speed_at(s.time_s[index])
        };
        match (speed < STOP_M_S, since) {
            (true, None) => since = Some(index),
            (false, Some(start)) => {
                close(start, index - 1);
                since = None;
            }
            _ => {}
        }
    }
    if let Some(start) = since {
        close(start, last - 1);
    }
    found
}
