//! The road-load balance and one step of its integration, written out apart from the analysis.

use super::plan::{AirTruth, SetupTruth};
use crate::units::{KELVIN_AT_0_C, PA_PER_HPA};

/// Below this a rider cannot bring the whole power to the road: the force is held instead.
const FULL_POWER_SPEED_M_S: f64 = 1.5;

/// Bearing drag: constant part in newtons and its growth with speed (Martin et al. 1998, M+).
const BEARING_N: f64 = 0.091;
const BEARING_N_PER_M_S: f64 = 0.0087;

/// What is pushed along the road.
#[derive(Debug, Clone, Copy)]
pub(super) struct Body {
    pub cda_m2: f64,
    pub crr: f64,
    pub mass_kg: f64,
    /// Mass plus the wheels' share: m + I / r².
    pub inertia_kg: f64,
    pub efficiency: f64,
    pub density_kg_m3: f64,
    pub gravity_m_s2: f64,
}

impl Body {
    pub fn new(setup: &SetupTruth, position_factor: f64, density: f64, gravity: f64) -> Self {
        let wheels = setup.wheel_inertia_kg_m2 / setup.wheel_radius_m.powi(2);
        Body {
            cda_m2: setup.cda_m2 * position_factor,
            crr: setup.crr,
            mass_kg: setup.total_mass_kg,
            inertia_kg: setup.total_mass_kg + wheels,
            efficiency: setup.drivetrain_efficiency,
            density_kg_m3: density,
            gravity_m_s2: gravity,
        }
    }

    /// Newtons against the motion at ground speed `v`; `wind` is [east, north] where the air moves to.
    pub fn resistance_n(&self, v: f64, ground: Ground, wind: [f64; 2]) -> f64 {
        let along = wind[0] * ground.sin_bearing + wind[1] * ground.cos_bearing;
        let across = wind[0] * ground.cos_bearing - wind[1] * ground.sin_bearing;
        let through_air = v - along;
        let airspeed = through_air.hypot(across);
        let drag = 0.5 * self.density_kg_m3 * self.cda_m2 * through_air * airspeed;
        let weight = self.mass_kg * self.gravity_m_s2;
        let cos_slope = (1.0 - ground.sin_slope * ground.sin_slope).sqrt();
        drag + weight * (self.crr * cos_slope + ground.sin_slope) + BEARING_N + BEARING_N_PER_M_S * v
    }
}

/// The road under the wheel, in the direction ridden.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ground {
    pub sin_slope: f64,
    pub sin_bearing: f64,
    pub cos_bearing: f64,
}

/// Metres ridden, speed, and joules the crank has taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct State {
    pub ridden_m: f64,
    pub speed_m_s: f64,
    pub work_j: f64,
}

/// What acts during one step; wind runs straight from its value at the start to that at the end.
#[derive(Debug, Clone, Copy)]
pub(super) struct Push {
    pub power_w: f64,
    pub brake_n: f64,
    pub wind_start: [f64; 2],
    pub wind_end: [f64; 2],
}

/// One step of the classical fourth-order Runge–Kutta method. The rider never rolls backward.
pub(super) fn step(body: &Body, state: State, push: &Push, dt: f64, ground: impl Fn(f64) -> Ground) -> State {
    let rate = |part: f64, x: f64, v: f64| {
        let v = v.max(0.0);
        let wind = [
            push.wind_start[0] + part * (push.wind_end[0] - push.wind_start[0]),
            push.wind_start[1] + part * (push.wind_end[1] - push.wind_start[1]),
        ];
        let drive = body.efficiency * push.power_w / v.max(FULL_POWER_SPEED_M_S);
        let force = drive - push.brake_n - body.resistance_n(v, ground(x), wind);
        let crank = push.power_w * (v / FULL_POWER_SPEED_M_S).min(1.0);
        (v, force / body.inertia_kg, crank)
    };
    let (x, v) = (state.ridden_m, state.speed_m_s);
    let a = rate(0.0, x, v);
    let b = rate(0.5, x + 0.5 * dt * a.0, v + 0.5 * dt * a.1);
    let c = rate(0.5, x + 0.5 * dt * b.0, v + 0.5 * dt * b.1);
    let d = rate(1.0, x + dt * c.0, v + dt * c.1);
    let mean = |a: f64, b: f64, c: f64, d: f64| (a + 2.0 * b + 2.0 * c + d) / 6.0;
    State {
        ridden_m: x + dt * mean(a.0, b.0, c.0, d.0),
        speed_m_s: (v + dt * mean(a.1, b.1, c.1, d.1)).max(0.0),
        work_j: state.work_j + dt * mean(a.2, b.2, c.2, d.2),
    }
}

/// Normal gravity of WGS 84 at a latitude and height (Somigliana's closed form; free air to second order).
pub(super) fn gravity_m_s2(latitude_deg: f64, height_m: f64) -> f64 {
    let sin2 = latitude_deg.to_radians().sin().powi(2);
    let on_ellipsoid =
        9.780_325_335_9 * (1.0 + 0.001_931_852_652_41 * sin2) / (1.0 - 0.006_694_379_990_13 * sin2).sqrt();
    let (a, flattening, m) = (6_378_137.0, 1.0 / 298.257_223_563, 0.003_449_786_506_84);
    let first = 2.0 / a * (1.0 + flattening + m - 2.0 * flattening * sin2);
    on_ellipsoid * (1.0 - first * height_m + 3.0 * (height_m / a).powi(2))
}

/// Density of moist air after CIPM-2007 (Picard et al. 2008), carbon dioxide 400 ppm.
pub(super) fn density_kg_m3(air: &AirTruth) -> f64 {
    let t = air.temperature_c;
    let kelvin = t + KELVIN_AT_0_C;
    let p = air.pressure_hpa * PA_PER_HPA;
    let saturated = (1.237_884_7e-5 * kelvin * kelvin - 1.912_131_6e-2 * kelvin + 33.937_110_47
        - 6.343_164_5e3 / kelvin)
        .exp();
    let enhancement = 1.000_62 + 3.14e-8 * p + 5.6e-7 * t * t;
    let xv = air.relative_humidity_percent / 100.0 * enhancement * saturated / p;
    let first = 1.581_23e-6 - 2.9331e-8 * t
        + 1.1043e-10 * t * t
        + (5.707e-6 - 2.051e-8 * t) * xv
        + (1.9898e-4 - 2.376e-6 * t) * xv * xv;
    let second = 1.83e-11 - 0.765e-8 * xv * xv;
    let z = 1.0 - p / kelvin * first + (p / kelvin).powi(2) * second;
    let (dry_mol, water_mol, gas) = (28.965_46e-3, 18.015_28e-3, 8.314_472);
    p * dry_mol / (z * gas * kelvin) * (1.0 - xv * (1.0 - water_mol / dry_mol))
}
