//! What one pass brings to the estimate of the day: a value that depends on nothing but its inputs, and is changed
//! only where a disturbed stretch is left out.

use super::prior::When;
use crate::estimate::cells::{Account, BlockWind, PassRide, Shift, accounts, ride_rig, surroundings};
use crate::estimate::disturbed::Disturbance;
use crate::estimate::one_pass::{covariance, gust_integrals_s, gust_rate};
use crate::test_day::Setup;
use nalgebra::DMatrix;

/// Noise of an air-speed sensor's mean over a cell, beside its factor. Common practice, no published source.
const AIR_SPEED_NOISE_M_S: f64 = 0.15;
/// A cell counts with its air speed where that is known for this share of its time.
const AIR_SPEED_KNOWN: f64 = 0.8;
/// What is left of a slow drift where the power meter's zero was read before and after, as a standard deviation.
const DRIFT_LEFT_WHERE_NOTED: f64 = 0.4;

/// Differences are taken this far from the known wind; exact for the quadratic that drag nearly is.
const WIND_STEP_M_S: f64 = 0.5;

/// Work against the air in one cell per m² of drag area, as a quadratic in the wind beyond what is known.
///
/// (v+w)V_a = (v+w)² + ½c² but for c⁴/8(v+w)²: 0.1 % at 3 m/s of crosswind and 10 m/s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirWork {
    pub still: f64,
    /// By east and north, J/m² per m/s.
    pub slope: [f64; 2],
    /// Second derivatives: east east, east north, north north.
    pub curve: [f64; 3],
    /// Of a mean square of gusts, per m²/s²: ½ρ × length.
    pub gust: f64,
}

impl AirWork {
    pub fn at(&self, [east, north]: [f64; 2], gust_m2_s2: f64) -> f64 {
        self.still
            + self.slope[0] * east
            + self.slope[1] * north
            + 0.5 * self.curve[0] * east * east
            + self.curve[1] * east * north
            + 0.5 * self.curve[2] * north * north
            + self.gust * gust_m2_s2
    }

