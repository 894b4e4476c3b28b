//! Virtual elevation: the climb that power and speed imply for a given CdA and Crr.
//!
//! The balance is integrated as energy, so a differentiated speed never appears and speed noise
//! enters only at the two ends of a stretch:
//!
//! m g Δh = η∫P dt − m_e ½(v_b² − v_a²) − ∫(0.091 + 0.0087 v) v dt − Crr m g ∫cos θ ds − ½ρ CdA ∫(v+w)V_a ds

use std::iter::Sum;
use std::ops::{Add, AddAssign};

use super::balance::{BEARING_N, BEARING_N_PER_M_S, RelativeWind, Rig, Surroundings};

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
    /// ∫cos θ ds. [m]
    pub level_distance_m: f64,
    /// ∫(v+w) V_a ds; times ½ρ CdA it is the work against the air. [m³/s²]
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
    let distance = 0.5 * (start + end) * step.duration_s;
    let speed_squared_s = (start * start + start * end + end * end) / 3.0 * step.duration_s;
    Work {
        duration_s: step.duration_s,
        crank_j: step.power_w * step.duration_s,
        kinetic_m2_s2: 0.5 * (end - start) * (end + start),
        bearing_j: BEARING_N * distance + BEARING_N_PER_M_S * speed_squared_s,
        distance_m: distance,
        level_distance_m: distance * step.cos_slope,
        air_m3_s2: step.duration_s * mean_air_term(start, end, step.wind),
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

/// Nodes and weights of the 8-point Gauss–Legendre rule on [−1, 1], one half (Abramowitz and Stegun, table 25.4).
const GAUSS_8: [(f64, f64); 4] = [
    (0.183_434_642_495_649_8, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887_27),
    (0.796_666_477_413_626_7, 0.222_381_034_453_374_48),
    (0.960_289_856_497_536_3, 0.101_228_536_290_376_26),
];

/// Mean of u √(u²+c²) (u − w) for u going evenly from `from` to `to`.
///
/// The root is singular at u = ±ic only. Where that is at least three half-widths from the middle, the
/// 8-point rule is good to about 1e-13; nearer than that the step is halved.
fn quadrature(from: f64, to: f64, wind: RelativeWind, depth: u32) -> f64 {
    let (middle, half) = (0.5 * (from + to), 0.5 * (to - from));
    if middle.hypot(wind.crosswind_m_s) < 3.0 * half.abs() && depth < 60 {
        return 0.5 * (quadrature(from, middle, wind, depth + 1) + quadrature(middle, to, wind, depth + 1));
    }
    let term = |air: f64| air * air.hypot(wind.crosswind_m_s) * (air - wind.headwind_m_s);
    let sum: f64 = GAUSS_8
        .iter()
        .map(|(node, weight)| weight * (term(middle - half * node) + term(middle + half * node)))
        .sum();
    0.5 * sum
}
