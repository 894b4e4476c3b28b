//! Ready plans: the demonstration, and one for each shape of course.

use super::plan::{
    AirTruth, CourseTruth, DayPlan, Files, Format, LapHabit, RiderTruth, SensorTruth, SetupTruth, Shape,
    TimerHabit, TrackTruth, Wave, WindTruth,
};
use super::{Purpose, random};
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use std::f64::consts::TAU;

/// 2026-05-16T06:30:00Z, a morning.
const MORNING_S: f64 = 1_778_913_000.0;

/// The demonstration: a loose and a close-fitting jacket on the straight road of a sea dike, out and back
/// 1.5 km, ABBAABBA with two passes each, a light wind. The true difference in drag area is −6 %.
pub fn demo_plan() -> DayPlan {
    let mut plan = out_and_back_plan(20_260_516, "ABBAABBA", -6.0);
    plan.title = "Loose or close-fitting jacket on the dike road".to_string();
    plan.start_s = MORNING_S + 0.4;
    plan.course = CourseTruth {
        latitude_deg: -38.2140,
        longitude_deg: -25.4310,
        elevation_m: 4.0,
        bearing_deg: 64.0,
        hills: vec![wave(0.0015, 730.0, 0.7), wave(0.001, 310.0, 2.1)],
        bends: vec![wave(0.06, 1100.0, 1.3)],
        ..plan.course
    };
    if let [loose, close] = plan.setups.as_mut_slice() {
        loose.name = "loose jacket".to_string();
        close.name = "close-fitting jacket".to_string();
    }
    plan.air = AirTruth::steady(14.5, 1016.8, 72.0);
    plan.wind = WindTruth {
        mean_east_m_s: 0.7,
        mean_north_m_s: -0.5,
        wander_sd_m_s: 0.25,
        gust_along_sd_m_s: 0.3,
        gust_across_sd_m_s: 0.3,
        ..WindTruth::still()
    };
    plan.rider.position_block_sd = 0.008;
    plan
}

/// A steady 2 km climb of about 1.8 %, ridden up under power and rolled down; one pass a block.
/// Letters are set-ups (A the baseline); B has `change_percent` more drag area.
pub fn one_way_plan(seed: u64, order: &str, change_percent: f64) -> DayPlan {
    let mut rng = random(seed, Purpose::Plan);
    let course = CourseTruth {
        shape: Shape::OneWay,
        elevation_m: 310.0,
        length_m: 2000.0,
        mean_gradient: 0.018,
        lead_in_m: 260.0,
        run_out_m: 250.0,
        hills: waves(&mut rng, 0.003, &[900.0, 420.0]),
        bends: waves(&mut rng, 0.15, &[1300.0]),
        ..course(&mut rng)
    };
    let mut plan = plan(seed, course, change_percent, &mut rng);
    plan.title = "A climb, ridden up".to_string();
    plan.rider.power_w = 270.0;
    plan.rider.entry_speed_m_s = 8.2;
    plan.with_order(order, 1)
}

/// 1.5 km of nearly flat road with a turn beyond each end; two passes a block.
/// Letters are set-ups (A the baseline); B has `change_percent` more drag area.
pub fn out_and_back_plan(seed: u64, order: &str, change_percent: f64) -> DayPlan {
    let mut rng = random(seed, Purpose::Plan);
    let course = CourseTruth {
        shape: Shape::OutAndBack,
        elevation_m: 120.0,
        length_m: 1500.0,
        mean_gradient: 0.001,
        lead_in_m: 120.0,
        run_out_m: 120.0,
        hills: waves(&mut rng, 0.004, &[1000.0, 380.0]),
        bends: waves(&mut rng, 0.1, &[1200.0]),
        ..course(&mut rng)
    };
    let mut plan = plan(seed, course, change_percent, &mut rng);
    plan.title = "Out and back on a flat road".to_string();
    plan.with_order(order, 2)
}

/// A 1.8 km loop with flying laps; four laps a block.
/// Letters are set-ups (A the baseline); B has `change_percent` more drag area.
pub fn loop_plan(seed: u64, order: &str, change_percent: f64) -> DayPlan {
    let mut rng = random(seed, Purpose::Plan);
    let course = CourseTruth {
        shape: Shape::Loop,
        elevation_m: 45.0,
        length_m: 1800.0,
        mean_gradient: 0.0,
        lead_in_m: 150.0,
        run_out_m: 150.0,
        hills: waves(&mut rng, 0.005, &[1800.0, 600.0]),
        bends: waves(&mut rng, 0.25, &[900.0]),
        ..course(&mut rng)
    };
    let mut plan = plan(seed, course, change_percent, &mut rng);
    plan.title = "Laps of a quiet loop".to_string();
    plan.with_order(order, 4)
}

