//! Passes made for tests: of steps whose power closes the balance exactly, and of simulated days.

use super::cells::{Cell, Ground, PassRide, RiddenStep, cell_count, cut};
use super::one_pass::GUST_Q_MEDIAN_M2_S;
use super::rolling::Rolling;
use crate::air::density::moist_air_density_kg_m3;
use crate::air::{AirState, UNKNOWN_WIND_M_S};
use crate::course::{Course, Direction, survey};
use crate::physics::{Lean, RelativeWind, Rig, Step, Surroundings, gravity_m_s2, step_work};
use crate::simulate::{DayPlan, SetupTruth, TrueDay, TruePass, ride_day};
use crate::streams::align;
use crate::test_day::{CourseGiven, Differs, Measured, Setup, Shape};
use crate::units::{KELVIN_AT_0_C, PA_PER_HPA};
use std::path::Path;

/// The rider of the sensitivities in REFERENCES 9, but for the bearings, which are always there.
pub(crate) fn setup(name: &str) -> Setup {
    let known = |value, standard_uncertainty| Measured {
        value,
        standard_uncertainty,
        given: true,
    };
    Setup {
        name: name.to_string(),
        total_mass_kg: known(80.0, 0.3),
        drivetrain_efficiency: known(0.976, 0.005),
        wheel_radius_m: known(0.336, 0.002),
        wheel_inertia_kg_m2: known(0.14, 0.02),
        crr: known(0.004, 0.0007),
        speed_scale: None,
        differs: Differs::Cda,
        same_as: None,
    }
}

pub(crate) const GRAVITY_M_S2: f64 = 9.80665;

/// What a pass is made of.
pub(crate) struct Truth<'a> {
    pub cda_m2: f64,
    pub crr: f64,
    pub density_kg_m3: f64,
    /// East and north, where the air moves to; known to the analysis.
    pub wind_m_s: [f64; 2],
    /// Of the course at its start, from north.
    pub bearing_rad: f64,
    /// To the right, along the course.
    pub turn_rad_m: f64,
    pub direction: Direction,
    pub setup: usize,
    pub block: usize,
    pub cells: usize,
    /// Each of one second.
    pub steps_in_a_cell: usize,
    /// At a time since the first edge.
    pub speed_m_s: &'a dyn Fn(f64) -> f64,
    /// Rise along the course per metre of road, at metres from its start.
    pub gradient: &'a dyn Fn(f64) -> f64,
    /// Energy that the balance does not know of, joules in each second.
    pub unseen_j: Box<dyn FnMut(f64) -> f64 + 'a>,
}

/// Metres from the start of the course to its finish for a rider who keeps to `speed_m_s`.
pub(crate) fn length_m(truth: &Truth) -> f64 {
    let steps = truth.cells * truth.steps_in_a_cell;
    let speed = |second: usize| (truth.speed_m_s)(second as f64);
    (0..steps)
        .map(|second| 0.5 * (speed(second) + speed(second + 1)))
        .sum()
}

