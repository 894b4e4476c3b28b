//! Days whose every step obeys the road-load balance exactly give back the drag areas they were made with.
//!
//! The balance is written out here once more (Martin et al. 1998, REFERENCES 1.1, as in METHOD 1) and
//! integrated by Simpson's rule on many panels, so that no line of `physics` checks itself.

use super::cells::{Account, Cell, PassRide, RiddenStep, Shift, accounts, rig};
use super::one_pass::{covariance, drag, free};
use super::plain::{Day, averages, compare};
use super::rolling::{Rolling, rolling};
use crate::air::AirState;
use crate::course::Direction;
use crate::test_day::{Differs, Measured, Setup};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

const LENGTH_M: f64 = 1480.0;
const CELLS: usize = 10;
const DENSITY: f64 = 1.1873;
const GRAVITY: f64 = 9.8067;
/// Where the air moves to.
const WIND_EAST_NORTH: [f64; 2] = [1.1, -0.6];
const EXACT_M2: f64 = 1e-6;

fn exactly(value: f64, standard_uncertainty: f64) -> Measured {
    Measured {
        value,
        standard_uncertainty,
        given: true,
    }
}

fn setup(name: &str, total_mass_kg: f64, crr: f64) -> Setup {
    Setup {
        name: name.to_string(),
        total_mass_kg: exactly(total_mass_kg, 0.3),
        drivetrain_efficiency: exactly(0.974, 0.005),
        wheel_radius_m: exactly(0.3347, 0.001),
        wheel_inertia_kg_m2: exactly(0.152, 0.02),
        crr: exactly(crr, 0.0007),
        speed_scale: None,
        differs: Differs::Cda,
        same_as: None,
    }
}

/// Sine of the road's angle, and its bearing, of each cell in the direction of the course.
fn road(cell: usize) -> (f64, f64) {
    let place = cell as f64;
    (
        0.004 + 0.012 * (1.7 * place).sin(),
        0.8 + 0.15 * (0.9 * place).cos(),
    )
}

/// Joules at the crank for one step: the balance, force by force.
fn crank_j(setup: &Setup, cda_m2: f64, speeds: [f64; 2], seconds: f64, sin_slope: f64, bearing: f64) -> f64 {
    let mass = setup.total_mass_kg.value;
    let effective = mass + setup.wheel_inertia_kg_m2.value / setup.wheel_radius_m.value.powi(2);
    let [east, north] = WIND_EAST_NORTH;
    let head = -(east * bearing.sin() + north * bearing.cos());
    let cross = east * bearing.cos() - north * bearing.sin();
    let slowing = effective * (speeds[1] - speeds[0]) / seconds;
    let power = |share: f64| {
        let v = speeds[0] + share * (speeds[1] - speeds[0]);
        let air = 0.5 * DENSITY * cda_m2 * (v + head) * ((v + head).powi(2) + cross * cross).sqrt();
        let weight = mass * GRAVITY * (sin_slope + setup.crr.value * (1.0 - sin_slope * sin_slope).sqrt());
        v * (air + weight + 0.091 + 0.0087 * v + slowing)
    };
    let panels = 64;
    let width = 1.0 / f64::from(panels);
    let sum: f64 = (0..panels)
        .map(|k| f64::from(k) * width)
        .map(|at| power(at) + 4.0 * power(at + 0.5 * width) + power(at + width))
        .sum();
    sum * width / 6.0 * seconds / setup.drivetrain_efficiency.value
}

