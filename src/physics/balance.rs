//! The road-load balance: what speed, wind, slope and acceleration cost at the crank.
//!
//! After Martin, Milliken, Cobb, McFadden and Coggan, *Validation of a mathematical model for road
//! cycling power*, J Appl Biomech 14(3):276-291, 1998:
//!
//! η P = v [ ½ρ CdA (v+w) V_a + Crr m g cos θ + m g sin θ + (0.091 + 0.0087 v) + m_e dv/dt ]
//!
//! The drag is written with its sign, force times speed, so that it also holds in a crosswind and in
//! a tailwind faster than the bicycle. CdA holds the wheels' rotational term and does not depend on yaw.

/// Bearings of both wheels: a constant force [N] and one that grows with speed [N per m/s] (Martin 1998).
pub(crate) const BEARING_N: f64 = 0.091;
pub(crate) const BEARING_N_PER_M_S: f64 = 0.0087;

/// Rider and bicycle as the balance sees them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rig {
    /// Drag area, the wheels' rotation included. [m²]
    pub cda_m2: f64,
    /// Coefficient of rolling resistance. [1]
    pub crr: f64,
    /// Rider, bicycle, kit and bottles. [kg]
    pub total_mass_kg: f64,
    /// Both wheels together. [kg m²]
    pub wheel_inertia_kg_m2: f64,
    /// Rolling radius. [m]
    pub wheel_radius_m: f64,
    /// Power at the wheel over power at the meter. [1]
    pub drivetrain_efficiency: f64,
}

impl Rig {
    /// Mass that must be accelerated: total mass and the wheels' rotation, m + I/r². [kg]
    pub fn effective_mass_kg(&self) -> f64 {
        self.total_mass_kg + self.wheel_inertia_kg_m2 / (self.wheel_radius_m * self.wheel_radius_m)
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surroundings {
    pub air_density_kg_m3: f64,
    pub gravity_m_s2: f64,
}

/// Wind as the rider meets it: `headwind_m_s` is positive from the front, `crosswind_m_s` from the
/// left or right alike (only its square matters).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct RelativeWind {
    pub headwind_m_s: f64,
    pub crosswind_m_s: f64,
}

impl RelativeWind {
    /// From the velocity of the air (where it moves *to*, east and north, m/s) and the travel bearing
    /// from true north [rad].
    pub fn from_air_velocity(east_m_s: f64, north_m_s: f64, bearing_rad: f64) -> Self {
        let (sin, cos) = bearing_rad.sin_cos();
        RelativeWind {
            headwind_m_s: -(east_m_s * sin + north_m_s * cos),
            crosswind_m_s: east_m_s * cos - north_m_s * sin,
        }
    }

    /// Angle at which the air meets a rider at this ground speed, from straight ahead. [rad]
    pub fn yaw_rad(&self, speed_m_s: f64) -> f64 {
        self.crosswind_m_s.atan2(speed_m_s + self.headwind_m_s)
    }

    /// Speed of the air past a rider at this ground speed. [m/s]
    pub fn airspeed_m_s(&self, speed_m_s: f64) -> f64 {
        self.airspeed_at(speed_m_s + self.headwind_m_s)
    }

