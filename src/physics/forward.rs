//! Forward integration of the balance: how long a road takes at a given power.

use super::balance::{RelativeWind, Rig, Surroundings, bearing_force_n, drag_force_n, weight_force_n};

/// Below this the balance is no description of riding: the rider is about to put a foot down.
pub const STALL_SPEED_M_S: f64 = 0.5;

/// A stretch of road with constant slope and wind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece {
    /// Along the road, not its projection on the map.
    pub length_m: f64,
    /// tan θ, positive uphill.
    pub gradient: f64,
    pub wind: RelativeWind,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ridden {
    pub time_s: f64,
    pub exit_speed_m_s: f64,
}

/// Ride the pieces one after the other at constant power at the meter.
///
/// Time good to about 1e-9 of itself. `None` when speed falls below 0.5 m/s (also at the entry), and
/// for input that is not finite or a length below zero.
pub fn ride_road(
    rig: &Rig,
    around: &Surroundings,
    pieces: &[Piece],
    power_w: f64,
    entry_speed_m_s: f64,
) -> Option<Ridden> {
    let mut state = State {
        speed_squared: entry_speed_m_s * entry_speed_m_s,
        time: 0.0,
    };
    let mut step_m = 20.0;
    if !(entry_speed_m_s >= STALL_SPEED_M_S && entry_speed_m_s.is_finite()) {
        return None;
    }
    for piece in pieces {
        let motion = Motion {
            rig,
            around,
            piece,
            wheel_power_w: power_w * rig.drivetrain_efficiency,
            weight_n: weight_force_n(rig, around, piece.gradient),
            mass_kg: rig.effective_mass_kg(),
        };
        (state, step_m) = motion.ride(state, step_m)?;
    }
    Some(Ridden {
        time_s: state.time,
        exit_speed_m_s: state.speed_squared.sqrt(),
    })
}

/// Position along the road is the independent variable: the ends of the pieces are then met exactly,
/// and on a steady stretch nothing changes but time, so the steps are long.
#[derive(Clone, Copy)]
struct State {
    speed_squared: f64,
    time: f64,
}

impl State {
    fn plus(self, length: f64, slopes: &[(f64, State)]) -> State {
        let mut sum = self;
        for (weight, slope) in slopes {
            sum.speed_squared += length * weight * slope.speed_squared;
            sum.time += length * weight * slope.time;
        }
        sum
    }
}

struct Motion<'a> {
    rig: &'a Rig,
    around: &'a Surroundings,
    piece: &'a Piece,
    wheel_power_w: f64,
    /// The same at any speed.
    weight_n: f64,
    mass_kg: f64,
}

const RELATIVE_TOLERANCE: f64 = 1e-10;

