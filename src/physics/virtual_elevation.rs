//! Virtual elevation: the climb that power and speed imply for a given CdA and Crr.
//!
//! The balance is integrated as energy, so a differentiated speed never appears and speed noise
//! enters only at the two ends of a stretch:
//!
//! m g Δh = η∫P dt − m_e ½(v_b² − v_a²) − ∫(0.091 + 0.0087 v) v dt − Crr m g ∫cos θ ds − ½ρ CdA ∫(v+w)V_a ds

use std::iter::Sum;
use std::ops::{Add, AddAssign};

use super::balance::{BEARING_N, BEARING_N_PER_M_S, RelativeWind, Rig, Surroundings};
use super::track::Lean;

/// A short stretch of time with constant power and wind, in which speed changes evenly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    pub duration_s: f64,
    /// At the meter, before the drivetrain's losses.
    pub power_w: f64,
    pub start_speed_m_s: f64,
    pub end_speed_m_s: f64,
    pub wind: RelativeWind,
    /// cos θ of the road.
    pub cos_slope: f64,
    /// In a bend: speeds are those of the wheels, drag is taken at the centre of mass, tyres carry the load.
    pub lean: Lean,
}

/// The integrals of the energy balance that do not depend on CdA, Crr or mass. They add up over steps.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Work {
    pub duration_s: f64,
    /// ∫P dt at the meter. [J]
    pub crank_j: f64,
    /// ½(v_b² − v_a²); times the effective mass it is the kinetic energy gained. [m²/s²]
    pub kinetic_m2_s2: f64,
    /// ∫(0.091 + 0.0087 v) v dt. [J]
    pub bearing_j: f64,
    /// Along the road. [m]
    pub distance_m: f64,
    /// ∫cos θ ds, in a bend times load over weight. [m]
    pub level_distance_m: f64,
    /// ∫(v+w) V_a ds, of the way and speed of the centre of mass; times ½ρ CdA it is the work against the air. [m³/s²]
    pub air_m3_s2: f64,
}

impl Add for Work {
    type Output = Work;

    fn add(self, other: Work) -> Work {
        Work {
            duration_s: self.duration_s + other.duration_s,
            crank_j: self.crank_j + other.crank_j,
            kinetic_m2_s2: self.kinetic_m2_s2 + other.kinetic_m2_s2,
            bearing_j: self.bearing_j + other.bearing_j,
            distance_m: self.distance_m + other.distance_m,
            level_distance_m: self.level_distance_m + other.level_distance_m,
            air_m3_s2: self.air_m3_s2 + other.air_m3_s2,
        }
    }
}

impl AddAssign for Work {
    fn add_assign(&mut self, other: Work) {
        *self = *self + other;
    }
}

impl Sum for Work {
    fn sum<I: Iterator<Item = Work>>(parts: I) -> Work {
        parts.fold(Work::default(), Add::add)
    }
}

/// The integrals over one step.
///
/// Speed is linear in the step, so all but the air integral are polynomials and exact; so is that one
/// without crosswind. With crosswind it is a Gauss–Legendre quadrature, good to 1e-12 of the integral
/// of its absolute value.
pub fn step_work(step: &Step) -> Work {
    let (start, end) = (step.start_speed_m_s, step.end_speed_m_s);
    let centre = step.lean.centre_speed_ratio;
    let distance = 0.5 * (start + end) * step.duration_s;
    let speed_squared_s = (start * start + start * end + end * end) / 3.0 * step.duration_s;
    Work {
        duration_s: step.duration_s,
        crank_j: step.power_w * step.duration_s,
        kinetic_m2_s2: 0.5 * (end - start) * (end + start),
        bearing_j: BEARING_N * distance + BEARING_N_PER_M_S * speed_squared_s,
        distance_m: distance,
        level_distance_m: distance * step.cos_slope * step.lean.load_factor,
        air_m3_s2: step.duration_s * mean_air_term(centre * start, centre * end, step.wind),
    }
}

