//! The energy account of one pass, step by step, summed from its start.

use crate::course::Direction;
use crate::estimate::cells::{PassRide, RiddenStep, Shift, ride_rig, surroundings};
use crate::estimate::one_pass::{BRAKED_DISTRUST, EDGE_STANDARD_UNCERTAINTY_M, POWER_NOISE_SHARE};
use crate::physics::{RelativeWind, Rig, Step, Surroundings, Work, step_work};
use crate::test_day::Setup;

/// What the drag area of a first fit may be wrong by. A choice, wide: wind is in it.
const DRAG_STANDARD_UNCERTAINTY_SHARE: f64 = 0.15;
/// Two passes need not reach to the same metre at their ends.
const REACH_M: f64 = 10.0;

/// What is wrong by one amount over the whole pass: drag area, wind east and north, the place along the road.
pub(in crate::estimate) const WHOLE_PASS: usize = 4;

/// One value for each boundary between steps, the first and the last end included, unless said otherwise.
#[derive(Debug, Clone)]
pub(in crate::estimate) struct Trail {
    /// Along the course, growing in the order ridden: from its start, or on the way back minus that.
    pub at_m: Vec<f64>,
    pub time_s: Vec<f64>,
    /// Work done less what drag, rolling, bearings, speed and slope took.
    pub left_j: Vec<f64>,
    /// Work that a head wind of 1 m/s takes.
    pub gust_j: Vec<f64>,
    /// Distance through the air.
    pub air_m: Vec<f64>,
    /// What one standard uncertainty of each would leave over.
    pub whole_pass_j: [Vec<f64>; WHOLE_PASS],
    /// Variance that gathers on the way: power is uneven, or was not measured, or brakes are accounted for.
    pub gathered_j2: Vec<f64>,
    /// Standard uncertainty of the kinetic energy.
    pub kinetic_sd_j: Vec<f64>,
    /// Cell of each step, and power in it.
    pub cell: Vec<usize>,
    pub power_w: Vec<f64>,
}

impl Trail {
    pub fn new(ride: &PassRide, setup: &Setup, cda_m2: f64, crr: f64) -> Self {
        let neutral = Shift::default();
        let balance = Balance {
            ride,
            rig: Rig {
                cda_m2,
                crr,
                ..ride_rig(ride, setup, &neutral)
            },
            around: surroundings(ride, &neutral),
        };
        let mut trail = Trail::start(&balance);
        for (number, cell) in ride.cells.iter().enumerate() {
            if number > 0 && !ride.goes_on(number) {
                // What was cut out is passed over at once.
                let start_m = place_m(ride.direction, cell.from_m);
                trail.at_m.pop();
                trail.at_m.push(start_m);
            }
            let ridden_m: f64 = cell.steps.iter().map(ridden_m).sum();
            let stretch = (cell.to_m - cell.from_m).abs() / ridden_m.max(f64::MIN_POSITIVE);
            let doubt_j2 = cell.unknown_power_j.powi(2) + (BRAKED_DISTRUST * cell.braked_j).powi(2);
            // The balance of a cell rolls as its surface lets it.
            let balance = Balance {
                rig: Rig {
                    crr: crr * cell.crr_factor,
                    ..balance.rig
                },
                ..balance
            };
            for step in &cell.steps {
                trail.add(&balance, step, stretch, doubt_j2 / cell.steps.len() as f64);
                trail.cell.push(number);
            }
        }
        trail
    }

    fn start(balance: &Balance) -> Self {
        let cell = balance.ride.cells.first();
        let at_m = place_m(balance.ride.direction, cell.map_or(0.0, |cell| cell.from_m));
        let speed = cell.map_or(0.0, |cell| cell.start_speed_m_s);
        Trail {
            at_m: vec![at_m],
            time_s: vec![0.0],
            left_j: vec![0.0],
            gust_j: vec![0.0],
            air_m: vec![0.0],
            whole_pass_j: std::array::from_fn(|_| vec![0.0]),
            gathered_j2: vec![0.0],
            kinetic_sd_j: vec![balance.kinetic_sd_j(speed)],
            cell: Vec::new(),
            power_w: Vec::new(),
        }
    }