    /// The same where the air comes along the road at `along_m_s`. [m/s]
    ///
    /// Speeds need none of hypot's care for overflow, which took a quarter of the time of an answer.
    pub(crate) fn airspeed_at(&self, along_m_s: f64) -> f64 {
        (along_m_s * along_m_s + self.crosswind_m_s * self.crosswind_m_s).sqrt()
    }
}

/// Friction of the wheel bearings as a force at the road. [N]
///
/// Newtons with v in m/s. (The published torque, 0.015 + 0.00005 N Nm a wheel, gives the same only
/// with N in rev/min and r = 0.33 m.)
pub fn bearing_force_n(speed_m_s: f64) -> f64 {
    BEARING_N + BEARING_N_PER_M_S * speed_m_s
}

/// Air resistance along the road. [N] ½ρ CdA (v+w) V_a; negative where the air pushes.
pub fn drag_force_n(rig_cda_m2: f64, air_density_kg_m3: f64, speed_m_s: f64, wind: RelativeWind) -> f64 {
    0.5 * air_density_kg_m3 * rig_cda_m2 * (speed_m_s + wind.headwind_m_s) * wind.airspeed_m_s(speed_m_s)
}

/// Everything that holds the bicycle back at steady speed. [N] `gradient` is tan θ.
pub(crate) fn resistance_n(
    rig: &Rig,
    around: &Surroundings,
    speed_m_s: f64,
    wind: RelativeWind,
    gradient: f64,
) -> f64 {
    drag_force_n(rig.cda_m2, around.air_density_kg_m3, speed_m_s, wind)
        + weight_force_n(rig, around, gradient)
        + bearing_force_n(speed_m_s)
}

/// What of it comes from weight, whatever the speed: the hill and rolling. [N] `gradient` is tan θ.
pub(crate) fn weight_force_n(rig: &Rig, around: &Surroundings, gradient: f64) -> f64 {
    rig.total_mass_kg * around.gravity_m_s2 * cos_slope(gradient) * (rig.crr + gradient)
}

/// cos θ of a slope given as tan θ; without hypot, as in [`RelativeWind::airspeed_at`].
pub(crate) fn cos_slope(gradient: f64) -> f64 {
    1.0 / (1.0 + gradient * gradient).sqrt()
}

/// Power at the meter for a speed, wind, slope and acceleration. [W] `gradient` is tan θ.
///
/// Negative where the balance is one of braking: a drivetrain does not carry that, so the number is
/// then only what the equation says.
pub fn crank_power_w(
    rig: &Rig,
    around: &Surroundings,
    speed_m_s: f64,
    wind: RelativeWind,
    gradient: f64,
    acceleration_m_s2: f64,
) -> f64 {
    let force =
        resistance_n(rig, around, speed_m_s, wind, gradient) + rig.effective_mass_kg() * acceleration_m_s2;
    force * speed_m_s / rig.drivetrain_efficiency
}

/// The speed that a power of zero or more keeps up on a constant slope in a constant wind. [m/s]
///
/// The resistance grows with speed, so there is one such speed at most. `None` where there is none
/// above zero (no power on the flat), for braking power, and for input that is not finite.
pub fn steady_speed_m_s(
    rig: &Rig,
    around: &Surroundings,
    power_w: f64,
    gradient: f64,
    wind: RelativeWind,
) -> Option<f64> {
    let available = power_w * rig.drivetrain_efficiency;
    if !(available >= 0.0 && available.is_finite()) {
        return None;
    }
    // With power: the surplus is positive at standstill. Without: only where the slope or wind pulls.
    if available == 0.0 && resistance_n(rig, around, 0.0, wind, gradient) >= 0.0 {
        return None;
    }
    let too_fast = |speed: f64| speed * resistance_n(rig, around, speed, wind, gradient) >= available;
    let mut low = 0.0;
    let mut high = 1.0;
    while !too_fast(high) {
        low = high;
        high *= 2.0;
        if high > 1e6 {
            return None;
        }
    }
    // Bisection to the last bit: some 55 halvings, no case that converges badly.
    loop {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            return Some(middle);
        }
        if too_fast(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bearings_take_0_178_n_at_10_m_s() {
        assert!((bearing_force_n(10.0) - 0.178).abs() < 1e-15); // Martin 1998 (M+); 1.78 W
    }

    #[test]
    fn air_moving_with_the_rider_is_a_tailwind() {
        let east = std::f64::consts::FRAC_PI_2;
        let tail = RelativeWind::from_air_velocity(3.0, 0.0, east);
        assert!((tail.headwind_m_s + 3.0).abs() < 1e-15 && tail.crosswind_m_s.abs() < 1e-15);
        let cross = RelativeWind::from_air_velocity(3.0, 0.0, 0.0);
        assert!(cross.headwind_m_s.abs() < 1e-15 && (cross.crosswind_m_s - 3.0).abs() < 1e-15);
        assert!(
            drag_force_n(
                0.3,
                1.2,
                2.0,
                RelativeWind {
                    headwind_m_s: -5.0,
                    crosswind_m_s: 0.0
                }
            ) < 0.0
        );
    }

    #[test]
    fn steady_speed_is_the_inverse_of_power() {
        let rig = Rig {
            cda_m2: 0.3,
            crr: 0.005,
            total_mass_kg: 80.0,
            wheel_inertia_kg_m2: 0.14,
            wheel_radius_m: 0.336,
            drivetrain_efficiency: 0.976,
        };
        let around = Surroundings {
            air_density_kg_m3: 1.2,
            gravity_m_s2: 9.81,
        };
        for gradient in [-0.08, 0.0, 0.03, 0.15] {
            for (headwind, crosswind) in [(0.0, 0.0), (4.0, 2.0), (-6.0, 0.0), (-12.0, 3.0)] {
                let wind = RelativeWind {
                    headwind_m_s: headwind,
                    crosswind_m_s: crosswind,
                };
                for power in [1.0, 80.0, 250.0, 1200.0] {
                    let speed = steady_speed_m_s(&rig, &around, power, gradient, wind).unwrap();
                    let back = crank_power_w(&rig, &around, speed, wind, gradient, 0.0);
                    assert!((back - power).abs() < 1e-9 * (1.0 + power), "{power} {back}");
                }
            }
        }
        let calm = RelativeWind::default();
        assert_eq!(steady_speed_m_s(&rig, &around, 0.0, 0.0, calm), None);
        assert_eq!(steady_speed_m_s(&rig, &around, -50.0, -0.1, calm), None);
        assert_eq!(steady_speed_m_s(&rig, &around, f64::NAN, 0.0, calm), None);
        assert!(steady_speed_m_s(&rig, &around, 0.0, -0.05, calm).is_some());
    }
}
