//! The energy account of one pass, step by step, summed from its start.

use crate::course::Direction;
use crate::estimate::cells::{PassRide, RiddenStep, Shift, ride_rig, surroundings};
use crate::estimate::one_pass::{
    BRAKED_DISTRUST, EDGE_STANDARD_UNCERTAINTY_M, POWER_NOISE_SHARE, SPEED_STANDARD_UNCERTAINTY_M_S,
};
use crate::physics::{RelativeWind, Step, step_work};
use crate::test_day::Setup;

/// How long gusts are remembered. METHOD 4 ties the strength of gust work to one; 5 s are a choice, the same
/// as of the simulated days. Windows much longer see white gusts, shorter ones less than that.
const GUST_MEMORY_S: f64 = 5.0;
/// Two passes need not reach to the same metre at their ends.
const REACH_M: f64 = 10.0;

/// Where a pass was, and what had been left over by then. One value for each boundary between steps, the
/// first and the last end included, unless said otherwise.
#[derive(Debug)]
pub(super) struct Trail {
    /// Along the course, growing in the order ridden: from its start, or on the way back minus that.
    pub at_m: Vec<f64>,
    pub time_s: Vec<f64>,
    /// Work done less what drag, rolling, bearings, speed and slope took.
    pub left_j: Vec<f64>,
    /// Work that a head wind of 1 m/s takes.
    pub gust_j: Vec<f64>,
    pub power_noise_j2: Vec<f64>,
    /// Standard uncertainty of the kinetic energy.
    pub kinetic_sd_j: Vec<f64>,
    /// What an error in the place would do, for each metre of it: weight × slope.
    pub slope_n: Vec<f64>,
    /// Cell of each step, and power in it.
    pub cell: Vec<usize>,
    pub power_w: Vec<f64>,
    /// For each cell: power that was not measured, work of the brakes that is accounted for already.
    pub cell_doubt_j2: Vec<f64>,
}

/// Sums between two places.
#[derive(Debug, Clone, Copy)]
pub(super) struct Between {
    pub left_j: f64,
    pub gust_j: f64,
}

impl Trail {
    pub fn new(ride: &PassRide, setup: &Setup, cda_m2: f64, crr: f64) -> Self {
        let neutral = Shift::default();
        let (rig, around) = (ride_rig(ride, setup, &neutral), surroundings(ride, &neutral));
        let weight_n = rig.total_mass_kg * around.gravity_m_s2;
        let sign = match ride.direction {
            Direction::Forward => 1.0,
            Direction::Reverse => -1.0,
        };
        let kinetic_sd_j = |speed: f64| rig.effective_mass_kg() * speed * SPEED_STANDARD_UNCERTAINTY_M_S;
        let first = ride.cells.first();
        let mut trail = Trail {
            at_m: vec![first.map_or(0.0, |cell| sign * cell.from_m)],
            time_s: vec![0.0],
            left_j: vec![0.0],
            gust_j: vec![0.0],
            power_noise_j2: vec![0.0],
            kinetic_sd_j: vec![first.map_or(0.0, |cell| kinetic_sd_j(cell.start_speed_m_s))],
            slope_n: vec![first.map_or(0.0, |cell| weight_n * cell.start_gradient)],
            cell: Vec::new(),
            power_w: Vec::new(),
            cell_doubt_j2: Vec::new(),
        };
        let add = |sums: &mut Vec<f64>, more: f64| sums.push(sums.last().copied().unwrap_or(0.0) + more);
        for (number, cell) in ride.cells.iter().enumerate() {
            let ridden = |s: &RiddenStep| 0.5 * (s.start_speed_m_s + s.end_speed_m_s) * s.duration_s;
            let ridden_m: f64 = cell.steps.iter().map(ridden).sum();
            let stretch = sign * (cell.to_m - cell.from_m) / ridden_m.max(f64::MIN_POSITIVE);
            for step in &cell.steps {
                let wind = RelativeWind::from_air_velocity(
                    ride.air.wind_east_m_s,
                    ride.air.wind_north_m_s,
                    step.bearing_rad,
                );
                let work = step_work(&Step {
                    duration_s: step.duration_s,
                    power_w: step.power_w,
                    start_speed_m_s: step.start_speed_m_s,
                    end_speed_m_s: step.end_speed_m_s,
                    wind,
                    cos_slope: step.cos_slope,
                });
                let left_j = rig.drivetrain_efficiency * work.crank_j
                    - rig.effective_mass_kg() * work.kinetic_m2_s2
                    - work.bearing_j
                    - crr * weight_n * work.level_distance_m
                    - weight_n * step.sin_slope * work.distance_m
                    - 0.5 * around.air_density_kg_m3 * cda_m2 * work.air_m3_s2;
                // The derivative of (v+w) V_a by w is V_a + (v+w)²/V_a.
                let along = work.distance_m / step.duration_s + wind.headwind_m_s;
                let airspeed = along.hypot(wind.crosswind_m_s).max(f64::MIN_POSITIVE);
                let per_gust_n =
                    0.5 * around.air_density_kg_m3 * cda_m2 * (airspeed + along * along / airspeed);
                add(&mut trail.at_m, stretch * ridden(step));
                add(&mut trail.time_s, step.duration_s);
                add(&mut trail.left_j, left_j);
                add(&mut trail.gust_j, per_gust_n * work.distance_m);
                let noise_w2 = (POWER_NOISE_SHARE * step.power_w).powi(2);
                add(&mut trail.power_noise_j2, noise_w2 * step.duration_s);
                trail.kinetic_sd_j.push(kinetic_sd_j(step.end_speed_m_s));
                trail.slope_n.push(weight_n * step.sin_slope);
                trail.cell.push(number);
                trail.power_w.push(step.power_w);
            }
            let doubt_j2 = cell.unknown_power_j.powi(2) + (BRAKED_DISTRUST * cell.braked_j).powi(2);
            trail.cell_doubt_j2.push(doubt_j2);
        }
        trail
    }

