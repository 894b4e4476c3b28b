//! How a pass would have gone on an even slope without gusts: speeds that know of the pedals alone.
//!
//! A gust from the front slows the rider, so that more drag goes with less speed; a height that is too low by
//! its error makes a downhill cell look as if drag rose with speed. Regressing the work on the speeds ridden
//! reads both as little drag and much rolling: on simulated days with gusts of 0.4 m/s it gave Crr 0.015 too
//! high with a stated 0.003. The speeds that the measured power would have made are as uneven as the rider
//! was, and know of neither; they serve as instruments (two-stage least squares) for those ridden.

use super::cells::{PassRide, RiddenStep, Shift, ride_rig, surroundings};
use crate::physics::{RelativeWind, bearing_force_n, drag_force_n};
use crate::test_day::Setup;

/// A rider who would stall at the mean slope rides on at this.
const SLOWEST_M_S: f64 = 1.0;

/// Speed at the start of each step of each cell. [m/s]
///
/// `entry_speed_m_s` must not be that of this pass, which its wind has made; one for the whole day is safe.
pub fn speeds_m_s(ride: &PassRide, setup: &Setup, cda_m2: f64, entry_speed_m_s: f64) -> Vec<Vec<f64>> {
    let rig = ride_rig(ride, setup, &Shift::default());
    let around = surroundings(ride, &Shift::default());
    let weight_n = rig.total_mass_kg * around.gravity_m_s2;
    let climb_m: f64 = ride.cells.iter().map(|cell| cell.climb_m).sum();
    let slope = climb_m / ride.distance_m();
    let mut speed = entry_speed_m_s.max(SLOWEST_M_S);
    let mut after = |step: &RiddenStep| {
        let before = speed;
        let wind = wind(ride, step, [0.0; 2]);
        let held_n = drag_force_n(cda_m2, around.air_density_kg_m3, speed, wind)
            + weight_n * (rig.crr + slope)
            + bearing_force_n(speed);
        let gained_j = (rig.drivetrain_efficiency * step.power_w - held_n * speed) * step.duration_s;
        // Steps of a second are short against the half minute in which speed settles, and an instrument
        // need not be exact.
        let speed_squared = speed * speed + 2.0 * gained_j / rig.effective_mass_kg();
        speed = speed_squared.max(SLOWEST_M_S * SLOWEST_M_S).sqrt();
        before
    };
    ride.cells
        .iter()
        .map(|cell| cell.steps.iter().map(&mut after).collect())
        .collect()
}

/// Drag work per m² in each cell, ½ρ⟨(v+w)V_a⟩ times its length, at such speeds. [J/m²]
///
/// `more_wind_m_s`, east and north: added to the wind that is known.
pub fn drag_work_j_m2(ride: &PassRide, speeds_m_s: &[Vec<f64>], more_wind_m_s: [f64; 2]) -> Vec<f64> {
    let density = ride.air.density_kg_m3;
    ride.cells
        .iter()
        .zip(speeds_m_s)
        .map(|(cell, speeds)| {
            let (mut work, mut duration_s, mut length_m) = (0.0, 0.0, 0.0);
            for (step, speed) in cell.steps.iter().zip(speeds) {
                work += drag_force_n(1.0, density, *speed, wind(ride, step, more_wind_m_s)) * step.duration_s;
                duration_s += step.duration_s;
                length_m += 0.5 * (step.start_speed_m_s + step.end_speed_m_s) * step.duration_s;
            }
            work / duration_s * length_m
        })
        .collect()
}

fn wind(ride: &PassRide, step: &RiddenStep, more_m_s: [f64; 2]) -> RelativeWind {
    let [east, north] = more_m_s;
    RelativeWind::from_air_velocity(
        ride.air.wind_east_m_s + east,
        ride.air.wind_north_m_s + north,
        step.bearing_rad,
    )
}
