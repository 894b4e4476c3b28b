//! How fast the descents of a road are.

use super::PlannedDay;
use super::entry::entry;
use crate::course::Direction;
use crate::physics::{Rig, Surroundings, ride_road};
use crate::test_day::Shape;
use crate::verdict::Stretch;

/// Faster than this nobody is asked to ride in an aero position on an open road: 60 km/h (our choice, no published
/// source).
const FASTEST_M_S: f64 = 60.0 / 3.6;

/// The highest speed at the end of a stretch in any direction that is ridden, by the first set-up in still air, where it
/// is above 60 km/h. [m/s]
pub fn too_fast_m_s(day: &PlannedDay, power_w: f64) -> Option<f64> {
    let ways: &[Direction] = match day.shape {
        Shape::OutAndBack => &[Direction::Forward, Direction::Reverse],
        Shape::OneWay | Shape::Loop => &[Direction::Forward],
    };
    let (rig, around) = (day.rig(0), day.around());
    let highest_m_s = ways
        .iter()
        .filter_map(|way| highest_m_s(&rig, &around, &day.road_in(*way), power_w))
        .reduce(f64::max)?;
    (highest_m_s > FASTEST_M_S).then_some(highest_m_s)
}

/// `None` where the power keeps up no speed.
fn highest_m_s(rig: &Rig, around: &Surroundings, road: &[Stretch], power_w: f64) -> Option<f64> {
    let mut speed_m_s = entry(rig, around, road, power_w)?.speed_m_s;
    let mut highest_m_s = speed_m_s;
    for stretch in road {
        let piece = stretch.in_wind([0.0; 2]);
        speed_m_s = ride_road(rig, around, &[piece], power_w, speed_m_s)?.exit_speed_m_s;
        highest_m_s = highest_m_s.max(speed_m_s);
    }
    Some(highest_m_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::{RelativeWind, steady_speed_m_s};

    const AROUND: Surroundings = Surroundings {
        air_density_kg_m3: 1.2,
        gravity_m_s2: 9.81,
    };
    const RIG: Rig = Rig {
        cda_m2: 0.3,
        crr: 0.0045,
        total_mass_kg: 80.0,
        wheel_inertia_kg_m2: 0.14,
        wheel_radius_m: 0.336,
        drivetrain_efficiency: 0.976,
    };

    #[test]
    fn a_descent_that_is_too_fast_is_seen() {
        let road = |sign: f64, lengths_m: [f64; 2]| {
            lengths_m.map(|length_m| Stretch {
                length_m,
                gradient: sign * 0.06,
                bearing_rad: 0.1,
            })
        };
        let highest = |road: &[Stretch]| highest_m_s(&RIG, &AROUND, road, 220.0).unwrap();
        assert!(highest(&road(1.0, [300.0, 1700.0])) < FASTEST_M_S);
        let speed = highest(&road(-1.0, [1700.0, 300.0]));
        assert!(speed > FASTEST_M_S);
        // It enters at the steady speed of −6 % and does not get faster.
        let steady = steady_speed_m_s(&RIG, &AROUND, 220.0, -0.06, RelativeWind::default()).unwrap();
        assert!((speed - steady).abs() < 1e-6, "{speed} {steady}");
    }
}