    fn add(&mut self, balance: &Balance, step: &RiddenStep, stretch: f64, doubt_j2: f64) {
        let wind = balance.wind(step);
        let work = balance.work(step, wind);
        let drag_j = 0.5 * balance.around.air_density_kg_m3 * balance.rig.cda_m2 * work.air_m3_s2;
        let along = work.distance_m / step.duration_s.max(f64::MIN_POSITIVE) + wind.headwind_m_s;
        let airspeed = wind.airspeed_at(along).max(f64::MIN_POSITIVE);
        // The derivative of (v+w) V_a by w is V_a + (v+w)²/V_a.
        let per_gust_m_s = airspeed + along * along / airspeed;
        let gust_j =
            0.5 * balance.around.air_density_kg_m3 * balance.rig.cda_m2 * per_gust_m_s * work.distance_m;
        let noise_j2 = (POWER_NOISE_SHARE * step.power_w).powi(2) * step.duration_s;
        let wind_j = balance.ride.air.wind_standard_uncertainty_m_s * gust_j;
        let (sin, cos) = step.bearing_rad.sin_cos();
        let add = |sums: &mut Vec<f64>, more: f64| sums.push(sums.last().copied().unwrap_or(0.0) + more);
        add(&mut self.at_m, stretch * ridden_m(step));
        add(&mut self.time_s, step.duration_s);
        add(&mut self.left_j, balance.left_j(step, &work) - drag_j);
        add(&mut self.gust_j, gust_j);
        add(&mut self.air_m, airspeed * step.duration_s);
        add(&mut self.gathered_j2, noise_j2 + doubt_j2);
        let [drag, east, north, place] = &mut self.whole_pass_j;
        add(drag, DRAG_STANDARD_UNCERTAINTY_SHARE * drag_j);
        add(east, wind_j * sin);
        add(north, wind_j * cos);
        place.push(balance.weight_n() * step.sin_slope * EDGE_STANDARD_UNCERTAINTY_M);
        self.kinetic_sd_j.push(balance.kinetic_sd_j(step.end_speed_m_s));
        self.power_w.push(step.power_w);
    }

    pub fn steps(&self) -> usize {
        self.cell.len()
    }

    pub fn duration_s(&self) -> f64 {
        self.time_s.last().copied().unwrap_or(0.0)
    }

    /// `sums`, one for each boundary, at a place along the course; `None` where the pass does not reach there.
    pub fn at(&self, sums: &[f64], place_m: f64) -> Option<f64> {
        let (first, last) = (*self.at_m.first()?, *self.at_m.last()?);
        if place_m < first - REACH_M || place_m > last + REACH_M {
            return None;
        }
        let b = self
            .at_m
            .partition_point(|&m| m <= place_m)
            .clamp(1, self.steps().max(1));
        let (before, after) = (*self.at_m.get(b - 1)?, *self.at_m.get(b)?);
        let share = if after > before {
            ((place_m - before) / (after - before)).clamp(0.0, 1.0)
        } else {
            0.0
        };
        Some(sums.get(b - 1)? + share * (sums.get(b)? - sums.get(b - 1)?))
    }
}

/// Growing in the order ridden.
fn place_m(direction: Direction, along_m: f64) -> f64 {
    match direction {
        Direction::Forward => along_m,
        Direction::Reverse => -along_m,
    }
}

fn ridden_m(step: &RiddenStep) -> f64 {
    0.5 * (step.start_speed_m_s + step.end_speed_m_s) * step.duration_s
}

/// What a pass is accounted with.
#[derive(Clone, Copy)]
struct Balance<'a> {
    ride: &'a PassRide,
    rig: Rig,
    around: Surroundings,
}

impl Balance<'_> {
    fn weight_n(&self) -> f64 {
        self.rig.total_mass_kg * self.around.gravity_m_s2
    }

    fn kinetic_sd_j(&self, speed_m_s: f64) -> f64 {
        self.rig.effective_mass_kg() * speed_m_s * self.ride.speed_standard_uncertainty_m_s
    }

    fn wind(&self, step: &RiddenStep) -> RelativeWind {
        let air = &self.ride.air;
        RelativeWind::from_air_velocity(air.wind_east_m_s, air.wind_north_m_s, step.bearing_rad)
    }

    fn work(&self, step: &RiddenStep, wind: RelativeWind) -> Work {
        step_work(&Step {
            duration_s: step.duration_s,
            power_w: step.power_w,
            start_speed_m_s: step.start_speed_m_s,
            end_speed_m_s: step.end_speed_m_s,
            wind,
            cos_slope: step.cos_slope,
            lean: step.lean,
        })
    }

    /// Left over before drag.
    fn left_j(&self, step: &RiddenStep, work: &Work) -> f64 {
        self.rig.drivetrain_efficiency * work.crank_j
            - self.rig.effective_mass_kg() * work.kinetic_m2_s2
            - work.bearing_j
            - self.rig.crr * self.weight_n() * work.level_distance_m
            - self.weight_n() * step.sin_slope * work.distance_m
    }
}
