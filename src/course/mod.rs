//! Where the road is, and each time it was ridden.

mod ascents;
mod blocks;
mod elevation;
mod find;
mod flags;
mod gate;
mod gates;
mod ground;
mod lap_marks;
mod late;
mod legs;
mod line;
mod lingering;
mod located;
#[cfg(test)]
mod made;
mod measure;
mod middle;
mod passes;
pub mod port;
mod refine;
pub mod roads;
mod runs;
#[cfg(test)]
mod tests;
mod track;
mod trim;
mod why_not;

pub use blocks::likely_blocks;
pub use elevation::{HeightsGiven, Profile, UNCERTAINTY_OVER_M, shared_profile};
pub use ground::geodesic_m;
pub use late::HeightLag;
pub use line::Line;
pub use measure::ridden_m;

use crate::error::{Error, Fault, Result};
use crate::streams::Streams;
use crate::test_day::{CourseGiven, Shape};
use crate::warning::Warning;
use find::Sought;
use std::path::Path;

/// Half the width of a gate: wide enough for positions that wander, narrow enough for the next street.
pub const GATE_HALF_WIDTH_M: f64 = 25.0;
/// How far from the ridden road a gate in `test.toml` may lie (the promise of the interface).
pub const SNAP_M: f64 = 20.0;
/// Standard uncertainty of a recorded position along the road. Common practice, no published source:
/// receivers on a handlebar wander by about 3 m over a minute; at 10 m/s that is the 0.3 s of the method.
pub const POSITION_STANDARD_UNCERTAINTY_M: f64 = 3.0;

/// The stretch of road that the test is about.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    pub shape: Shape,
    /// False where `test.toml` gave the gates.
    pub found: bool,
    /// From start to finish; a loop ends where it starts.
    pub line: Line,
    /// As `test.toml` has it: of one lap.
    pub lap_length_m: Option<f64>,
    /// Elevation along the line, from all passes together; `None` without altitudes.
    pub profile: Option<Profile>,
    /// Places where the lap button was pressed in several passes, offered as gates.
    pub lap_mark_places: Vec<LapMarkPlace>,
    /// Times the road was ridden the other way without working, which do not count on a one-way course.
    pub roll_backs: usize,
}

impl Course {
    /// Road length from start to finish: as it was measured, else on the ellipsoid, longer by the slope.
    pub fn length_m(&self) -> f64 {
        if let Some(lap_length_m) = self.lap_length_m {
            return lap_length_m;
        }
        let flat = self.line.length_m();
        match &self.profile {
            Some(profile) => profile.road_length_m(flat),
            None => flat,
        }
    }

