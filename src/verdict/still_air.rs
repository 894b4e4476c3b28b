//! Each pass ridden again by the balance: same power, mass, entry speed and density for all, and no wind.

use super::road::road;
use crate::course::{Course, Direction};
use crate::physics::{Piece, Rig, Surroundings, ride_road};

/// What all passes are re-ridden with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StillAir {
    pub power_w: f64,
    pub entry_speed_m_s: f64,
    pub around: Surroundings,
}

/// Time over the course in seconds; `None` where the rider would stall.
pub fn still_air_time_s(course: &Course, direction: Direction, rig: &Rig, with: &StillAir) -> Option<f64> {
    let pieces: Vec<Piece> = road(course, direction)
        .iter()
        .map(|stretch| stretch.in_wind([0.0; 2]))
        .collect();
    ride_road(rig, &with.around, &pieces, with.power_w, with.entry_speed_m_s).map(|ridden| ridden.time_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::gravity_m_s2;
    use crate::simulate::{DayPlan, out_and_back_plan, ride_day};
    use crate::streams::{Streams, align};
    use std::path::Path;

    /// A rider like a machine on a windless day: the stopwatch shows the still-air time itself.
    fn steady() -> DayPlan {
        let mut plan = out_and_back_plan(3, "AA", -6.0).ideal();
        plan.rider.power_wander_sd = 0.0;
        plan.rider.power_uneven_sd = 0.0;
        plan.rider.fade_per_h = 0.0;
        plan.rider.climb_response = 0.0;
        plan
    }

    #[test]
    fn on_a_windless_day_the_still_air_time_is_that_of_the_stopwatch() {
        let plan = steady();
        let day = ride_day(&plan);
        let streams: Vec<Streams> = day.recordings.iter().map(|r| align(r.clone()).unwrap()).collect();
        let ridden = crate::course::survey(&streams, None, Path::new("test.toml")).unwrap();
        let (course, base) = (&ridden.course, &plan.setups[0]);
        let rig = Rig {
            cda_m2: base.cda_m2,
            crr: base.crr,
            total_mass_kg: base.total_mass_kg,
            wheel_inertia_kg_m2: base.wheel_inertia_kg_m2,
            wheel_radius_m: base.wheel_radius_m,
            drivetrain_efficiency: base.drivetrain_efficiency,
        };
        let gravity = gravity_m_s2(plan.course.latitude_deg, plan.course.elevation_m);
        let density = crate::air::density::moist_air_density_kg_m3(
            100.0 * plan.air.pressure_hpa,
            plan.air.temperature_c + 273.15,
            plan.air.relative_humidity_percent / 100.0,
        );
        assert_eq!(ridden.passes.len(), 4);
        for pass in &ridden.passes {
            let with = StillAir {
                power_w: plan.rider.power_w,
                entry_speed_m_s: pass.entry_speed_m_s,
                around: Surroundings {
                    air_density_kg_m3: density,
                    gravity_m_s2: gravity,
                },
            };
            let time = still_air_time_s(course, pass.direction, &rig, &with).unwrap();
            // 1500 m in some 150 s; the gates lie where the rides are alike, not to the metre.
            let off = time / pass.duration_s() - 1.0;
            assert!(
                off.abs() < 0.003,
                "{:?}: {time} {}",
                pass.direction,
                pass.duration_s()
            );
            let slow = Rig {
                cda_m2: 1.1 * rig.cda_m2,
                ..rig
            };
            let slower = still_air_time_s(course, pass.direction, &slow, &with).unwrap();
            // Speed goes a little less than with the cube root of drag area: 10 % is some 2 to 3 % of time.
            assert!((1.01..1.035).contains(&(slower / time)), "{}", slower / time);
        }
        let idle = StillAir {
            power_w: 0.0,
            entry_speed_m_s: 3.0,
            around: Surroundings {
                air_density_kg_m3: density,
                gravity_m_s2: gravity,
            },
        };
        assert_eq!(
            still_air_time_s(course, Direction::Forward, &rig, &idle),
            None,
            "a stall has no time"
        );
    }
}
