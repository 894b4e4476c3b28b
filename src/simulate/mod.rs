//! The referee: truth → rides → files.
//!
//! A day is written down as truth (road, air, wind, rider, set-ups, sensors), the road-load balance is
//! integrated forward, and the sensors write what a bike computer would have recorded.
//!
//! This room repeats the physics and the geometry **on purpose** and shares only constants (`units`) and the
//! data types of `recording` with the analysis. A mistake in a formula of the analysis then shows as a wrong
//! answer here; if both sides used one function, it would cancel. Never merge them.
//!
//! What is simplified, so that nobody takes it for a finding: the wheel counts along the centre line of the
//! road (the lane moves the position only); the air warms evenly if at all; the wind is the same along the
//! whole course unless `shelter` is set.

mod balance;
mod cover;
mod csv_writer;
mod drawn;
mod files;
mod fit_message;
mod fit_writer;
mod gpx_writer;
mod itinerary;
mod measured;
mod path;
mod plan;
mod plans;
mod ride;
mod road;
mod second_unit;
mod sensors;
mod test_toml;
mod track;
mod truth;
mod unit;
mod wind;

pub use drawn::{Uncertain, draw_ordinary, log_uniform, normal};
pub use plan::*;
pub use plans::{demo_plan, loop_plan, one_way_plan, out_and_back_plan, track_plan};
pub use truth::{NearPass, NearReason, TrueDay, TruePass};

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

/// Independent random numbers for each purpose: another sensor noise must not change the wind.
#[derive(Debug, Clone, Copy)]
enum Purpose {
    Wind = 1,
    Rider = 2,
    Position = 3,
    Sensors = 4,
    Plan = 5,
    AirSpeed = 6,
    HandHeld = 7,
    SecondUnit = 61,
    UnderCover = 62,
    PositionAltitude = 20,
    OneLeg = 41,
    ByNeed = 42,
}

fn random(seed: u64, purpose: Purpose) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(purpose as u64);
    rng
}

/// Rides the whole day. The same plan gives the same bytes.
pub fn ride_day(plan: &DayPlan) -> TrueDay {
    let road = road::Road::new(&plan.course);
    let path = itinerary::build(plan, &road);
    let trace = ride::ride(plan, &path);
    let recordings = unit::record(plan, &path, &trace);
    truth::TrueDay::new(plan, &road, &path, &trace, recordings)
}

#[cfg(test)]
mod check_files;
#[cfg(test)]
mod check_rides;
#[cfg(test)]
mod check_sensors;
