//! What is left of a wind and of a wrong climb when both ways are ridden.

use stillair::air::AirState;
use stillair::course::Direction;
use stillair::estimate::cells::{Cell, PassRide, RiddenStep, Shift, rig};
use stillair::estimate::plain::{Day, averages};
use stillair::estimate::rolling::Rolling;
use stillair::physics::{Lean, RelativeWind, Rig, Surroundings, steady_speed_m_s};
use stillair::test_day::{Setup, Shape, without_file};

const LENGTH_M: f64 = 1500.0;
const CDA_M2: f64 = 0.32;
const AIR: AirState = AirState {
    temperature_c: 15.0,
    density_kg_m3: 1.2,
    density_standard_uncertainty_kg_m3: 0.0,
    wind_east_m_s: 0.0,
    wind_north_m_s: 0.0,
    wind_standard_uncertainty_m_s: 2.0,
};
const AROUND: Surroundings = Surroundings {
    air_density_kg_m3: 1.2,
    gravity_m_s2: 9.80665,
};

fn held() -> Rolling {
    Rolling {
        shift: 0.0,
        standard_uncertainty: 0.0007,
        held: true,
        rides_alone: None,
        correlation: None,
        gust_q_m2_s: 2.0,
    }
}

/// 83 kg, Crr 0.0045, 0.976, bearings: the defaults.
fn setup() -> Setup {
    without_file().setups.remove(0)
}

/// One way at a steady power in a steady wind, on a level road; `wrong_m`: what the profile says it climbs.
fn way(direction: Direction, power_w: f64, headwind_m_s: f64, wrong_m: f64) -> PassRide {
    let wind = RelativeWind {
        headwind_m_s,
        crosswind_m_s: 0.0,
    };
    let rider = Rig {
        cda_m2: CDA_M2,
        ..rig(&setup(), &Shift::default())
    };
    let speed = steady_speed_m_s(&rider, &AROUND, power_w, 0.0, wind).unwrap();
    let step = RiddenStep {
        duration_s: LENGTH_M / speed,
        power_w,
        start_speed_m_s: speed,
        end_speed_m_s: speed,
        bearing_rad: 0.0,
        cos_slope: 1.0,
        sin_slope: 0.0,
        air_speed_m_s: f64::NAN,
        lean: Lean::UPRIGHT,
    };
    let cell = Cell {
        from_m: 0.0,
        to_m: LENGTH_M,
        steps: vec![step],
        climb_m: wrong_m,
        start_speed_m_s: speed,
        end_speed_m_s: speed,
        start_gradient: 0.0,
        end_gradient: 0.0,
        start_power_w: 0.0,
        end_power_w: 0.0,
        unknown_power_j: 0.0,
        braked_j: 0.0,
        crr_factor: 1.0,
        surface_share: 0.0,
    };
    PassRide {
        pass: 0,
        setup: 0,
        block: 0,
        direction,
        middle_s: 0.0,
        start_s: 0.0,
        cells: vec![cell],
        gravity_m_s2: AROUND.gravity_m_s2,
        air: AIR,
        length_ratio: 1.0,
        air_speed_scale_standard_uncertainty: None,
        wind_reading: None,
        total_mass_kg: None,
        wheel_radius_m: None,
        power_zero_noted: false,
        speed_standard_uncertainty_m_s: stillair::estimate::one_pass::SPEED_STANDARD_UNCERTAINTY_M_S,
        in_day: Default::default(),
    }
}

/// Drag area of a block of two passes over the true one, less 1, in percent.
fn off_percent(rides: &[PassRide]) -> f64 {
    let setups = [setup()];
    let day = Day {
        rides,
        setups: &setups,
        course_length_m: LENGTH_M,
        shape: Shape::OutAndBack,
    };
    let averages = averages(&day, &held(), &Shift::default()).unwrap();
    100.0 * (averages.blocks[0].cda_m2 / CDA_M2 - 1.0)
}

fn out_and_back(power_w: [f64; 2], wind_m_s: f64, wrong_m: f64) -> f64 {
    off_percent(&[
        way(Direction::Forward, power_w[0], wind_m_s, wrong_m),
        way(Direction::Reverse, power_w[1], -wind_m_s, -wrong_m),
    ])
}

/// At 223.70 W, 9.8 m/s in still air, on both ways (D, by the root of the balance with scipy 1.17.1): the
/// energies of both ways leave −0.06, −0.25, −0.99, −2.14 % of a wind of 0.5, 1, 2, 3 m/s that nobody wrote
/// down. The plain mean of the two drag areas would leave 0.59, 2.35, 9.55, 22.07 %.
#[test]
fn a_steady_wind_leaves_next_to_nothing_at_equal_power() {
    for (wind, left) in [(0.0, 0.0), (0.5, -0.06), (1.0, -0.25), (2.0, -0.99), (3.0, -2.14)] {
        let found = out_and_back([223.70; 2], wind, 0.0);
        assert!((found - left).abs() < 0.006, "{wind}: {found} {left}");
    }
}

/// At equal ground speed it is w²/v² (D): 9.8 m/s into 1 m/s and before it.
#[test]
fn at_equal_speed_a_steady_wind_leaves_its_square() {
    let rider = Rig {
        cda_m2: CDA_M2,
        ..rig(&setup(), &Shift::default())
    };
    let power = |headwind_m_s| {
        let wind = RelativeWind {
            headwind_m_s,
            crosswind_m_s: 0.0,
        };
        stillair::physics::crank_power_w(&rider, &AROUND, 9.8, wind, 0.0, 0.0)
    };
    let found = out_and_back([power(1.0), power(-1.0)], 1.0, 0.0);
    assert!((found - 100.0 / 9.8f64.powi(2)).abs() < 1e-6, "{found}");
}

/// A climb that is wrong by half a metre moves each way by m g h over the work against the air, 83 · 9.807 ·
/// 0.5 J over 0.6 · 0.32 · 9.8² · 1500 J, 1.47 % (D), and both together by nothing, also when one was faster.
#[test]
fn a_wrong_climb_cancels() {
    let one = off_percent(&[way(Direction::Forward, 223.70, 0.0, 0.5)]);
    assert!((one + 1.47).abs() < 0.01, "{one}");
    let both = out_and_back([200.0, 260.0], 0.0, 0.5);
    assert!(both.abs() < 1e-9, "{both}");
}
