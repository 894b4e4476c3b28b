//! How late the altitudes are on a course that is ridden one way, what they have of the air stream, and what is said
//! of both on any course.

use super::Surveyed;
use crate::course::port::{UNKNOWN, UNKNOWN_STANDARD_UNCERTAINTY};
use crate::course::{Course, HeightLag, HeightsGiven, Pass, Profile, shared_profile};
use crate::estimate::cells::PassRide;
use crate::estimate::late_heights::{Lag, lag};
use crate::streams::Streams;
use crate::test_day::{Measured, Shape, TestDay};
use crate::treatment::Treatment;
use crate::warning::Warning;

/// Each round takes off what the one before left.
pub(super) const ROUNDS: usize = 2;
/// A lag is taken out where it is this many standard uncertainties from nothing, and known so well. (*chosen*)
const CLEAR: f64 = 2.0;
const SURE_S: f64 = 1.5;
const DONE_S: f64 = 0.1;
/// Barometers follow by a second or two: 1.5 ± 1.5 s, about nothing. Common practice, no published source.
const UNKNOWN_S: f64 = 2.1;

/// What the heights of a course are made of.
pub(super) struct Heights<'a> {
    pub day: &'a TestDay,
    pub passes: &'a [Pass],
    pub streams: &'a [Streams],
}

impl Heights<'_> {
    /// Puts the heights of a course that was ridden one way back by how late power and speed show them to be; true
    /// where that moved them, and the passes are to be cut anew.
    pub(super) fn put_back(&self, course: &mut Course, rides: &[PassRide]) -> bool {
        let asked = self.day.altitude_lag_s.is_none() && !self.day.as_recorded.leaves(Treatment::AltitudeLag);
        let Some(profile) = course.profile.as_ref() else {
            return false;
        };
        if course.shape != Shape::OneWay || !asked {
            return false;
        }
        let Some(more) = lag(rides, &self.day.setups, profile, level(course)) else {
            return false;
        };
        let before = profile.lag.map_or(0.0, |known| known.applied_s);
        let known = HeightLag {
            lag_s: before + more.lag_s,
            standard_uncertainty_s: more.standard_uncertainty_s,
            applied_s: before,
            given: false,
        };
        let moved = worth(&more, &known)
            .then(|| self.heights(course, &known))
            .flatten();
        let moves = moved.is_some();
        let applied_s = if moves { known.lag_s } else { before };
        if moves {
            course.profile = moved;
        }
        if let Some(profile) = &mut course.profile {
            profile.lag = Some(HeightLag { applied_s, ..known });
        }
        moves
    }

    fn heights(&self, course: &Course, known: &HeightLag) -> Option<Profile> {
        let given = HeightsGiven {
            lag_s: Some(Measured {
                value: known.lag_s,
                standard_uncertainty: known.standard_uncertainty_s,
                given: true,
            }),
            as_recorded: self.day.as_recorded.clone(),
        };
        shared_profile(&course.line, self.passes, self.streams, course.shape, &given)
    }
}

fn worth(more: &Lag, known: &HeightLag) -> bool {
    known.lag_s > CLEAR * known.standard_uncertainty_s
        && known.standard_uncertainty_s < SURE_S
        && more.lag_s.abs() > DONE_S
}

/// Length of the line over that of the road.
fn level(course: &Course) -> f64 {
    course.line.length_m() / course.length_m()
}

/// What the lag of a course that is ridden one way leaves open; `None` on others, where it cancels, and where nobody
/// asks. [s]
pub(super) fn open_s(surveyed: &Surveyed) -> Option<f64> {
    let course = &surveyed.ridden.course;
    let profile = course.profile.as_ref()?;
    let left = surveyed.test_day.as_recorded.leaves(Treatment::AltitudeLag);
    if course.shape != Shape::OneWay || (left && surveyed.test_day.altitude_lag_s.is_none()) {
        return None;
    }
    Some(profile.lag.map_or(UNKNOWN_S, |lag| {
        let open_s = lag.standard_uncertainty_s.hypot(lag.lag_s - lag.applied_s);
        if lag.given || lag.applied_s != 0.0 {
            open_s
        } else {
            open_s.min(UNKNOWN_S)
        }
    }))
}

/// What the port's coefficient leaves open: it is not taken out of the heights. `None` on courses on which it cancels,
/// and where nobody asks.
pub(super) fn open_port(surveyed: &Surveyed) -> Option<f64> {
    let course = &surveyed.ridden.course;
    course.profile.as_ref()?;
    let left = surveyed.test_day.as_recorded.leaves(Treatment::AltitudeLag);
    (course.shape == Shape::OneWay && !left).then(|| UNKNOWN.hypot(UNKNOWN_STANDARD_UNCERTAINTY))
}

pub(super) fn warning(surveyed: &Surveyed) -> Option<Warning> {
    let profile = surveyed.ridden.course.profile.as_ref()?;
    let lag = profile.lag.filter(|lag| lag.applied_s != 0.0 && !lag.given)?;
    let by = match surveyed.ridden.course.shape {
        Shape::OneWay => "by what power and speed say of its hills",
        _ => "by its two directions",
    };
    Some(Warning::new(
        "altitude lag",
        format!(
            "altitudes come {:.1} ± {:.1} s after the road, {by}; each is taken as that of the place where the rider was so \
             long before",
            lag.lag_s, lag.standard_uncertainty_s
        ),
        "Write altitude_lag_s into [sensors] if you know it, or as_recorded = [\"altitude lag\"] to leave it.",
    ))
}

pub(super) fn sentence(surveyed: &Surveyed) -> Option<String> {
    let lag = surveyed.ridden.course.profile.as_ref()?.lag?;
    let told = format!("{:.1} ± {:.1} s", lag.lag_s, lag.standard_uncertainty_s);
    Some(if lag.given {
        format!(
            "Altitudes come {told} after the road, as test.toml says, and are taken as those of places passed so long before."
        )
    } else if lag.applied_s != 0.0 {
        format!(
            "Altitudes come {told} after the road, and are taken as those of places passed so long before."
        )
    } else {
        format!("Altitudes are taken as in step with the road; the rides say {told}.")
    })
}
