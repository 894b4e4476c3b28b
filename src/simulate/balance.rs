//! The road-load balance and one step of its integration, written out apart from the analysis.

use super::plan::{AirTruth, SetupTruth};
use super::track::Leaning;
use crate::units::{KELVIN_AT_0_C, PA_PER_HPA};

/// Below this a rider cannot bring the whole power to the road: the force levels off instead. Smoothly: a
/// kink would cost the integration its order (0.2 ms at the first gate, found by halving the step).
const FULL_POWER_SPEED_M_S: f64 = 1.5;

/// Bearing drag: constant part in newtons and its growth with speed (Martin et al. 1998, M+).
const BEARING_N: f64 = 0.091;
const BEARING_N_PER_M_S: f64 = 0.0087;

/// What is pushed along the road.
#[derive(Debug, Clone, Copy)]
pub(super) struct Body {
    /// At no yaw.
    pub cda_m2: f64,
    pub yaw_share_per_rad2: f64,
    pub crr: f64,
    pub mass_kg: f64,
    /// Mass plus the wheels' share: m + I / r².
    pub inertia_kg: f64,
    pub efficiency: f64,
    pub density_kg_m3: f64,
    pub gravity_m_s2: f64,
    /// Of the centre of mass, for leaning in the bends of a track; 0: no leaning.
    pub centre_height_m: f64,
}

impl Body {
    pub fn new(setup: &SetupTruth, position_factor: f64, density: f64, gravity: f64) -> Self {
        let wheels = setup.wheel_inertia_kg_m2 / setup.wheel_radius_m.powi(2);
        Body {
            cda_m2: setup.cda_m2 * position_factor,
            yaw_share_per_rad2: setup.yaw_share_per_rad2,
            crr: setup.crr,
            mass_kg: setup.total_mass_kg,
            inertia_kg: setup.total_mass_kg + wheels,
            efficiency: setup.drivetrain_efficiency,
            density_kg_m3: density,
            gravity_m_s2: gravity,
            centre_height_m: 0.0,
        }
    }

    fn leaning(&self, v: f64, ground: Ground) -> Leaning {
        Leaning::at(v, ground.curve_per_m, self.centre_height_m, self.gravity_m_s2)
    }

    /// Energy of motion, and of height by the lean alone.
    fn stored_j(&self, v: f64, ground: Ground) -> f64 {
        let lean = self.leaning(v, ground);
        let wheels_kg = self.inertia_kg - self.mass_kg;
        let moving = self.mass_kg * lean.slower * lean.slower + wheels_kg;
        0.5 * moving * v * v + self.mass_kg * self.gravity_m_s2 * lean.height_m
    }

    /// Acceleration of the wheel where the rider leans: what the forces do is what is stored.
    ///
    /// d/dt stored(x, v) = v · force, so dv/dt = (force − ∂stored/∂x) / (∂stored/∂v / v).
    fn leaning_m_s2(
        &self,
        v: f64,
        drive_n: f64,
        wind: [f64; 2],
        ground: impl Fn(f64) -> Ground,
        x: f64,
    ) -> f64 {
        let here = ground(x);
        let lean = self.leaning(v, here);
        let along = wind[0] * here.sin_bearing + wind[1] * here.cos_bearing;
        let across = wind[0] * here.cos_bearing - wind[1] * here.sin_bearing;
        // The drag acts at the centre of mass: over each metre of the wheel it does work over less than a metre.
        let drag = self.drag_n(v * lean.slower - along, across) * lean.slower;
        let rolling = self.mass_kg * self.gravity_m_s2 * self.crr * here.crr_factor * lean.load;
        let held_n = drag + rolling + BEARING_N + BEARING_N_PER_M_S * v;
        let (dx, dv) = (0.05, 1e-3);
        let by_place = (self.stored_j(v, ground(x + dx)) - self.stored_j(v, ground(x - dx))) / (2.0 * dx);
        let v = v.max(1e-2);
        let by_speed = (self.stored_j(v + dv, here) - self.stored_j(v - dv, here)) / (2.0 * dv);
        (drive_n - held_n - by_place) / (by_speed / v)
    }