impl Motion<'_> {
    /// Change per metre of v² and of time; `None` where speed is far below stalling.
    fn slope(&self, state: State) -> Option<State> {
        let speed = state.speed_squared.sqrt();
        if speed.is_nan() || speed < 0.5 * STALL_SPEED_M_S {
            return None;
        }
        let drag_n = drag_force_n(
            self.rig.cda_m2,
            self.around.air_density_kg_m3,
            speed,
            self.piece.wind,
        );
        let resistance_n = drag_n + self.weight_n + bearing_force_n(speed);
        Some(State {
            speed_squared: 2.0 * (self.wheel_power_w / speed - resistance_n) / self.mass_kg,
            time: 1.0 / speed,
        })
    }

    /// Tries `step` first. Gives the state at the end, and the step that would have come next there.
    fn ride(&self, entry: State, mut step: f64) -> Option<(State, f64)> {
        let length = self.piece.length_m;
        if !(length >= 0.0 && length.is_finite()) {
            return None;
        }
        let mut state = entry;
        let mut slope = self.slope(state)?;
        let mut done = 0.0;
        while done < length {
            let left = length - done;
            let last = step >= left * (1.0 - 1e-12);
            let tried = if last { left } else { step };
            let Some((next, next_slope, error)) = self.try_step(state, slope, tried) else {
                // A stage of the step stalled: come closer, and give up when there is nothing left.
                step = 0.25 * tried;
                if step < 1e-6 {
                    return None;
                }
                continue;
            };
            if error > 1.0 {
                step = tried * (0.9 * error.powf(-0.2)).max(0.2);
                if step < 1e-9 {
                    return None;
                }
                continue;
            }
            if next.speed_squared < STALL_SPEED_M_S * STALL_SPEED_M_S {
                return None;
            }
            (state, slope) = (next, next_slope);
            done = if last { length } else { done + tried };
            let longer = tried * (0.9 * error.max(1e-10).powf(-0.2)).min(5.0);
            // A short rest of a piece says nothing against the step that was meant.
            step = if last { longer.max(step) } else { longer };
        }
        Some((state, step))
    }

    /// One step of Dormand and Prince's pair of orders 5 and 4 (J Comput Appl Math 6:19-26, 1980), `k1` being the
    /// slope at `y`: the new state, the slope there, and the estimated error in units of the tolerance.
    fn try_step(&self, y: State, k1: State, h: f64) -> Option<(State, State, f64)> {
        let k2 = self.slope(y.plus(h, &[(1.0 / 5.0, k1)]))?;
        let k3 = self.slope(y.plus(h, &[(3.0 / 40.0, k1), (9.0 / 40.0, k2)]))?;
        let k4 = self.slope(y.plus(h, &[(44.0 / 45.0, k1), (-56.0 / 15.0, k2), (32.0 / 9.0, k3)]))?;
        let k5 = self.slope(y.plus(
            h,
            &[
                (19372.0 / 6561.0, k1),
                (-25360.0 / 2187.0, k2),
                (64448.0 / 6561.0, k3),
                (-212.0 / 729.0, k4),
            ],
        ))?;
        let k6 = self.slope(y.plus(
            h,
            &[
                (9017.0 / 3168.0, k1),
                (-355.0 / 33.0, k2),
                (46732.0 / 5247.0, k3),
                (49.0 / 176.0, k4),
                (-5103.0 / 18656.0, k5),
            ],
        ))?;
        let next = y.plus(
            h,
            &[
                (35.0 / 384.0, k1),
                (500.0 / 1113.0, k3),
                (125.0 / 192.0, k4),
                (-2187.0 / 6784.0, k5),
                (11.0 / 84.0, k6),
            ],
        );
        let k7 = self.slope(next)?;
        let zero = State {
            speed_squared: 0.0,
            time: 0.0,
        };
        let error = zero.plus(
            h,
            &[
                (71.0 / 57600.0, k1),
                (-71.0 / 16695.0, k3),
                (71.0 / 1920.0, k4),
                (-17253.0 / 339200.0, k5),
                (22.0 / 525.0, k6),
                (-1.0 / 40.0, k7),
            ],
        );
        let speed_error = error.speed_squared.abs() / (RELATIVE_TOLERANCE * next.speed_squared);
        let time_error = error.time.abs() / (RELATIVE_TOLERANCE * h * k1.time);
        Some((next, k7, speed_error.max(time_error)))
    }
}

#[cfg(test)]
mod tests {
    use super::super::{crank_power_w, steady_speed_m_s};
    use super::*;

    const RIG: Rig = Rig {
        cda_m2: 0.3,
        crr: 0.005,
        total_mass_kg: 80.0,
        wheel_inertia_kg_m2: 0.14,
        wheel_radius_m: 0.336,
        drivetrain_efficiency: 0.976,
    };
    const AROUND: Surroundings = Surroundings {
        air_density_kg_m3: 1.2,
        gravity_m_s2: 9.81,
    };

    fn road(length_m: f64, gradient: f64) -> Piece {
        Piece {
            length_m,
            gradient,
            wind: RelativeWind::default(),
        }
    }

    /// Closed form: at the steady speed of each slope, time is length over speed.
    #[test]
    fn at_the_steady_speed_time_is_length_over_speed() {
        for gradient in [-0.04, 0.0, 0.018, 0.08] {
            let speed = steady_speed_m_s(&RIG, &AROUND, 250.0, gradient, RelativeWind::default()).unwrap();
            let ridden = ride_road(&RIG, &AROUND, &[road(2000.0, gradient)], 250.0, speed).unwrap();
            assert!((ridden.time_s * speed / 2000.0 - 1.0).abs() < 1e-9);
            assert!((ridden.exit_speed_m_s - speed).abs() < 1e-9);
        }
    }

    /// A long slope forgets the entry: the exit is at terminal speed, from above and from below.
    #[test]
    fn coasting_down_a_long_slope_ends_at_terminal_speed() {
        let terminal = steady_speed_m_s(&RIG, &AROUND, 0.0, -0.05, RelativeWind::default()).unwrap();
        for entry in [2.0, 25.0] {
            let ridden = ride_road(&RIG, &AROUND, &[road(20_000.0, -0.05)], 0.0, entry).unwrap();
            assert!((ridden.exit_speed_m_s - terminal).abs() < 1e-9);
        }
    }