    pub fn slope_at(&self, [east, north]: [f64; 2]) -> [f64; 2] {
        [
            self.slope[0] + self.curve[0] * east + self.curve[1] * north,
            self.slope[1] + self.curve[1] * east + self.curve[2] * north,
        ]
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct Contribution {
    pub setup: usize,
    pub block: usize,
    pub when: When,
    /// Share of the day's slow drift that this pass may hold, as a standard deviation.
    pub drift_share: f64,
    /// By an air-speed sensor, for some of the cells.
    pub air_speeds: Vec<AirSpeed>,
    /// Of the factor common to them.
    pub air_speed_scale_standard_uncertainty: f64,
    /// Read beside the road before the block, less the wind that was assumed.
    pub wind_reading: Option<BlockWind>,
    /// Standard uncertainty, each way, of the wind that was assumed.
    pub wind_standard_uncertainty_m_s: f64,
    /// Energy of each cell with rolling at the assumed Crr and the climb of the shared profile taken off, J.
    pub energy_j: Vec<f64>,
    pub air: Vec<AirWork>,
    /// m g ∫cos θ ds of each cell, J.
    pub rolling_j: Vec<f64>,
    /// Crr that was taken off.
    pub crr: f64,
    pub distance_m: f64,
    pub weight_n: f64,
    /// Where each cell starts and ends along the course, in the order ridden.
    pub edges_m: Vec<[f64; 2]>,
    /// What the cells read too much where the recorded power is one part too high for each kelvin, J K.
    pub warmth_j_k: Vec<f64>,
    pub power_scale_per_k_standard_uncertainty: f64,
    /// Standard deviation of recorded over true power from one mounting to the next, where one leg's is doubled.
    pub one_leg_sd: f64,
    /// Power at the wheel over the whole pass, J.
    pub wheel_j: f64,
    /// Covariance of the energies without gusts, J².
    noise_j2: DMatrix<f64>,
    /// Covariance of the gusts' integrals over the cells for a strength of 1 m²/s, s.
    gusts_s: DMatrix<f64>,
    /// Work that a gust of 1 m/s adds each second, J/m for each m² of drag area.
    gust_rates: Vec<f64>,
}

/// Mean air speed of one cell along the direction of travel, set against what ground speed and assumed wind make.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirSpeed {
    pub cell: usize,
    /// Measured less expected, m/s.
    pub beyond_m_s: f64,
    /// Headwind for each m/s of air moving east and north.
    pub way: [f64; 2],
    pub expected_m_s: f64,
    pub duration_s: f64,
}

impl Contribution {
    pub fn of(
        ride: &PassRide,
        setup: &Setup,
        course_length_m: f64,
        crr_shift: f64,
        shift: &Shift,
    ) -> Contribution {
        let at = |east: f64, north: f64| -> Vec<Account> {
            let moved = Shift {
                wind_east_m_s: shift.wind_east_m_s + east,
                wind_north_m_s: shift.wind_north_m_s + north,
                ..*shift
            };
            accounts(ride, setup, course_length_m, &moved)
        };
        let h = WIND_STEP_M_S;
        let rest = at(0.0, 0.0);
        let (e, w, n, s) = (at(h, 0.0), at(-h, 0.0), at(0.0, h), at(0.0, -h));
        let corner = at(h, h);
        let density = surroundings(ride, shift).air_density_kg_m3;
        let air = (0..rest.len())
            .map(|c| {
                let work = |side: &[Account]| side[c].air_j_m2;
                let still = work(&rest);
                let slope = [
                    (work(&e) - work(&w)) / (2.0 * h),
                    (work(&n) - work(&s)) / (2.0 * h),
                ];
                let (ee, nn) = (
                    (work(&e) - 2.0 * still + work(&w)) / (h * h),
                    (work(&n) - 2.0 * still + work(&s)) / (h * h),
                );
                let together = work(&corner) - still - h * (slope[0] + slope[1]) - 0.5 * h * h * (ee + nn);
                AirWork {
                    still,
                    slope,
                    curve: [ee, together / (h * h), nn],
                    gust: 0.5 * density * rest[c].distance_m,
                }
            })
            .collect();
        let crr = setup.crr.value + crr_shift + shift.crr;
        let rig = ride_rig(ride, setup, shift);
        let mass = rig.effective_mass_kg();
        let wheel_j = |a: &Account| rig.drivetrain_efficiency * a.crank_j;
        Contribution {
            warmth_j_k: rest.iter().map(|a| ride.in_day.warmer_k * wheel_j(a)).collect(),
            power_scale_per_k_standard_uncertainty: ride.in_day.power_scale_per_k_standard_uncertainty,
            one_leg_sd: ride.in_day.one_leg_sd,
            wheel_j: rest.iter().map(wheel_j).sum(),
            setup: ride.setup,
            block: ride.block,
            when: When {
                middle_s: ride.middle_s,
                duration_s: ride.duration_s(),
            },
            drift_share: if ride.power_zero_noted {
                DRIFT_LEFT_WHERE_NOTED
            } else {
                1.0
            },
            air_speeds: air_speeds(ride, shift),
            air_speed_scale_standard_uncertainty: ride.air_speed_scale_standard_uncertainty.unwrap_or(0.0),
            wind_reading: ride.wind_reading.map(|reading| BlockWind {
                wind_east_m_s: reading.wind_east_m_s - ride.air.wind_east_m_s - shift.wind_east_m_s,
                wind_north_m_s: reading.wind_north_m_s - ride.air.wind_north_m_s - shift.wind_north_m_s,
                ..reading
            }),
            wind_standard_uncertainty_m_s: ride.air.wind_standard_uncertainty_m_s,
            energy_j: rest.iter().map(|a| a.energy_j - crr * a.rolling_j).collect(),
            air,
            rolling_j: rest.iter().map(|a| a.rolling_j).collect(),
            crr,
            distance_m: rest.iter().map(|a| a.distance_m).sum(),
            weight_n: rest.first().map_or(0.0, |a| a.weight_n),
            edges_m: ride.cells.iter().map(|c| [c.from_m, c.to_m]).collect(),
            gusts_s: gust_integrals_s(&rest),
            gust_rates: rest.iter().map(gust_rate).collect(),
            noise_j2: covariance(ride, &rest, mass, 0.0, 0.0),
        }
    }

    pub fn cells(&self) -> usize {
        self.energy_j.len()
    }

    /// Takes what is odd about a stretch out of the account, and leaves what a usual stretch may hold unknown.
    ///
    /// Widening the cell instead, the stretch's whole bearing goes missing on a loop, and with it the wind.
    pub fn leave_out(&mut self, disturbance: &Disturbance) {
        let of_whole = |duration_s: f64| duration_s / disturbance.duration_s;
        let variance_j2 = disturbance.standard_uncertainty_j.powi(2);
        for a in &disturbance.cells {
            self.energy_j[a.cell] -= a.excess_j;
            for b in &disturbance.cells {
                self.noise_j2[(a.cell, b.cell)] +=
                    variance_j2 * of_whole(a.duration_s) * of_whole(b.duration_s);
            }
        }
    }