    pub fn steps(&self) -> usize {
        self.cell.len()
    }

    pub fn duration_s(&self) -> f64 {
        self.time_s.last().copied().unwrap_or(0.0)
    }

    /// From one boundary to a later one.
    pub fn within(&self, from: usize, to: usize) -> Between {
        Between {
            left_j: self.left_j[to] - self.left_j[from],
            gust_j: self.gust_j[to] - self.gust_j[from],
        }
    }

    /// From one place to a later one; `None` where the pass does not reach there.
    pub fn between(&self, from_m: f64, to_m: f64) -> Option<Between> {
        let (start, end) = (self.at(from_m)?, self.at(to_m)?);
        Some(Between {
            left_j: end.left_j - start.left_j,
            gust_j: end.gust_j - start.gust_j,
        })
    }

    fn at(&self, place_m: f64) -> Option<Between> {
        let (first, last) = (*self.at_m.first()?, *self.at_m.last()?);
        if place_m < first - REACH_M || place_m > last + REACH_M {
            return None;
        }
        let after = self
            .at_m
            .partition_point(|&m| m <= place_m)
            .clamp(1, self.steps().max(1));
        let (a, b) = (after - 1, after);
        let length_m = self.at_m.get(b)? - self.at_m[a];
        let share = if length_m > 0.0 {
            ((place_m - self.at_m[a]) / length_m).clamp(0.0, 1.0)
        } else {
            0.0
        };
        let value = |sums: &[f64]| sums[a] + share * (sums[b] - sums[a]);
        Some(Between {
            left_j: value(&self.left_j),
            gust_j: value(&self.gust_j),
        })
    }

    /// Standard deviation of what is left over between two boundaries, on a day with gusts of strength
    /// `gust_q` in m²/s and no disturbance, where a mean wind taken from the rest of the pass is taken out. [J]
    pub fn sd_j(&self, from: usize, to: usize, gust_q: f64) -> f64 {
        let duration_s = self.time_s[to] - self.time_s[from];
        let rest_s = (self.duration_s() - duration_s).max(duration_s);
        let gust_j = self.gust_j[to] - self.gust_j[from];
        // An Ornstein–Uhlenbeck process of memory τ, summed over T: q (T − τ(1 − e^(−T/τ))) instead of q T.
        let seen_s = duration_s - GUST_MEMORY_S * (1.0 - (-duration_s / GUST_MEMORY_S).exp());
        let gusts_j2 = gust_j.powi(2) * gust_q * (seen_s / duration_s.powi(2) + 1.0 / rest_s);
        let place_j = (self.slope_n[to] - self.slope_n[from]) * EDGE_STANDARD_UNCERTAINTY_M;
        let doubt_j2: f64 = self.cell_doubt_j2[self.cell[from]..=self.cell[to - 1]]
            .iter()
            .sum();
        let power_j2 = self.power_noise_j2[to] - self.power_noise_j2[from];
        let edges_j2 = self.kinetic_sd_j[from].powi(2) + self.kinetic_sd_j[to].powi(2);
        (gusts_j2 + edges_j2 + place_j.powi(2) + power_j2 + doubt_j2).sqrt()
    }
}