    pub fn climb_m(&self) -> Option<f64> {
        self.profile.as_ref().map(|profile| profile.climb_m)
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LapMarkPlace {
    pub latitude_deg: f64,
    pub longitude_deg: f64,
    pub marks: usize,
    /// Distance from the start along the course, where the place lies on it.
    pub distance_m: Option<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    Forward,
    Reverse,
}

/// One ride from gate to gate.
#[derive(Debug, Clone, PartialEq)]
pub struct Pass {
    /// From 1, in order of time over all recordings.
    pub number: usize,
    /// Index into the recordings given.
    pub recording: usize,
    pub direction: Direction,
    /// Unix seconds at which the gates were crossed.
    pub start_s: f64,
    pub end_s: f64,
    /// Of each crossing time, from the wander of positions.
    pub crossing_standard_uncertainty_s: f64,
    /// By the speed channel.
    pub ridden_m: f64,
    pub entry_speed_m_s: f64,
    pub exit_speed_m_s: f64,
    /// Time-weighted; NaN where power is missing throughout.
    pub mean_power_w: f64,
    /// What a reader should know of this pass, in words.
    pub flags: Vec<String>,
}

impl Pass {
    pub fn duration_s(&self) -> f64 {
        self.end_s - self.start_s
    }
}

/// What nearly was a pass, and why it is not one.
#[derive(Debug, Clone, PartialEq)]
pub struct NearPass {
    pub recording: usize,
    pub start_s: f64,
    pub direction: Direction,
    pub reason: String,
}

/// The course with everything that was ridden of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Ridden {
    pub course: Course,
    pub passes: Vec<Pass>,
    pub near_passes: Vec<NearPass>,
    /// Passes in each likely block, in riding order: a proposal, since nobody sees a change of
    /// set-up in a recording. From stands, other recordings and the lap button.
    pub likely_blocks: Vec<usize>,
    pub warnings: Vec<Warning>,
}

/// The course and its passes: at the gates of `test.toml` where it gives them, else found from the rides.
///
/// # Errors
/// No positions; no stretch ridden twice; a gate off the road ridden (with `test_toml` and line).
pub fn survey(streams: &[Streams], given: Option<&CourseGiven>, test_toml: &Path) -> Result<Ridden> {
    survey_knowing(streams, given, &HeightsGiven::default(), test_toml)
}

/// As [`survey`], with what is known of the altitudes.
///
/// # Errors
/// As [`survey`].
pub fn survey_knowing(
    streams: &[Streams],
    given: Option<&CourseGiven>,
    heights: &HeightsGiven,
    test_toml: &Path,
) -> Result<Ridden> {
    let Some((plane, tracks)) = track::tracks(streams) else {
        return Err(Error {
            faults: streams
                .iter()
                .map(|s| {
                    Fault::new(
                        "the recording has no positions, so its passes cannot be found",
                        "Record with satellite positions switched on.",
                    )
                    .in_file(&s.file)
                })
                .collect(),
        });
    };
    let mut warnings = Vec::new();
    for (index, s) in streams.iter().enumerate() {
        if !tracks.iter().any(|track| track.recording == index) {
            warnings.push(Warning::new(
                "no positions",
                format!("{} has no positions and was left out", s.name()),
                "Record with satellite positions switched on.",
            ));
        }
    }
    let located = match given.filter(|g| g.start_deg.is_some()) {
        Some(given) => gates::from_test_toml(given, &plane, &tracks, streams, test_toml)?,
        None => find::find(&plane, &tracks, streams, &Sought::of(given))?,
    };
    let cut = passes::cut(&located, &tracks, streams);
    let profile = shared_profile(&located.line, &cut.passes, streams, located.shape, heights);
    warnings.extend(wrong_way(&cut));
    warnings.extend(one_pass(&cut.passes));
    let lap_mark_places = lap_marks::places(&located, &plane, &tracks, streams);
    let course = Course {
        shape: located.shape,
        found: located.found,
        line: located.line,
        lap_length_m: given.and_then(|given| given.lap).map(|lap| lap.length_m.value),
        profile,
        lap_mark_places,
        roll_backs: cut.roll_backs,
    };
    Ok(Ridden {
        course,
        likely_blocks: likely_blocks(&cut.passes, streams),
        passes: cut.passes,
        near_passes: cut.near_passes,
        warnings,
    })
}

fn one_pass(passes: &[Pass]) -> Option<Warning> {
    let message = match passes {
        [] => "the course was not ridden once from gate to gate without a stop",
        [_] => "the course was ridden once only, so nothing can be compared",
        _ => return None,
    };
    Some(Warning::new(
        "one pass",
        message,
        "Ride it several times, and look at what nearly was a pass and why it does not count.",
    ))
}

/// A one-way course that was only ridden against its gates: start and finish were mixed up.
fn wrong_way(cut: &passes::Cut) -> Option<Warning> {
    (cut.passes.is_empty() && cut.roll_backs > 0).then(|| {
        Warning::new(
            "wrong way",
            format!(
                "the course is one-way and was ridden {} times from finish to start only",
                cut.roll_backs
            ),
            "Exchange start and finish in [course] of test.toml, or write shape = \"out-and-back\".",
        )
    })
}
