//! Where the bends of a track lie on the course, and the lean in them.

use crate::course::Line;
use crate::physics::{Lean, Track};
use std::f64::consts::{PI, TAU};

/// A track laid onto the course.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bends {
    pub track: Track,
    /// From the start of the course, along the lap as it was measured.
    pub middle_of_straight_m: f64,
    pub centre_height_m: f64,
}

impl Bends {
    /// The straights are found by the second harmonic of the turning: positions that wander by metres on a lap of
    /// 250 m have no curvature worth the name, but the whole line knows where it turned faster than on the average.
    ///
    /// Between straights the bearing runs ahead of an even turning and falls behind again twice a lap, as
    /// −sin(4π s / lap) from the middle of a straight.
    pub fn of(line: &Line, track: Track, centre_height_m: f64) -> Bends {
        let turned = turned_rad(line);
        let way = turned.last().copied().unwrap_or(0.0).signum();
        let length_m = line.length_m();
        let (mut sine, mut cosine) = (0.0, 0.0);
        for (piece, turned) in turned.iter().enumerate() {
            let (from, to) = (line.distance_m[piece], line.distance_m[piece + 1]);
            let share = 0.5 * (from + to) / length_m;
            let ahead = way * turned - TAU * share;
            let (sin, cos) = (2.0 * TAU * share).sin_cos();
            sine += ahead * sin * (to - from);
            cosine += ahead * cos * (to - from);
        }
        let phase = cosine.atan2(-sine);
        Bends {
            track,
            middle_of_straight_m: phase / (2.0 * TAU) * track.lap_length_m,
            centre_height_m,
        }
    }

    /// At a place along the course, whichever way it is ridden.
    pub fn lean(&self, along_m: f64, wheel_speed_m_s: f64, gravity_m_s2: f64) -> Lean {
        let curve_per_m = self.track.curve_per_m(along_m - self.middle_of_straight_m);
        Lean::at(wheel_speed_m_s, curve_per_m, self.centre_height_m, gravity_m_s2)
    }
}

/// Bearing of each piece of a line less that at its start, without jumps by 2π; positive to the right.
fn turned_rad(line: &Line) -> Vec<f64> {
    let bearings = &line.bearing_rad[..line.bearing_rad.len() - 1];
    let mut turned = 0.0;
    let mut before = bearings[0];
    bearings
        .iter()
        .map(|bearing| {
            turned += (bearing - before + PI).rem_euclid(TAU) - PI;
            before = *bearing;
            turned
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Destination, Geodesic, Point};

    const TRACK: Track = Track {
        lap_length_m: 250.0,
        bend_radius_m: 23.0,
        transition_m: 12.5,
    };

    /// Walks the track from a place `start_m` after the middle of a straight, 5 m at a time.
    fn line(start_m: f64, way: f64) -> Line {
        let mut place = Point::new(-31.2, 40.1);
        let mut bearing: f64 = 0.7;
        let (mut latitude_deg, mut longitude_deg) = (vec![place.y()], vec![place.x()]);
        let (mut bearing_rad, mut distance_m) = (Vec::new(), vec![0.0]);
        for piece in 0..50 {
            for part in 0..50 {
                let s = start_m + 5.0 * f64::from(piece) + 0.1 * (f64::from(part) + 0.5);
                bearing += way * TRACK.curve_per_m(way * s) * 0.1;
                if part == 24 {
                    bearing_rad.push(bearing);
                }
            }
            place = Geodesic.destination(place, bearing.to_degrees(), 5.0);
            latitude_deg.push(place.y());
            longitude_deg.push(place.x());
            distance_m.push(5.0 * f64::from(piece + 1));
        }
        bearing_rad.push(bearing);
        Line::of_parts(latitude_deg, longitude_deg, distance_m, bearing_rad)
    }

    #[test]
    fn the_straights_are_found_from_any_gate_and_in_either_direction() {
        for start_m in [0.0, 11.0, 40.0, 62.5, 100.0] {
            for way in [1.0, -1.0] {
                let bends = Bends::of(&line(start_m, way), TRACK, 1.0);
                let off = (bends.middle_of_straight_m + start_m + 62.5).rem_euclid(125.0) - 62.5;
                assert!(off.abs() < 1.0, "{start_m} {way}: {bends:?}");
                let straight = bends.lean(bends.middle_of_straight_m, 12.0, 9.81);
                assert_eq!(straight, Lean::UPRIGHT);
            }
        }
    }
}