/// One pass whose speed wanders about `speed_m_s`, with steps of about a second.
fn pass(setup: &Setup, cda_m2: f64, place: [usize; 3], speed_m_s: f64, random: &mut ChaCha8Rng) -> PassRide {
    let [pass, set, block] = place;
    let forward = pass % 2 == 0;
    let mut speed = speed_m_s;
    let mut cells = Vec::new();
    for number in 0..CELLS {
        let on_course = if forward { number } else { CELLS - 1 - number };
        let (sin_slope, bearing) = road(on_course);
        let (sin_slope, bearing) = if forward {
            (sin_slope, bearing)
        } else {
            (-sin_slope, bearing + std::f64::consts::PI)
        };
        let cell_m = LENGTH_M / CELLS as f64;
        let from_m = cell_m
            * if forward {
                on_course as f64
            } else {
                on_course as f64 + 1.0
            };
        let start_speed = speed;
        let steps: Vec<RiddenStep> = (0..14)
            .map(|_| {
                let end = (speed + random.random_range(-0.25..0.25)).clamp(0.7 * speed_m_s, 1.3 * speed_m_s);
                let seconds = cell_m / 14.0 / (0.5 * (speed + end));
                let step = RiddenStep {
                    duration_s: seconds,
                    power_w: crank_j(setup, cda_m2, [speed, end], seconds, sin_slope, bearing) / seconds,
                    start_speed_m_s: speed,
                    end_speed_m_s: end,
                    bearing_rad: bearing,
                    cos_slope: (1.0 - sin_slope * sin_slope).sqrt(),
                    sin_slope,
                    air_speed_m_s: f64::NAN,
                    lean: crate::physics::Lean::UPRIGHT,
                };
                speed = end;
                step
            })
            .collect();
        cells.push(Cell {
            from_m,
            to_m: if forward { from_m + cell_m } else { from_m - cell_m },
            steps,
            climb_m: cell_m * sin_slope,
            start_speed_m_s: start_speed,
            end_speed_m_s: speed,
            start_gradient: sin_slope,
            end_gradient: sin_slope,
            start_power_w: 0.0,
            end_power_w: 0.0,
            unknown_power_j: 0.0,
            braked_j: 0.0,
            crr_factor: 1.0,
            surface_share: 0.0,
        });
    }
    PassRide {
        pass,
        setup: set,
        block,
        direction: if forward {
            Direction::Forward
        } else {
            Direction::Reverse
        },
        middle_s: 400.0 * pass as f64,
        start_s: 400.0 * pass as f64,
        cells,
        gravity_m_s2: GRAVITY,
        air: AirState {
            temperature_c: 15.0,
            density_kg_m3: DENSITY,
            density_standard_uncertainty_kg_m3: 0.003,
            wind_east_m_s: WIND_EAST_NORTH[0],
            wind_north_m_s: WIND_EAST_NORTH[1],
            wind_standard_uncertainty_m_s: 1.0,
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

struct Made {
    setups: Vec<Setup>,
    /// Of each pass.
    cda_m2: Vec<f64>,
    rides: Vec<PassRide>,
}

/// ABBA out and back, each pass at a speed of its own; set-up B is heavier and rolls worse.
fn day() -> Made {
    let mut random = ChaCha8Rng::seed_from_u64(41);
    let setups = vec![setup("A", 82.4, 0.0043), setup("B", 84.1, 0.0051)];
    let of_setup = [0.3127, 0.2764];
    let mut made = Made {
        setups,
        cda_m2: Vec::new(),
        rides: Vec::new(),
    };
    for (block, set) in [0, 1, 1, 0].into_iter().enumerate() {
        for turn in 0..2 {
            let number = 2 * block + turn;
            let speed = random.random_range(7.0..13.0);
            let ride = pass(
                &made.setups[set],
                of_setup[set],
                [number, set, block],
                speed,
                &mut random,
            );
            made.cda_m2.push(of_setup[set]);
            made.rides.push(ride);
        }
    }
    made
}

fn account(made: &Made, ride: &PassRide) -> (Vec<Account>, nalgebra::DMatrix<f64>) {
    let setup = &made.setups[ride.setup];
    let account = accounts(ride, setup, LENGTH_M, &Shift::default());
    let mass = rig(setup, &Shift::default()).effective_mass_kg();
    let covariance = covariance(ride, &account, mass, 0.3, 2.0);
    (account, covariance)
}

#[test]
fn every_pass_gives_back_its_drag_area() {
    let made = day();
    for (ride, truth) in made.rides.iter().zip(&made.cda_m2) {
        let (account, covariance) = account(&made, ride);
        let fit = drag(&account, &covariance, made.setups[ride.setup].crr.value).unwrap();
        assert!(
            (fit.cda_m2 - truth).abs() < EXACT_M2,
            "pass {}: {}",
            ride.pass,
            fit.cda_m2
        );
    }
}

#[test]
fn every_pass_gives_back_drag_and_rolling_together() {
    let made = day();
    for (ride, truth) in made.rides.iter().zip(&made.cda_m2) {
        let (account, covariance) = account(&made, ride);
        let fit = free(&account, &covariance).unwrap();
        let crr = made.setups[ride.setup].crr.value;
        assert!(
            (fit.cda_m2 - truth).abs() < EXACT_M2,
            "pass {}: {}",
            ride.pass,
            fit.cda_m2
        );
        assert!((fit.crr - crr).abs() < 1e-8, "pass {}: {}", ride.pass, fit.crr);
    }
}

#[test]
fn an_exact_day_gives_back_both_drag_areas_and_their_ratio() {
    let made = day();
    let rolling: Rolling = rolling(&made.rides, &made.setups, LENGTH_M, 0.3).unwrap();
    assert!(
        rolling.shift.abs() < 1e-8,
        "the prior was true, and the rides agree: {}",
        rolling.shift
    );
    let day = Day {
        rides: &made.rides,
        setups: &made.setups,
        course_length_m: LENGTH_M,
        shape: crate::test_day::Shape::OutAndBack,
    };
    let averages = averages(&day, &rolling, &Shift::default()).unwrap();
    for (setup, truth) in averages.setups.iter().zip([0.3127, 0.2764]) {
        let found = setup.as_ref().unwrap();
        assert!((found.cda_m2 - truth).abs() < EXACT_M2, "{}", found.cda_m2);
        assert_eq!(found.blocks, 2);
    }
    let comparison = compare(&averages, 1, 0, 0.0).unwrap();
    assert!(
        (comparison.ratio() - 0.2764 / 0.3127).abs() < EXACT_M2,
        "{}",
        comparison.ratio()
    );
}

/// The day alone, without what was known of rolling: a guess that is off by 0.0004 is seen through.
#[test]
fn an_exact_day_sees_through_a_wrong_rolling_resistance() {
    let mut made = day();
    for setup in &mut made.setups {
        setup.crr.value += 0.0004;
    }
    let found = rolling(&made.rides, &made.setups, LENGTH_M, 0.3).unwrap();
    let (shift, _) = found.rides_alone.unwrap();
    assert!((shift + 0.0004).abs() < 1e-8, "{shift}");
}