    fn drag_n(&self, through_air: f64, across: f64) -> f64 {
        let airspeed = through_air.hypot(across);
        let yaw = across.atan2(through_air);
        let cda_m2 = self.cda_m2 * (1.0 + self.yaw_share_per_rad2 * yaw * yaw);
        0.5 * self.density_kg_m3 * cda_m2 * through_air * airspeed
    }

    /// Newtons against the motion at ground speed `v`; `wind` is [east, north] where the air moves to.
    pub fn resistance_n(&self, v: f64, ground: Ground, wind: [f64; 2]) -> f64 {
        let along = wind[0] * ground.sin_bearing + wind[1] * ground.cos_bearing;
        let across = wind[0] * ground.cos_bearing - wind[1] * ground.sin_bearing;
        let drag = self.drag_n(v - along, across);
        let weight = self.mass_kg * self.gravity_m_s2;
        let cos_slope = (1.0 - ground.sin_slope * ground.sin_slope).sqrt();
        let crr = self.crr * ground.crr_factor;
        drag + weight * (crr * cos_slope + ground.sin_slope) + BEARING_N + BEARING_N_PER_M_S * v
    }
}

/// The road under the wheel, in the direction ridden.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ground {
    /// Of the surface: times the Crr of the tyres.
    pub crr_factor: f64,
    pub sin_slope: f64,
    pub sin_bearing: f64,
    pub cos_bearing: f64,
    /// One over the radius of a bend in which the rider leans; 0 where the road's bends do not count.
    pub curve_per_m: f64,
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
        let pedal_speed = (v.powi(4) + FULL_POWER_SPEED_M_S.powi(4)).sqrt().sqrt();
        let drive = body.efficiency * push.power_w / pedal_speed;
        let crank = push.power_w * v / pedal_speed;
        if body.centre_height_m > 0.0 && ground(x).curve_per_m > 0.0 {
            return (
                v,
                body.leaning_m_s2(v, drive - push.brake_n, wind, &ground, x),
                crank,
            );
        }
        let force = drive - push.brake_n - body.resistance_n(v, ground(x), wind);
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

#[cfg(test)]
mod tests {
    use super::*;

    const STILL: [f64; 2] = [0.0, 0.0];

    fn body() -> Body {
        Body {
            cda_m2: 0.32,
            yaw_share_per_rad2: 0.0,
            crr: 0.0045,
            mass_kg: 83.0,
            inertia_kg: 83.0 + 0.14 / 0.336f64.powi(2),
            efficiency: 0.976,
            density_kg_m3: 1.2,
            gravity_m_s2: 9.81,
            centre_height_m: 0.0,
        }
    }

    fn northward(slope: f64) -> Ground {
        Ground {
            crr_factor: 1.0,
            sin_slope: slope.sin(),
            sin_bearing: 0.0,
            cos_bearing: 1.0,
            curve_per_m: 0.0,
        }
    }

    fn roll(body: &Body, start_m_s: f64, power_w: f64, ground: Ground, steps: usize) -> State {
        let push = Push {
            power_w,
            brake_n: 0.0,
            wind_start: STILL,
            wind_end: STILL,
        };
        let start = State {
            ridden_m: 0.0,
            speed_m_s: start_m_s,
            work_j: 0.0,
        };
        (0..steps).fold(start, |state, _| step(body, state, &push, 0.1, |_| ground))
    }

    #[test]
    fn the_published_uphill_case_comes_out() {
        // van Druenen & Blocken 2021, Table 1 (S); powers recomputed from it (REFERENCES 1.2, D).
        for (v, cda, watts) in [
            (6.0, 0.473, 402.55),
            (6.0, 0.261, 373.93),
            (8.0, 0.473, 603.71),
            (8.0, 0.164, 504.83),
        ] {
            let body = Body {
                cda_m2: cda + 0.0044,
                crr: 0.0032,
                mass_kg: 72.0,
                density_kg_m3: 1.225,
                ..body()
            };
            let ground = northward(0.075f64.atan());
            let power = body.resistance_n(v, ground, STILL) * v / 0.98;
            assert!((power - watts).abs() < 0.01, "{power} for {watts}");
        }
    }

