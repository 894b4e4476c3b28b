//! How a rider spreads power over a road.

use crate::physics::{Piece, Ridden, Rig, Surroundings, ride_road};

/// The slope at which the limit of a pacing is reached.
const FULL_AT: f64 = 0.04;

/// Power over the road.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pacing {
    /// The same everywhere.
    Constant,
    /// More uphill and less downhill, in proportion to the slope, by `limit` at most (0.15: 15 %), which is reached at
    /// 4 %. The mean over time is the power asked for.
    HarderUphill { limit: f64 },
}

impl Pacing {
    /// Power on a slope over that on the level.
    pub(super) fn factor(self, gradient: f64) -> f64 {
        match self {
            Pacing::Constant => 1.0,
            Pacing::HarderUphill { limit } => 1.0 + limit * (gradient / FULL_AT).clamp(-1.0, 1.0),
        }
    }
}

/// Time over the road, and mean power over that time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Paced {
    pub time_s: f64,
    pub mean_power_w: f64,
}

/// `level_power_w`: on the level. `None` where the rider would stall.
pub(super) fn ride(
    rig: &Rig,
    around: &Surroundings,
    pieces: &[Piece],
    pacing: Pacing,
    level_power_w: f64,
    entry_speed_m_s: f64,
) -> Option<Paced> {
    if pacing == Pacing::Constant {
        let Ridden { time_s, .. } = ride_road(rig, around, pieces, level_power_w, entry_speed_m_s)?;
        return Some(Paced {
            time_s,
            mean_power_w: level_power_w,
        });
    }
    let (mut time_s, mut energy_j, mut speed_m_s) = (0.0, 0.0, entry_speed_m_s);
    for piece in pieces {
        let power_w = level_power_w * pacing.factor(piece.gradient);
        let ridden = ride_road(rig, around, std::slice::from_ref(piece), power_w, speed_m_s)?;
        time_s += ridden.time_s;
        energy_j += power_w * ridden.time_s;
        speed_m_s = ridden.exit_speed_m_s;
    }
    Some(Paced {
        time_s,
        mean_power_w: energy_j / time_s,
    })
}

/// The power on the level with which the mean over time is `mean_power_w`.
pub(super) fn level_power_w(
    rig: &Rig,
    around: &Surroundings,
    pieces: &[Piece],
    pacing: Pacing,
    mean_power_w: f64,
    entry_speed_m_s: f64,
) -> Option<f64> {
    let mut level_w = mean_power_w;
    // The mean is nearly proportional to the level's power, so that each round gains two digits and more.
    for _ in 0..8 {
        let paced = ride(rig, around, pieces, pacing, level_w, entry_speed_m_s)?;
        let next = level_w * mean_power_w / paced.mean_power_w;
        let done = (next / level_w - 1.0).abs() < 1e-10;
        level_w = next;
        if done {
            break;
        }
    }
    Some(level_w)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::{RelativeWind, crank_power_w};

    const RIG: Rig = Rig {
        cda_m2: 0.3,
        crr: 0.0045,
        total_mass_kg: 80.0,
        wheel_inertia_kg_m2: 0.14,
        wheel_radius_m: 0.336,
        drivetrain_efficiency: 0.976,
    };
    const AROUND: Surroundings = Surroundings {
        air_density_kg_m3: 1.2,
        gravity_m_s2: 9.81,
    };

    /// 6 km of hills in pieces of 2 m, in a wind: work done at the wheel = kinetic energy gained + work against air,
    /// road and slope, which is taken here at three points of each piece (Simpson's rule in v², D).
    #[test]
    fn the_energy_of_a_hilly_road_closes() {
        let pieces: Vec<Piece> = (0..3000)
            .map(|k| Piece {
                length_m: 2.0,
                gradient: 0.05 * (f64::from(k) / 80.0).sin(),
                wind: RelativeWind {
                    headwind_m_s: 1.5 * (f64::from(k) / 300.0).cos(),
                    crosswind_m_s: 0.8,
                },
            })
            .collect();
        let pacing = Pacing::HarderUphill { limit: 0.2 };
        let (mut done_j, mut resisted_j, mut speed) = (0.0, 0.0, 5.0f64);
        for piece in &pieces {
            let power_w = 250.0 * pacing.factor(piece.gradient);
            let ridden = ride_road(&RIG, &AROUND, std::slice::from_ref(piece), power_w, speed).unwrap();
            done_j += RIG.drivetrain_efficiency * power_w * ridden.time_s;
            // Force along the road, from the power that would hold a speed.
            let force_n = |v: f64| {
                crank_power_w(&RIG, &AROUND, v, piece.wind, piece.gradient, 0.0) * RIG.drivetrain_efficiency
                    / v
            };
            let middle = (0.5 * (speed * speed + ridden.exit_speed_m_s.powi(2))).sqrt();
            resisted_j += piece.length_m / 6.0
                * (force_n(speed) + 4.0 * force_n(middle) + force_n(ridden.exit_speed_m_s));
            speed = ridden.exit_speed_m_s;
        }
        let gained_j = 0.5 * RIG.effective_mass_kg() * (speed * speed - 25.0);
        let off = (done_j - resisted_j - gained_j) / done_j;
        assert!(off.abs() < 1e-6, "{off}");
        let all = ride(&RIG, &AROUND, &pieces, pacing, 250.0, 5.0).unwrap();
        assert!((all.mean_power_w * all.time_s * RIG.drivetrain_efficiency / done_j - 1.0).abs() < 1e-12);
    }

    /// 40 km on the flat: the terminal speed, and the start worked out apart (closed form of neither: D).
    #[test]
    fn a_long_flat_road_is_ridden_at_the_terminal_speed() {
        let piece = |length_m| Piece {
            length_m,
            gradient: 0.0,
            wind: RelativeWind::default(),
        };
        let time_s = |length_m| {
            ride(&RIG, &AROUND, &[piece(length_m)], Pacing::Constant, 250.0, 2.0)
                .unwrap()
                .time_s
        };
        let terminal =
            crate::physics::steady_speed_m_s(&RIG, &AROUND, 250.0, 0.0, RelativeWind::default()).unwrap();
        let last_10_km = time_s(40_000.0) - time_s(30_000.0);
        assert!((last_10_km * terminal / 10_000.0 - 1.0).abs() < 1e-8);
    }
}
