//! `test.toml`: what was typed, then what it means.

mod air_speed;
mod bicycle;
mod blocks;
mod clocks;
pub mod edit;
mod faults;
mod gates;
mod keys;
mod moment;
mod notes;
#[cfg(test)]
mod notes_tests;
mod parse;
mod parts;
pub mod planned;
mod quantity;
mod readings;
mod section;
mod sensors;
mod setups;
mod slow;
mod suggest;
mod surfaces;
mod syntax;
#[cfg(test)]
mod tests;

pub use parse::{parse, read, without_file};
pub use slow::{PowerSide, Slow};

use crate::streams::ClockGiven;
use crate::treatment::{AsRecorded, Treatment};

/// A value with its standard uncertainty, and whether the user wrote it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    pub value: f64,
    pub standard_uncertainty: f64,
    /// False: a default of ours, which the output then states.
    pub given: bool,
}

/// The whole of `test.toml` after checking, with every default settled.
#[derive(Debug, Clone, PartialEq)]
pub struct TestDay {
    pub title: Option<String>,
    pub smallest_difference_percent: f64,
    /// Relative scale of the power meter: 1 with its uncertainty.
    pub power_scale: Measured,
    pub power_at: PowerAt,
    pub slow: Slow,
    pub air: Vec<AirReading>,
    pub air_speed: Option<AirSpeedGiven>,
    pub course: Option<CourseGiven>,
    /// At least one; the first is the baseline. Without `test.toml`: "as ridden".
    pub setups: Vec<Setup>,
    /// Empty where none was written: then every pass belongs to the first set-up, in one block a recording.
    pub blocks: Vec<Block>,
    pub excludes: Vec<Exclude>,
    pub windows: Vec<Window>,
    pub cuts: Vec<Cut>,
    /// In the order of their places; they do not overlap.
    pub surfaces: Vec<Surface>,
    /// What the day was planned for; `None` where nobody planned it.
    pub plan: Option<Planned>,
    /// Treatments that are not to be applied.
    pub as_recorded: AsRecorded,
    /// Clocks of units that the user knows to be off.
    pub clocks: Vec<ClockGiven>,
    /// True over recorded speed, where the user gives it for all set-ups.
    pub speed_scale: Option<Measured>,
    /// By how much power is stamped later than the speed that it makes, where the user knows it. [s]
    pub power_delay_s: Option<Measured>,
    /// By how much altitude comes after the road, where the user knows it. [s]
    pub altitude_lag_s: Option<Measured>,
    /// One sentence for each default that the results rest on.
    pub assumptions: Vec<String>,
}

impl TestDay {
    /// None where they are to be left out.
    pub fn surfaces_that_count(&self) -> &[Surface] {
        if self.as_recorded.leaves(Treatment::Surfaces) {
            &[]
        } else {
            &self.surfaces
        }
    }
}

/// One set-up with everything it is ridden with (what `[[setup]]` does not say comes from the shared tables).
#[derive(Debug, Clone, PartialEq)]
pub struct Setup {
    pub name: String,
    pub total_mass_kg: Measured,
    pub drivetrain_efficiency: Measured,
    pub wheel_radius_m: Measured,
    /// Both wheels together.
    pub wheel_inertia_kg_m2: Measured,
    pub crr: Measured,
    /// True over recorded speed, where the user gives it for this set-up.
    pub speed_scale: Option<Measured>,
    pub differs: Differs,
    /// Index of the set-up that this one is the same as (a null test).
    pub same_as: Option<usize>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Differs {
    Cda,
    Crr,
    Both,
}

/// As typed in `[[air]]`; `air` makes density and wind of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AirReading {
    /// Line of the table in `test.toml`, for messages.
    pub line: usize,
    pub time_s: Option<f64>,
    pub temperature_c: Option<Measured>,
    pub pressure: Option<Pressure>,
    pub relative_humidity_percent: Option<Measured>,
    pub metar: Option<String>,
    pub wind: Option<WindReading>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pressure {
    AtRoad { hpa: Measured },
    SeaLevel { hpa: Measured },
}

/// `[air_speed]`: the channel of the recordings that holds the speed of the air met by the rider.
#[derive(Debug, Clone, PartialEq)]
pub struct AirSpeedGiven {
    /// Line of the table in `test.toml`, for messages.
    pub line: usize,
    /// Name of the channel as `inspect` lists it.
    pub channel: String,
    /// True over recorded air speed, along the direction of travel. A ratio; 1 ± 0.05 by default.
    pub factor: Measured,
}

/// Where the power is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PowerAt {
    /// Also pedals and spider.
    Crank,
    Hub,
}

/// Wind at rider height as the user knows it. Direction is where it comes from, true north.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WindReading {
    pub speed_m_s: f64,
    pub from_deg: f64,
    pub standard_uncertainty_m_s: f64,
}

impl WindReading {
    /// Where the air moves to, east and north. [m/s]
    pub fn east_north_m_s(&self) -> [f64; 2] {
        east_north_m_s(self.speed_m_s, self.from_deg)
    }
}

/// Where the air of a wind moves to, east and north: −U sin φ, −U cos φ. `from_deg`: where it comes from. [m/s]
pub fn east_north_m_s(speed_m_s: f64, from_deg: f64) -> [f64; 2] {
    let from = from_deg.to_radians();
    [-speed_m_s * from.sin(), -speed_m_s * from.cos()]
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    OneWay,
    OutAndBack,
    Loop,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CourseGiven {
    /// Line of `[course]` in `test.toml`, for messages.
    pub line: usize,
    pub shape: Option<Shape>,
    /// Latitude, longitude in degrees.
    pub start_deg: Option<[f64; 2]>,
    pub finish_deg: Option<[f64; 2]>,
    /// A loop whose lap was measured.
    pub lap: Option<LapGiven>,
}

/// A measured lap, and what is known of its bends and of the rider who leans in them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LapGiven {
    pub length_m: Measured,
    /// Of the wheels' path where it is tightest; not `given`: that of a usual track of this length.
    pub bend_radius_m: Measured,
    /// Of rider and bicycle upright, above the road.
    pub centre_of_mass_height_m: Measured,
}