/// Climb that the energy left over has lifted the rider. [m] Times m g: METHOD's m g Δh.
pub fn virtual_climb_m(rig: &Rig, around: &Surroundings, work: &Work) -> f64 {
    let weight = rig.total_mass_kg * around.gravity_m_s2;
    let lifted = rig.drivetrain_efficiency * work.crank_j
        - rig.effective_mass_kg() * work.kinetic_m2_s2
        - work.bearing_j
        - rig.crr * weight * work.level_distance_m
        - 0.5 * around.air_density_kg_m3 * rig.cda_m2 * work.air_m3_s2;
    lifted / weight
}

/// Mean over the step of (v+w) V_a v. [m³/s³]
fn mean_air_term(start: f64, end: f64, wind: RelativeWind) -> f64 {
    let headwind = wind.headwind_m_s;
    let (from, to) = (start + headwind, end + headwind);
    if wind.crosswind_m_s != 0.0 {
        return quadrature(from, to, wind, 0);
    }
    if from * to >= 0.0 {
        return (from + to).signum() * mean_square_times_speed(from, to, headwind);
    }
    // The air changes sides within the step: each part has one sign and its share of the time.
    let first_share = from / (from - to);
    from.signum() * first_share * mean_square_times_speed(from, 0.0, headwind)
        + to.signum() * (1.0 - first_share) * mean_square_times_speed(0.0, to, headwind)
}

/// Mean of u²(u − w) for u going evenly from `from` to `to`.
fn mean_square_times_speed(from: f64, to: f64, headwind: f64) -> f64 {
    let (sum, squares) = (from + to, from * from + to * to);
    sum * squares / 4.0 - headwind * (squares + from * to) / 3.0
}

/// Nodes and weights of Gauss–Legendre rules on [−1, 1], one half (Abramowitz and Stegun, table 25.4).
const GAUSS_4: [(f64, f64); 2] = [
    (0.339_981_043_584_856_26, 0.652_145_154_862_546_1),
    (0.861_136_311_594_052_6, 0.347_854_845_137_453_85),
];
const GAUSS_8: [(f64, f64); 4] = [
    (0.183_434_642_495_649_8, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887_27),
    (0.796_666_477_413_626_7, 0.222_381_034_453_374_48),
    (0.960_289_856_497_536_3, 0.101_228_536_290_376_26),
];

/// Mean of u √(u²+c²) (u − w) for u going evenly from `from` to `to`.
///
/// The root is singular at u = ±ic only. Where that is at least three half-widths from the middle, the
/// 8-point rule is good to about 1e-13, and at twenty, as in nearly every second of a ride, the 4-point rule is;
/// nearer than that the step is halved.
fn quadrature(from: f64, to: f64, wind: RelativeWind, depth: u32) -> f64 {
    let (middle, half) = (0.5 * (from + to), 0.5 * (to - from));
    let away = wind.airspeed_at(middle);
    if away >= 20.0 * half.abs() {
        by_rule(&GAUSS_4, middle, half, wind)
    } else if away >= 3.0 * half.abs() || depth >= 60 {
        by_rule(&GAUSS_8, middle, half, wind)
    } else {
        0.5 * (quadrature(from, middle, wind, depth + 1) + quadrature(middle, to, wind, depth + 1))
    }
}

