//! The shared course as a road to ride again, in one direction.

use crate::course::{Course, Direction};
use crate::physics::{Piece, RelativeWind};
use std::f64::consts::PI;

/// Edges nearer to each other than this are one.
const LEAST_M: f64 = 0.01;

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
    pub fn in_wind(&self, [east, north]: [f64; 2]) -> Piece {
        Piece {
            length_m: self.length_m,
            gradient: self.gradient,
            wind: RelativeWind::from_air_velocity(east, north, self.bearing_rad),
        }
    }
}

/// The course cut wherever its bearing or its slope changes, in the order ridden. Level where there is no profile.
///
/// Cut anywhere else, a stretch would stand for a part of the road that has another bearing: on a loop cut each
/// 19.8 m over nodes each 20 m, one node counted twice, and some 1 % of a steady wind stayed a head wind all the
/// way round, which took 0.5 s a lap at 4 m/s.
pub fn road(course: &Course, direction: Direction) -> Vec<Stretch> {
    let profile = course.profile.as_ref();
    let mut edges_m = course.line.distance_m.clone();
    edges_m.extend(profile.iter().flat_map(|p| &p.distance_m));
    edges_m.retain(|edge| (0.0..=course.line.length_m()).contains(edge));
    edges_m.sort_by(f64::total_cmp);
    edges_m.dedup_by(|later, earlier| *later - *earlier < LEAST_M);
    let stretches: Vec<Stretch> = edges_m
        .windows(2)
        .map(|ends| {
            let at_m = 0.5 * (ends[0] + ends[1]);
            let gradient = profile.map_or(0.0, |p| p.gradient_at(at_m));
            Stretch {
                length_m: (ends[1] - ends[0]) * gradient.hypot(1.0),
                gradient,
                bearing_rad: course.line.bearing_at_rad(at_m),
            }
        })
        .collect();
    match direction {
        Direction::Forward => stretches,
        Direction::Reverse => reversed(stretches),
    }
}

/// The same road ridden the other way.
pub fn reversed(mut road: Vec<Stretch>) -> Vec<Stretch> {
    road.reverse();
    for stretch in &mut road {
        stretch.gradient = -stretch.gradient;
        stretch.bearing_rad += PI;
    }
    road
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::{DayPlan, loop_plan, one_way_plan, out_and_back_plan, ride_day};
    use crate::streams::{Streams, align};
    use std::path::Path;

    fn course(plan: DayPlan) -> Course {
        let day = ride_day(&plan.ideal());
        let streams: Vec<Streams> = day.recordings.iter().map(|r| align(r.clone()).unwrap()).collect();
        crate::course::survey(&streams, None, Path::new("test.toml"))
            .unwrap()
            .course
    }

    /// East, north and up from one end to the other, and the length ridden. [m]
    fn ridden(road: &[Stretch]) -> [f64; 4] {
        road.iter().fold([0.0; 4], |[east, north, up, length], stretch| {
            let level_m = stretch.length_m / stretch.gradient.hypot(1.0);
            let (sin, cos) = stretch.bearing_rad.sin_cos();
            [
                east + level_m * sin,
                north + level_m * cos,
                up + level_m * stretch.gradient,
                length + stretch.length_m,
            ]
        })
    }

    #[test]
    fn the_road_ends_where_the_course_does_and_comes_back() {
        for plan in [
            loop_plan(3, "AA", 0.0),
            out_and_back_plan(3, "AA", 0.0),
            one_way_plan(3, "AA", 0.0),
        ] {
            let course = course(plan);
            let [east, north, up, length] = ridden(&road(&course, Direction::Forward));
            // A loop ends where it began; bearings are those of a plane, good to some 0.01 % of 2 km.
            let [from, to] = [course.line.start_deg(), course.line.finish_deg()];
            let metres_a_degree = 111_195.0;
            let away_north = (to[0] - from[0]) * metres_a_degree;
            let away_east = (to[1] - from[1]) * metres_a_degree * from[0].to_radians().cos();
            let size = away_north.hypot(away_east);
            // A degree of latitude is 110.6 to 111.7 km, one of longitude as much longer or shorter: 0.5 %.
            let off = (east - away_east).hypot(north - away_north);
            assert!(off < 0.3 + 0.005 * size, "{off} of {size}");
            assert!(
                (up - course.climb_m().unwrap()).abs() < 1e-3,
                "{up} {:?}",
                course.climb_m()
            );
            assert!((length / course.length_m() - 1.0).abs() < 1e-6, "{length}");
            let back = ridden(&road(&course, Direction::Reverse));
            for (there, back) in [east, north, up, -length].into_iter().zip(back) {
                assert!((there + back).abs() < 1e-9, "{there} {back}");
            }
        }
    }
}