/// Laps up to this length are tracks, in whose bends one leans; of longer ones only where a radius is given.
pub const LONGEST_TRACK_M: f64 = 500.0;

impl TestDay {
    /// Whether the course is a measured lap in whose bends one leans.
    pub fn on_a_track(&self) -> bool {
        let lap = self.course.and_then(|course| course.lap);
        lap.is_some_and(|lap| lap.is_track())
    }
}

impl LapGiven {
    /// Whether it is a track of two bends.
    pub fn is_track(&self) -> bool {
        self.bend_radius_m.given || self.length_m.value <= LONGEST_TRACK_M
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Line of the table in `test.toml`, for messages.
    pub line: usize,
    /// Index into `setups`; `None` for "none": warm-up, ride home, spoilt.
    pub setup: Option<usize>,
    pub extent: Extent,
    /// To be held in this block, at the meter, where it is not the one of the plan.
    pub planned_power_w: Option<f64>,
    pub notes: Notes,
}

/// What was written down before a block; each may be missing.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Notes {
    /// Read beside the road: one reading of the block, however many passes it has.
    pub wind: Option<WindReading>,
    /// Weighed before the block; stands instead of the set-up's for its passes.
    pub total_mass_kg: Option<Measured>,
    /// Torque in N m that the power meter shows unloaded just before the block, before it is zeroed.
    pub power_zero_nm: Option<f64>,
    /// Way of one turn of the wheel, loaded. [m]
    pub rollout_m: Option<f64>,
    pub tyre_pressure_bar: Option<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Extent {
    Passes(usize),
    /// Unix seconds. A pass belongs here when it starts within.
    Times {
        from_s: f64,
        to_s: f64,
    },
}

#[derive(Debug, Clone, PartialEq)]
pub struct Exclude {
    pub line: usize,
    pub pass: PassRef,
    pub reason: String,
}

/// Fit only part of a pass, or of all (`pass` = `None`). Metres along the course from its start.
#[derive(Debug, Clone, PartialEq)]
pub struct Window {
    pub line: usize,
    pub pass: Option<PassRef>,
    pub from_m: Option<f64>,
    pub to_m: Option<f64>,
}

/// Leave a stretch out of a pass, or of all (`pass` = `None`). Metres along the course from its start.
#[derive(Debug, Clone, PartialEq)]
pub struct Cut {
    pub line: usize,
    pub pass: Option<PassRef>,
    pub from_m: f64,
    pub to_m: f64,
    pub reason: Option<String>,
}

/// Part of the course on which tyres roll otherwise. Metres along the course from its start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surface {
    pub line: usize,
    pub from_m: f64,
    /// Infinite: to the finish.
    pub to_m: f64,
    /// Times the Crr of whatever is ridden; a ratio.
    pub crr_factor: Measured,
}

/// `[plan]`, written before the ride, with every default settled.
#[derive(Debug, Clone, PartialEq)]
pub struct Planned {
    /// Line of the table in `test.toml`, for messages.
    pub line: usize,
    /// The verdict may be looked at after every block and the riding stopped: it is then made harder to reach, so that
    /// all looks together have the chance of error of one.
    pub look_after_every_block: bool,
    /// Change of CdA, or of what the set-ups differ in, that is looked for; negative: less. `None`: the smallest
    /// difference that the rider cares about, as less drag.
    pub difference_percent: Option<f64>,
    pub hold: Hold,
    /// At the meter, within a pass; in speed held, what the first set-up needs for its speed.
    pub power_w: f64,
    /// `None`: the speed that the power keeps up.
    pub entry_speed_m_s: Option<f64>,
    /// Expected of the first set-up.
    pub cda_m2: f64,
    /// At each turn within a block.
    pub turn_round_s: f64,
    /// Between two blocks: the set-up changed or mounted anew.
    pub change_s: f64,
    /// Expected at rider height. `None`: as on any day.
    pub wind: Option<PlannedWind>,
    /// Name of a route in the folder, from start to finish (a loop: one lap).
    pub road: Option<String>,
    /// Without a road: its length, its climb from start to finish, and where it leads from true north.
    pub length_m: Option<f64>,
    pub gradient_percent: f64,
    pub bearing_deg: f64,
    /// Of the order, and of rehearsed days.
    pub seed: u64,
}

/// What is kept the same in all set-ups while riding.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hold {
    Power,
    Speed,
}

/// Wind that is expected, at rider height. Direction is where it comes from, true north; `None`: from anywhere.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedWind {
    pub speed_m_s: f64,
    pub from_deg: Option<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PassRef {
    /// Start time, unix seconds; matches within 5 s.
    StartTime(f64),
    /// Accepted with a remark: numbers change when a file is added.
    Number(usize),
}

impl PassRef {
    /// The promise of the interface: a pass is named by its start time to this. [s]
    pub const NAMED_WITHIN_S: f64 = 5.0;

    /// How far the start of a pass is off the time by which it is named; `None` where another pass is meant. Of several
    /// the nearest is.
    pub fn off_s(&self, number: usize, start_s: f64) -> Option<f64> {
        match *self {
            PassRef::StartTime(time_s) => {
                Some((start_s - time_s).abs()).filter(|off_s| *off_s <= PassRef::NAMED_WITHIN_S)
            }
            PassRef::Number(named) => (named == number).then_some(0.0),
        }
    }
}
