//! The shared course as a road to ride again, in one direction.

use crate::course::{Course, Direction};
use crate::physics::{Piece, RelativeWind};
use std::f64::consts::PI;

/// Pieces of about this length: finer than any hill in a shared profile.
const PIECE_M: f64 = 20.0;

/// A stretch of the course with constant slope and bearing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Along the road.
    pub length_m: f64,
    /// tan θ, positive uphill, in the direction ridden.
    pub gradient: f64,
    /// Of travel, clockwise from true north.
    pub bearing_rad: f64,
}

impl Stretch {
    /// With the wind that moves to `[east, north]`, in m/s.
    pub(super) fn in_wind(&self, [east, north]: [f64; 2]) -> Piece {
        Piece {
            length_m: self.length_m,
            gradient: self.gradient,
            wind: RelativeWind::from_air_velocity(east, north, self.bearing_rad),
        }
    }
}

/// The course cut into stretches of some 20 m, in the order ridden. Level where there is no profile.
pub fn road(course: &Course, direction: Direction) -> Vec<Stretch> {
    let level_m = course.line.length_m();
    let length_m = course.length_m();
    let count = (length_m / PIECE_M).ceil().max(1.0) as usize;
    (0..count)
        .map(|index| {
            let share = (index as f64 + 0.5) / count as f64;
            let (at_m, sign, turn_rad) = match direction {
                Direction::Forward => (share * level_m, 1.0, 0.0),
                Direction::Reverse => ((1.0 - share) * level_m, -1.0, PI),
            };
            Stretch {
                length_m: length_m / count as f64,
                gradient: sign * course.profile.as_ref().map_or(0.0, |p| p.gradient_at(at_m)),
                bearing_rad: course.line.bearing_at_rad(at_m) + turn_rad,
            }
        })
        .collect()
}
