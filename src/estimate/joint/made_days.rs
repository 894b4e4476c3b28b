//! Days made for tests: each pass's power closes the balance in a wind that the analysis is not told.

use crate::course::{Direction, Profile};
use crate::estimate::cells::PassRide;
use crate::estimate::made::{Truth, level, pass, setup};
use crate::estimate::plain::Day;
use crate::test_day::{Differs, Setup, Shape};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use std::f64::consts::TAU;

pub(super) const CELL_M: f64 = 150.0;
const CRR: f64 = 0.004;

#[derive(Debug, Clone)]
pub(super) struct Plan {
    pub shape: Shape,
    /// Set-up of each block, in the order ridden.
    pub order: Vec<usize>,
    pub passes_a_block: usize,
    pub cells: usize,
    /// In what each set-up differs from the first.
    pub differs: Vec<Differs>,
    /// Standard uncertainty of the shared heights; `None`: the road is not known at all.
    pub profile_m: Option<f64>,
    /// Standard uncertainty of the wind, each way.
    pub wind_m_s: f64,
    /// A pass covers part of the course only: the first and last cell of every third pass are not fitted.
    pub windows: bool,
    /// Every pass at the same steady speed, in still air, at the same drag area but for its set-up, and with power
    /// that is even.
    pub alike: bool,
    pub seed: u64,
}

pub(super) struct Made {
    pub rides: Vec<PassRide>,
    pub setups: Vec<Setup>,
    pub shape: Shape,
    pub length_m: f64,
    pub profile: Option<Profile>,
}

impl Made {
    pub fn day(&self) -> Day<'_> {
        Day {
            rides: &self.rides,
            setups: &self.setups,
            course_length_m: self.length_m,
            shape: self.shape,
        }
    }
}

/// Rides the plan. Set-up s has a drag area of 0.30 m² × e^(−0.06 s); speeds, hidden winds, and unevenness of
/// power are drawn for each pass.
pub(super) fn made(plan: &Plan) -> Made {
    let mut random = ChaCha8Rng::seed_from_u64(plan.seed);
    let length_m = CELL_M * plan.cells as f64;
    let setups: Vec<Setup> = plan
        .differs
        .iter()
        .enumerate()
        .map(|(number, differs)| Setup {
            differs: *differs,
            ..setup(&format!("set-up {number}"))
        })
        .collect();
    let mut made = Made {
        rides: Vec::new(),
        setups,
        shape: plan.shape,
        length_m,
        profile: plan.profile_m.map(|sd| profile(length_m, sd)),
    };
    let mut now_s = 1.0e9;
    for (block, set) in plan.order.iter().enumerate() {
        for turn in 0..plan.passes_a_block {
            let back = plan.shape == Shape::OutAndBack && turn % 2 == 1;
            let direction = if back {
                Direction::Reverse
            } else {
                Direction::Forward
            };
            let mut ride = ridden(plan, &made.setups[*set], [*set, block], direction, &mut random);
            let duration_s = ride.duration_s();
            ride.pass = made.rides.len();
            ride.middle_s = now_s + 0.5 * duration_s;
            now_s += duration_s + if plan.shape == Shape::Loop { 0.0 } else { 45.0 };
            if plan.windows && ride.pass % 3 == 1 {
                ride.cells.remove(0);
                ride.cells.pop();
            }
            made.rides.push(ride);
        }
        now_s += 300.0;
    }
    made
}

fn profile(length_m: f64, standard_uncertainty_m: f64) -> Profile {
    Profile {
        distance_m: vec![0.0, length_m],
        elevation_m: vec![0.0, 0.0],
        climb_m: 0.0,
        standard_uncertainty_m,
        lag: None,
        port: None,
        // None on a road as well known as it can be.
        wander_m: if standard_uncertainty_m > 0.3 { 0.7 } else { 0.0 },
        disagreement_m: standard_uncertainty_m,
    }
}

fn ridden(
    plan: &Plan,
    of: &Setup,
    [set, block]: [usize; 2],
    direction: Direction,
    random: &mut ChaCha8Rng,
) -> PassRide {
    let spread = if plan.alike { 0.0 } else { 1.0 };
    let steps_in_a_cell = if plan.alike {
        15
    } else {
        random.random_range(12..18)
    };
    let seconds = (steps_in_a_cell * plan.cells) as f64;
    let mean_m_s = CELL_M / steps_in_a_cell as f64;
    let phase: f64 = random.random_range(0.0..TAU);
    let waves = f64::from(random.random_range(1u8..5));
    // Whole waves, so that the pass is as long as the course.
    let speed = move |time_s: f64| mean_m_s + spread * 0.8 * (phase + TAU * waves * time_s / seconds).sin();
    let mut normal = || spread * random.sample::<f64, _>(StandardNormal);
    let wind_m_s = [0.4 * normal(), 0.4 * normal()];
    let cda_m2 = 0.30 * (-0.06 * set as f64 + 0.008 * normal()).exp();
    let crr = if of.differs == Differs::Cda {
        CRR
    } else {
        CRR + 0.0005 * set as f64
    };
    let turn_rad_m = match plan.shape {
        Shape::Loop => TAU / (CELL_M * plan.cells as f64),
        _ => 0.0003,
    };
    let mut truth = Truth {
        cda_m2,
        crr,
        wind_m_s,
        turn_rad_m,
        direction,
        setup: set,
        block,
        cells: plan.cells,
        steps_in_a_cell,
        gradient: &|along_m| 0.004 * (TAU * along_m / 450.0).sin(),
        unseen_j: Box::new(move |_| spread * 9.0 * random.sample::<f64, _>(StandardNormal)),
        ..level(0.3, &speed)
    };
    let mut ride = pass(&mut truth, of);
    ride.air.wind_east_m_s = 0.0;
    ride.air.wind_north_m_s = 0.0;
    ride.air.wind_standard_uncertainty_m_s = plan.wind_m_s;
    ride
}
