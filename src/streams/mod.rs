//! Samples → aligned SI channels on the recording's own clock; gaps and repairs stay visible.

mod air_speed;
mod align;
mod altitude;
mod altitude_step;
mod clock;
mod earlier;
mod fit_line;
mod gaps;
mod join;
mod mark;
mod overlap;
mod position;
mod position_jumps;
mod power;
mod query;
mod segments;
mod speed;
mod speed_check;
mod speed_faults;
#[cfg(test)]
mod testing;

pub use air_speed::{NoAirSpeed, UnitKnown};
pub use align::{align, align_leaving};
pub use earlier::Worked;
pub use join::{Asked, ClockGiven, FoundBy, Given, JoinedUnit, UnitClock, join};
pub use overlap::use_once;
pub use position::LOST as LOST_POSITIONS;
pub use segments::Segment;

use crate::recording::ExtraChannel;
use std::path::PathBuf;

/// One recording as channels of equal length. A value that was not measured, or was found to be wrong,
/// is NaN; nothing is filled in. `time_s` increases strictly.
#[derive(Debug, Clone, PartialEq)]
pub struct Streams {
    pub file: PathBuf,
    /// Unix seconds, UTC.
    pub time_s: Vec<f64>,
    pub latitude_deg: Vec<f64>,
    pub longitude_deg: Vec<f64>,
    pub altitude_m: Vec<f64>,
    pub distance_m: Vec<f64>,
    pub speed_m_s: Vec<f64>,
    pub power_w: Vec<f64>,
    pub cadence_rpm: Vec<f64>,
    pub temperature_c: Vec<f64>,
    pub pressure_pa: Vec<f64>,
    /// What an air-speed sensor met along the direction of travel; empty until `take_air_speed` is asked for it.
    pub air_speed_m_s: Vec<f64>,
    pub extra: Vec<ExtraChannel>,
    /// The time over which one power value is a mean: the recording's base interval.
    pub nominal_interval_s: f64,
    /// The unit sampled by need, every 1 to 8 s: a power is taken for all of the interval that it ends.
    pub by_need: bool,
    /// Times without samples: pauses (timer stopped) and holes. A pause may hold the few samples that
    /// the unit wrote while its timer stood.
    pub gaps: Vec<Gap>,
    /// When the altitude was set anew: the heights before were moved to those after, as well as that can be told. [unix s]
    pub altitude_steps_s: Vec<f64>,
    pub repairs: Vec<Repair>,
    pub speed_source: SpeedSource,
    /// Distance by the speed channel over distance by positions, for the whole ride.
    pub speed_check: Option<SpeedCheck>,
    pub lap_marks_s: Vec<f64>,
    pub rider_mass_kg: Option<f64>,
    /// Other units on the same ride whose channels are among these.
    pub joined: Vec<JoinedUnit>,
    /// The recording says that its power is twice that of one leg.
    pub one_leg_power: bool,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    pub start_s: f64,
    pub end_s: f64,
    /// True where the timer was stopped, false where samples are simply missing.
    pub paused: bool,
}

/// Something that was taken out or set right, where, and what it cost.
#[derive(Debug, Clone, PartialEq)]
pub struct Repair {
    /// Short fixed name: "duplicate time", "backward time", "power spike", "frozen speed", ...
    pub kind: &'static str,
    pub start_s: f64,
    pub end_s: f64,
    /// Samples taken out or set right.
    pub samples: usize,
    /// One sentence for a person.
    pub message: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SpeedSource {
    WheelSensor,
    /// The unit's own speed channel; the file does not say what it measured.
    Unit,
    /// From the unit's distance.
    Distance,
    /// From positions alone.
    Positions,
    /// There is no way to a speed.
    None,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpeedCheck {
    pub ratio: f64,
    pub standard_uncertainty: f64,
    /// Length over which both were compared.
    pub length_m: f64,
}