pub(crate) fn pass(truth: &mut Truth, of: &Setup) -> PassRide {
    let length_m = length_m(truth);
    let rig = Rig {
        cda_m2: truth.cda_m2,
        crr: truth.crr,
        total_mass_kg: of.total_mass_kg.value,
        wheel_inertia_kg_m2: of.wheel_inertia_kg_m2.value,
        wheel_radius_m: of.wheel_radius_m.value,
        drivetrain_efficiency: of.drivetrain_efficiency.value,
    };
    let around = Surroundings {
        air_density_kg_m3: truth.density_kg_m3,
        gravity_m_s2: GRAVITY_M_S2,
    };
    let (mut along_m, sign) = match truth.direction {
        Direction::Forward => (0.0, 1.0),
        Direction::Reverse => (length_m, -1.0),
    };
    let mut cells = Vec::new();
    for number in 0..truth.cells {
        let (from_m, mut climb_m, mut steps) = (along_m, 0.0, Vec::new());
        let start_gradient = sign * (truth.gradient)(along_m);
        for second in 0..truth.steps_in_a_cell {
            let time_s = (number * truth.steps_in_a_cell + second) as f64;
            let made = step(truth, &rig, &around, time_s, along_m, sign);
            climb_m += made.1;
            along_m += sign * 0.5 * (made.0.start_speed_m_s + made.0.end_speed_m_s);
            steps.push(made.0);
        }
        cells.push(Cell {
            from_m,
            to_m: along_m,
            climb_m,
            start_speed_m_s: steps[0].start_speed_m_s,
            end_speed_m_s: steps[steps.len() - 1].end_speed_m_s,
            steps,
            start_gradient,
            end_gradient: sign * (truth.gradient)(along_m),
            start_power_w: 0.0,
            end_power_w: 0.0,
            unknown_power_j: 0.0,
            braked_j: 0.0,
            crr_factor: 1.0,
            surface_share: 0.0,
        });
    }
    PassRide {
        pass: 0,
        setup: truth.setup,
        block: truth.block,
        direction: truth.direction,
        middle_s: 0.0,
        start_s: 0.0,
        cells,
        gravity_m_s2: GRAVITY_M_S2,
        air: AirState {
            temperature_c: 15.0,
            density_kg_m3: truth.density_kg_m3,
            density_standard_uncertainty_kg_m3: 0.005,
            wind_east_m_s: truth.wind_m_s[0],
            wind_north_m_s: truth.wind_m_s[1],
            wind_standard_uncertainty_m_s: 0.5,
        },
        length_ratio: 1.0,
        air_speed_scale_standard_uncertainty: None,
        wind_reading: None,
        total_mass_kg: None,
        wheel_radius_m: None,
        power_zero_noted: false,
        speed_standard_uncertainty_m_s: crate::estimate::one_pass::SPEED_STANDARD_UNCERTAINTY_M_S,
        in_day: Default::default(),
    }
}

/// One second, and the climb in it.
fn step(
    truth: &mut Truth,
    rig: &Rig,
    around: &Surroundings,
    time_s: f64,
    along_m: f64,
    sign: f64,
) -> (RiddenStep, f64) {
    let rise = sign * (truth.gradient)(along_m);
    let turn = if sign > 0.0 { 0.0 } else { std::f64::consts::PI };
    let mut ridden = RiddenStep {
        duration_s: 1.0,
        power_w: 0.0,
        start_speed_m_s: (truth.speed_m_s)(time_s),
        end_speed_m_s: (truth.speed_m_s)(time_s + 1.0),
        bearing_rad: truth.bearing_rad + truth.turn_rad_m * along_m + turn,
        cos_slope: (1.0 - rise * rise).sqrt(),
        sin_slope: rise,
        air_speed_m_s: f64::NAN,
        lean: Lean::UPRIGHT,
    };
    let work = step_work(&Step {
        duration_s: 1.0,
        power_w: 0.0,
        start_speed_m_s: ridden.start_speed_m_s,
        end_speed_m_s: ridden.end_speed_m_s,
        wind: RelativeWind::from_air_velocity(truth.wind_m_s[0], truth.wind_m_s[1], ridden.bearing_rad),
        cos_slope: ridden.cos_slope,
        lean: Lean::UPRIGHT,
    });
    let weight_n = rig.total_mass_kg * around.gravity_m_s2;
    let climb_m = rise * work.distance_m;
    let needed_j = rig.effective_mass_kg() * work.kinetic_m2_s2
        + work.bearing_j
        + rig.crr * weight_n * work.level_distance_m
        + 0.5 * around.air_density_kg_m3 * rig.cda_m2 * work.air_m3_s2
        + weight_n * climb_m
        + (truth.unseen_j)(time_s);
    ridden.power_w = needed_j / rig.drivetrain_efficiency;
    (ridden, climb_m)
}

/// A pass on the level at a steady 10 m/s, in still air, with this drag area.
pub(crate) fn level_pass(cda_m2: f64, direction: Direction, setup_index: usize, block: usize) -> PassRide {
    let mut truth = level(cda_m2, &|_| 10.0);
    truth.direction = direction;
    truth.setup = setup_index;
    truth.block = block;
    pass(&mut truth, &setup("any"))
}

/// A level truth in still air to change parts of; 10 cells of 15 s.
pub(crate) fn level<'a>(cda_m2: f64, speed_m_s: &'a dyn Fn(f64) -> f64) -> Truth<'a> {
    Truth {
        cda_m2,
        crr: 0.004,
        density_kg_m3: 1.2,
        wind_m_s: [0.0; 2],
        bearing_rad: 0.4,
        turn_rad_m: 0.0003,
        direction: Direction::Forward,
        setup: 0,
        block: 0,
        cells: 10,
        steps_in_a_cell: 15,
        speed_m_s,
        gradient: &|_| 0.0,
        unseen_j: Box::new(|_| 0.0),
    }
}

