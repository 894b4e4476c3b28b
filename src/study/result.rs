//! What the engine gives: the course with its passes, and the answer to a test day.

use super::speed_scale::SpeedScales;
use super::stopwatch::Stopwatched;
use super::yaw::Yaw;
use crate::air::AirState;
use crate::course::Ridden;
use crate::error::Fault;
use crate::estimate::both::Both;
use crate::estimate::budget::BudgetLine;
use crate::estimate::joint::Joint;
use crate::estimate::plain::Averages;
use crate::estimate::rolling::Rolling;
use crate::physics::Surroundings;
use crate::streams::Streams;
use crate::test_day::TestDay;
use crate::verdict::Finding;
use crate::warning::Warning;
use std::path::PathBuf;

/// A folder's recordings and test day, with the course and its passes: what `passes` shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Surveyed {
    pub folder: PathBuf,
    pub test_day: TestDay,
    pub streams: Vec<Streams>,
    pub ridden: Ridden,
    /// Files that could not be read, or only in part.
    pub faults: Vec<Fault>,
    pub warnings: Vec<Warning>,
}

/// One pass of the day with all that was found out about it.
#[derive(Debug, Clone, PartialEq)]
pub struct PassResult {
    /// Index into the passes of the course.
    pub pass: usize,
    /// From 1; `None` outside any block.
    pub block: Option<usize>,
    /// Index into the set-ups; `None` in a block "none" and outside any block.
    pub setup: Option<usize>,
    pub kept: bool,
    /// The parts of the course that count of it, from its start, in order; empty unless it is kept.
    pub fitted_m: Vec<(f64, f64)>,
    pub flags: Vec<String>,
    /// Value and standard uncertainty, of what differs between passes only.
    pub cda_m2: Option<(f64, f64)>,
    /// The same of a pass that is left out, to stand beside the others; nothing rests on it.
    pub left_out_cda_m2: Option<(f64, f64)>,
    /// Where its drag area and rolling resistance can lie together.
    pub both: Option<Both>,
    pub still_air_time_s: Option<f64>,
    /// As the whole day sees it; `None` unless it was fitted.
    pub judged: Option<PassSeen>,
    pub elevation: Option<Elevations>,
}

/// One pass in the light of all the others.
#[derive(Debug, Clone, PartialEq)]
pub struct PassSeen {
    /// East and north, where the air moves to, each with its standard uncertainty.
    pub wind_m_s: [(f64, f64); 2],
    /// Of the wind along the road, root mean square over the pass.
    pub headwind_standard_uncertainty_m_s: f64,
    /// Its log drag area less what the other passes make it, and that over its standard deviation.
    pub off: f64,
    pub studentised: f64,
    /// What leaving it out adds to the log ratio of each set-up to the first.
    pub change_without: Vec<f64>,
}

/// Virtual and shared elevation of one pass over the whole course, metres above its first gate, in the order ridden. By
/// the drag area of the pass, or of its set-up where the pass is left out.
#[derive(Debug, Clone, PartialEq)]
pub struct Elevations {
    /// Along the course from its start.
    pub along_m: Vec<f64>,
    pub virtual_m: Vec<f64>,
    pub shared_m: Vec<f64>,
    /// Energy that each piece between two edges has left over: positive where more came in than went out.
    pub left_over_j: Vec<f64>,
    /// Root mean square of what each cell has left over, with its mean taken out; `None` for a pass that is left out.
    pub left_over_m: Option<f64>,
}

impl Elevations {
    /// Virtual less shared elevation, m, at each edge: what has gathered up to there and is not explained.
    pub fn apart_m(&self) -> Vec<f64> {
        let both = self.virtual_m.iter().zip(&self.shared_m);
        both.map(|(own, shared)| own - shared).collect()
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct SetupResult {
    pub name: String,
    /// Value, combined standard uncertainty (what is common included), 90 % interval.
    pub cda_m2: Option<(f64, f64, [f64; 2])>,
    pub crr: (f64, f64),
    pub blocks: usize,
    pub passes: usize,
    /// `None` where the wind across the road is not known.
    pub yaw: Option<Yaw>,
    /// With three or more set-ups: the chance of being the lowest.
    pub chance_lowest: Option<f64>,
}

/// How the fit ended.
#[derive(Debug, Clone, PartialEq)]
pub struct FitEnd {
    pub ended: &'static str,
    pub sentence: String,
}

/// What the findings were made of, for an answer over several days.
#[derive(Debug, Clone, PartialEq)]
pub struct Basis {
    pub joint: Joint,
    pub averages: Averages,
    /// Through the average of passes, of what the joint estimate has among its own unknowns.
    pub of_average: Vec<BudgetLine>,
    /// Mean air and gravity of the day, in which a difference is turned into watts and seconds.
    pub around: Surroundings,
}

/// By how much power is stamped later than the speed that it made, of one recording, and what was done about it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerDelay {
    pub delay_s: f64,
    pub standard_uncertainty_s: f64,
    /// 0: left as recorded.
    pub applied_s: f64,
}

/// The answer to a test day.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    pub surveyed: Surveyed,
    pub air: AirState,
    pub air_source: &'static str,
    pub passes: Vec<PassResult>,
    pub setups: Vec<SetupResult>,
    pub findings: Vec<Finding>,
    /// One for each finding; `None` where a warning says why.
    pub stopwatches: Vec<Option<Stopwatched>>,
    pub budget: Vec<BudgetLine>,
    pub basis: Basis,
    pub rolling: Rolling,
    /// One for each recording; empty where none is looked for.
    pub power_delays: Vec<PowerDelay>,
    pub speed_scales: SpeedScales,
    pub fit: FitEnd,
    /// Sentences of what the numbers rest on.
    pub assumptions: Vec<String>,
    pub warnings: Vec<Warning>,
}
