//! How a pass would have gone on an even slope without gusts: speeds that know of the pedals alone.
//!
//! A gust from the front slows the rider, so that more drag goes with less speed; a height that is too low by
//! its error makes a downhill cell look as if drag rose with speed. Regressing the work on the speeds ridden
//! reads both as little drag and much rolling: on simulated days with gusts of 0.4 m/s it gave Crr 0.015 too
//! high with a stated 0.003. The speeds that the measured power would have made are as uneven as the rider
//! was, and know of neither; they serve as instruments (two-stage least squares) for those ridden.

use super::cells::{PassRide, rig, surroundings};
use crate::estimate::cells::Shift;
use crate::physics::{RelativeWind, bearing_force_n, drag_force_n};
use crate::test_day::Setup;

/// A rider who would stall at the mean slope rides on at this.
const SLOWEST_M_S: f64 = 1.0;

/// Drag work per m² in each cell, ½ρ⟨(v+w)V_a⟩ times its length, at the speeds predicted. [J/m²]
///
/// `entry_speed_m_s` must not be that of this pass, which its wind has made; one for the whole day is safe.
pub fn drag_work_j_m2(ride: &PassRide, setup: &Setup, cda_m2: f64, entry_speed_m_s: f64) -> Vec<f64> {
    let rig = rig(setup, &Shift::default());
    let around = surroundings(ride, &Shift::default());
    let weight_n = rig.total_mass_kg * around.gravity_m_s2;
    let climb_m: f64 = ride.cells.iter().map(|cell| cell.climb_m).sum();
    let slope = climb_m / ride.distance_m();
    let mut speed = entry_speed_m_s.max(SLOWEST_M_S);
    ride.cells
        .iter()
        .map(|cell| {
            let (mut work, mut duration_s, mut length_m) = (0.0, 0.0, 0.0);
            for step in &cell.steps {
                let wind = RelativeWind::from_air_velocity(
                    ride.air.wind_east_m_s,
                    ride.air.wind_north_m_s,
                    step.bearing_rad,
                );
                let per_area_n = drag_force_n(1.0, around.air_density_kg_m3, speed, wind);
                let held_n = cda_m2 * per_area_n + weight_n * (rig.crr + slope) + bearing_force_n(speed);
                let gained_j = (rig.drivetrain_efficiency * step.power_w - held_n * speed) * step.duration_s;
                work += per_area_n * step.duration_s;
                duration_s += step.duration_s;
                length_m += 0.5 * (step.start_speed_m_s + step.end_speed_m_s) * step.duration_s;
                // Steps of a second are short against the half minute in which speed settles, and an
                // instrument need not be exact.
                let speed_squared = speed * speed + 2.0 * gained_j / rig.effective_mass_kg();
                speed = speed_squared.max(SLOWEST_M_S * SLOWEST_M_S).sqrt();
            }
            work / duration_s * length_m
        })
        .collect()
}
