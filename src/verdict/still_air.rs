//! Each pass ridden again by the balance: same power, mass, entry speed and density for all, and no wind.

use crate::course::{Course, Direction};
use crate::physics::{Piece, RelativeWind, Rig, Surroundings, ride_road};

/// Pieces of about this length: finer than any hill in a shared profile.
const PIECE_M: f64 = 20.0;

/// What all passes are re-ridden with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StillAir {
    pub power_w: f64,
    pub entry_speed_m_s: f64,
    pub around: Surroundings,
}

/// Time over the course in seconds; `None` where the rider would stall.
pub fn still_air_time_s(course: &Course, direction: Direction, rig: &Rig, with: &StillAir) -> Option<f64> {
    let flat_m = course.line.length_m();
    let length_m = course.length_m();
    let count = (length_m / PIECE_M).ceil().max(1.0) as usize;
    let pieces: Vec<Piece> = (0..count)
        .map(|index| {
            let share = (index as f64 + 0.5) / count as f64;
            let (at_m, sign) = match direction {
                Direction::Forward => (share * flat_m, 1.0),
                Direction::Reverse => ((1.0 - share) * flat_m, -1.0),
            };
            Piece {
                length_m: length_m / count as f64,
                gradient: sign * course.profile.as_ref().map_or(0.0, |p| p.gradient_at(at_m)),
                wind: RelativeWind::default(),
            }
        })
        .collect();
    ride_road(rig, &with.around, &pieces, with.power_w, with.entry_speed_m_s).map(|ridden| ridden.time_s)
}