    #[test]
    fn a_road_that_is_too_steep_stalls_the_rider() {
        assert_eq!(ride_road(&RIG, &AROUND, &[road(500.0, 0.3)], 50.0, 8.0), None);
        assert_eq!(ride_road(&RIG, &AROUND, &[road(500.0, 0.0)], 200.0, 0.3), None);
        assert_eq!(ride_road(&RIG, &AROUND, &[road(f64::NAN, 0.0)], 200.0, 8.0), None);
        assert_eq!(
            ride_road(&RIG, &AROUND, &[road(10.0, f64::NAN)], 200.0, 8.0),
            None
        );
    }

    #[test]
    fn cutting_a_piece_changes_nothing() {
        let whole = ride_road(&RIG, &AROUND, &[road(1500.0, 0.02)], 250.0, 11.0).unwrap();
        let cuts: Vec<Piece> = [1e-12, 0.3, 99.7, 700.0, 700.0].map(|l| road(l, 0.02)).to_vec();
        let parts = ride_road(&RIG, &AROUND, &cuts, 250.0, 11.0).unwrap();
        assert!((whole.time_s - parts.time_s).abs() < 1e-8);
        assert!((whole.exit_speed_m_s - parts.exit_speed_m_s).abs() < 1e-9);
    }

    /// Closed form (textbook). m v' = −(F + k v²) gives v = √(F/k) tan(φ − t/τ), τ = m/√(Fk), over a
    /// distance (m/2k) ln((F + k v_a²)/(F + k v_b²)). Completing the square takes the bearings' linear
    /// term in: u = v + b/2k.
    #[test]
    fn a_coast_down_in_still_air_follows_its_closed_form() {
        let (k, b): (f64, f64) = (0.5 * 1.2 * 0.3, 0.0087);
        let rolling = 0.005 * 80.0 * 9.81 + 0.091;
        let mass = RIG.effective_mass_kg();
        // m v' = −(rolling + b v + k v²) = −(level + k u²), u = v + b/2k.
        let (shift, level) = (b / (2.0 * k), rolling - b * b / (4.0 * k));
        let (fall, tau) = ((level / k).sqrt(), mass / (level * k).sqrt());
        let (start, end): (f64, f64) = (12.0, 4.0);
        let angle = |speed: f64| ((speed + shift) / fall).atan();
        let time = tau * (angle(start) - angle(end));
        // ∫v dt = ∫u dt − shift t
        let of_u = |speed: f64| level + k * (speed + shift).powi(2);
        let length = mass / (2.0 * k) * (of_u(start) / of_u(end)).ln() - shift * time;
        let ridden = ride_road(&RIG, &AROUND, &[road(length, 0.0)], 0.0, start).unwrap();
        assert!((ridden.exit_speed_m_s - end).abs() < 1e-9, "{ridden:?}");
        assert!((ridden.time_s - time).abs() < 1e-8, "{ridden:?} {time}");
    }

    /// A plain fourth-order march in time shares nothing with the step control above.
    #[test]
    fn a_slow_march_in_time_finds_the_same_exit() {
        let wind = RelativeWind {
            headwind_m_s: 2.0,
            crosswind_m_s: 3.0,
        };
        let piece = Piece {
            length_m: 700.0,
            gradient: 0.03,
            wind,
        };
        let acceleration = |v: f64| {
            let held = crank_power_w(&RIG, &AROUND, v, wind, 0.03, 0.0);
            (280.0 - held) * RIG.drivetrain_efficiency / v / RIG.effective_mass_kg()
        };
        let (mut x, mut v, mut t, h) = (0.0, 11.0, 0.0, 1e-3);
        while x < 700.0 {
            let k1 = acceleration(v);
            let k2 = acceleration(v + 0.5 * h * k1);
            let k3 = acceleration(v + 0.5 * h * k2);
            let k4 = acceleration(v + h * k3);
            let next = v + h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4);
            x += h * (0.5 * (v + next) - h * (k4 - k1) / 12.0);
            v = next;
            t += h;
        }
        let ridden = ride_road(&RIG, &AROUND, &[piece], 280.0, 11.0).unwrap();
        assert!((ridden.time_s - (t - (x - 700.0) / v)).abs() < 1e-7);
        assert!((ridden.exit_speed_m_s - v).abs() < 1e-4);
    }
}