fn by_rule(rule: &[(f64, f64)], middle: f64, half: f64, wind: RelativeWind) -> f64 {
    let term = |air: f64| air * wind.airspeed_at(air) * (air - wind.headwind_m_s);
    let sum: f64 = rule
        .iter()
        .map(|(node, weight)| weight * (term(middle - half * node) + term(middle + half * node)))
        .sum();
    0.5 * sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{Matrix2, Vector2};

    const RIG: Rig = Rig {
        cda_m2: 0.2873,
        crr: 0.00462,
        total_mass_kg: 81.3,
        wheel_inertia_kg_m2: 0.14,
        wheel_radius_m: 0.336,
        drivetrain_efficiency: 0.976,
    };
    const AROUND: Surroundings = Surroundings {
        air_density_kg_m3: 1.187,
        gravity_m_s2: 9.8035,
    };

    fn wind(headwind_m_s: f64, crosswind_m_s: f64) -> RelativeWind {
        RelativeWind {
            headwind_m_s,
            crosswind_m_s,
        }
    }

    fn step(start: f64, end: f64, wind: RelativeWind) -> Step {
        Step {
            duration_s: 1.0,
            power_w: 0.0,
            start_speed_m_s: start,
            end_speed_m_s: end,
            wind,
            cos_slope: 1.0,
            lean: Lean::UPRIGHT,
        }
    }

    /// ∫(v+w) V_a v dt by Simpson's rule on very many panels: slow and obvious.
    fn air_by_simpson(step: &Step, panels: usize) -> f64 {
        let width = 1.0 / panels as f64;
        let term = |share: f64| {
            let v = step.start_speed_m_s + share * (step.end_speed_m_s - step.start_speed_m_s);
            let along = v + step.wind.headwind_m_s;
            along * (along * along + step.wind.crosswind_m_s.powi(2)).sqrt() * v
        };
        let sum: f64 = (0..panels)
            .map(|i| {
                let from = i as f64 * width;
                term(from) + 4.0 * term(from + 0.5 * width) + term(from + width)
            })
            .sum();
        sum * width / 6.0 * step.duration_s
    }

    #[test]
    fn the_air_integral_is_that_of_many_small_panels() {
        for (start, end) in [(10.0, 10.0), (10.0, 10.8), (0.0, 6.0), (14.0, 3.0), (2.0, 0.0)] {
            for headwind in [0.0, 3.0, -3.0, -12.0] {
                for crosswind in [0.0, 1e-7, 0.02, 1.0, -4.0] {
                    let step = step(start, end, wind(headwind, crosswind));
                    let found = step_work(&step).air_m3_s2;
                    let expected = air_by_simpson(&step, 200_000);
                    let scale = (start + headwind.abs() + 1.0).powi(3);
                    assert!(
                        (found - expected).abs() < 1e-11 * scale,
                        "{step:?}: {found} {expected}"
                    );
                }
            }
        }
    }

    /// A step so short that the shorter rule is taken, against the longer one.
    #[test]
    fn short_steps_lose_nothing_by_the_shorter_rule() {
        for (middle, c) in [(10.0_f64, 3.0_f64), (6.0, -8.0), (0.5, 4.0), (12.0, 0.1)] {
            let wind = wind(-2.0, c);
            let half = middle.hypot(c) / 20.0;
            let long = by_rule(&GAUSS_8, middle, half, wind);
            let short = quadrature(middle - half, middle + half, wind, 0);
            assert!(
                (short - long).abs() < 1e-12 * middle.hypot(c).powi(3),
                "{short} {long}"
            );
        }
    }

    /// Closed form: ∫u²√(u²+c²) du = [u(2u²+c²)√(u²+c²) − c⁴ asinh(u/c)]/8 and ∫u√(u²+c²) du =
    /// (u²+c²)^{3/2}/3 (any table of integrals; D). Subtracting its ends costs digits, so the program
    /// uses a quadrature and this form is the referee.
    #[test]
    fn the_air_integral_in_a_crosswind_is_that_of_the_closed_form() {
        for (start, end, w, c) in [
            (2.0_f64, 14.0_f64, 1.0_f64, 3.0_f64),
            (1.0, 12.0, -5.0, 2.0),
            (5.0, 15.0, -5.0, 0.5),
            (0.0, 9.0, 6.0, 8.0),
        ] {
            let primitive = |v: f64| {
                let u = v + w;
                let root = u.hypot(c);
                (u * (2.0 * u * u + c * c) * root - c.powi(4) * (u / c).asinh()) / 8.0
                    - w * root.powi(3) / 3.0
            };
            let expected = (primitive(end) - primitive(start)) / (end - start);
            let found = step_work(&step(start, end, wind(w, c))).air_m3_s2;
            assert!(
                (found - expected).abs() < 1e-12 * expected.abs().max(100.0),
                "{found} {expected}"
            );
        }
    }

    #[test]
    fn steps_add_up_to_the_whole() {
        let blowing = wind(-4.0, 1.5);
        let whole = Step {
            duration_s: 2.0,
            power_w: 230.0,
            start_speed_m_s: 3.0,
            end_speed_m_s: 8.0,
            wind: blowing,
            cos_slope: 0.999,
            lean: Lean::UPRIGHT,
        };
        let first = Step {
            duration_s: 0.8,
            end_speed_m_s: 5.0,
            ..whole
        };
        let second = Step {
            duration_s: 1.2,
            start_speed_m_s: 5.0,
            ..whole
        };
        let sum: Work = [first, second].iter().map(step_work).sum();
        let all = step_work(&whole);
        for (a, b) in [
            (sum.duration_s, all.duration_s),
            (sum.crank_j, all.crank_j),
            (sum.kinetic_m2_s2, all.kinetic_m2_s2),
            (sum.bearing_j, all.bearing_j),
            (sum.distance_m, all.distance_m),
            (sum.level_distance_m, all.level_distance_m),
            (sum.air_m3_s2, all.air_m3_s2),
        ] {
            assert!((a - b).abs() < 1e-11 * (1.0 + b.abs()), "{a} {b}");
        }
    }

    /// A ride without noise over a hilly road: uneven speed, turning wind, and in every second the
    /// power that the balance asks for, with the air integral taken by Simpson's rule.
    fn ride() -> Vec<(Step, f64)> {
        let speed = |t: f64| 9.5 + 2.0 * (t / 17.0).sin() + 0.7 * (t / 5.3).cos();
        let weight = RIG.total_mass_kg * AROUND.gravity_m_s2;
        (0..300)
            .map(|second| {
                let t = f64::from(second);
                let bearing = t / 40.0;
                let mut step = step(
                    speed(t),
                    speed(t + 1.0),
                    RelativeWind::from_air_velocity(1.2, -0.7, bearing),
                );
                let (start, end) = (step.start_speed_m_s, step.end_speed_m_s);
                let distance = 0.5 * (start + end);
                let climb = 0.25 * (t / 30.0).sin() * distance / 9.5;
                step.cos_slope = (1.0 - (climb / distance).powi(2)).sqrt();
                let speed_squared = (start * start + start * end + end * end) / 3.0;
                let work = 0.5 * (81.3 + 0.14 / 0.336 / 0.336) * (end * end - start * start)
                    + 0.091 * distance
                    + 0.0087 * speed_squared
                    + RIG.crr * weight * distance * step.cos_slope
                    + 0.5 * AROUND.air_density_kg_m3 * RIG.cda_m2 * air_by_simpson(&step, 2000)
                    + weight * climb;
                step.power_w = work / 0.976;
                (step, climb)
            })
            .collect()
    }

    #[test]
    fn a_ride_without_noise_gives_its_road_back() {
        let (mut virtual_height, mut height) = (0.0, 0.0);
        for (step, climb) in ride() {
            height += climb;
            virtual_height += virtual_climb_m(&RIG, &AROUND, &step_work(&step));
            assert!(
                (virtual_height - height).abs() < 1e-6,
                "{virtual_height} {height}"
            );
        }
        assert!(height.abs() > 1.0, "the road must not be flat: {height}");
    }

    /// With the road known, the balance is linear in CdA and Crr: least squares gives both back.
    #[test]
    fn a_ride_without_noise_gives_cda_and_crr_back() {
        let weight = RIG.total_mass_kg * AROUND.gravity_m_s2;
        let guess = Rig {
            cda_m2: 0.0,
            crr: 0.0,
            ..RIG
        };
        let (mut normal, mut right) = (Matrix2::zeros(), Vector2::zeros());
        for (step, climb) in ride() {
            let work = step_work(&step);
            let missing = weight * (virtual_climb_m(&guess, &AROUND, &work) - climb);
            let row = Vector2::new(
                0.5 * AROUND.air_density_kg_m3 * work.air_m3_s2,
                weight * work.level_distance_m,
            );
            normal += row * row.transpose();
            right += row * missing;
        }
        let found = normal.lu().solve(&right).unwrap();
        assert!((found[0] - RIG.cda_m2).abs() < 1e-6, "{found}");
        assert!((found[1] - RIG.crr).abs() < 1e-7, "{found}");
    }

    /// At one constant speed in still air CdA and Crr are the same thing to the balance (D).
    #[test]
    fn at_constant_speed_cda_and_crr_cannot_be_told_apart() {
        let work = step_work(&step(10.0, 10.0, wind(0.0, 0.0)));
        let more_drag = Rig {
            cda_m2: RIG.cda_m2 + 0.01,
            ..RIG
        };
        let same = 0.5 * AROUND.air_density_kg_m3 * 0.01 * work.air_m3_s2
            / (RIG.total_mass_kg * AROUND.gravity_m_s2 * work.level_distance_m);
        let more_rolling = Rig {
            crr: RIG.crr + same,
            ..RIG
        };
        let difference =
            virtual_climb_m(&more_drag, &AROUND, &work) - virtual_climb_m(&more_rolling, &AROUND, &work);
        assert!(difference.abs() < 1e-12);
    }

    /// What linear speed between samples costs: a rider at constant power over a road that changes
    /// slope by ±3 % every 90 m, marched in time in steps of 10 ms, seen once a second.
    ///
    /// By algebra (D): joining samples of a wave of angular frequency ω by lines loses ω²/6 of its
    /// variance. Here ω = 0.35 rad/s and the amplitude 0.86 m/s, so 3 v Δ⟨v²⟩ ½ρCdA = 0.04 W, or 10 mm
    /// of elevation in 200 s, and the lost distance swings by another 3 mm: together 0.04 % of CdA.
    #[test]
    fn samples_a_second_apart_are_close_enough_for_real_roads() {
        let slope = |x: f64| 0.03 * (x / 90.0 * std::f64::consts::PI).sin();
        let weight = RIG.total_mass_kg * AROUND.gravity_m_s2;
        let acceleration = |x: f64, v: f64| {
            let held = 0.5 * AROUND.air_density_kg_m3 * RIG.cda_m2 * v * v
                + weight * (RIG.crr * (1.0 - slope(x).powi(2)).sqrt() + slope(x))
                + 0.091
                + 0.0087 * v;
            (0.976 * 250.0 / v - held) / RIG.effective_mass_kg()
        };
        let (mut x, mut v, mut height, mut virtual_height) = (0.0_f64, 10.0_f64, 0.0_f64, 0.0_f64);
        let mut worst = 0.0_f64;
        for _second in 0..200 {
            let (start_x, start_v) = (x, v);
            for _part in 0..100 {
                let h = 0.01;
                let (x1, v1) = (v, acceleration(x, v));
                let (x2, v2) = (v + 0.5 * h * v1, acceleration(x + 0.5 * h * x1, v + 0.5 * h * v1));
                let (x3, v3) = (v + 0.5 * h * v2, acceleration(x + 0.5 * h * x2, v + 0.5 * h * v2));
                let (x4, v4) = (v + h * v3, acceleration(x + h * x3, v + h * v3));
                let next = x + h / 6.0 * (x1 + 2.0 * x2 + 2.0 * x3 + x4);
                height += (next - x) / 6.0 * (slope(x) + 4.0 * slope(0.5 * (x + next)) + slope(next));
                (x, v) = (next, v + h / 6.0 * (v1 + 2.0 * v2 + 2.0 * v3 + v4));
            }
            let mut second = step(start_v, v, wind(0.0, 0.0));
            second.power_w = 250.0;
            second.cos_slope = (1.0 - slope(0.5 * (start_x + x)).powi(2)).sqrt();
            virtual_height += virtual_climb_m(&RIG, &AROUND, &step_work(&second));
            worst = worst.max((virtual_height - height).abs());
        }
        assert!(x > 1500.0, "{x}");
        assert!(worst < 0.013, "{worst} m");
    }
}