/// A track of 250 m in the open, in a light wind; eight flying laps a block.
/// Letters are set-ups (A the baseline); B has `change_percent` more drag area.
pub fn track_plan(seed: u64, order: &str, change_percent: f64) -> DayPlan {
    let mut rng = random(seed, Purpose::Plan);
    let course = CourseTruth {
        shape: Shape::Loop,
        elevation_m: 60.0,
        length_m: 250.0,
        lead_in_m: 80.0,
        run_out_m: 40.0,
        approach_m: 100.0,
        track: Some(TrackTruth {
            bend_radius_m: 23.0,
            transition_m: 12.0,
            centre_of_mass_height_m: 1.0,
        }),
        ..course(&mut rng)
    };
    let mut plan = plan(seed, course, change_percent, &mut rng);
    plan.title = "Laps of a track".to_string();
    plan.rider.power_w = 280.0;
    plan.rider.entry_speed_m_s = 11.0;
    plan.wind.mean_east_m_s *= 0.25;
    plan.wind.mean_north_m_s *= 0.25;
    plan.wind.wander_sd_m_s = 0.15;
    plan.wind.gust_along_sd_m_s = 0.25;
    plan.wind.gust_across_sd_m_s = 0.25;
    plan.with_order(order, 8)
}

fn wave(amplitude: f64, length_m: f64, phase_rad: f64) -> Wave {
    Wave {
        amplitude,
        length_m,
        phase_rad,
    }
}

fn waves(rng: &mut ChaCha8Rng, amplitude: f64, lengths_m: &[f64]) -> Vec<Wave> {
    let phase = |rng: &mut ChaCha8Rng| rng.random_range(0.0..TAU);
    lengths_m
        .iter()
        .map(|&length_m| wave(amplitude / lengths_m.len() as f64, length_m, phase(rng)))
        .collect()
}

/// Somewhere on open water between 20° and 55° of either hemisphere: no place that anybody knows.
fn course(rng: &mut ChaCha8Rng) -> CourseTruth {
    let hemisphere = if rng.random() { 1.0 } else { -1.0 };
    CourseTruth {
        shape: Shape::OneWay,
        latitude_deg: hemisphere * rng.random_range(20.0..55.0),
        longitude_deg: rng.random_range(-40.0..-20.0),
        elevation_m: 0.0,
        bearing_deg: rng.random_range(0.0..360.0),
        length_m: 1000.0,
        mean_gradient: 0.0,
        hills: Vec::new(),
        bends: Vec::new(),
        lead_in_m: 250.0,
        run_out_m: 250.0,
        approach_m: 500.0,
        covered: None,
        surfaces: Vec::new(),
        slow_places: Vec::new(),
        measured: Vec::new(),
        track: None,
    }
}

fn plan(seed: u64, course: CourseTruth, change_percent: f64, rng: &mut ChaCha8Rng) -> DayPlan {
    let base = SetupTruth {
        name: "set-up A".to_string(),
        power_share: 1.0,
        cda_m2: 0.32,
        yaw_share_per_rad2: 0.0,
        crr: 0.0045,
        total_mass_kg: 83.0,
        wheel_radius_m: 0.336,
        rollout_factor: 1.0,
        wheel_inertia_kg_m2: 0.14,
        drivetrain_efficiency: 0.976,
    };
    let other = SetupTruth {
        name: "set-up B".to_string(),
        cda_m2: base.cda_m2 * (1.0 + change_percent / 100.0),
        ..base.clone()
    };
    let air = AirTruth::steady(18.0, standard_pressure_hpa(course.elevation_m), 60.0);
    DayPlan {
        title: String::new(),
        seed,
        start_s: MORNING_S + rng.random_range(0.0..1.0),
        course,
        setups: vec![base, other],
        order: Vec::new(),
        rider: rider(),
        wind: wind(rng),
        air,
        sensors: SensorTruth::ordinary(),
        second_unit: None,
        format: Format::Fit,
        files: Files::One,
        incidents: Vec::new(),
    }
}

fn rider() -> RiderTruth {
    RiderTruth {
        power_w: 235.0,
        power_wander_sd: 0.05,
        power_wander_memory_s: 25.0,
        power_uneven_sd: 0.08,
        fade_per_h: 0.02,
        climb_response: 0.03,
        entry_speed_m_s: 9.6,
        entry_speed_sd_m_s: 0.25,
        standing_start: false,
        mass_loss_kg_per_h: 0.0,
        rest_s: 90.0,
        turn_round_s: 0.0,
        position_block_sd: 0.01,
        position_pass_sd: 0.005,
        timer: TimerHabit::Sometimes,
        lap_button: LapHabit::Blocks,
    }
}

/// The wind of an ordinary test day: wander 0.35 m/s with 15 min memory, gusts 0.4 m/s.
fn wind(rng: &mut ChaCha8Rng) -> WindTruth {
    let mut mean = || -> f64 { 1.2 * rng.sample::<f64, _>(StandardNormal) };
    WindTruth {
        mean_east_m_s: mean(),
        mean_north_m_s: mean(),
        wander_sd_m_s: 0.35,
        wander_memory_s: 900.0,
        gust_along_sd_m_s: 0.4,
        gust_across_sd_m_s: 0.4,
        ..WindTruth::still()
    }
}

/// ISO 2533 at a height, so that pressure and altitude fit each other.
fn standard_pressure_hpa(height_m: f64) -> f64 {
    let pressure = 1013.25 * (1.0 - 6.5e-3 * height_m / 288.15).powf(5.255_879_8);
    (pressure * 10.0).round() / 10.0
}