    /// Covariance of the energies, J², and after them of the air speeds, m²/s², at a drag area and a gust strength.
    ///
    /// A gust that an air-speed sensor feels is the one that takes the energy.
    pub fn covariance(&self, cda_m2: f64, gust_q_m2_s: f64) -> DMatrix<f64> {
        let cells = self.cells();
        let all = cells + self.air_speeds.len();
        // What a gust's integral over a cell does to each observation.
        let felt = |row: usize| match row.checked_sub(cells) {
            None => (row, cda_m2 * self.gust_rates[row]),
            Some(one) => (self.air_speeds[one].cell, 1.0 / self.air_speeds[one].duration_s),
        };
        DMatrix::from_fn(all, all, |i, j| {
            let ((a, by_a), (b, by_b)) = (felt(i), felt(j));
            let own = if i < cells && j < cells {
                self.noise_j2[(i, j)]
            } else if i == j {
                AIR_SPEED_NOISE_M_S.powi(2)
            } else {
                0.0
            };
            own + gust_q_m2_s * by_a * by_b * self.gusts_s[(a, b)]
        })
    }
}

fn air_speeds(ride: &PassRide, shift: &Shift) -> Vec<AirSpeed> {
    let known_wind = [
        ride.air.wind_east_m_s + shift.wind_east_m_s,
        ride.air.wind_north_m_s + shift.wind_north_m_s,
    ];
    let mut all = Vec::new();
    for (cell, of) in ride.cells.iter().enumerate() {
        let (mut known_s, mut all_s, mut measured, mut ground, mut way) = (0.0, 0.0, 0.0, 0.0, [0.0; 2]);
        for step in &of.steps {
            all_s += step.duration_s;
            if step.air_speed_m_s.is_finite() {
                known_s += step.duration_s;
                measured += step.air_speed_m_s * step.duration_s;
                ground += 0.5 * (step.start_speed_m_s + step.end_speed_m_s) * step.duration_s;
                way[0] -= step.bearing_rad.sin() * step.duration_s;
                way[1] -= step.bearing_rad.cos() * step.duration_s;
            }
        }
        if known_s > 0.0 && known_s >= AIR_SPEED_KNOWN * all_s {
            let way = way.map(|sum| sum / known_s);
            let expected_m_s = ground * shift.speed_scale_for(ride.setup) / known_s
                + way[0] * known_wind[0]
                + way[1] * known_wind[1];
            all.push(AirSpeed {
                cell,
                beyond_m_s: measured / known_s - expected_m_s,
                way,
                expected_m_s,
                duration_s: all_s,
            });
        }
    }
    all
}

#[cfg(test)]
impl Contribution {
    /// Plain readings instead of a ride: each is its pass's drag area over the prior's median, with an error of
    /// this variance. For statistics whose answers are published.
    pub(super) fn of_readings(setup: usize, block: usize, readings: &[f64], variance: f64) -> Contribution {
        let cells = readings.len();
        let air = AirWork {
            still: 1.0 / super::prior::CDA_MEDIAN_M2,
            slope: [0.0; 2],
            curve: [0.0; 3],
            gust: 0.0,
        };
        Contribution {
            setup,
            block,
            when: When {
                middle_s: 1000.0 * block as f64,
                duration_s: 100.0,
            },
            drift_share: 0.0,
            air_speeds: Vec::new(),
            air_speed_scale_standard_uncertainty: 0.0,
            wind_reading: None,
            wind_standard_uncertainty_m_s: 1.0,
            energy_j: readings.to_vec(),
            air: vec![air; cells],
            rolling_j: vec![0.0; cells],
            crr: 0.0,
            distance_m: cells as f64,
            weight_n: 0.0,
            edges_m: (0..cells).map(|c| [c as f64, c as f64 + 1.0]).collect(),
            warmth_j_k: vec![0.0; cells],
            power_scale_per_k_standard_uncertainty: 0.0,
            one_leg_sd: 0.0,
            wheel_j: 0.0,
            noise_j2: DMatrix::identity(cells, cells) * variance,
            gusts_s: DMatrix::zeros(cells, cells),
            gust_rates: vec![0.0; cells],
        }
    }
}
