//! A road the other way round, and how fast its descents are.

use crate::physics::{RelativeWind, Rig, Surroundings, ride_road};
use crate::verdict::Stretch;
use std::f64::consts::PI;

use super::entry::entry;

/// Faster than this nobody is asked to ride in an aero position on an open road: 60 km/h (our choice, no published
/// source).
const FASTEST_M_S: f64 = 60.0 / 3.6;

pub fn reversed(road: &[Stretch]) -> Vec<Stretch> {
    road.iter()
        .rev()
        .map(|stretch| Stretch {
            length_m: stretch.length_m,
            gradient: -stretch.gradient,
            bearing_rad: stretch.bearing_rad + PI,
        })
        .collect()
}

/// The highest speed at the end of a stretch, in still air, where it is above 60 km/h. [m/s]
pub fn too_fast_m_s(rig: &Rig, around: &Surroundings, road: &[Stretch], power_w: f64) -> Option<f64> {
    let mut speed_m_s = entry(rig, around, road, power_w)?.speed_m_s;
    let mut highest_m_s = speed_m_s;
    for stretch in road {
        let piece = crate::physics::Piece {
            length_m: stretch.length_m,
            gradient: stretch.gradient,
            wind: RelativeWind::default(),
        };
        speed_m_s = ride_road(rig, around, &[piece], power_w, speed_m_s)?.exit_speed_m_s;
        highest_m_s = highest_m_s.max(speed_m_s);
    }
    (highest_m_s > FASTEST_M_S).then_some(highest_m_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::steady_speed_m_s;

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
    fn a_descent_that_is_too_fast_is_seen_the_other_way_round() {
        let climb = [
            Stretch {
                length_m: 300.0,
                gradient: 0.05,
                bearing_rad: 0.0,
            },
            Stretch {
                length_m: 1700.0,
                gradient: 0.06,
                bearing_rad: 0.1,
            },
        ];
        assert_eq!(too_fast_m_s(&RIG, &AROUND, &climb, 220.0), None);
        let down = reversed(&climb);
        assert_eq!((down[0].length_m, down[0].gradient), (1700.0, -0.06));
        let speed = too_fast_m_s(&RIG, &AROUND, &down, 220.0).unwrap();
        // It enters at the steady speed of −6 % and does not get faster.
        let steady = steady_speed_m_s(&RIG, &AROUND, 220.0, -0.06, RelativeWind::default()).unwrap();
        assert!((speed - steady).abs() < 1e-6, "{speed} {steady}");
        assert_eq!(reversed(&down), {
            let mut same = climb.to_vec();
            same.iter_mut().for_each(|s| s.bearing_rad += 2.0 * PI);
            same
        });
    }
}