    #[test]
    fn a_headwind_blows_against_the_rider() {
        // Worked example of Martin et al. 1998 without its change of speed; terms recomputed
        // (REFERENCES 1.1, inputs M, terms D): 158.803 + 23.626 + 1.369 + 22.149 W.
        let body = Body {
            cda_m2: 0.2609,
            crr: 0.0032,
            mass_kg: 90.0,
            density_kg_m3: 1.2234,
            ..body()
        };
        let (sin_bearing, cos_bearing) = 340f64.to_radians().sin_cos();
        let ground = Ground {
            crr_factor: 1.0,
            sin_slope: 0.003f64.atan().sin(),
            sin_bearing,
            cos_bearing,
            curve_per_m: 0.0,
        };
        // Only the part along the road: the example leaves the rest of the wind out.
        let headwind = 2.94 * 30f64.to_radians().cos();
        let wind = [-headwind * sin_bearing, -headwind * cos_bearing];
        let v = 8.36228;
        let power = body.resistance_n(v, ground, wind) * v;
        assert!((power - 205.947).abs() < 2e-3, "{power}");
    }

    #[test]
    fn a_pure_crosswind_adds_drag_and_blows_the_same_from_both_sides() {
        let (body, v, c) = (body(), 10.0, 3.0);
        let still = body.resistance_n(v, northward(0.0), STILL);
        let east = body.resistance_n(v, northward(0.0), [c, 0.0]);
        let west = body.resistance_n(v, northward(0.0), [-c, 0.0]);
        let expected = 0.5 * 1.2 * 0.32 * v * (v.hypot(c) - v);
        assert!((east - still - expected).abs() < 1e-12 && east == west);
    }

    #[test]
    fn yaw_and_a_rough_surface_add_what_they_say() {
        let (v, c) = (10.0, 3.0f64);
        let plain = body();
        let yawing = Body {
            yaw_share_per_rad2: 2.0,
            ..plain
        };
        let wind = [c, 0.0];
        let more = yawing.resistance_n(v, northward(0.0), wind) - plain.resistance_n(v, northward(0.0), wind);
        // Closed form (D): 2 yaw² of the drag along the road.
        let drag = 0.5 * 1.2 * 0.32 * v * v.hypot(c);
        let yaw = (c / v).atan();
        assert!((more - 2.0 * yaw * yaw * drag).abs() < 1e-12, "{more}");
        assert_eq!(
            yawing.resistance_n(v, northward(0.0), STILL),
            plain.resistance_n(v, northward(0.0), STILL)
        );
        let rough = Ground {
            crr_factor: 1.5,
            ..northward(0.0)
        };
        let more = plain.resistance_n(v, rough, STILL) - plain.resistance_n(v, northward(0.0), STILL);
        assert!((more - 0.5 * 0.0045 * 83.0 * 9.81).abs() < 1e-12, "{more}");
    }

    #[test]
    fn terminal_speed_on_a_slope_is_the_root_of_the_balance() {
        // Closed form (D): c v² + b v + a = 0 with the slope driving.
        let body = body();
        let slope = -0.03f64;
        let a = 83.0 * 9.81 * (0.0045 * slope.cos() + slope.sin()) + 0.091;
        let (b, c) = (0.0087, 0.5 * 1.2 * 0.32);
        let expected = (-b + (b * b - 4.0 * a * c).sqrt()) / (2.0 * c);
        let end = roll(&body, 3.0, 0.0, northward(slope), 6000);
        assert!((end.speed_m_s / expected - 1.0).abs() < 1e-9, "{end:?}");
    }