/// Rolling resistance held where it was, with gusts of the usual strength.
pub(crate) fn held() -> Rolling {
    Rolling {
        shift: 0.0,
        standard_uncertainty: 0.0007,
        held: true,
        rides_alone: None,
        correlation: None,
        gust_q_m2_s: GUST_Q_MEDIAN_M2_S,
    }
}

/// A simulated day as the estimate sees it: gates and inputs as they were in truth, the wind unknown.
pub(crate) struct RiddenDay {
    pub truth: TrueDay,
    pub rides: Vec<PassRide>,
    /// For each ride, its index into `truth.passes`.
    pub true_pass: Vec<usize>,
    pub setups: Vec<Setup>,
    pub course_length_m: f64,
}

/// Rides a plan and cuts what was recorded into cells, all in memory.
pub(crate) fn ridden(plan: &DayPlan) -> RiddenDay {
    ridden_over(plan).0
}

/// The same with the course as it was found.
pub(crate) fn ridden_over(plan: &DayPlan) -> (RiddenDay, Course) {
    let truth = ride_day(plan);
    let streams: Vec<_> = truth
        .recordings
        .iter()
        .map(|r| align(r.clone()).unwrap())
        .collect();
    let (shape, finish_deg) = match plan.course.shape {
        crate::simulate::Shape::OneWay => (Shape::OneWay, Some(truth.finish_deg)),
        crate::simulate::Shape::OutAndBack => (Shape::OutAndBack, Some(truth.finish_deg)),
        crate::simulate::Shape::Loop => (Shape::Loop, None),
    };
    let gates = CourseGiven {
        line: 1,
        shape: Some(shape),
        start_deg: Some(truth.start_deg),
        finish_deg,
        lap: None,
    };
    let found = survey(&streams, Some(&gates), Path::new("test.toml")).unwrap();
    let length_m = found.course.length_m();
    let (mut rides, mut true_pass) = (Vec::new(), Vec::new());
    for (index, pass) in found.passes.iter().enumerate() {
        let same = |t: &TruePass| (t.start_s - pass.start_s).abs() < 5.0;
        let Some(number) = truth.passes.iter().position(same) else {
            continue;
        };
        let Some(setup) = truth.passes[number].setup else {
            continue;
        };
        let ground = Ground {
            speed_scale: 1.0,
            streams: &streams[pass.recording],
            course: &found.course,
            air: air_of(plan),
            gravity_m_s2: gravity_m_s2(plan.course.latitude_deg, plan.course.elevation_m),
            cells: cell_count(length_m, found.passes.len()),
            bends: None,
            speed_as_by_wheel: false,
            surfaces: &[],
            parts_m: &[(0.0, length_m)],
        };
        rides.push(cut(&ground, pass, index, setup, truth.passes[number].block).unwrap());
        true_pass.push(number);
    }
    let day = RiddenDay {
        rides,
        true_pass,
        setups: plan.setups.iter().map(setup_of).collect(),
        course_length_m: length_m,
        truth,
    };
    (day, found.course)
}

fn air_of(plan: &DayPlan) -> AirState {
    AirState {
        temperature_c: 15.0,
        density_kg_m3: moist_air_density_kg_m3(
            PA_PER_HPA * plan.air.pressure_hpa,
            plan.air.temperature_c + KELVIN_AT_0_C,
            plan.air.relative_humidity_percent / 100.0,
        ),
        density_standard_uncertainty_kg_m3: 0.005,
        wind_east_m_s: 0.0,
        wind_north_m_s: 0.0,
        wind_standard_uncertainty_m_s: UNKNOWN_WIND_M_S,
    }
}

fn setup_of(truth: &SetupTruth) -> Setup {
    let mut known = setup(&truth.name);
    known.total_mass_kg.value = truth.total_mass_kg;
    known.drivetrain_efficiency.value = truth.drivetrain_efficiency;
    known.wheel_radius_m.value = truth.wheel_radius_m;
    known.wheel_inertia_kg_m2.value = truth.wheel_inertia_kg_m2;
    known.crr.value = truth.crr;
    known
}