    #[test]
    fn coasting_down_on_the_flat_follows_the_closed_form() {
        // Closed form (D): ∫ dv / (a + b v + c v²) by arctangents.
        let body = body();
        let (a, b, c): (f64, f64, f64) = (83.0 * 9.81 * 0.0045 + 0.091, 0.0087, 0.5 * 1.2 * 0.32);
        let root = (4.0 * a * c - b * b).sqrt();
        let angle = |v: f64| ((2.0 * c * v + b) / root).atan();
        let time = |v: f64| body.inertia_kg * 2.0 / root * (angle(12.0) - angle(v));
        for steps in [50, 200, 400] {
            let end = roll(&body, 12.0, 0.0, northward(0.0), steps);
            let expected = steps as f64 * 0.1;
            let got = time(end.speed_m_s);
            assert!((got - expected).abs() < 1e-6, "{got} for {expected}");
        }
    }

    #[test]
    fn work_of_the_crank_is_power_times_time() {
        // At riding speed all of it but (1.5 m/s / v)⁴ / 4 arrives.
        let end = roll(&body(), 9.0, 240.0, northward(0.01), 1000);
        assert!((end.work_j / 24_000.0 - 1.0).abs() < 1e-3, "{end:?}");
        let start = roll(&body(), 0.0, 240.0, northward(0.0), 5);
        assert!(start.work_j < 120.0 && start.speed_m_s > 0.0);
    }

    #[test]
    fn a_finer_step_changes_nothing() {
        let body = body();
        let ground = |x: f64| Ground {
            sin_slope: 0.02 * (x / 60.0).sin(),
            ..northward(0.0)
        };
        let wind = |t: f64| [0.8 * (t / 3.0).sin(), 1.5 * (t / 5.0).cos()];
        let ride = |dt: f64| {
            let steps = (200.0 / dt).round() as usize;
            let mut state = State {
                ridden_m: 0.0,
                speed_m_s: 8.0,
                work_j: 0.0,
            };
            for k in 0..steps {
                // Knots of the wind stay where they are: straight lines between tenths of a second.
                let knot = |t: f64| {
                    let low = (t * 10.0 + 1e-9).floor() / 10.0;
                    let part = (t - low) * 10.0;
                    let (a, b) = (wind(low), wind(low + 0.1));
                    [0, 1].map(|i| a[i] + part * (b[i] - a[i]))
                };
                let push = Push {
                    power_w: 250.0,
                    brake_n: 0.0,
                    wind_start: knot(k as f64 * dt),
                    wind_end: knot((k + 1) as f64 * dt),
                };
                state = step(&body, state, &push, dt, ground);
            }
            state
        };
        let (coarse, fine) = (ride(0.1), ride(0.01));
        assert!((coarse.speed_m_s - fine.speed_m_s).abs() < 1e-6);
        assert!((coarse.ridden_m / fine.ridden_m - 1.0).abs() < 1e-6);
    }

    #[test]
    fn gravity_and_density_have_their_reference_values() {
        // REFERENCES 3 (L, boule 0.6.0, closed form; the series used here is 3e-8 off).
        for (latitude, height, g) in [
            (45.0, 0.0, 9.806_197_769_4),
            (52.0, 0.0, 9.812_474_077_9),
            (45.0, 1000.0, 9.803_112_90),
            (0.0, 1000.0, 9.777_238_26),
        ] {
            assert!((gravity_m_s2(latitude, height) - g).abs() < 2e-7);
        }
        // REFERENCES 2.1 (D; CoolProp is 4e-5 higher, L).
        for (t, hpa, percent, density) in [
            (20.0, 1013.25, 50.0, 1.199_313_9),
            (15.0, 1013.25, 0.0, 1.225_521_3),
            (25.0, 950.0, 70.0, 1.100_579_3),
        ] {
            let air = AirTruth::steady(t, hpa, percent);
            assert!((density_kg_m3(&air) / density - 1.0).abs() < 1e-7);
        }
    }
}
